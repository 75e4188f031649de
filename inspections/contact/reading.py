"""Reads a contact pattern: what it covers, how it lies, what to do, and why."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .criteria import Criteria
from .facts import Facts
from .geometry import clearance_ratio, film_arc_deg
from .lies import SPAN_DEG, best, row_angles
from .pattern import HEAVY, LIGHT, Pattern, checked
from .rules import VOID, Arc, Case, decide, refined
from .saying import LIES, Reason, between, degrees, headline, percent, reason
from .spots import Spot, spots

OUTCOMES = ("acceptable", "scrape", "alignment", "repeat")
SHAPES = ("full", "both_ends", "one_end", "diagonal", "middle", "narrow", "patchy", "flooded", "none")
# Two edges, each anywhere in its cell, add to a triangle (JCGM 100:2008, 4.3.9); 95 % of it lies within this
# share.
WITHIN_95 = 1.0 - math.sqrt(0.05)
CARRIES_DEG = 60.0  # print further up the sides than this carries no shaft


@dataclass(frozen=True)
class Reading:
    """What a pattern says.

    shape : one of `SHAPES`. end : `in` or `out` where the shape is `one_end`, otherwise empty.
    outcome : one of `OUTCOMES`; None where the check is not meaningful.
    meaningful : False in a spherical seat and in the half that carries nothing, in place.
    headline : the verdict in one sentence. reasons : why, the deciding one first.
    coverage : share of the length that prints, 0 to 1. columns : the same by column, pump end first.
    arc : see `Arc`. worn_ratio : clearance now over the original one by the worn arc; None without one.
    original_um : the diametral clearance the shell then began with, um; None without a clearance.
    spots : connected areas, the largest first.
    misfit : share of the cells that disagree with the nearest plain lie, 0 to 1.
    rival : the shape that half a cell more or less would have named instead, or empty.
    criteria : whose criteria and since when, in words.
    """

    shape: str
    end: str
    outcome: str | None
    meaningful: bool
    headline: str
    reasons: tuple[Reason, ...]
    coverage: float
    columns: tuple[bool, ...]
    arc: Arc
    worn_ratio: float | None
    original_um: float | None
    spots: tuple[Spot, ...]
    misfit: float
    rival: str
    criteria: str

    @property
    def codes(self) -> tuple[str, ...]:
        """The reasons' codes."""
        return tuple(reason.code for reason in self.reasons)

    def as_dict(self) -> dict[str, Any]:
        """For storing or sending as JSON."""
        return asdict(self)


def read(cells: Any, facts: Facts | None = None, criteria: Criteria | None = None) -> Reading:
    """Read one pattern.

    Parameters
    ----------
    cells : (rows around, columns along) 0 none, 1 light, 2 heavy; 3 to 40 of each.
    facts : how the check was taken; what is not known narrows what can be said.
    criteria : the plant's; the shipped default is common practice with no published source.

    Returns
    -------
    A `Reading`; the same for the same shell turned end for end (`turned`, `Facts.turned`).

    Raises
    ------
    PatternError : cells, facts or criteria outside what is allowed, with a sentence.

    Notes
    -----
    Sources stand beside each reason (`Reason.basis`): geometry of circles, or common practice.

    >>> from inspections.contact import named
    >>> reading = read(named("both_ends"), Facts(in_place=True, half="lower"))
    >>> reading.outcome, reading.spots[0].where
    ('scrape', 'at the pump end, bottom centre')
    """
    facts, criteria = facts or Facts(), criteria or Criteria()
    given = checked(cells)
    rotated = facts.first_end == "out"
    pattern = given[::-1, ::-1] if rotated else given  # from here the pump end comes first
    lie = best(pattern)
    columns, arc = carrying(pattern), print_arc(pattern, facts, criteria)
    coverage = float(columns.mean())
    shape = refined(lie.name, lie.misfit, int(pattern.sum()) <= 1, arc, criteria)
    end = {"first": "in", "last": "out"}.get(lie.end, "") if shape == "one_end" else ""
    rival = lie.rival if shape == lie.name else ""
    found = decide(Case(shape, coverage, arc, facts, criteria, rival))
    code, effect = next((code, effect) for code, effect in found if effect)
    outcome = None if effect == VOID else effect
    areas = spots(pattern, facts.words(), rotated)
    ratio, original = worn(facts)
    values = {
        "end": facts.outer_end if end == "out" else facts.pump_end,
        "rival": LIES.get(rival, ""),
        "misfit": percent(lie.misfit),
        "n_spots": f"{len(areas)} separate area{'' if len(areas) == 1 else 's'}",
        "where": areas[0].where if areas else "nowhere",
        **_figures(coverage, arc, ratio, original, facts, criteria),
    }
    return Reading(
        shape=shape,
        end=end,
        outcome=outcome,
        meaningful=effect != VOID,
        headline=headline(code, outcome, values),
        reasons=tuple(reason(code, values) for code, _ in found),
        coverage=coverage,
        columns=tuple(bool(c) for c in columns),
        arc=arc,
        worn_ratio=ratio,
        original_um=original,
        spots=areas,
        misfit=lie.misfit,
        rival=rival,
        criteria=_whose(criteria),
    )


