"""The larger end: how the difference of a shell's two ends grows with its wear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .history import FloatArray, IntArray, Kind
from .layout import Frame
from .population import Params


def wear_since_start(f: Frame) -> tuple[FloatArray, IntArray]:
    """(E,) exposure gone since the present life or level began, kh; and the number of that life."""
    h = f.histories
    begins = np.isin(h.kind, [Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE])
    begins[h.start[:-1][np.diff(h.start) > 0]] = True
    number = np.cumsum(begins).astype(np.int64) - 1
    total = np.cumsum(f.du)
    at = total[begins]
    return total - at[number] if len(at) else total, number


def fleet_taper(f: Frame, p: Params) -> Params:
    """The parameters with the taper's growth per um of wear (mean, spread) and the sd of a taper reading."""
    h = f.histories
    seen = f.usable & (h.kind == Kind.READING) & np.isfinite(h.taper_um)
    if seen.sum() < 8:
        return p
    _, number = wear_since_start(f)
    life, value, taper = number[seen], h.value_um[seen], h.taper_um[seen]
    n = int(number.max()) + 1
    count = np.bincount(life, minlength=n)
    centre_x = np.bincount(life, value, minlength=n) / np.maximum(count, 1)
    centre_y = np.bincount(life, taper, minlength=n) / np.maximum(count, 1)
    x, y = value - centre_x[life], taper - centre_y[life]
    sxx, sxy = np.bincount(life, x * x, minlength=n), np.bincount(life, x * y, minlength=n)
    noise = np.array([p.of_methods(h.methods)[0][h.method[seen]] ** 2]).mean()
    enough = (count >= 2) & (sxx > 20 * noise)
    if enough.sum() < 4:
        return p
    slope = sxy[enough] / sxx[enough]
    left = np.bincount(life, (y - (sxy / np.maximum(sxx, 1e-9))[life] * x) ** 2, minlength=n)[enough]
    freedom = np.maximum(count[enough] - 2, 0).sum()
    sd = float(np.sqrt(left.sum() / freedom)) if freedom >= 4 else float(np.sqrt(noise))
    sd = min(max(sd, 0.5), 3.0 * float(np.sqrt(noise)) + 1.0)
    mean = float(np.clip(np.average(slope, weights=sxx[enough]), -0.5, 1.5))
    spread = float(np.sqrt(np.clip(np.mean((slope - mean) ** 2 - sd**2 / sxx[enough]), 0.05**2, 0.5**2)))
    return replace(p, taper_mean=mean, taper_spread=spread, taper_sd=sd)


def taper_now(
    f: Frame, p: Params, rate: FloatArray, level: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """(B,) taper at the as-of day and its variance (um, um2), its growth per um of wear and the sd of that.

    In the present life: taper = t0 + g (wear since its start), g from the fleet's spread, t0 free within
    its own reading's uncertainty. ``rate`` um/kh turns exposure into wear. No taper read: zero, unknown.
    """
    h = f.histories
    n = h.n_bearings
    gone, number = wear_since_start(f)
    last_life = np.full(n, -1)
    filled = np.diff(h.start) > 0
    last_life[filled] = number[h.start[1:][filled] - 1]
    seen = f.usable & (h.kind == Kind.READING) & np.isfinite(h.taper_um) & (number == last_life[f.owner])
    owner, x = f.owner[seen], gone[seen] * rate[f.owner[seen]]
    y, var = h.taper_um[seen], p.taper_sd**2
    end = np.zeros(n)
    end[filled] = gone[h.start[1:][filled] - 1]
    x_now = (end + f.tail) * rate
    # two-parameter Bayes per bearing: t0 ~ N(0, wide), g ~ N(mean, spread)
    a = np.bincount(owner, minlength=n) / var + 1.0 / 50.0**2
    b = np.bincount(owner, x, minlength=n) / var
    c = np.bincount(owner, x * x, minlength=n) / var + 1.0 / p.taper_spread**2
    e = np.bincount(owner, y, minlength=n) / var
    g = np.bincount(owner, x * y, minlength=n) / var + p.taper_mean / p.taper_spread**2
    det = a * c - b * b
    t0, slope = (c * e - b * g) / det, (a * g - b * e) / det
    any_seen = np.bincount(owner, minlength=n) > 0
    now = np.where(any_seen, np.maximum(t0 + slope * x_now, 0.0), 0.0)
    now_var = np.where(any_seen, (c - 2 * b * x_now + a * x_now**2) / det, 0.0)
    slope = np.where(any_seen, np.maximum(slope, 0.0), 0.0)
    return now, now_var, slope, np.where(any_seen, np.sqrt(a / det), 0.0)
