"""From the share of a cell that is blue to how a person taps it, as whole numbers that add up alike
everywhere.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from .library import COLUMNS, ROWS, library
from .press import FloatArray

NEXT_DOOR = 0.08  # share of taps that land on a neighbour
STRAY = 0.05  # share of cells tapped for no reason
STRAY_TAPS = (0.72, 0.23, 0.05)  # none, light, heavy
EYE = 0.05  # how sharply a person tells half a cell
# Uneven dye: (share of the print that is missing, share of the cells dabbed).
UNEVEN = ((0.3, 0.08), (0.5, 0.08), (0.5, 0.2), (0.65, 0.12))
DABBED_HEAVY = 0.5
# Logarithms are kept as whole steps, so that sums over cells are exact whatever their order.
STEPS = 1024.0

IntArray = NDArray[np.int16]


def overlaps(cells: int, pieces: int) -> FloatArray:
    """(cells, pieces) share of each cell that each of so many equal pieces of the same length covers."""
    ours, theirs = np.arange(cells)[:, None] / cells, np.arange(pieces)[None, :] / pieces
    common = np.minimum(ours + 1 / cells, theirs + 1 / pieces) - np.maximum(ours, theirs)
    return np.maximum(common, 0.0) * cells


def shares(prints: NDArray[np.bool_], rows: int, columns: int) -> FloatArray:
    """(N, rows, columns) share of each cell's area inside each of (N, ROWS, COLUMNS) prints, 0 to 1."""
    return np.asarray(overlaps(rows, ROWS) @ prints.astype(float) @ overlaps(columns, COLUMNS).T)


def darkness(closeness: NDArray[np.uint8], share: FloatArray) -> FloatArray:
    """(N, rows, columns) how dark what prints of each cell is, 0 to 1; 0 where nothing prints."""
    rows, columns = share.shape[1:]
    total = overlaps(rows, ROWS) @ (closeness / 255.0) @ overlaps(columns, COLUMNS).T
    return np.asarray(np.where(share > 1e-9, total / np.maximum(share, 1e-9), 0.0))


def chances(
    share: FloatArray, least: FloatArray, heavy: FloatArray, measure: FloatArray | None = None
) -> FloatArray:
    """(3, N, rows, columns) chance of no tap, a light and a heavy one, before slips.

    Parameters
    ----------
    share : (N, rows, columns) of each cell inside the print. least, heavy : (N,) the person's own eye.
    measure : (N, rows, columns) what a second tap goes by where it is not the share.
    """
    least, heavy = least[:, None, None], heavy[:, None, None]
    marked = np.minimum(1.05 * share / (share + least), 0.995)
    measure = share if measure is None else measure
    twice = np.minimum(0.94 / (1.0 + np.exp(-(measure - heavy) / EYE)), marked)
    return np.stack([1.0 - marked, marked - twice, twice])


def uneven(chance: FloatArray, missing: float, dabbed: float) -> FloatArray:
    """The same where dye is missing in places and dabbed on in others."""
    kept = (1.0 - missing) * chance
    kept[0] += missing
    dab = np.array([0.0, 1.0 - DABBED_HEAVY, DABBED_HEAVY])[:, None, None, None]
    return np.asarray((1.0 - dabbed) * kept + dabbed * dab)


def slips(chance: FloatArray) -> FloatArray:
    """The same with taps on the cell next door and stray marks."""
    stray = np.array(STRAY_TAPS)[:, None, None, None]
    return (1.0 - STRAY) * ((1.0 - NEXT_DOOR) * chance + NEXT_DOOR * _neighbours(chance)) + STRAY * stray


def _neighbours(chance: FloatArray) -> FloatArray:
    """Mean over the cells above, below, before and behind."""
    rows, columns = chance.shape[-2:]
    total, count = np.zeros_like(chance), np.zeros((rows, columns))
    for into, out_of in ((np.s_[1:, :], np.s_[:-1, :]), (np.s_[:, 1:], np.s_[:, :-1])):
        for ours, theirs in ((into, out_of), (out_of, into)):
            total[..., ours[0], ours[1]] += chance[..., theirs[0], theirs[1]]
            count[ours] += 1
    return total / count


def logarithms(chance: FloatArray) -> IntArray:
    """(rows * columns * 3, N) natural logarithms in whole steps of 1/1024; row 3 * cell + tap."""
    whole = np.floor(np.log(chance) * STEPS + 0.5).astype(np.int16)
    taps, n, rows, columns = whole.shape
    return np.ascontiguousarray(whole.transpose(2, 3, 0, 1).reshape(rows * columns * taps, n))


@lru_cache(maxsize=4)
def table(part: str, rows: int, columns: int) -> tuple[IntArray, dict[str, slice]]:
    """Logarithms of every tap in every cell for a part of the library, and where each family stands.

    Parameters
    ----------
    part : `bored` or `worn`. rows, columns : cells around and along.

    Returns
    -------
    (rows * columns * 3, N) in steps, and the columns of each family; after the library's own prints come
    the straight ones with uneven dye, `uneven0` to `uneven3`.
    """
    prints = library(part)
    blocks, ranges, start = [], dict(prints.ranges), len(prints.closeness)
    patchy: list[list[IntArray]] = [[] for _ in UNEVEN]
    for family, where in prints.ranges.items():
        close, dark = prints.closeness[where], prints.by_darkness[where]
        share = shares(close > 0, rows, columns)
        measure = share.copy()
        measure[dark] = darkness(close[dark], share[dark])
        chance = chances(share, prints.least_share[where], prints.heavy_share[where], measure)
        blocks.append(logarithms(slips(chance)))
        if family == "straight":
            patchy = [[logarithms(slips(uneven(chance, *kind)))] for kind in UNEVEN]
    for k, block in enumerate(patchy):
        ranges[f"uneven{k}"] = slice(start, start + block[0].shape[1])
        start += block[0].shape[1]
        blocks += block
    return np.concatenate(blocks, axis=1), ranges
