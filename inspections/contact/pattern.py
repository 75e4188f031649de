"""A contact pattern as a grid of cells, and the shells that are drawn for the first tap."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Pattern = NDArray[np.int8]  # (rows around the shell, columns along it): 0 none, 1 light, 2 heavy

NONE, LIGHT, HEAVY = 0, 1, 2
ROWS, COLUMNS = 5, 7
FEWEST, MOST = 3, 40  # cells a side: two ends and a middle, and what a picture needs at most

# Drawn on the phone's grid, joint at the top and at the bottom, first end at the left.
DRAWN = {
    "full_length": (".......", "+++++++", "#######", "+++++++", "......."),
    "both_ends": (".......", "#.....#", "#+...+#", "#.....#", "......."),
    "one_end": (".......", "##.....", "###....", "##.....", "......."),
    "other_end": (".......", ".....##", "....###", ".....##", "......."),
    "diagonal": (".......", "##+....", ".+#+#+.", "....+##", "......."),
    "other_diagonal": (".......", "....+##", ".+#+#+.", "##+....", "......."),
    "up_the_sides": ("#######", "+++++++", ".......", "+++++++", "#######"),
    "upper_side": (".......", "#######", "++...++", ".......", "......."),
    "lower_side": (".......", ".......", "++...++", "#######", "......."),
    "middle": (".......", "..+#+..", ".+###+.", "..+#+..", "......."),
    "patchy": ("..#...+", "#...#..", ".#.+..#", "..#..#.", "+...#.."),
    "flooded": ("#######", "#######", "#######", "#######", "#######"),
    "narrow": (".......", ".......", "#######", ".......", "......."),
    "nothing": (".......", ".......", ".......", ".......", "......."),
}
NAMES = tuple(DRAWN)
MARKS = ".+#"
BLUE = (
    0.0,
    0.3,
    1.0,
)  # how much of a cell is printed where it is tapped not at all, once (under half), twice


class PatternError(ValueError):
    """A grid that is no pattern; the sentence says what was found, what is allowed and what to do."""


def named(name: str, rows: int = ROWS, columns: int = COLUMNS) -> Pattern:
    """One of the drawn shells, on a grid of this size.

    Parameters
    ----------
    name : one of `NAMES`; `one_end` is the end of the first column.
    rows, columns : cells around and along, 3 to 40 each.

    Returns
    -------
    (rows, columns) 0 none, 1 light, 2 heavy.

    >>> named("narrow", 3, 5).tolist()
    [[0, 0, 0, 0, 0], [2, 2, 2, 2, 2], [0, 0, 0, 0, 0]]
    """
    if name not in DRAWN:
        raise PatternError(f"No pattern is called {name!r}. Choose one of {', '.join(NAMES)}.")
    _sizes(rows, columns)
    drawing = np.array([[BLUE[MARKS.index(mark)] for mark in line] for line in DRAWN[name]])
    blue = np.round(_shares(rows, ROWS) @ drawing @ _shares(columns, COLUMNS).T, 9)
    return ((blue >= 0.1).astype(np.int8) + (blue >= 0.5)).astype(np.int8)


def checked(cells: Any) -> Pattern:
    """The cells as a grid of 0, 1 and 2, or a sentence about what is wrong with them."""
    try:
        grid = np.asarray(cells, dtype=float)
    except (TypeError, ValueError):
        raise PatternError(
            "The pattern is not a table of numbers with rows of one length. Send rows of 0, 1 and 2."
        ) from None
    if grid.ndim != 2:
        raise PatternError(f"The pattern has {grid.ndim} dimensions. Send rows around by columns along.")
    _sizes(*grid.shape)
    odd = ~np.isin(grid, (NONE, LIGHT, HEAVY))
    if odd.any():
        row, column = (int(k) for k in np.argwhere(odd)[0])
        raise PatternError(
            f"Row {row + 1}, column {column + 1} holds {grid[row, column]:g}. "
            "A cell is 0 (none), 1 (light) or 2 (heavy): mend it."
        )
    return grid.astype(np.int8)


def turned(cells: Any) -> Pattern:
    """The same shell turned end for end: its ends change places, and so do its two sides."""
    return checked(cells)[::-1, ::-1].copy()


def text(cells: Any) -> str:
    """The pattern as lines of `.`, `+` and `#`, for print and for whoever cannot see the picture."""
    return "\n".join("".join(MARKS[k] for k in row) for row in checked(cells))


def _sizes(rows: int, columns: int) -> None:
    if not (FEWEST <= rows <= MOST and FEWEST <= columns <= MOST):
        raise PatternError(
            f"The pattern has {rows} rows and {columns} columns. "
            f"It may have {FEWEST} to {MOST} of each; {ROWS} by {COLUMNS} is usual."
        )


def _shares(cells: int, drawn: int) -> NDArray[np.float64]:
    """(cells, drawn) which share of each cell lies in each drawn cell."""
    ours, theirs = np.arange(cells)[:, None] / cells, np.arange(drawn)[None, :] / drawn
    overlap = np.minimum(ours + 1 / cells, theirs + 1 / drawn) - np.maximum(ours, theirs)
    return np.maximum(overlap, 0.0) * cells
