"""Wall and shaft drop: the same wear counted from a zero of its own, one for each shell and station.

A shell's wall shrinks and its shaft drops by what the clearance grows, all by the crown's wear. What is
observed is y = c + o + e, o an offset nobody knows beforehand. Beside the clearance every node then carries
the offsets of its series: a small Gaussian state instead of one number. Only bearings with such readings take
this way.
"""

from __future__ import annotations

import numpy as np

from .compilation import compiled
from .grid import (
    BREAK,
    CENSOR,
    DROP,
    HALF_LOG_2PI,
    LEVEL,
    LIFE,
    READ,
    SKIP,
    STEP,
    _censor,
    _next_life,
    cell_mass,
)

FREE_UM = 1e4  # sd of an offset before its first reading: as good as anything


@compiled
def has_zeros(op, first, last):
    """Whether a bearing has a wall or a drop among its events."""
    return np.any(op[first:last] == DROP)


@compiled
def _observe(mean, cov, w, k, y, s2):
    """Observe the clearance, plus the offset of series k where k > 0, as y with variance s2."""
    with_level = cov[0].copy()
    middle, total = mean[0].copy(), cov[0, 0] + s2
    if k > 0:
        with_level = with_level + cov[k]
        middle += mean[k]
        total = with_level[0] + with_level[k] + s2
    d = y - middle
    w -= 0.5 * d * d / total + 0.5 * np.log(total)
    for i in range(mean.shape[0]):
        mean[i] += with_level[i] / total * d
        for j in range(mean.shape[0]):
            cov[i, j] -= with_level[i] * with_level[j] / total


@compiled
def _bound(mean, cov, w, low, high, s2):
    """Observe bounds of the clearance; what they say of it is passed on to the offsets in proportion."""
    m, v = mean[0].copy(), cov[0, 0].copy()
    _censor(m, v, w, low, high, s2)
    share = cov[:, 0] / np.maximum(cov[0, 0], 1e-12)
    by, less = m - mean[0], cov[0, 0] - v
    for i in range(mean.shape[0]):
        mean[i] += share[i] * by
        for j in range(mean.shape[0]):
            cov[i, j] -= share[i] * share[j] * less


@compiled
def _free(mean, cov):
    """Let go of every offset: another shell, or a level that has nothing to do with the one before."""
    for i in range(1, mean.shape[0]):
        mean[i] = 0.0
        for j in range(mean.shape[0]):
            cov[i, j] = 0.0
            cov[j, i] = 0.0
        cov[i, i] = FREE_UM * FREE_UM


@compiled
def run_joint(op, du, a, b, c, jump, jump_var, zero, first, last, r, memory, past, beta, m, v, w):
    """``grid.run_one`` for a bearing whose wall or shaft drop was measured; zero (E,) numbers their series
    from 0.

    At a rate break, a new level and a new life the offsets are let go: what the wall says across them is not
    used.
    """
    n = 2 + np.max(zero[first:last])
    mean, cov = np.zeros((n, m.size)), np.zeros((n, n, m.size))
    mean[0], cov[0, 0] = m, v
    _free(mean, cov)
    constant = 0.0
    for e in range(first, last):
        mean[0] += r * du[e] + jump[e]
        cov[0, 0] += beta * du[e] * r + jump_var[e]
        what = op[e]
        if what == SKIP:
            continue
        if what in (READ, DROP):
            _observe(mean, cov, w, zero[e] + 1 if what == DROP else 0, a[e], b[e])
            constant -= HALF_LOG_2PI
        elif what == CENSOR:
            _bound(mean, cov, w, a[e], b[e], c[e])
        elif what == STEP:
            mean[0] += a[e]
            cov[0, 0] += b[e]
        else:
            if what in (LIFE, BREAK):
                mass, total = cell_mass(w)
                constant += total
                _next_life(mass, memory, past, mean[0], cov[0, 0], w, what == BREAK)
            if what in (LIFE, LEVEL):
                mean[0] = a[e]
                cov[0, 0] = b[e]
            _free(mean, cov)
    m[:] = mean[0]
    v[:] = np.maximum(cov[0, 0], 1e-12)
    return constant
