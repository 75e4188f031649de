"""Effects of class, site, service and position on the log rate, by Laplace's method.

Each bearing's log evidence as a function of its expected log rate is taken as quadratic (three passes of
the filter); the effects, the log median among them, are then a Gaussian linear model.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve

from .arrays import FloatArray, Histories, IntArray
from .parameters import FACTORS, LOG_RATE_PRIOR

STEP = 0.15  # log rate: how far aside the evidence is looked at for its slope and bend
SIGMA_PRIOR = (float(np.log(0.3)), 0.5)


@dataclass(frozen=True)
class Design:
    """Which effects act on which bearing: columns (B, F+1) into levels; the first is the mean."""

    levels: tuple[tuple[str, int], ...]
    factors: tuple[str, ...]
    factor_of: IntArray  # (n,) index into factors of each level, -1 for the mean
    columns: IntArray  # (B, F+1), -1 where unknown
    aliased: tuple[tuple[str, str], ...]

    @property
    def n(self) -> int:
        """Number of effects."""
        return len(self.levels)


def design(h: Histories, informed: np.ndarray) -> Design:
    """Effects the fleet can show: factors with two levels or more; those that cannot be parted are one."""
    levels: list[tuple[str, int]] = [("mean", -1)]
    factors: list[str] = []
    factor_of, columns, aliased = [-1], [np.zeros(h.n_bearings, dtype=np.int64)], []
    partitions: list[np.ndarray] = []
    for factor in FACTORS:
        codes = getattr(h, factor)
        seen = np.unique(codes[informed & (codes >= 0)])
        if len(seen) < 2:
            continue
        twin = next((f for f, p in zip(factors, partitions, strict=True) if _same(codes, p, informed)), None)
        if twin:
            aliased.append((twin, factor))
            continue
        place = np.searchsorted(seen, codes)
        known = (codes >= 0) & (seen[np.minimum(place, len(seen) - 1)] == codes)
        columns.append(np.where(known, place + len(levels), -1))
        factor_of += [len(factors)] * len(seen)
        levels += [(factor, int(code)) for code in seen]
        factors.append(factor)
        partitions.append(codes)
    return Design(
        tuple(levels), tuple(factors), np.array(factor_of), np.stack(columns, axis=1), tuple(aliased)
    )


def _same(a: np.ndarray, b: np.ndarray, informed: np.ndarray) -> bool:
    pairs = np.unique(np.stack([a[informed], b[informed]]), axis=1).shape[1]
    return pairs == len(np.unique(a[informed])) == len(np.unique(b[informed]))


def expected(d: Design, u: FloatArray) -> FloatArray:
    """(B,) expected log rate under effects u (n,)."""
    return np.where(d.columns >= 0, u[d.columns], 0.0).sum(axis=1)


@dataclass(frozen=True)
class Local:
    """The evidence of each bearing near its expected log rate: value, slope, bend (B,), taken at u (n,)."""

    value: FloatArray
    slope: FloatArray
    bend: FloatArray
    u: FloatArray

    def mixed(self, other: Local, mine: NDArray[np.bool_]) -> Local:
        """This, with the bearings ``mine`` (B,) as another look about the same effects has them."""
        value, slope, bend = (
            np.where(mine, b, a)
            for a, b in zip(
                (self.value, self.slope, self.bend), (other.value, other.slope, other.bend), strict=True
            )
        )
        return Local(value, slope, bend, self.u)


def look(evidence: Callable[[FloatArray], FloatArray], d: Design, u: FloatArray) -> Local:
    """Three passes: the quadratic of each bearing's evidence about ``u``."""
    at = expected(d, u)
    low, middle, high = evidence(at - STEP), evidence(at), evidence(at + STEP)
    bend = np.maximum(-(high - 2.0 * middle + low) / STEP**2, 0.0)
    return Local(middle, (high - low) / (2.0 * STEP), bend, u)


@dataclass(frozen=True)
class Solved:
    """Posterior of the effects: mean (n,), covariance (n, n); and the log marginal likelihood."""

    mean: FloatArray
    cov: FloatArray
    total: float


def solve(local: Local, d: Design, sigma: FloatArray, with_cov: bool = True) -> Solved:
    """Gaussian posterior of the effects for spreads ``sigma`` (F,) of the factors."""
    prior_mean = np.zeros(d.n)
    prior_mean[0] = LOG_RATE_PRIOR[0]
    spread = np.where(d.factor_of >= 0, np.append(sigma, 0.0)[d.factor_of], LOG_RATE_PRIOR[1])
    precision = 1.0 / spread**2
    at = expected(d, local.u)
    joint = np.zeros((d.n, d.n))
    pull = np.zeros(d.n)
    count = d.columns.shape[1]
    for i in range(count):
        one = d.columns[:, i]
        ok = one >= 0
        pull += np.bincount(one[ok], (local.slope + local.bend * at)[ok], minlength=d.n)
        for j in range(count):
            both = ok & (d.columns[:, j] >= 0)
            flat = one[both] * d.n + d.columns[both, j]
            joint += np.bincount(flat, local.bend[both], minlength=d.n * d.n).reshape(d.n, d.n)
    joint[np.diag_indices(d.n)] += precision
    factor = cho_factor(joint)
    mean = cho_solve(factor, pull + precision * prior_mean)
    shift = expected(d, mean) - at
    fit = float(np.sum(local.value + local.slope * shift - 0.5 * local.bend * shift**2))
    away = float(np.sum(precision * (mean - prior_mean) ** 2))
    logdet = 2.0 * float(np.sum(np.log(np.diag(factor[0])))) - float(np.sum(np.log(precision)))
    cov = cho_solve(factor, np.eye(d.n)) if with_cov else np.zeros((0, 0))
    return Solved(mean, cov, fit - 0.5 * away - 0.5 * logdet)


def without_own(
    mean: FloatArray, var: FloatArray, local_mean: FloatArray, slope: FloatArray, bend: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Expected log rate (B,) and its variance with the bearing's own evidence taken out again.

    The fleet's estimate contains every bearing's own readings; a bearing's prior must not. ``slope`` and
    ``bend`` were taken at ``local_mean``.
    """
    share = np.minimum(bend * var, 0.95)
    wide = var / (1.0 - share)
    pull = slope + bend * (local_mean - mean)
    return mean - wide * pull, wide
