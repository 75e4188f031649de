"""How rates are spread beyond the normal bell: a bend of the standardised log rate, and a share of outlying
bearings.

log rate = expected + tau x(z), z standard normal. The slope x'(z) is exp(theta(z)), theta linear between
knots; theta = 0 is the normal bell, a long slope a gap between two kinds of bearings, unequal ends a skewed
spread. z keeps its meaning, so the memory between lives stays as it is. x(0) = 0: the expected log rate stays
that of the median; x has unit variance, so tau stays the spread of log rates.

A few bearings wear several times faster than the rest (misaligned, starved of oil). Standardised log rates
are then (1 - e) N(0, 1) + e N(0, k^2): z stays standard normal on its nodes, and what it multiplies is the
mixture's quantile Q(Phi(z)). tau stays the spread of the bulk. A bearing is outlying by its place, so
that its next life is too. See docs/wear-model.md, section 3.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from scipy.special import log_ndtr

from .arrays import FloatArray
from .pass_inputs import Spread

KNOTS = np.array([-2.25, -1.5, -0.75, 0.0, 0.75, 1.5, 2.25])
PRIOR_SD = 0.3  # of theta at each knot: a design assumption with no published source
FINE = 8  # steps of the integral for each step of the grid
OUTLYING_TIMES = (
    4.0  # spread of outlying log rates over that of the bulk: a design assumption, no published source
)
FARTHEST = 40.0  # in spreads of the bulk: beyond any node, for any share


def bent(warp: tuple[float, ...], nodes: FloatArray, outlying: float = 0.0) -> FloatArray:
    """(K,) x at evenly spaced nodes z (K,); without a warp and a share of outlying ones the nodes themselves.

    The learned bend first, then the mixture's quantile.
    """
    bend = _bent(warp, float(nodes[0]), float(nodes[-1]), len(nodes)) if warp else nodes
    return _stretched(outlying, tuple(bend.tolist())) if outlying > 0 else bend


def spread(warp: tuple[float, ...], nodes: FloatArray, outlying: float = 0.0) -> Spread:
    """How log rates are spread over evenly spaced nodes z (K,), with and without the learned bend."""
    return Spread(bent(warp, nodes, outlying), bent((), nodes, outlying), outlying, OUTLYING_TIMES)


def spread_beyond(outlying: float) -> float:
    """Variance of standardised log rates with a share ``outlying`` of them ``OUTLYING_TIMES`` as widely
    spread.

    >>> spread_beyond(0.02)
    1.3
    """
    return 1.0 + outlying * (OUTLYING_TIMES**2 - 1.0)


@lru_cache(maxsize=256)
def _stretched(share: float, z: tuple[float, ...]) -> FloatArray:
    """(K,) quantiles of the mixture at the normal's probabilities of z (K,), by a table of its log tails."""
    x = np.linspace(0.0, FARTHEST, 2001)
    tail = np.logaddexp(np.log1p(-share) + log_ndtr(-x), np.log(share) + log_ndtr(-x / OUTLYING_TIMES))
    at = np.asarray(z)
    found = np.sign(at) * np.interp(-log_ndtr(-np.abs(at)), -tail, x)
    found.flags.writeable = False
    return found


@lru_cache(maxsize=256)
def _bent(warp: tuple[float, ...], first: float, last: float, n: int) -> FloatArray:
    z = np.linspace(first, last, FINE * (n - 1) + 1)
    slope = np.exp(np.interp(z, KNOTS, np.asarray(warp)))
    step = z[1] - z[0]
    x = np.concatenate([[0.0], np.cumsum(0.5 * step * (slope[1:] + slope[:-1]))])
    x -= np.interp(0.0, z, x)
    weight = np.exp(-0.5 * z * z)
    weight /= weight.sum()
    middle = weight @ x
    x /= np.sqrt(weight @ (x - middle) ** 2)
    found = np.ascontiguousarray(x[::FINE])
    found.flags.writeable = False
    return found
