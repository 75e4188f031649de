"""What each way of measuring can be trusted to: the starting values of `fleet.measuring_methods`, or the
plant's own.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from fleet.measuring_methods import METHODS, NOT_NAMED, Spread
from fleet.models import Setting
from inspections.wear.arrays import Method as WearMethod

# Ranges of plastic strips, um: 0.001-0.003, 0.002-0.006, 0.004-0.009 in (TM 5-2420-222-34, para 1-16). Beyond
# its range a strip gives a bound, not a number.
STRIPS_UM: dict[str, tuple[float, float]] = {
    "PG-1": (25.4, 76.2),
    "PR-1": (50.8, 152.4),
    "PB-1": (101.6, 228.6),
}
SETTING = "method_spreads"


def spreads(day, settings: Any = Setting.objects) -> dict[str, Spread]:
    """The spreads in force on a day: the plant's own where it has set them."""
    own = settings.in_force(SETTING, None, day) or {}
    said = {name: Spread(float(value["sd_um"]), float(value["bias_sd_um"])) for name, value in own.items()}
    return {code: method.spread for code, method in METHODS.items()} | said


def uncertainty_of(method: str, value_um: object, known: Mapping[str, Spread]) -> float | None:
    """Standard uncertainty of one reading by a method, um; None for a bound or an interval, which has none.

    >>> uncertainty_of("", 152, {}), uncertainty_of("", None, {})
    (13.0, None)
    """
    return None if value_um is None else known.get(method, NOT_NAMED).sd_um


def beyond_strip(um: float, strip: str) -> tuple[str, float] | None:
    """The bound that a value outside a strip's range stands for: (">", um) or ("<", um); None inside, or for
    no strip.

    >>> beyond_strip(90.0, "PG-1"), beyond_strip(50.0, "PG-1")
    (('>', 76.2), None)
    """
    if strip.strip().upper() not in STRIPS_UM:
        return None
    low, high = STRIPS_UM[strip.strip().upper()]
    return (">", high) if um > high else ("<", low) if um < low else None


def wear_methods(names: Iterable[str], known: Mapping[str, Spread]) -> tuple[WearMethod, ...]:
    """The methods as the wear engine takes them, in a fixed order."""
    return tuple(
        WearMethod(name, known.get(name, NOT_NAMED).sd_um, known.get(name, NOT_NAMED).bias_sd_um)
        for name in sorted(set(names))
    )