def carrying(pattern: Pattern) -> NDArray[np.bool_]:
    """(columns,) where something prints low enough in the shell to carry, single cells on
    their own left out.
    """
    around = np.abs(row_angles(len(pattern))) <= CARRIES_DEG
    padded = np.pad(pattern > 0, 1)
    rows, columns = pattern.shape
    neighbours = sum(
        padded[1 + i : 1 + i + rows, 1 + k : 1 + k + columns].astype(int)
        for i in (-1, 0, 1)
        for k in (-1, 0, 1)
        if (i, k) != (0, 0)
    )
    low = (pattern > 0) & around[:, None]
    joined = low & (neighbours > 0)
    return np.asarray((joined if joined.any() else low).any(axis=0))


def print_arc(pattern: Pattern, facts: Facts, criteria: Criteria) -> Arc:
    """How far the print reaches around where it carries, and how far the dye may reach: the middle column's
    say.
    """
    row = SPAN_DEG / len(pattern)
    printed = np.array([rows_printed(column) for column in pattern.T[carrying(pattern)]])
    low, high = np.median(printed, axis=0) * row if printed.size else (0.0, 0.0)
    deg, spread = float(0.5 * (low + high)), float(0.5 * (high - low) * WITHIN_95)
    width = None if facts.journal_mm is None else math.pi * facts.journal_mm * deg / 360.0
    return Arc(deg, deg - spread, min(deg + spread, SPAN_DEG), allowed_arc(facts, criteria), width)


def rows_printed(column: NDArray[np.int8]) -> tuple[float, float]:
    """Fewest and most rows under the longest run of print in one column.

    A cell is tapped once where less than half of it is blue, twice where more is, not at all under a tenth;
    so an edge lies in the last cell of the run, or in the first tenth past it.
    """
    breaks = np.flatnonzero(np.concatenate(([0], column, [0])) == 0)
    runs = [(a, b - 1) for a, b in pairwise(breaks) if b > a + 1]
    # Of two as long the heavier, then the nearer to the middle: the same from whichever side one counts.
    a, b = max(runs, key=lambda r: (r[1] - r[0], column[r[0] : r[1]].sum(), -abs(r[0] + r[1] - len(column))))
    run = column[a:b]
    if len(run) == 1:
        return (0.5, 1.2) if run[0] == HEAVY else (0.1, 0.5)
    inner = run[1:-1]
    heavy, light = int((inner == HEAVY).sum()), int((inner == LIGHT).sum())
    low, high = heavy + 0.1 * light, float(heavy + light)  # faint all over, or cut by a ragged edge
    for edge in (run[0], run[-1]):
        low, high = (low + 0.5, high + 1.1) if edge == HEAVY else (low + 0.1, high + 0.5)
    return low, high


def allowed_arc(facts: Facts, criteria: Criteria) -> tuple[float, float] | None:
    """(from, to) degrees that the thinnest and the thickest film of the class print at this clearance."""
    if facts.clearance_um is None or not facts.film:
        return None
    low, high = (
        film_arc_deg(facts.clearance_um, film, facts.worn_arc_deg or 0.0)
        for film in criteria.film_um[facts.film]
    )
    if facts.bedded_by_hand and facts.worn_arc_deg is None:
        high = max(high, criteria.max_arc_deg)  # bedded over an arc nobody wrote down
    return low, high


def worn(facts: Facts) -> tuple[float | None, float | None]:
    """(clearance now over original, original clearance in um) by the worn arc of a shell never bedded by
    hand.
    """
    if facts.worn_arc_deg is None or facts.bedded_by_hand is not False:
        return None, None
    ratio = clearance_ratio(facts.worn_arc_deg)
    return ratio, None if facts.clearance_um is None else facts.clearance_um / ratio


def _figures(
    coverage: float, arc: Arc, ratio: float | None, original: float | None, facts: Facts, criteria: Criteria
) -> dict[str, str]:
    return {
        "coverage": percent(coverage),
        "min_coverage": percent(criteria.min_coverage),
        "arc": degrees(arc.deg),
        "allowed": between(arc.allowed),
        "allowed_clause": f"; this clearance and film allow {between(arc.allowed)}" if arc.allowed else "",
        "turned": f"{facts.turned_deg or 0:.0f} degrees",
        "max_turn": f"{criteria.max_turn_deg:.0f} degrees",
        "worn": f"{facts.worn_arc_deg or 0:.0f} degrees",
        "ratio": f"{ratio or 0:.2f}",
        "original_clause": f" (about {original:.0f} um then)" if original else "",
    }


def _whose(criteria: Criteria) -> str:
    since = f", from {criteria.from_on.isoformat()}" if criteria.from_on else ""
    return f"{criteria.author}{since}: {criteria.basis}"
