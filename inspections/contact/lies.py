"""Which plain way of lying in its shell a shaft would have to print this pattern, stray cells left aside.

One tap in ten may be wrong, so no cell is trusted alone. Each way (along the whole length, at one end, at
both, aslant, up to the joints, in a line, in the middle) is drawn as a band with a few widths and lengths;
the drawing that disagrees with the fewest cells names the pattern. Where none agrees, the print is patchy.
The bands are plain areas, not the film's own shape: the reading must not depend on a model of the dye.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .pattern import Pattern

FloatArray = NDArray[np.float64]

SPAN_DEG = 180.0  # a half shell, joint to joint
HALF_WIDTHS = (9.0, 18.0, 27.0, 36.0, 45.0, 54.0)  # degrees, of a band with edges
FLOODED = (66.0, 80.0, 90.0)
SHIFTS = (-12.0, 0.0, 12.0)  # the bottom of the print off the middle of the shell
SLANTS = (26.0, 34.0, 42.0)  # how far up its side a band has moved at the end
ENDS = (1 / 14, 1 / 7, 2 / 7, 3 / 7)  # lengths of a print at one of two ends
ONE = (1 / 14, 1 / 7, 2 / 7, 3 / 7, 4 / 7, 0.66)
# Cells of the phone's grid that any lie but along the whole length must save before it is believed.
PHONE_CELLS = 35.0
CLOSE = 0.5  # cells of the phone's grid
RESERVE = {"full": 0.0, "flooded": 0.0, "one_end": 0.3, "both_ends": 0.3, "middle": 0.3, "diagonal": 0.3}


@dataclass(frozen=True)
class Lie:
    """The band that fits best: its name, which end it is at, the misfit.

    end : "first" or "last" column's end for `one_end`, otherwise "".
    misfit : share of the cells that disagree, 0 to 1.
    rival : the next best lie where half a cell more or less would have named that one, otherwise "".
    """

    name: str
    end: str
    misfit: float
    rival: str


def best(pattern: Pattern) -> Lie:
    """The lie that disagrees least with the pattern; alike for a shell turned end for end."""
    names, ends, drawings = drawn(*pattern.shape)
    # Rounded, so that sums taken in another order still tie.
    apart = np.round(np.abs(drawings - pattern / 2.0).mean(axis=(1, 2)), 9)
    first, last = (np.flatnonzero((names == "one_end") & (ends == end)) for end in ("first", "last"))
    of = {name: np.flatnonzero(names == name) for name in RESERVE}
    of["one_end"] = first if apart[first].min() < apart[last].min() else last
    nearest = {name: int(k[np.argmin(apart[k])]) for name, k in of.items()}
    if apart[first].min() == apart[last].min():
        del nearest["one_end"]  # as much at one end as at the other is not at one end
    cost = {n: float(apart[i]) + RESERVE[n] / PHONE_CELLS for n, i in nearest.items()}
    name, second = sorted(cost, key=lambda n: cost[n])[:2]
    k = nearest[name]
    rival = second if cost[second] - cost[name] < CLOSE / PHONE_CELLS else ""
    return Lie(name, str(ends[k]), float(apart[k]), rival)


@lru_cache(maxsize=32)
def drawn(rows: int, columns: int) -> tuple[NDArray[np.str_], NDArray[np.str_], FloatArray]:
    """(N,) names, (N,) ends and (N, rows, columns) drawings of every lie on a grid of this size."""
    found: list[tuple[str, str, FloatArray]] = []
    for half, shift in itertools.product(HALF_WIDTHS, SHIFTS):
        around = _band(rows, columns, half, shift, 0.0)
        found.append(("full", "", around))
        for length in ONE:
            along = _stretch(columns, 0.0, length)
            found.append(("one_end", "first", around * along))
            found.append(("one_end", "last", around * along[::-1]))
        for first, last in itertools.product(ENDS, ENDS):
            if first + last < 0.75:
                found.append(("both_ends", "", around * _two_ends(columns, first, last)))
        for low, high in ((2, 4), (3, 5), (2, 5), (1, 5), (2, 6), (3, 4), (1, 6), (1.5, 5.5)):
            if high - low < 5.25:
                found.append(("middle", "", around * _stretch(columns, low / 7, high / 7)))
    for half, slant, sign in itertools.product(HALF_WIDTHS[:-1], SLANTS, (-1, 1)):
        around = _band(rows, columns, half, 0.0, sign * slant)
        found.append(("diagonal", "", around))
        found += [("diagonal", "", around * _two_ends(columns, end, end)) for end in ENDS]
    found += [("flooded", "", _band(rows, columns, half, 0.0, 0.0)) for half in FLOODED]
    names, ends, drawings = zip(*found, strict=True)
    return np.array(names), np.array(ends), np.array(drawings)


def row_angles(rows: int) -> FloatArray:
    """(rows,) degrees of each row's middle from the middle of the shell."""
    return SPAN_DEG * ((np.arange(rows) + 0.5) / rows - 0.5)


def _band(rows: int, columns: int, half: float, shift: float, slant: float) -> FloatArray:
    """(rows, columns) share of each cell inside a band around the shell, aslant along it."""
    z = 2.0 * (np.arange(columns) + 0.5) / columns - 1.0
    middle = (shift + slant * z)[None, :]
    angle, wide = row_angles(rows)[:, None], SPAN_DEG / rows
    low = np.maximum(angle - wide / 2, middle - half)
    high = np.minimum(angle + wide / 2, middle + half)
    return np.clip((high - low) / wide, 0.0, 1.0)


def _stretch(columns: int, low: float, high: float) -> FloatArray:
    """(columns,) share of each column between two places along the shell, 0 to 1."""
    edge = np.arange(columns) / columns
    return np.clip((np.minimum(edge + 1 / columns, high) - np.maximum(edge, low)) * columns, 0.0, 1.0)


def _two_ends(columns: int, first: float, last: float) -> FloatArray:
    return _stretch(columns, 0.0, first) + _stretch(columns, 1.0 - last, 1.0)
