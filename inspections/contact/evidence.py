"""How far each cause explains a print: a sum over the library, weighted by the facts."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .causes import CAUSES, families, level, parts, prior, weights
from .check import Check, grooved
from .criteria import Criteria
from .library import library
from .pattern import BLUE, Pattern
from .press import FloatArray
from .shared_table import TABLE
from .taps import STEPS, overlaps, shares, table

_FACTS = TABLE["facts"]
MOST_ROWS, MOST_COLUMNS = 14, 20  # the library's points tell no more; a finer print is read in these cells
UNLIKE = float(_FACTS["unlike"])  # share of real prints that the library has no like of: they tell nothing
LIKE = 1.0 - UNLIKE
LEAST_LIKELY = -700.0  # below it a likelihood is nothing, but never none at all
FLIPS = ((False, False), (True, False), (False, True), (True, True))  # sides, ends


@dataclass(frozen=True)
class Evidence:
    """What the print and the facts say together, the pump end first.

    per_mille : each cause's probability in whole thousandths, rounded before any rule looks at them.
    last_end, last_side : share of the evidence of a tilt in which it carries at the last column's end, and of
        the evidence of a shaft to one side in which it lies to the last row's, 0 to 1.
    best : (rows, columns) share of each cell that the best single print of the top cause covers, 0 to 1.
    """

    per_mille: dict[str, int]
    last_end: float
    last_side: float
    best: FloatArray

    @property
    def ranked(self) -> tuple[str, ...]:
        """The causes, the likeliest first; of two alike the one that stands first in the table."""
        return tuple(sorted(CAUSES, key=lambda c: -self.per_mille[c]))


@dataclass(frozen=True)
class _Case:
    """Logarithms of the likelihood of one part under one mask: (4 flips, N)."""

    part: str
    share: float
    likelihood: FloatArray


def weigh(pattern: Pattern, check: Check, criteria: Criteria) -> Evidence:
    """Weigh every cause.

    Parameters
    ----------
    pattern : (rows, columns) 0, 1, 2 with the pump end first. check : how it was taken.

    Notes
    -----
    `ln L = beta sum ln P(tap | print)` over the cells that can say something; beta 0.7, and with more than
    35 cells less, because cells of one print err together. The evidence of a cause is the mean of L over
    its prints and their four flips, weighted by how far they fit the facts. A share of prints is unlike all
    of
    the library and leaves the causes as they were before: no cause is ever surer than that. The smallest of a
    print's four
    flips in the order of its cells is the one looked at, so that a turned shell gives the same numbers.
    """
    shape = pattern.shape
    pattern, silent = coarsened(pattern, check.silent(*shape))
    flip = _canonical(pattern, silent)
    cells, mask = _flipped(pattern, flip), _flipped(silent, flip)
    where = level(check, criteria)
    cases = list(_cases(cells, mask, check))
    top = max(float(case.likelihood.max()) for case in cases)
    sums = {cause: np.zeros(len(FLIPS)) for cause in CAUSES}
    best: dict[str, tuple[float, str, int, int]] = {}
    for case in cases:
        ranges = table(case.part, *cells.shape)[1]
        likelihood = np.exp(np.maximum(case.likelihood - top, LEAST_LIKELY))
        for cause in CAUSES:
            weight = weights(cause, case.part, check, where)
            total = float(weight.sum())
            for family in families(cause) if total > 1e-9 else ():
                fit = likelihood[:, ranges[family]] * weight
                sums[cause] += case.share * fit.sum(axis=1) / (total * len(families(cause)))
                k = int(fit.argmax())
                worth = float(fit.flat[k]) * case.share / total
                if cause not in best or worth > best[cause][0]:
                    best[cause] = (
                        worth,
                        case.part,
                        k // fit.shape[1],
                        _number(cause, case.part, k % fit.shape[1]),
                    )
    return _evidence(sums, best, check, flip, shape)


def coarsened(pattern: Pattern, silent: NDArray[np.bool_]) -> tuple[Pattern, NDArray[np.bool_]]:
    """The print and its silent cells in at most 14 by 20 cells: a cell counts as it would be tapped.

    >>> [grid.shape for grid in coarsened(np.zeros((40, 7), np.int8), np.zeros((40, 7), bool))]
    [(14, 7), (14, 7)]
    """
    rows, columns = pattern.shape
    if rows <= MOST_ROWS and columns <= MOST_COLUMNS:
        return pattern, silent
    around = overlaps(min(rows, MOST_ROWS), rows)
    along = overlaps(min(columns, MOST_COLUMNS), columns).T
    blue = around @ np.array(BLUE)[pattern] @ along + 1e-9
    marks = (blue >= 0.1).astype(np.int8) + (blue >= 0.5).astype(np.int8)
    return marks, np.asarray(around @ silent.astype(float) @ along + 1e-9 >= 0.5)


def _number(cause: str, part: str, k: int) -> int:
    """Which print of a part is the k-th of a cause's family; a print with uneven dye is the straight one."""
    family = families(cause)[0]
    start = library(part).ranges["straight" if family.startswith("uneven") else family].start
    return int(start) + k


