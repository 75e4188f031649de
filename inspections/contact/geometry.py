"""What arc a film of dye prints, and what a worn arc says: circles only."""

from __future__ import annotations

import math


def film_arc_deg(clearance_um: float, film_um: float, worn_arc_deg: float = 0.0) -> float:
    """The arc a dye film prints where a journal lies in a shell, in degrees of the whole print.

    Parameters
    ----------
    clearance_um : diametral clearance as it is now, um, above 0.
    film_um : thickness of the film, um, not below 0.
    worn_arc_deg : arc over which the shell is worn or bedded to the journal, degrees, 0 to under 180.

    Returns
    -------
    Degrees, 0 to 180: `2 arccos((r - h) / (r + d))`, cut at the joints of the half shell.

    Raises
    ------
    ValueError : a clearance, film or arc outside its range.

    Notes
    -----
    In a round bore the gap is `(c/2)(1 - cos a)`, so the film prints to `a = arccos(1 - 2h/c)`. With an arc
    worn to the journal the shaft has sunk by d and the gap outside the arc is `r - (r + d) cos a`, r the
    original radial clearance. Source: own geometry, rigid circles, no load.

    >>> round(film_arc_deg(150, 10), 1)
    59.9
    """
    if not (clearance_um > 0 and film_um >= 0 and 0 <= worn_arc_deg < 180):
        raise ValueError(
            f"clearance {clearance_um} um, film {film_um} um, worn arc {worn_arc_deg} degrees: the clearance "
            "must be above 0, the film not below 0, the arc from 0 to under 180."
        )
    r, d = _radial_and_depth(clearance_um, worn_arc_deg)
    cosine = min(1.0, max((r - film_um) / (r + d), 0.0))
    return 2.0 * math.degrees(math.acos(cosine))


def clearance_ratio(worn_arc_deg: float) -> float:
    """Vertical clearance now over the original one, from the arc worn to the journal.

    Parameters
    ----------
    worn_arc_deg : degrees, 0 to under 180.

    Returns
    -------
    `1 + d / (2r)` with `cos(A/2) = r / (r + d)`. Source: own geometry; a shell never bedded by hand.

    >>> round(clearance_ratio(120), 9), round(clearance_ratio(141.06), 3)
    (1.5, 2.0)
    """
    if not 0 <= worn_arc_deg < 180:
        raise ValueError(f"A worn arc of {worn_arc_deg} degrees: it lies from 0 to under 180.")
    return 0.5 * (1.0 + 1.0 / math.cos(math.radians(worn_arc_deg / 2.0)))


def _radial_and_depth(clearance_um: float, worn_arc_deg: float) -> tuple[float, float]:
    """Original radial clearance and depth sunk, um, from the clearance now: c = 2r + d."""
    original = clearance_um / clearance_ratio(worn_arc_deg)
    return 0.5 * original, clearance_um - original
