"""The way to the mode of a pool's posterior, and its bend there."""

from __future__ import annotations

import numpy as np

from . import rate_effects
from .arrays import FloatArray
from .objective import Objective

# Of the squared distance to the mode in the parameters' own standard errors: nearer moves no date that is
# shown.
NEAR = 0.1
STILL = 5  # steps over which the posterior must have risen by more than that


FLOOR = 0.25  # least bend of a metric along any direction, in prior standard deviations
AFRESH = 8  # steps after which the metric is the scores' own again
RESTLESS = 1.0  # nats gained in the last few steps of a climb cut short: it was not near


def climb(
    o: Objective, theta: FloatArray, u: FloatArray, most: int = 80
) -> tuple[FloatArray, FloatArray, bool]:
    """Quasi-Newton ascent, the effects re-settled at every step; whether it came to rest.

    At rest where no direction rises, where the mode is near, or where several steps have hardly raised the
    posterior: what the grid leaves of roughness is then larger than what could be gained. Failed is only what
    is not finite, or still gains much when it is cut short.

    Parameters
    ----------
    theta : (P,) where to begin, in the parameters' own scales.
    u : (n,) effects there.
    most : steps after which the climb is cut short.
    """
    u = o.settle(theta, u)[1].mean
    local = o.look(theta, u)
    here, slope, each = o.gradient(theta, local)
    metric = _metric(o, each)
    heights = [here]
    for turn in range(1, most + 1):
        if len(heights) > STILL and here - heights[-1 - STILL] < NEAR:
            return theta, u, True
        if turn % AFRESH == 0:  # many small steps over a rough posterior leave a metric too stiff
            metric = _metric(o, each)
        rise = _rise(o, theta, u, here, slope, (metric, _metric(o, each), np.diag(1.0 / o.sd**2)))
        if rise is None:
            return theta, u, bool(np.isfinite(here))
        old, old_theta = slope, theta
        theta, metric = rise
        solved = rate_effects.solve(o.look(theta, u), o.d, o.sigma(o.params(theta)))
        u = u + np.clip(solved.mean - u, -1.0, 1.0)
        local = o.look(theta, u)
        here, slope, each = o.gradient(theta, local)
        metric = _updated(metric, theta - old_theta, old - slope)
        heights.append(here)
    return theta, u, bool(np.isfinite(here)) and here - heights[-1 - STILL] < RESTLESS


def _rise(
    o: Objective,
    theta: FloatArray,
    u: FloatArray,
    here: float,
    slope: FloatArray,
    metrics: tuple[FloatArray, ...],
) -> tuple[FloatArray, FloatArray] | None:
    """A higher point and the metric that led to it, the first of several tried; None at rest.

    A quasi-Newton metric may have gone flat in a direction and ask for a step that leads nowhere: the scores'
    own metric, then the prior's, are asked before the climb is called at rest.
    """
    for metric in (_floored(each, o.sd) for each in metrics):
        step = np.asarray(np.linalg.solve(metric, slope), dtype=np.float64)
        gain = float(slope @ step)
        if not np.isfinite(gain):
            continue
        if gain < 2e-3:
            return None
        trial = _uphill(o, theta, u, here, step, gain)
        if trial is not None:
            return trial, metric
    return None


def _floored(metric: FloatArray, sd: FloatArray) -> FloatArray:
    """The metric with no direction flatter than a share of the prior's own bend."""
    scale = np.outer(sd, sd)
    values, vectors = np.linalg.eigh(0.5 * (metric + metric.T) * scale)
    return (vectors * np.maximum(values, FLOOR)) @ vectors.T / scale


def _uphill(
    o: Objective, theta: FloatArray, u: FloatArray, here: float, step: FloatArray, gain: float
) -> FloatArray | None:
    """The point along a step, held to a trusted length, from which the posterior is higher; None where none
    is.
    """
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
