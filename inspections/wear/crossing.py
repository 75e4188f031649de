"""From what is believed of a bearing now to the day a limit is reached (wear model, section 4).

A *cloud* is a bearing's belief as weighted Gaussian components. Level crossing, not first passage: wear
only grows, so a level once reached stays reached, and a component already past it counts for good.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from scipy.special import ndtr

from .compiled import compiled, either

HORIZON_DAYS = 40 * 365.25
SHARES = np.array([0.05, 0.10, 0.50, 0.90, 0.95])
WEIGHT, MEAN, VAR, RATE, LEAN, RATE_LEAN, NODE, BETA = range(8)
_nodes, _weights = hermegauss(7)
DUTY_NODES, DUTY_WEIGHTS = _nodes, _weights / _weights.sum()


def _reached_loop(part, level, x, taper, taper_sd):
    """P(level reached within x kh). Larger end: rate times (1 + taper / 2), taper known to taper_sd."""
    p = 0.0
    for k in range(part.shape[0]):
        gain = part[k, 3] * x
        grown = gain * (1.0 + 0.5 * taper)
        lean = part[k, 4] + part[k, 5] * x
        loose = 0.5 * taper_sd * gain
        short = part[k, 1] - level
        now = short / math.sqrt(part[k, 2] + part[k, 4] * part[k, 4] + 1e-12)
        var = part[k, 2] + max(part[k, 7] * gain, 0.0) + lean * lean + loose * loose + 1e-12
        then = (short + grown) / math.sqrt(var)
        d = max(now, then)
        if d > 8.0:
            p += part[k, 0]
        elif d > -8.0:
            p += part[k, 0] * 0.5 * math.erfc(-d * 0.7071067811865476)
    return p


def _reached_arrays(part, level, x, taper, taper_sd):
    gain = part[:, 3] * x
    lean = part[:, 4] + part[:, 5] * x
    short = part[:, 1] - level
    now = short / np.sqrt(part[:, 2] + part[:, 4] ** 2 + 1e-12)
    var = part[:, 2] + np.maximum(part[:, 7] * gain, 0.0) + lean**2 + (0.5 * taper_sd * gain) ** 2 + 1e-12
    d = np.maximum(now, (short + gain * (1.0 + 0.5 * taper)) / np.sqrt(var))
    return float(part[:, 0] @ np.where(d > 8.0, 1.0, np.where(d > -8.0, ndtr(d), 0.0)))


reached = either(_reached_loop, _reached_arrays)


@compiled
def reached_by(part, level, days, hours, sd, drift, taper, taper_sd, nodes, weights):
    """P(level reached by a day), the mean over what the duty ahead may be.

    The log of the duty wanders as a random walk of variance ``drift`` a year; the hours run by then follow
    its mean, whose variance is a third of the end point's.
    """
    spread = math.sqrt(sd * sd + drift * days / 365.25 / 3.0)
    x = days * hours / 1000.0
    if spread < 1e-6 or days <= 0.0:
        return reached(part, level, x, taper, taper_sd)
    p = 0.0
    for j in range(nodes.size):
        p += weights[j] * reached(part, level, x * math.exp(spread * nodes[j]), taper, taper_sd)
    return p


@compiled
def days_until(part, level, shares, horizon, hours, sd, drift, taper, taper_sd, nodes, weights, out):
    """Fill out (S,) with the days by which the level is reached with each chance (0 passed, inf beyond).

    Bracketed search in log days with the Illinois rule on the chance itself, each share starting from
    what the one before has shown.
    """
    p0 = reached_by(part, level, 0.0, hours, sd, drift, taper, taper_sd, nodes, weights)
    p_end = reached_by(part, level, horizon, hours, sd, drift, taper, taper_sd, nodes, weights)
    low, p_low = 0.0, p0
    for s in range(shares.size):
        goal = shares[s]
        if p0 >= goal:
            out[s] = 0.0
            continue
        if p_end < goal:
            out[s] = np.inf
            continue
        high, p_high = horizon, p_end
        left, f_left = math.log(low + 30.0), p_low - goal
        right, f_right = math.log(high + 30.0), p_high - goal
        side = 0
        x = right
        for _ in range(60):
            if right - left < 2e-5:
                break
            x = (left * f_right - right * f_left) / (f_right - f_left)
            if not (x > left and x < right):
                x = 0.5 * (left + right)
            day = max(math.exp(x) - 30.0, 0.0)
            p = reached_by(part, level, day, hours, sd, drift, taper, taper_sd, nodes, weights)
            f = p - goal
            if abs(f) < 1e-7:
                break
            if f < 0:
                left, f_left, low, p_low = x, f, day, p
                if side == -1:
                    f_right *= 0.5
                side = -1
            else:
                right, f_right = x, f
                if side == 1:
                    f_left *= 0.5
                side = 1
        out[s] = max(math.exp(x) - 30.0, 0.0)


@compiled
def dates(begin, parts, level, days, shares, horizon, hours, sd, drift, taper, taper_sd, nodes, weights):
    """For each bearing: the dates (B, S) of its level and the chance (B, T) that it is reached by ``days``."""
    n = level.size
    out = np.full((n, shares.size), np.nan)
    chance = np.full((n, days.shape[1]), np.nan)
    for i in range(n):
        part = parts[begin[i] : begin[i + 1]]
        if part.shape[0] == 0 or not np.isfinite(level[i]):
            continue
        if shares.size > 0:
            days_until(
                part, level[i], shares, horizon, hours[i], sd[i], drift[i], taper[i], taper_sd[i],
                nodes, weights, out[i],
            )  # fmt: skip
        for t in range(days.shape[1]):
            chance[i, t] = reached_by(
                part, level[i], days[i, t], hours[i], sd[i], drift[i], taper[i], taper_sd[i],
                nodes, weights,
            )  # fmt: skip
    return out, chance


@compiled
def level_quantiles(begin, parts, x, step_mean, step_var, only_gain, taper, taper_sd, shares):
    """Quantiles (B, S) of the larger end after x (B,) kh, or with ``only_gain`` of a step plus the gain.

    The level is taken out for the latter: components then start at the step's mean and variance.
    """
    n = x.size
    out = np.full((n, shares.size), np.nan)
    for i in range(n):
        part = parts[begin[i] : begin[i + 1]].copy()
        if part.shape[0] == 0:
            continue
        if only_gain:
            part[:, 1] = step_mean[i]
            part[:, 2] = step_var[i]
            part[:, 4] = 0.0
        gain = part[:, 3] * x[i] * (1.0 + 0.5 * taper[i])
        loose = 0.5 * taper_sd[i] * part[:, 3] * x[i]
        lean = part[:, 4] + part[:, 5] * x[i]
        part[:, 1] += gain
        part[:, 2] += np.maximum(part[:, 7] * part[:, 3] * x[i], 0.0) + loose**2 + lean**2
        part[:, 3:6] = 0.0
        sd = np.sqrt(part[:, 2])
        low, high = np.min(part[:, 1] - 9.0 * sd), np.max(part[:, 1] + 9.0 * sd)
        for s in range(shares.size):
            left, right = low, high
            for _ in range(60):
                middle = 0.5 * (left + right)
                if 1.0 - reached(part, middle, 0.0, 0.0, 0.0) < shares[s]:
                    left = middle
                else:
                    right = middle
                if right - left < 1e-4 + 1e-9 * abs(middle):
                    break
            out[i, s] = 0.5 * (left + right)
    return out
