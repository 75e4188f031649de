"""Reads a contact print by the causes that could have made it: cells and facts in; weights, outcome and words
out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from .check import Check
from .criteria import Criteria
from .evidence import weigh
from .library import PARTS
from .outcome import Earlier, Print, bare, decide, void
from .outcome_words import Sentences, sentences
from .pattern import checked
from .places import Place, covered, places, reach_deg
from .shared_table import VERSION
from .taps import table

OUTCOMES = ("acceptable", "scrape", "alignment", "seat", "measure", "repeat")


@dataclass(frozen=True)
class PrintReading:
    """What a print says.

    outcome : one of `OUTCOMES`; None where the check is not meaningful. code : why, a key of the table.
    engineer : the shell must not be scraped, or it is not known: ask the engineer before anything is done.
    words : headline and four sentences.
    causes : (name, probability in thousandths), the likeliest first; empty where nothing was read.
    end : `in` (pump end) or `out` where it carries at one end. side : `first` or `last` row of the picture
        as given where the shaft lies to one side. Otherwise empty.
    drawn : (rows, columns) share of each cell in the best single print of the likeliest cause, in the
        picture as given; None where nothing was read.
    coverage : share of the length that carries, 0 to 1. arc_deg : how far it reaches around.
    places : the areas that print, the pump end first. version : of causes, bars and words.
    """

    outcome: str | None
    code: str
    engineer: bool
    words: Sentences
    causes: tuple[tuple[str, int], ...]
    end: str
    side: str
    drawn: tuple[tuple[float, ...], ...] | None
    coverage: float
    arc_deg: float
    places: tuple[Place, ...]
    version: str = VERSION

    def as_earlier(self) -> Earlier:
        """What the next print of the same visit is held against."""
        return Earlier(self.code, self.places)

    def as_dict(self) -> dict[str, Any]:
        """For storing or sending as JSON."""
        return asdict(self)


def prepare(rows: int = 5, columns: int = 7) -> None:
    """Make the library and the tables of a grid, so that the first print of a process is read as fast as the
    next.
    """
    for part in PARTS:
        table(part, rows, columns)


def read_print(
    cells: Any,
    check: Check | None = None,
    criteria: Criteria | None = None,
    earlier: Sequence[Earlier] = (),
) -> PrintReading:
    """Read one print.

    Parameters
    ----------
    cells : (rows around, columns along) 0 none, 1 light (under half of the cell is blue), 2 heavy; 3 to 40 of
    each.
    check : how it was taken and what the record knows; what is not known narrows what can be said.
    criteria : the plant's; least coverage, largest turn and films hold, and arcs where the plant set them.
    earlier : prints of the same visit before this one; a high spot is scraped only where it came back.

    Returns
    -------
    A `PrintReading`; the same for the same shell turned end for end (`pattern.turned`, `Check.turned`).

    Raises
    ------
    PatternError : cells, check or criteria outside what is allowed, with a sentence.

    Notes
    -----
    Probabilities are rounded to thousandths before any rule looks at them: the server and a page without
    network come to one outcome. Geometry of rigid bodies, own derivation; advice: common practice, no
    published source.

    >>> marks = [[0] * 7, [2, 1] + [0] * 5, [2, 2, 1] + [0] * 4, [2, 1] + [0] * 5, [0] * 7]
    >>> reading = read_print(marks, Check(in_place=True, clearance_um=150, film="normal", first_end="in"))
    >>> reading.outcome, reading.causes[0][0], reading.end
    ('alignment', 'tilt', 'in')
    """
    check, criteria = check or Check(), criteria or Criteria()
    given = checked(cells)
    pattern = given[::-1, ::-1] if check.rotated else given  # from here the pump end comes first
    live = ~check.silent(*pattern.shape)
    evidence = weigh(pattern, check, criteria)
    p = Print(pattern, check, criteria, evidence, check.journal(criteria), tuple(earlier))
    decision = decide(p)
    unread = bool(void(check)) or bare(pattern, live)
    first = "" if unread else evidence.ranked[0]
    drawn = evidence.best[::-1, ::-1] if check.rotated else evidence.best
    carries = covered(pattern, live)[live.any(axis=0)]
    last_side = (evidence.last_side >= 0.5) != check.rotated
    return PrintReading(
        outcome=decision.outcome or None,
        code=decision.code,
        engineer=decision.engineer,
        words=sentences(p, decision),
        causes=() if unread else tuple((name, evidence.per_mille[name]) for name in evidence.ranked),
        end=("out" if evidence.last_end >= 0.5 else "in") if first == "tilt" else "",
        side=("last" if last_side else "first") if first == "side" else "",
        drawn=None if unread else _thousandths(drawn),
        coverage=float(carries.mean()) if carries.size else 0.0,
        arc_deg=reach_deg(pattern, live),
        places=places(np.where(live, pattern, 0)),
    )


def _thousandths(drawn: np.ndarray[Any, Any]) -> tuple[tuple[float, ...], ...]:
    """Rounded to thousandths, halves up, as the page without network does."""
    return tuple(tuple(math.floor(1000.0 * v + 0.500001) / 1000.0 for v in row) for row in drawn.tolist())
