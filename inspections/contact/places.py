"""Where a print lies in its shell: separate areas, the length they cover, how far they reach around."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from .pattern import Pattern

HALF_DEG = 90.0


@dataclass(frozen=True)
class Place:
    """One area that prints. along : its middle, 0 at the pump end to 1. angle_deg : from the bottom, towards
    the last row.

    first, last : where it begins and ends along, 0 to 1. weight : cells, heavy ones twice.
    """

    along: float
    angle_deg: float
    first: float
    last: float
    weight: int


def angles_deg(rows: int) -> NDArray[np.float64]:
    """(rows,) degrees of each row's middle from the bottom."""
    return 2.0 * HALF_DEG * ((np.arange(rows) + 0.5) / rows - 0.5)


def places(pattern: Pattern) -> tuple[Place, ...]:
    """Every area whose cells meet at a side or a corner, the heaviest first; the pump end comes first.

    >>> [(p.along, p.angle_deg) for p in places(np.array([[0, 0, 0], [0, 0, 2], [0, 0, 0]]))]
    [(0.833, 0.0)]
    """
    rows, columns = pattern.shape
    labels, count = ndimage.label(pattern > 0, structure=np.ones((3, 3), dtype=int))
    found = []
    for k in range(1, count + 1):
        row, column = np.nonzero(labels == k)
        weight = pattern[row, column].astype(float)
        total = float(weight.sum())
        found.append(
            Place(
                along=_to(1000.0, float((weight * (column + 0.5)).sum()) / total / columns),
                angle_deg=_to(10.0, float((weight * (row + 0.5)).sum()) / total / rows * 180.0 - 90.0),
                first=float(column.min() / columns),
                last=float((column.max() + 1) / columns),
                weight=int(total),
            )
        )
    return tuple(sorted(found, key=lambda p: (-p.weight, p.along, p.angle_deg)))


def _to(steps: float, value: float) -> float:
    """To whole parts of so many, halves up: the same in every language, and no -0.0."""
    return math.floor(value * steps + 0.5) / steps + 0.0


def covered(pattern: Pattern, live: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(columns,) where something prints low enough in the shell to carry, single cells on
    their own left out.
    """
    low = (np.abs(angles_deg(len(pattern))) <= 60.0)[:, None] & (pattern > 0) & live
    padded = np.pad((pattern > 0) & live, 1).astype(int)
    rows, columns = pattern.shape
    near = (
        sum(padded[1 + i : 1 + i + rows, 1 + k : 1 + k + columns] for i in (-1, 0, 1) for k in (-1, 0, 1)) - 1
    )
    joined = low & (near > 0)
    return np.asarray((joined if joined.any() else low).any(axis=0))


def reach_deg(pattern: Pattern, live: NDArray[np.bool_]) -> float:
    """Degrees around that the print reaches in the middle one of the columns that print."""
    marked = np.where(live, pattern, 0)
    around = ((marked > 0) * 1.0 - 0.25 * (marked == 1)).sum(axis=0)
    around = np.sort(around[around > 0])
    return float(np.median(around) * 180.0 / len(pattern)) if around.size else 0.0
