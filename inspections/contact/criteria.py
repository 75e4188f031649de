"""What a plant accepts as contact. The shipped default is common practice; no standard with a number was
found.
"""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field, fields
from datetime import date
from enum import StrEnum
from typing import Any

from .pattern import PatternError

PRACTICE = "common practice, no published source"
# Of the reader before this one, kept where a plant set it: uneven dye is a cause with its own weight now.
FORMER = ("max_misfit",)


class FilmClass(StrEnum):
    """How thick the dye was laid on, as a mechanic would say it."""

    THIN = "thin"
    NORMAL = "normal"
    HEAVY = "heavy"


def _films() -> dict[str, tuple[float, float]]:
    return {"thin": (3.0, 7.0), "normal": (7.0, 15.0), "heavy": (15.0, 40.0)}


@dataclass(frozen=True)
class Criteria:
    """Plant data: what is asked of a contact pattern, by whom, since when.

    min_coverage : share of the length that must carry, 0 to 1. Plants commonly ask 70 to 80 per cent.
    min_arc_deg, max_arc_deg : print narrower or wider than this is remarked on, degrees. From trade pages:
        60 degrees is wished for, at 120 the oil film no longer forms.
    max_turn_deg : how far the shaft may be turned for the print, degrees, back and forth counted once.
    film_um : thickness of a film of each class, um, from and to.
    caution_after : rounds of scraping after which one is asked to stop and think.
    """

    min_coverage: float = 0.75
    min_arc_deg: float = 45.0
    max_arc_deg: float = 120.0
    max_turn_deg: float = 30.0
    film_um: dict[str, tuple[float, float]] = field(default_factory=_films)
    caution_after: int = 3
    author: str = "shipped default"
    from_on: date | None = None
    basis: str = PRACTICE

    def __post_init__(self) -> None:
        _between("min_coverage", self.min_coverage, 0.0, 1.0)
        for name in ("min_arc_deg", "max_arc_deg"):
            _between(name, getattr(self, name), 0.0, 180.0)
        _between("max_turn_deg", self.max_turn_deg, 0.0, 360.0)
        _between("caution_after", self.caution_after, 0, 100)
        if self.min_arc_deg > self.max_arc_deg:
            raise PatternError(
                f"The narrowest arc, {self.min_arc_deg:g} degrees, is above the widest, {self.max_arc_deg:g}."
            )
        for name in FilmClass:
            low, high = self.film_um.get(name, (math.nan, math.nan))
            if not 0.0 <= low <= high <= 1000.0:
                raise PatternError(
                    f"The film {name!r} needs two thicknesses from 0 to 1000 um, thinner first."
                )

    @property
    def whose(self) -> str:
        """Whose criteria, since when, and what they rest on, in words."""
        since = f", from {self.from_on.isoformat()}" if self.from_on else ""
        return f"{self.author}{since}: {self.basis}"

    def as_dict(self) -> dict[str, Any]:
        """For storing as JSON: the date as text, the films as lists."""
        body = asdict(self)
        body["film_um"] = {name: list(pair) for name, pair in self.film_um.items()}
        body["from_on"] = self.from_on.isoformat() if self.from_on else None
        return body

    @classmethod
    def from_dict(cls, body: dict[str, Any]) -> Criteria:
        """From stored JSON; what is left out is the shipped default, what is unknown is refused.

        A former criterion, of which no reading makes use any more, is passed over.
        """
        body = {name: value for name, value in body.items() if name not in FORMER}
        known = {f.name for f in fields(cls)}
        if unknown := sorted(set(body) - known):
            raise PatternError(
                f"Contact criteria do not know {', '.join(unknown)}. They know {sorted(known)}."
            )
        if body.get("from_on"):
            body["from_on"] = date.fromisoformat(body["from_on"])
        if "film_um" in body:
            body["film_um"] = _films() | {name: (low, high) for name, (low, high) in body["film_um"].items()}
        return cls(**body)


def _between(name: str, value: float, low: float, high: float) -> None:
    if not low <= value <= high:
        raise PatternError(f"{name} is {value:g}; it lies from {low:g} to {high:g}.")
