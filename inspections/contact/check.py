"""What is known of one contact check beside its cells: how it was taken, and what the record says of the
shell.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .criteria import Criteria
from .facts import Facts
from .journal_form import Journal, form
from .pattern import PatternError

STATES = ("", "new", "scraped", "run_in")
SCRAPEABLE = ("", "yes", "no")
GROOVE_COVERS = 0.30  # share of a cell from which a groove leaves it nothing to say
RELIEF_LENGTH = 0.90  # share of the length within which cells beyond a relief say nothing
NO_RELIEF = 90.0
# unit, lowest, highest
BOUNDS: dict[str, tuple[str, float, float]] = {
    "clearance_sd_um": ("um", 0.0, 5_000.0),
    "film_um": ("um", 0.5, 200.0),
    "film_sd_um": ("um", 0.0, 100.0),
    "gained_um": ("um", -10_000.0, 10_000.0),
    "gained_sd_um": ("um", 0.0, 5_000.0),
    "relief_deg": ("degrees", 1.0, 90.0),
    "tolerance_um": ("um", 0.1, 500.0),
}
Hole = tuple[float, float, float]


@dataclass(frozen=True)
class Check(Facts):
    """One contact check; whatever is not known stays empty. Lengths in um, diametral; angles in degrees.

    clearance_sd_um : standard uncertainty of the clearance; None: 10 um.
    measured_twice : True where another hand or method gave the same clearance within their spreads.
    film_um, film_sd_um : thickness of the film where it is known better than by its class.
    state : `new`, `scraped` or `run_in`; empty: not known.
    gained_um, gained_sd_um : clearance gained since this shell's first fit, from the record.
    scrapeable : `yes`, `no`, or empty: not known.
    groove : (from, to) share of the length from the pump end that a ring groove takes; () for none; None: not
    known.
    relief_deg : angle from the bottom at which side reliefs begin; 90 for none; None: not known.
    holes : oil holes and dowels as (share of the length from the pump end, angle, width as a share of the
        length); the angle is positive to the right seen from the coupling, or towards the last row of the
        picture turned with the pump end first where the sides are not named.
    diameters_um : the journal's own diameters, three planes (pump end, middle, outer end) by two directions.
    tolerance_um : largest difference of diameters of a journal that counts as straight; None: half the film.
    """

    clearance_sd_um: float | None = None
    measured_twice: bool = False
    film_um: float | None = None
    film_sd_um: float | None = None
    state: str = ""
    gained_um: float | None = None
    gained_sd_um: float | None = None
    scrapeable: str = ""
    groove: tuple[float, ...] | None = None
    relief_deg: float | None = None
    holes: tuple[Hole, ...] = ()
    diameters_um: tuple[tuple[float, float], ...] | None = None
    tolerance_um: float | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        for name, allowed in (("state", STATES), ("scrapeable", SCRAPEABLE)):
            if getattr(self, name) not in allowed:
                choices = ", ".join(repr(word) for word in allowed)
                raise PatternError(f"{name} is {getattr(self, name)!r}. Choose one of {choices}.")
        for name, (unit, low, high) in BOUNDS.items():
            value = getattr(self, name)
            if value is not None and not low <= value <= high:
                raise PatternError(
                    f"{name} is {value:g} {unit}; it lies from {low:g} to {high:g}. Mend it or leave it"
                    " empty."
                )
        _groove(self.groove)
        for hole in self.holes:
            if not (len(hole) == 3 and 0 <= hole[0] <= 1 and -90 <= hole[1] <= 90 and 0 < hole[2] <= 1):
                raise PatternError(
                    f"The hole {hole} is none: give its place along from 0 to 1, its angle from -90 to 90 "
                    "and its width from 0 to 1 of the length."
                )

    def turned(self) -> Check:
        """The same check with the picture turned end for end; holes and grooves stay where they are."""
        plain = super().turned()
        return replace(self, first_end=plain.first_end, first_side=plain.first_side)

    @property
    def rotated(self) -> bool:
        """True where the picture begins at the outer end."""
        return self.first_end == "out"

    def journal(self, criteria: Criteria) -> Journal:
        """The journal's form from its diameters, held against the plant's tolerance or half the film."""
        low, high = self.film_range(criteria)
        tolerance = self.tolerance_um or 0.25 * (low + high)
        return form(self.diameters_um, tolerance)

    def film_range(self, criteria: Criteria) -> tuple[float, float]:
        """(from, to) um: the film as measured, its class, or anything usual."""
        if self.film_um is not None:
            spread = 1.7 * (self.film_sd_um if self.film_sd_um is not None else 0.25 * self.film_um)
            return max(self.film_um - spread, 0.2 * self.film_um), self.film_um + spread
        return criteria.film_um[self.film] if self.film else FILM_NOT_SAID

    def silent(self, rows: int, columns: int) -> NDArray[np.bool_]:
        """(rows, columns), pump end first: cells that say nothing because the shell has no metal to print
        there.
        """
        edges, angles = np.arange(columns + 1) / columns, 180.0 * ((np.arange(rows) + 0.5) / rows - 0.5)
        middles = (np.arange(columns) + 0.5) / columns
        mask = np.zeros((rows, columns), dtype=bool)
        if self.groove:
            mask |= grooved(columns, *self.groove)[None, :]
        if self.relief_deg is not None:
            within = np.abs(2.0 * middles - 1.0) < RELIEF_LENGTH
            mask |= (np.abs(angles) > self.relief_deg)[:, None] & within[None, :]
        for along, angle, width in self.holes:
            seen = -angle if self.right_first else angle
            row = min(int((seen / 180.0 + 0.5) * rows), rows - 1)
            near = (edges[1:] > along - 0.5 * width) & (edges[:-1] < along + 0.5 * width)
            mask[row] |= near
        return mask

    @property
    def right_first(self) -> bool:
        """Whether, with the pump end first, the first row lies on the right seen from the coupling."""
        return bool(self.first_side) and (self.first_side == "right") != self.rotated


FILM_NOT_SAID = (4.0, 25.0)


def grooved(columns: int, start: float, stop: float) -> NDArray[np.bool_]:
    """(columns,) those of which a groove from `start` to `stop`, shares of the length,
    covers 30 % or more.
    """
    edge = np.arange(columns) / columns
    covered = np.maximum(np.minimum(edge + 1 / columns, stop) - np.maximum(edge, start), 0.0) * columns
    return np.asarray(np.round(covered, 9) >= GROOVE_COVERS)


def _groove(groove: tuple[float, ...] | None) -> None:
    if groove and not (len(groove) == 2 and 0 <= groove[0] < groove[1] <= 1):
        raise PatternError(
            f"The groove {groove} is none: give where it begins and ends from 0 at the pump end to 1."
        )
