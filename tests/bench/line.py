"""The opponent: what a careful spreadsheet user would do with the last life of a bearing."""

from __future__ import annotations

import numpy as np
from scipy.stats import norm
from scipy.stats import t as student

from inspections.wear.history import Histories, Kind

SHARES = np.array([0.05, 0.10, 0.50, 0.90, 0.95])


def _lives(h: Histories, i: int) -> list[list[tuple[float, float, int]]]:
    lives: list[list[tuple[float, float, int]]] = [[]]
    level = 0
    for e in range(h.start[i], h.start[i + 1]):
        if h.kind[e] == Kind.NEW_LIFE:
            lives.append([])
            level = 0
        elif h.kind[e] == Kind.SCRAPE:
            level += 1
        elif h.kind[e] == Kind.READING:
            lives[-1].append((h.exposure_kh[e], h.value_um[e], level))
    return [life for life in lives if life]


def _fit(life: list[tuple[float, float, int]]):
    """Slope, its (X'X) variance, last level, residual sum, degrees of freedom; None without a slope."""
    x, y, level = (np.array(column) for column in zip(*life, strict=True))
    level = level.astype(int)
    xc, yc = x.copy(), y.copy()
    for one in np.unique(level):
        xc[level == one] -= x[level == one].mean()
        yc[level == one] -= y[level == one].mean()
    sxx = float(xc @ xc)
    if sxx < 1.0:
        return None
    slope = float(xc @ yc) / sxx
    last = level == level[-1]
    left = float(((yc - slope * xc) ** 2).sum())
    freedom = len(x) - len(np.unique(level)) - 1
    return slope, sxx, y[last].mean(), x[last].mean(), int(last.sum()), left, freedom


def straight_line(h: Histories, limit: float, cap: float) -> np.ndarray:
    """(B, 5) dates in kh from now, from each bearing's own line in its last life."""
    fits = [[_fit(life) for life in _lives(h, i)] for i in range(h.n_bearings)]
    every = [f for own in fits for f in own if f]
    freedom = sum(f[6] for f in every)
    sd = np.sqrt(sum(f[5] for f in every) / max(freedom, 1)) if freedom else 10.0
    slopes = np.array([f[0] for f in every if f[1] > 20]) if every else np.array([2.0])
    good = slopes[slopes > 0] if (slopes > 0).any() else np.array([2.0])
    middle, floor, spread = np.median(good), np.quantile(good, 0.05), np.std(np.log(good))
    out = np.full((h.n_bearings, 5), cap)
    for i in range(h.n_bearings):
        lives = _lives(h, i)
        last = fits[i][-1] if fits[i] else None
        if not lives:
            continue
        now = h.now_kh[i]
        if last is None or last[0] < floor or last[6] < 0:
            seen = [y for _, y, _ in lives[-1]]
            level = seen[-1] + middle * (now - lives[-1][-1][0])
            dates = (limit - level) / (middle * np.exp(spread * norm.ppf(1 - SHARES)))
        else:
            dates = _band(last, sd, now, limit, max(freedom, 1), cap)
        out[i] = np.clip(dates, 0.0, cap)
    return np.sort(out, axis=1)


def _band(fit, sd: float, now: float, limit: float, freedom: int, cap: float) -> np.ndarray:
    """Where the confidence band of the line crosses the limit."""
    slope, sxx, ybar, xbar, count, _, _ = fit
    x = np.linspace(0.0, cap, 1401)
    ahead = now + x - xbar
    line = ybar + slope * ahead
    se = sd * np.sqrt(1 / count + ahead**2 / sxx)
    dates = np.full(5, cap)
    for k, share in enumerate(SHARES):
        over = np.flatnonzero(line + student.ppf(1 - share, freedom) * se >= limit)
        dates[k] = x[over[0]] if len(over) else cap
    return dates
