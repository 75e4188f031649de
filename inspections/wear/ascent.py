"""The way to the mode of a pool's posterior, and its bend there."""

from __future__ import annotations

import numpy as np

from . import rate_effects
from .arrays import FloatArray
from .objective import Objective

# Of the squared distance to the mode in the parameters' own standard errors: nearer moves no date that is shown.
NEAR = 0.1
STILL = 5  # steps over which the posterior must have risen by more than that


def climb(
    o: Objective, theta: FloatArray, u: FloatArray, most: int = 80
) -> tuple[FloatArray, FloatArray, bool]:
    """Quasi-Newton ascent from the scores' own metric, the effects re-settled at every step.

    At rest where the mode is near, or where several steps have hardly raised the posterior: what the grid
    leaves of roughness is then larger than what could be gained.
    """
    u = o.settle(theta, u)[1].mean
    local = o.look(theta, u)
    here, slope, each = o.gradient(theta, local)
    metric = _metric(o, each)
    seen = [here]
    for _ in range(most):
        step: FloatArray = np.asarray(np.linalg.solve(metric, slope), dtype=np.float64)
        gain = float(slope @ step)
        if gain < 2e-3 or (len(seen) > STILL and here - seen[-1 - STILL] < NEAR):
            return theta, u, True
        trial = _uphill(o, theta, u, here, step, gain)
        if trial is None:
            return theta, u, gain < NEAR or (len(seen) > 1 and here - seen[-2] < NEAR)
        old, old_theta = slope, theta
        theta = trial
        solved = rate_effects.solve(o.look(theta, u), o.d, o.sigma(o.params(theta)))
        u = u + np.clip(solved.mean - u, -1.0, 1.0)
        local = o.look(theta, u)
        here, slope, each = o.gradient(theta, local)
        metric = _updated(metric, theta - old_theta, old - slope)
        seen.append(here)
    return theta, u, gain < NEAR


def _uphill(
    o: Objective, theta: FloatArray, u: FloatArray, here: float, step: FloatArray, gain: float
) -> FloatArray | None:
    """The point along a step, held to a trusted length, from which the posterior is higher; None where none is."""
    step = step * min(1.0, 1.0 / np.max(np.abs(step) / np.maximum(o.sd, 0.6)))
    size = 1.0
    while size > 1e-3:
        there = o.value(theta + size * step, u)
        if np.isfinite(there) and there > here + 1e-4 * size * gain * 0.5:
            return theta + size * step
        size *= 0.4
    return None


def _metric(o: Objective, each: FloatArray) -> FloatArray:
    return each.T @ each + np.diag(1.0 / o.sd**2)


def _updated(metric: FloatArray, s: FloatArray, y: FloatArray) -> FloatArray:
    """The scores' metric with the last step's true bend written in (BFGS)."""
    if float(s @ y) < 1e-8:
        return metric
    ms = metric @ s
    return metric - np.outer(ms, ms) / float(s @ ms) + np.outer(y, y) / float(s @ y)


def hessian(o: Objective, theta: FloatArray, u: FloatArray) -> FloatArray:
    """Negative second derivatives of the log posterior (P, P) by differences."""
    n = len(theta)
    h = 0.1 * o.sd
    f0 = o.value(theta, u)
    up, out = np.zeros(n), np.zeros((n, n))
    for i in range(n):
        e = np.zeros(n)
        e[i] = h[i]
        up[i] = o.value(theta + e, u)
        out[i, i] = -(up[i] - 2 * f0 + o.value(theta - e, u)) / h[i] ** 2
    for i in range(n):
        for j in range(i):
            e = np.zeros(n)
            e[i], e[j] = h[i], h[j]
            out[i, j] = out[j, i] = -(o.value(theta + e, u) - up[i] - up[j] + f0) / (h[i] * h[j])
    scaled = out * np.outer(o.sd, o.sd)  # the prior alone is the unit matrix here
    values, vectors = np.linalg.eigh(0.5 * (scaled + scaled.T))
    return (vectors * np.maximum(values, 0.5)) @ vectors.T / np.outer(o.sd, o.sd)
