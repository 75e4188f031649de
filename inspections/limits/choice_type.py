"""What one choice of a plant is, and reading a number that was typed for it."""

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fleet import units
from fleet.formatting import grouped
from fleet.plant.acts import Refused


@dataclass(frozen=True)
class Choice:
    """One choice. `read` makes a value of what was typed (empty: the default again), `said` puts a value in
    words. `priced`: what a decision counts with, shown apart. `typed`: of values by name, each as one types
    it.
    """

    name: str
    label: str
    does: str
    allowed: str
    read: Callable[[str], Any]
    said: Callable[[Any], str]
    default: Any
    priced: bool = False
    typed: Callable[[Any], str] | None = None


def number_between(typed: str, low: float, high: float, unit: str) -> Decimal:
    """The number that was typed.

    Raises
    ------
    Refused
        for what is no number or lies outside, with what is allowed.
    """
    try:
        value = units.parse_number(typed, decimal_comma="," in typed)
    except units.Unreadable as fault:
        raise Refused(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None
    if not low <= value <= high:
        raise Refused(
            f"{typed} {unit} lies outside what is allowed, {grouped(low)} to {grouped(high)} {unit}."
        )
    return value
