"""Connected areas of print, and where they lie, in words."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from scipy import ndimage

from .lies import row_angles
from .pattern import HEAVY, Pattern

AROUND = np.ones((3, 3), dtype=int)  # cells that meet at a corner are one area
OFF_CENTRE_DEG = 22.5


@dataclass(frozen=True)
class Spot:
    """One connected area of print.

    n_cells, n_heavy : cells printed, and those printed heavily.
    share : of the shell's cells, 0 to 1.
    along : (from, to) along the shell, 0 at the pump end, 1 at the other.
    angle_deg : its middle from the middle of the shell, positive to the right seen from the coupling where
        the side is known, otherwise towards the last row of the picture turned with the pump end first.
    where : the place in words.
    cells : (row, column) in the picture as it was given, from 0.
    """

    n_cells: int
    n_heavy: int
    share: float
    along: tuple[float, float]
    angle_deg: float
    where: str
    cells: tuple[tuple[int, int], ...] = field(compare=False, default=())


@dataclass(frozen=True)
class Words:
    """How the plant calls the two ends, the two sides and the middle of this half."""

    pump_end: str
    outer_end: str
    first_side: str
    last_side: str
    middle: str


def spots(pattern: Pattern, words: Words, rotated: bool) -> tuple[Spot, ...]:
    """Every connected area, the largest first; the pattern lies with the pump end first."""
    areas, count = ndimage.label(pattern > 0, structure=AROUND)
    found = [_spot(pattern, np.argwhere(areas == k + 1), words, rotated) for k in range(count)]
    return tuple(sorted(found, key=lambda s: (-s.n_cells, -s.n_heavy, s.along, s.angle_deg)))


def _spot(pattern: Pattern, cells: np.ndarray, words: Words, rotated: bool) -> Spot:
    rows, columns = pattern.shape
    across, along = cells[:, 0], cells[:, 1]
    span = (float(along.min() / columns), float((along.max() + 1) / columns))
    angle = float(np.round(row_angles(rows)[across].mean(), 6)) + 0.0  # no -0.0
    there = np.array([rows - 1, columns - 1]) - cells if rotated else cells
    return Spot(
        n_cells=len(cells),
        n_heavy=int((pattern[across, along] == HEAVY).sum()),
        share=len(cells) / pattern.size,
        along=span,
        angle_deg=angle,
        where=f"{_along(span, columns, words)}, {_around(angle, words)}",
        cells=tuple(sorted((int(r), int(c)) for r, c in there)),
    )


def _along(span: tuple[float, float], columns: int, words: Words) -> str:
    cell = 1.0 / columns
    first, last = span[0] < 0.5 * cell, span[1] > 1.0 - 0.5 * cell
    if first and last:
        return "from end to end"
    if first or last:
        end = words.pump_end if first else words.outer_end
        return f"at the {end}" if span[1] - span[0] <= 0.5 else f"from the {end} past the middle"
    middle = 0.5 * (span[0] + span[1])
    if abs(middle - 0.5) < 0.18:
        return "in the middle of the length"
    return f"towards the {words.pump_end if middle < 0.5 else words.outer_end}"


def _around(angle: float, words: Words) -> str:
    if abs(angle) < OFF_CENTRE_DEG:
        return words.middle
    return words.first_side if angle < 0 else words.last_side
