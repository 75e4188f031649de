"""From the gap to the taps: dye, mottled metal, stray dabs, and a person with thresholds of their own."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from .judge_press import Array, Shell, lowered, metal, scattered


@dataclass(frozen=True)
class Dye:
    """film : um in the middle. along, around : shares by which it varies. blotched : laid on in blotches.

    mottle : share of the metal that lies low. turned : radians the shaft was turned while pressed.
    """

    film: float
    along: float = 0.0
    around: float = 0.0
    mottle: float = 0.0
    turned: float = 0.0
    blotched: bool = False


@dataclass(frozen=True)
class Person:
    """Shares of a cell from which it is tapped light and heavy; whether by darkness; how
    often a tap slips.
    """

    light: float
    heavy: float
    by_darkness: bool
    noise: float
    slips: float
    dabs: float


def person(rng: np.random.Generator) -> Person:
    """Somebody at an open bearing."""
    dark = bool(rng.random() < 0.25)
    heavy = rng.uniform(0.2, 0.36) if dark else rng.uniform(0.38, 0.62)
    return Person(rng.uniform(0.02, 0.14), heavy, dark, 0.03, rng.uniform(0.0, 0.05), 0.8)


def careful() -> Person:
    """Nobody's hand shakes: for the named prints."""
    return Person(0.07, 0.5, False, 0.0, 0.0, 0.0)


@dataclass(frozen=True)
class Blue:
    """cells : (rows, columns) pump end first, first row at -90 degrees. wide : share of 14 slices along with
    blue.

    bare_end : either end seventh has none. bridged : the bottom hangs clear.
    """

    cells: NDArray[np.int8]
    wide: float
    bare_end: bool
    bridged: bool


def film_at(dye: Dye, x: Array, a: Array, rng: np.random.Generator) -> Array:
    """(n,) um of dye on the shaft where it meets each point."""
    film = dye.film * (1.0 + dye.along * x) * (1.0 + dye.around * np.sin(a + rng.uniform(0.0, 6.3)))
    if not dye.blotched:
        return film
    height = np.zeros_like(x)
    for _ in range(14):
        place, angle = rng.uniform(-1.0, 1.0), rng.uniform(-1.5, 1.5)
        wide, reach = rng.uniform(0.12, 0.35), rng.uniform(0.15, 0.45)
        height += rng.choice((-1.0, 1.0)) * np.exp(-(((x - place) / wide) ** 2) - ((a - angle) / reach) ** 2)
    return np.where(height > 0.15, film * rng.uniform(1.5, 5.0), np.where(height > -0.05, 0.3 * film, 0.0))


def pressed(shell: Shell, dye: Dye, who: Person, shape: tuple[int, int], rng: np.random.Generator) -> Blue:
    """One print of this shaft, as this person taps it on a grid of this shape."""
    x, a = scattered(rng)
    film, gap = film_at(dye, x, a, rng), lowered(shell, x, a)
    if dye.turned and not shell.mandrel:  # a shaft that is turned rolls a little up its shell
        gap = np.minimum(gap, lowered(replace(shell, at_side=shell.at_side + 0.5 * dye.turned), x, a))
    there = metal(shell, x, a)
    blue = (gap < film) & there & (rng.random(len(x)) >= dye.mottle)
    dark = np.where(blue, 1.0 - 0.85 * gap / np.maximum(film, 1e-6), 0.0)
    bottom = there & (np.abs(a) < np.radians(10.0))
    bridged = float(blue[bottom].mean()) < 0.05
    slices = np.bincount(np.minimum((7.0 * (x + 1.0)).astype(int), 13), blue, 14)
    for _ in range(rng.poisson(who.dabs)):
        far = np.hypot(
            (x - rng.uniform(-1, 1)) / rng.uniform(0.05, 0.16), (a - rng.uniform(-1.5, 1.5)) / 0.14
        )
        blue |= (far < 1.0) & there
        dark[far < 1.0] = 0.7
    cells = _tapped(dark if who.by_darkness else blue.astype(float), there, x, a, who, shape, rng)
    bare = min(slices[:2].sum(), slices[-2:].sum()) < 2
    return Blue(cells, float((slices >= 2).mean()), bool(bare), bridged)


def _tapped(
    seen: Array,
    there: NDArray[np.bool_],
    x: Array,
    a: Array,
    who: Person,
    shape: tuple[int, int],
    rng: np.random.Generator,
) -> NDArray[np.int8]:
    rows, columns = shape
    row = np.minimum(((a / np.pi + 0.5) * rows).astype(int), rows - 1)
    column = np.minimum((0.5 * (x + 1.0) * columns).astype(int), columns - 1)
    cell, size = row * columns + column, rows * columns
    counted = np.maximum(np.bincount(cell, there, size), 1.0)  # people judge a cell by the metal in it
    share = np.bincount(cell, seen * there, size) / counted
    share = np.where(share > 0.0, share + who.noise * rng.normal(size=size), 0.0)
    taps = (share >= who.light).astype(int) + (share >= who.heavy)
    slipped = rng.random(size) < who.slips
    step = rng.choice((-1, 1), size)
    moved = np.where(taps == 1, taps + step, 1)  # one step up or down; an empty cell is seldom tapped
    slipped &= (taps > 0) | (rng.random(size) < 0.4)
    return np.where(slipped, moved, taps).reshape(shape).astype(np.int8)
