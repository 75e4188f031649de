"""The judge's press: a rigid shaft lowered into a rigid half shell, point by point, in um.

Shares nothing with the reader but the grid and the words of a check. Own derivation from circles and planes;
the shapes of crowns, pinched joints and bumps are chosen unlike the reader's. Common practice, no published
source, for what a shell looks like.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog, minimize_scalar

POINTS = (75, 80)  # strata along and around, one scattered point in each
STEEPEST = np.radians(88.0)
NO_METAL_UM = 400.0
Array = NDArray[np.float64]


@dataclass
class Shell:
    """A shaft in a half shell. Lengths in um, angles in radians from the bottom, x from -1 (pump end) to 1.

    r : half of the diametral clearance of the unworn bore; below 0 for a bore smaller than the shaft.
    worn, worn_to, worn_at : depth worn by running, how it grows along, where around it lies.
    tilt, skew : end-to-end difference of the shaft's height and of its place sideways.
    bore_crown, shaft_crown, power : above 0 for a middle that hangs clear. shaft_taper : radius, end to end.
    pinch, pinch_power, unlike, pinch_along : joints drawn in.
    bumps : (x, angle, half-width along, half-width around, height). waves : (height, along, around, phase).
    relief : angle from which the sides are eased, over `relief_share` of the length. groove : shares of the
    length.
    """

    r: float
    worn: float = 0.0
    worn_to: float = 0.0
    worn_at: float = 0.0
    tilt: float = 0.0
    skew: float = 0.0
    oval: float = 0.0
    bore_crown: float = 0.0
    shaft_crown: float = 0.0
    power: float = 2.0
    shaft_taper: float = 0.0
    pinch: float = 0.0
    pinch_power: float = 2.0
    unlike: float = 0.0
    pinch_along: float = 0.0
    bumps: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    waves: list[tuple[float, float, float, float]] = field(default_factory=list)
    relief: float | None = None
    relief_share: float = 0.88  # of the length
    groove: tuple[float, float] | None = None
    at_side: float = 0.0  # angle at which a held shaft lies, or at which a free one is set down
    held: bool = False
    friction: float = 0.1
    mandrel: bool = False


def scattered(rng: np.random.Generator) -> tuple[Array, Array]:
    """(n,) x and (n,) angles: one point somewhere in each stratum."""
    along, around = np.meshgrid(np.arange(POINTS[0]), np.arange(POINTS[1]))
    x = 2.0 * (along + rng.random(along.shape)) / POINTS[0] - 1.0
    a = np.pi * ((around + rng.random(along.shape)) / POINTS[1] - 0.5)
    return x.ravel(), a.ravel()


def shaft_radius(shell: Shell, x: Array) -> Array:
    """(n,) um by which the shaft is larger than its mean size there."""
    hollow = shell.shaft_crown * (1.0 - np.abs(x) ** shell.power)
    return -hollow - 0.5 * shell.shaft_taper * x


def free_gap(shell: Shell, x: Array, a: Array) -> Array:
    """(n,) um between shaft and shell, along the radius, with the shaft in the middle of the bore."""
    depth = shell.worn * np.maximum(1.0 + shell.worn_to * x, 0.0)
    gap = shell.r + shell.bore_crown * (1.0 - np.abs(x) ** shell.power) + shell.oval * np.sin(a) ** 2
    if shell.worn:  # running has taken away what stood in the shaft's way
        gap = np.maximum(gap, (shell.r + depth) * np.cos(a - shell.worn_at))
    gap -= shaft_radius(shell, x)
    sides = 1.0 + shell.unlike * np.sign(a)
    gap -= shell.pinch * np.abs(np.sin(a)) ** shell.pinch_power * sides * (1.0 + shell.pinch_along * x)
    for place, angle, along, around, height in shell.bumps:
        far = np.minimum(np.hypot((x - place) / along, (a - angle) / around), 1.0)
        gap -= height * 0.5 * (1.0 + np.cos(np.pi * far))
    for height, waves_along, waves_around, phase in shell.waves:
        gap += height * np.sin(np.pi * waves_along * x + waves_around * a + phase)
    gap -= 0.5 * shell.tilt * x * np.cos(a) + 0.5 * shell.skew * x * np.sin(a)
    return np.where(metal(shell, x, a), gap, gap + NO_METAL_UM)


def metal(shell: Shell, x: Array, a: Array) -> NDArray[np.bool_]:
    """(n,) where the shell has metal to touch."""
    there = np.ones(len(x), dtype=bool)
    if shell.relief is not None:
        there &= ~((np.abs(a) > shell.relief) & (np.abs(x) < shell.relief_share))
    if shell.groove is not None:
        share = 0.5 * (x + 1.0)
        there &= ~((share > shell.groove[0]) & (share < shell.groove[1]))
    return there


def lowered(shell: Shell, x: Array, a: Array) -> Array:
    """(n,) um left between shaft and shell once it lies in its shell; 0 where it touches."""
    gap = free_gap(shell, x, a)
    return _free(gap, x, a) if shell.mandrel else _in_place(shell, gap, a)


def _in_place(shell: Shell, gap: Array, a: Array) -> Array:
    near = np.abs(a) < STEEPEST
    size = max(shell.r + shell.worn, 5.0)
    start = size * np.sin(shell.at_side)

    def fall(z: float) -> float:
        return float(((gap[near] - z * np.sin(a[near])) / np.cos(a[near])).min())

    def climb(z: float) -> float:
        return shell.friction * abs(z - start) - fall(z)

    z = start
    if not shell.held:
        z = float(minimize_scalar(climb, bounds=(-0.85 * size, 0.85 * size), method="bounded").x)
    return np.maximum(gap - fall(z) * np.cos(a) - z * np.sin(a), 0.0)


def _free(gap: Array, x: Array, a: Array) -> Array:
    """Fall, side, tilt and skew all free: the lowest place, a linear programme with four unknowns."""
    near = np.flatnonzero(np.abs(a) < STEEPEST)[::3]
    rows = np.column_stack((np.cos(a), np.sin(a), x * np.cos(a), x * np.sin(a)))
    wide = max(float(np.median(gap)), 20.0)
    bounds = [(None, None)] + [(-wide, wide)] * 3
    answer = linprog([-1.0, 0.0, 0.0, 0.0], A_ub=rows[near], b_ub=gap[near], bounds=bounds, method="highs")
    left = gap - rows @ answer.x
    inner = np.abs(a) < STEEPEST
    return np.maximum(left - min(float((left[inner] / np.cos(a[inner])).min()), 0.0) * np.cos(a), 0.0)
