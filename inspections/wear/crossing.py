"""From what is believed of a bearing now to the day a limit is reached (wear model, section 4).

A *cloud* is a bearing's belief as weighted Gaussian components. Level crossing, not first passage: wear
only grows, so a level once reached stays reached, and a component already past it counts for good.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.polynomial.hermite_e import hermegauss
from scipy.special import ndtr

from .compilation import compiled, either

HORIZON_DAYS = 40 * 365.25
POINTS = 32
SHARES = np.array([0.05, 0.10, 0.50, 0.90, 0.95])
WEIGHT, MEAN, VAR, RATE, LEAN, RATE_LEAN, NODE, BETA, EXPONENT, AGE = range(10)
PAST, WORKING = 10, 11  # rows beside them, see ``laid_out``
_nodes, _weights = hermegauss(7)
DUTY_NODES, DUTY_WEIGHTS = _nodes, _weights / _weights.sum()


_AT = np.arange(-272, 273) / 32.0
_P, _F = ndtr(_AT), np.exp(-0.5 * _AT * _AT) * 0.3989422804014327


@compiled
def chance_below(d):
    """Standard normal distribution function: Taylor's series of five terms from a table in steps of 1/32.

    Within 2e-11 of scipy's; several times as fast as erfc, and dates are little else.
    """
    if d > 8.0:
        return 1.0
    if d < -8.0:
        return 0.0
    k = int(d * 32.0 + 272.5)
    x = (k - 272) / 32.0
    t = d - x
    xx = x * x
    series = 1.0 + t * (-x / 2.0 + t * ((xx - 1.0) / 6.0 + t * x * (3.0 - xx) / 24.0))
    return _P[k] + _F[k] * t * (series + t * t * t * t * ((xx - 6.0) * xx + 3.0) / 120.0)


@compiled
def inside(var, lean2):
    """Variance to add for the spread of the level inside a cell of the grid (lean2: a uniform's, D^2/12).

    A sum over nodes is a staircase where the level's own sd is well under the cell's width D, and exact
    without any addition where it is near D: the addition fades between 0.4 and 0.9 D^2.
    """
    return np.minimum(lean2, np.maximum(0.0, 1.8 * lean2 - var / 6.0))


@compiled
def stretch(x, exponent, age):
    """What x kh from an age wear like at the rate of that age, kh: wear follows a power of age; x itself if
    straight.
    """
    if exponent == 1.0 or x == 0.0:
        return x
    return age / exponent * (max(1.0 + x / age, 0.0) ** exponent - 1.0)


def _ahead_loop(part, x):
    """(N,) ``stretch`` of x for each component."""
    out = np.empty(part.shape[0])
    for k in range(part.shape[0]):
        out[k] = stretch(x, part[k, 8], part[k, 9])
    return out


def _ahead_arrays(part, x):
    exponent, age = part[:, 8], part[:, 9]
    bent = age / exponent * (np.maximum(1.0 + x / age, 0.0) ** exponent - 1.0)
    return np.where(exponent == 1.0, x, bent)


ahead = either(_ahead_loop, _ahead_arrays)


@compiled
def _log_until(short, rate, exponent, age):
    """Log of the kh after which a component has worn ``short`` um, the inverse of ``stretch``."""
    worn = short / rate
    if exponent == 1.0:
        return math.log(worn)
    return math.log(age) + math.log(
        max(math.expm1(min(math.log1p(exponent * worn / age) / exponent, 600.0)), 1e-300)
    )


@compiled
def laid_out(part, level):
    """Components (N, 10) as rows (12, N), so that a loop over many exposures may take several at once.

    MEAN counts from the level; row PAST is the least distance past it, whatever the spread grows to, for a
    component that has passed; the last row is for working.
    """
    rows = np.empty((12, part.shape[0]))
    rows[:PAST] = part.T
    for k in range(part.shape[0]):
        short, var, lean = part[k, MEAN] - level, part[k, VAR] + 1e-12, part[k, LEAN]
        rows[MEAN, k], rows[VAR, k], rows[PAST, k] = short, var, -np.inf
        if short > 0.0:
            rows[PAST, k] = short / math.sqrt(var + inside(var, lean * lean))
    return rows


def _chance_loop(rows, x, taper, taper_sd):
    """P(level reached within x kh). Larger end: rate times (1 + taper / 2), taper known to taper_sd."""
    d, more = rows[WORKING], 1.0 + 0.5 * taper
    exponent, age, worn = 1.0, 0.0, x
    for k in range(d.size):
        if rows[EXPONENT, k] != exponent or rows[AGE, k] != age:
            exponent, age = rows[EXPONENT, k], rows[AGE, k]
            worn = stretch(x, exponent, age)
        d[k] = worn
    for k in range(d.size):
        gain = rows[RATE, k] * d[k]
        lean = rows[LEAN, k] + rows[RATE_LEAN, k] * d[k]
        loose = 0.5 * taper_sd * gain
        var = rows[VAR, k] + rows[BETA, k] * gain + loose * loose
        far = (rows[MEAN, k] + gain * more) / math.sqrt(var + inside(var, lean * lean))
        d[k] = max(far, rows[PAST, k])
    p = 0.0
    for k in range(d.size):
        p += rows[WEIGHT, k] * chance_below(d[k])
    return p


def _chance_arrays(rows, x, taper, taper_sd):
    worn = _ahead_arrays(rows[:PAST].T, x)
    gain = rows[RATE] * worn
    lean = rows[LEAN] + rows[RATE_LEAN] * worn
    var = rows[VAR] + rows[BETA] * gain + (0.5 * taper_sd * gain) ** 2
    d = (rows[MEAN] + gain * (1.0 + 0.5 * taper)) / np.sqrt(var + inside(var, lean**2))
    d = np.maximum(d, rows[PAST])
    return float(rows[WEIGHT] @ np.where(d > 8.0, 1.0, np.where(d > -8.0, ndtr(d), 0.0)))


_chance = either(_chance_loop, _chance_arrays)


@compiled
def reached(part, level, x, taper, taper_sd):
    """P(level reached within x kh) by components (N, 10) as they stand."""
    return _chance(laid_out(part, level), x, taper, taper_sd)


@compiled
def reached_by(rows, days, hours, sd, drift, taper, taper_sd, nodes, weights):
    """P(level reached by a day), the mean over what the duty ahead may be.

    The log of the duty wanders as a random walk of variance ``drift`` a year; the hours run by then follow
    its mean, whose variance is a third of the end point's.
    """
    spread = math.sqrt(sd * sd + drift * days / 365.25 / 3.0)
    x = days * hours / 1000.0
    if spread < 1e-6 or days <= 0.0:
        return _chance(rows, x, taper, taper_sd)
    p = 0.0
    for j in range(nodes.size):
        p += weights[j] * _chance(rows, x * math.exp(spread * nodes[j]), taper, taper_sd)
    return p


@compiled
def _bounds(rows, p0, most, taper, taper_sd):
    """Exposures (kh) between which nearly all of the crossing happens, at most ``most``."""
    middle, total = 0.0, 0.0
    for k in range(rows.shape[1]):
        short, rate = -rows[MEAN, k], rows[RATE, k]
        if short > 0.0 and rate > 0.0:
            middle += rows[WEIGHT, k] * _log_until(short, rate, rows[EXPONENT, k], rows[AGE, k])
            total += rows[WEIGHT, k]
    x = math.exp(middle / total) if total > 0.0 else 1.0
    high = min(x, most)
    while high < most and _chance(rows, high, taper, taper_sd) < 0.9995:
        high = min(high * 1.5, most)
    low = min(x, 0.9 * high)
    while low > 1e-6 * high and _chance(rows, low, taper, taper_sd) > p0 + 2e-4:
        low /= 1.5
    return low, high


@compiled
def _tabled(table, first, width, p0, y):
    """The chance at log exposure y from its table: cubic between the points, straight down to p0 before."""
    t = (y - first) / width
    last = table.size - 1
    if t <= 0.0:
        return p0 + (table[0] - p0) * math.exp(t * width)
    if t >= last:
        return table[last]
    k = int(t)
    t -= k
    a, b = table[k], table[k + 1]
    left = 0.5 * (b - table[k - 1]) if k > 0 else b - a
    right = 0.5 * (table[k + 2] - a) if k + 2 <= last else b - a
    u = 1.0 - t
    return a * (1.0 + 2.0 * t) * u * u + left * t * u * u + b * t * t * (3.0 - 2.0 * t) - right * t * t * u


@compiled
def _averaged(table, first, width, p0, days, hours, sd, drift, nodes, weights):
    """``reached_by`` from the table."""
    spread = math.sqrt(sd * sd + drift * days / 365.25 / 3.0)
    y = math.log(max(days * hours / 1000.0, 1e-12))
    if spread < 1e-6:
        return _tabled(table, first, width, p0, y)
    p = 0.0
    for j in range(nodes.size):
        p += weights[j] * _tabled(table, first, width, p0, y + spread * nodes[j])
    return p


@compiled
def _tabulate(rows, p0, most, taper, taper_sd, table):
    """Fill the table of chances over log exposure; returns where it begins and its step."""
    low, high = _bounds(rows, p0, most, taper, taper_sd)
    begin = math.log(low)
    width = (math.log(high) - begin) / (table.size - 1)
    for k in range(table.size):
        table[k] = _chance(rows, math.exp(begin + k * width), taper, taper_sd)
    return begin, width


@compiled
def _invert(table, begin, width, p0, goal, left, p_left, right, p_right, hours, sd, drift, nodes, weights):
    """Day between two days (given as logs, with their chances) at which the chance is ``goal``."""
    f_left, f_right = p_left - goal, p_right - goal
    side, x = 0, left
    for _ in range(60):
        if right - left < 1e-11:
            break
        x = (left * f_right - right * f_left) / (f_right - f_left)
        if not (x > left and x < right) or right - left > 1.5:
            x = 0.5 * (left + right)
        f = _averaged(table, begin, width, p0, math.exp(x), hours, sd, drift, nodes, weights) - goal
        if abs(f) < 1e-12:
            break
        if f < 0:
            left, f_left = x, f
            if side == -1:
                f_right *= 0.5
            side = -1
        else:
            right, f_right = x, f
            if side == 1:
                f_left *= 0.5
            side = 1
    return x


@compiled
def days_until(
    rows, shares, days, horizon, hours, sd, drift, taper, taper_sd, nodes, weights, table, out, chance
):
    """Fill out (S,) with the days by which the level is reached with each share (0 passed, inf beyond).

    And chance (T,) with the chance of it by each of ``days``. The chance is tabled once over log exposure
    (within 1e-3 of the sum itself), averaged over the duty, and inverted by the Illinois rule in log days.
    """
    p0 = _chance(rows, 0.0, taper, taper_sd)
    longest = math.sqrt(sd * sd + drift * horizon / 365.25 / 3.0)
    most = horizon * hours / 1000.0
    if longest > 1e-6:
        most *= math.exp(longest * nodes[-1])
    if not most > 0.0:
        out[:] = np.where(p0 >= shares, 0.0, np.inf)
        chance[:] = p0
        return
    begin, width = _tabulate(rows, p0, most, taper, taper_sd, table)
    for t in range(days.size):
        chance[t] = p0
        if days[t] > 0.0:
            chance[t] = _averaged(table, begin, width, p0, days[t], hours, sd, drift, nodes, weights)
    p_end = _averaged(table, begin, width, p0, horizon, hours, sd, drift, nodes, weights)
    last, p_last = math.log(1e-3), p0
    for s in range(shares.size):
        if p0 >= shares[s]:
            out[s] = 0.0
        elif p_end < shares[s]:
            out[s] = np.inf
        else:
            x = _invert(
                table,
                begin,
                width,
                p0,
                shares[s],
                last,
                p_last,
                math.log(horizon),
                p_end,
                hours,
                sd,
                drift,
                nodes,
                weights,
            )
            out[s] = math.exp(x)
            last = x - 1e-5
            p_last = min(shares[s] - 1e-9, p_end)


@compiled
def dates(begin, parts, level, days, shares, horizon, hours, sd, drift, taper, taper_sd, nodes, weights):
    """For each bearing: the dates (B, S) of its level and the chance (B, T) that it is reached by ``days``.

    Without shares the chances are summed exactly, not taken from a table.
    """
    n = level.size
    out = np.full((n, shares.size), np.nan)
    chance = np.full((n, days.shape[1]), np.nan)
    table = np.empty(POINTS)
    for i in range(n):
        part = parts[begin[i] : begin[i + 1]]
        if part.shape[0] == 0 or not np.isfinite(level[i]):
            continue
        rows = laid_out(part, level[i])
        if shares.size > 0:
            days_until(
                rows,
                shares,
                days[i],
                horizon,
                hours[i],
                sd[i],
                drift[i],
                taper[i],
                taper_sd[i],
                nodes,
                weights,
                table,
                out[i],
                chance[i],
            )
            continue
        for t in range(days.shape[1]):
            chance[i, t] = reached_by(
                rows, days[i, t], hours[i], sd[i], drift[i], taper[i], taper_sd[i], nodes, weights
            )
    return out, chance


def _below_loop(weight, mean, per_um, x):
    """Distribution function and density at x of a mixture of normals, ``per_um`` one over their sds."""
    p, f = 0.0, 0.0
    for k in range(weight.size):
        d = (x - mean[k]) * per_um[k]
        p += weight[k] * chance_below(d)
        if abs(d) < 8.0:
            f += weight[k] * _F[int(d * 32.0 + 272.5)] * per_um[k]
    return p, f


def _below_arrays(weight, mean, per_um, x):
    d = (x - mean) * per_um
    p = np.where(d > 8.0, 1.0, np.where(d > -8.0, ndtr(d), 0.0))
    f = np.where(np.abs(d) <= 8.0, np.exp(-0.5 * np.minimum(d * d, 700.0)), 0.0) * 0.3989422804014327 * per_um
    return float(weight @ p), float(weight @ f)


_below = either(_below_loop, _below_arrays)


@compiled
def _normal_quantile(share):
    """Where the standard normal has a share, to 3 % of its spread: a starting point (Hastings 1955, as in AMS
    55, 26.2.22).
    """
    p = min(share, 1.0 - share)
    t = math.sqrt(-2.0 * math.log(p))
    far = t - (2.30753 + 0.27061 * t) / (1.0 + t * (0.99229 + 0.04481 * t))
    return far if share > 0.5 else -far


@compiled
def _quantile(weight, mean, per_um, middle, spread, share, begin):
    """Newton's steps kept inside a bracket that only shrinks, at first that of Cantelli's inequality.

    From ``begin``, about where a normal of the same mean and spread has it.
    """
    low = middle - spread * math.sqrt((1.0 - share) / share)
    high = middle + spread * math.sqrt(share / (1.0 - share))
    x = begin if begin > low and begin < high else middle
    for _ in range(80):
        p, f = _below(weight, mean, per_um, x)
        if p < share:
            low = x
        else:
            high = x
        new = x - (p - share) / f if f > 1e-300 else low - 1.0
        if not (new > low and new < high):
            new = 0.5 * (low + high)
        if abs(new - x) < 1e-7 * spread + 1e-13 * abs(x):
            return new
        x = new
    return x


@compiled
def level_quantiles(begin, parts, x, step_mean, step_var, only_gain, taper, taper_sd, shares):
    """Quantiles (B, S) of the larger end after x (B,) kh, or with ``only_gain`` of a step plus the gain.

    The level is taken out for the latter: components then start at the step's mean and variance.
    """
    n = x.size
    out = np.full((n, shares.size), np.nan)
    normal = np.array([_normal_quantile(share) for share in shares])
    for i in range(n):
        part = parts[begin[i] : begin[i + 1]]
        if part.shape[0] == 0:
            continue
        weight, mean, var, lean = part[:, 0].copy(), part[:, 1].copy(), part[:, 2].copy(), part[:, 4].copy()
        if only_gain:
            mean[:] = step_mean[i]
            var[:] = step_var[i]
            lean[:] = 0.0
        worn = ahead(part, x[i])
        gain = part[:, 3] * worn
        lean += part[:, 5] * worn
        mean += gain * (1.0 + 0.5 * taper[i])
        var += part[:, 7] * gain + (0.5 * taper_sd[i] * gain) ** 2
        var += inside(var, lean**2)
        middle = np.sum(weight * mean)
        spread = math.sqrt(np.sum(weight * (var + (mean - middle) ** 2)) + 1e-12)
        per_um = 1.0 / np.sqrt(var + 1e-12)
        for s in range(shares.size):
            first = middle + spread * normal[s]
            out[i, s] = _quantile(weight, mean, per_um, middle, spread, shares[s], first)
    return out