def _evidence(
    sums: dict[str, FloatArray],
    best: dict[str, tuple[float, str, int, int]],
    check: Check,
    flip: tuple[bool, bool],
    shape: tuple[int, ...],
) -> Evidence:
    priors = {cause: prior(cause, check) for cause in CAUSES}
    raw = {cause: priors[cause] * float(sums[cause].sum()) for cause in CAUSES}
    total, before = sum(raw.values()), sum(priors.values())
    per_mille = {
        cause: math.floor(1000.0 * (LIKE * raw[cause] / total + UNLIKE * priors[cause] / before) + 0.5)
        for cause in CAUSES
    }
    first = sorted(CAUSES, key=lambda c: -per_mille[c])[0]
    # A library print lies to the last row and carries at the last column.
    side = _share(sums["side"], [sides == flip[0] for sides, _ in FLIPS])
    end = _share(sums["tilt"], [ends == flip[1] for _, ends in FLIPS])
    _, part, k, number = best[first]
    drawn = shares(library(part).closeness[number : number + 1] > 0, *shape)[0]
    return Evidence(per_mille, end, side, _flipped(_flipped(drawn, FLIPS[k]), flip))


def _share(by_flip: FloatArray, counted: list[bool]) -> float:
    """To millionths, so that a print that is alike from both ends reads alike from both."""
    share = sum(float(s) for s, counts in zip(by_flip, counted, strict=True) if counts)
    share /= max(float(by_flip.sum()), 1e-300)
    return math.floor(1e6 * share + 0.5) / 1e6


def _cases(cells: Pattern, mask: NDArray[np.bool_], check: Check) -> Iterator[_Case]:
    for part, share in parts(check).items():
        whole = _sums(cells, mask, part)
        n = int((~mask).sum())
        unknown = _FACTS["groove_not_said"] if check.groove is None else 0.0
        yield _Case(part, share * (1.0 - unknown), _scaled(whole, n))
        if unknown:
            middle = 0.5 * _FACTS["groove_length"]
            ring = grooved(cells.shape[1], 0.5 - middle, 0.5 + middle)[None, :] | np.zeros_like(mask)
            inside = ring & ~mask
            hidden = int(inside.sum())
            rest = (
                whole - _sums(cells, ~inside, part) + math.floor(_FACTS["masked_cell"] * STEPS + 0.5) * hidden
            )
            yield _Case(part, share * unknown, _scaled(rest, n - hidden))


def _sums(cells: Pattern, mask: NDArray[np.bool_], part: str) -> NDArray[np.int64]:
    """(4, N) sum over the cells outside the mask, in steps, for each flip of the print as seen."""
    logs, _ = table(part, *cells.shape)
    numbers = 3 * np.arange(cells.size).reshape(cells.shape)
    sums = np.zeros((len(FLIPS), logs.shape[1]), dtype=np.int64)
    for k, flip in enumerate(FLIPS):
        seen, live = _flipped(cells, flip), ~_flipped(mask, flip)
        sums[k] = logs[(numbers + seen)[live]].sum(axis=0, dtype=np.int32)
    return sums


def _scaled(sums: NDArray[np.int64], n_live: int) -> FloatArray:
    beta = _FACTS["beta"] * min(1.0, math.sqrt(_FACTS["beta_cells"] / max(n_live, 1)))
    return np.asarray(sums * (beta / STEPS))


def _canonical(pattern: Pattern, silent: NDArray[np.bool_]) -> tuple[bool, bool]:
    def order(flip: tuple[bool, bool]) -> tuple[list[int], list[bool]]:
        return _flipped(pattern, flip).ravel().tolist(), _flipped(silent, flip).ravel().tolist()

    return min(FLIPS, key=order)


def _flipped(grid: NDArray[Any], flip: tuple[bool, bool]) -> NDArray[Any]:
    return grid[:: -1 if flip[0] else 1, :: -1 if flip[1] else 1]
