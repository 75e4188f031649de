"""Whether a journal is straight, computed from its diameters; never ticked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from .pattern import PatternError

PLANES, DIRECTIONS = 3, 2


@dataclass(frozen=True)
class Journal:
    """Differences of diameters, um; None where they were not measured.

    taper_um : outer end less pump end. barrel_um : middle less the mean of the ends, above 0 for a barrel.
    oval_um : largest difference of the two directions in one plane. tolerance_um : what counts as straight.
    """

    taper_um: float | None
    barrel_um: float | None
    oval_um: float | None
    tolerance_um: float

    @property
    def straight(self) -> bool | None:
        """All three within the tolerance; None where not measured."""
        if self.taper_um is None or self.barrel_um is None or self.oval_um is None:
            return None
        return max(abs(self.taper_um), abs(self.barrel_um), abs(self.oval_um)) <= self.tolerance_um

    @property
    def tapered(self) -> bool | None:
        """One end larger than the other by more than the tolerance; None where not measured."""
        return None if self.taper_um is None else abs(self.taper_um) > self.tolerance_um

    @property
    def crowned(self) -> bool | None:
        """The middle larger or smaller than the ends by more than the tolerance; None where not measured."""
        return None if self.barrel_um is None else abs(self.barrel_um) > self.tolerance_um


def form(diameters_um: Sequence[Sequence[float]] | None, tolerance_um: float) -> Journal:
    """The journal's form.

    Parameters
    ----------
    diameters_um : three planes (pump end, middle, outer end) by two directions, um; whole diameters or what
        they differ by from one reference. None: not measured.
    tolerance_um : largest difference of a journal that counts as straight, um.

    Raises
    ------
    PatternError : not three planes by two directions, or a value that is no number.

    >>> form([(100_002, 100_000), (100_003, 100_001), (100_014, 100_012)], 5.0).tapered
    True
    >>> form(None, 5.0).straight is None
    True
    """
    if diameters_um is None:
        return Journal(None, None, None, tolerance_um)
    if [len(plane) for plane in diameters_um] != [DIRECTIONS] * PLANES:
        raise PatternError(
            f"The journal's diameters are {len(diameters_um)} planes; give three planes (pump end, middle, "
            "outer end) with two directions each, or leave them empty."
        )
    values = [[float(v) for v in plane] for plane in diameters_um]
    if not all(math.isfinite(v) for plane in values for v in plane):
        raise PatternError("A diameter of the journal is no number. Mend it or leave all six empty.")
    near, middle, far = (sum(plane) / DIRECTIONS for plane in values)
    oval = max(abs(plane[0] - plane[1]) for plane in values)
    return Journal(far - near, middle - 0.5 * (near + far), oval, tolerance_um)
