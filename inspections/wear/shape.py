"""How rates are spread beyond the normal bell: a monotone bend of the standardised log rate, learned from a big fleet.

log rate = expected + tau x(z), z standard normal. The slope x'(z) is exp(theta(z)), theta linear between knots;
theta = 0 is the normal bell, a long slope a gap between two kinds of bearings, unequal ends a skewed spread. z keeps
its meaning, so the memory between lives stays as it is. x(0) = 0: the expected log rate stays that of the median;
x has unit variance, so tau stays the spread of log rates.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from .arrays import FloatArray

KNOTS = np.array([-2.25, -1.5, -0.75, 0.0, 0.75, 1.5, 2.25])
PRIOR_SD = 0.3  # of theta at each knot: a design assumption with no published source
FINE = 8  # steps of the integral for each step of the grid


def bent(warp: tuple[float, ...], nodes: FloatArray) -> FloatArray:
    """(K,) x at evenly spaced nodes z (K,); without a warp the nodes themselves."""
    if not warp:
        return nodes
    return _bent(warp, float(nodes[0]), float(nodes[-1]), len(nodes))


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
