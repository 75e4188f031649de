"""What was written down beside a contact pattern; whatever is not known stays empty."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fleet.end_words import END_WORDS, ENDS

from .criteria import FilmClass
from .pattern import PatternError

SIDES = ("left", "right")  # seen from the coupling
CHOICES: dict[str, tuple[str, ...]] = {
    "half": ("", "lower", "upper"),
    "seat": ("", "cylindrical", "spherical"),
    "load_side": ("", "bottom", "top", "left", "right"),
    "first_end": ENDS,
    "first_side": ("", *SIDES),
    "film": ("", *FilmClass),
}
# unit, lowest and highest that make sense, the lowest left out or not
RANGES: dict[str, tuple[str, float, float]] = {
    "clearance_um": ("um", 0.001, 10_000.0),
    "journal_mm": ("mm", 1.0, 2_000.0),
    "worn_arc_deg": ("degrees", 0.0, 179.0),
    "turned_deg": ("degrees", 0.0, 36_000.0),
}


@dataclass(frozen=True)
class Facts:
    """How the check was taken.

    half : `lower`, `upper` or empty.
    in_place : in the housing under the shaft's own weight (True), on a mandrel (False), not said (None).
    seat : `cylindrical`, `spherical` or empty.
    bedded_by_hand : the bore was once scraped to the shaft, so its arc says nothing of wear.
    clearance_um : diametral (vertical) clearance at this check, um.
    journal_mm : journal diameter, mm; gives the print's width in mm.
    film : how thick the dye was: `thin`, `normal`, `heavy` or empty.
    worn_arc_deg : the polished or bedded arc, apart from the print, degrees.
    turned_deg : how far the shaft was turned for the print, degrees.
    load_side : the side the shaft rests on, seen from the coupling.
    first_end : the end of the first column: `in` (pump side) or `out`.
    first_side : the side of the first row, `left` or `right` seen from the coupling, or empty.
    pump_end, outer_end : how the plant calls the two ends.
    """

    half: str = ""
    in_place: bool | None = None
    seat: str = ""
    bedded_by_hand: bool | None = None
    clearance_um: float | None = None
    journal_mm: float | None = None
    film: str = ""
    worn_arc_deg: float | None = None
    turned_deg: float | None = None
    load_side: str = "bottom"
    first_end: str = "out"
    first_side: str = ""
    pump_end: str = END_WORDS["in"]
    outer_end: str = END_WORDS["out"]

    def __post_init__(self) -> None:
        for name, allowed in CHOICES.items():
            if getattr(self, name) not in allowed:
                said = ", ".join(repr(str(word)) for word in allowed)
                raise PatternError(f"{name} is {getattr(self, name)!r}. Choose one of {said}.")
        for name, (unit, low, high) in RANGES.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise PatternError(
                    f"{name} is {value:g} {unit}; it lies from {low:g} to {high:g}. Mend it or leave it"
                    " empty."
                )

    @property
    def loaded(self) -> bool:
        """False where the shaft is known to rest in the other half."""
        return (self.half, self.load_side) not in {("upper", "bottom"), ("lower", "top")}

    def turned(self) -> Facts:
        """The same facts with the picture turned end for end."""
        return replace(
            self,
            first_end=other(self.first_end, ENDS),
            first_side=other(self.first_side, SIDES) if self.first_side else "",
        )


def other(word: str, pair: tuple[str, str]) -> str:
    """The other of two."""
    return pair[1] if word == pair[0] else pair[0]
