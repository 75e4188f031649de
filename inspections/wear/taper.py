"""The larger end: how the difference of a shell's two ends grows with its wear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from .ages import Curve
from .arrays import FloatArray, IntArray, Kind
from .event_effects import Frame
from .parameters import Params

# What the ends of a shell may differ by when its life begins, um (1 sd): design assumptions, no published
# source.
NEW_TAPER_UM, ANY_TAPER_UM = 10.0, 50.0
APART = np.linspace(
    0.0, 6.0, 241
)  # a difference of the ends in sds of its reading, and what is read on average:
FOLDED = np.sqrt(2 / np.pi) * np.exp(-0.5 * APART**2) + APART * (1.0 - 2.0 * ndtr(-APART))


def gone_along(f: Frame, curve: Curve) -> FloatArray:
    """(E,) exposure since the present life or level began, along the fleet's curve of wear, kh."""
    gone, life = f.since_start
    if curve.straight or not len(gone):
        return gone
    total = np.cumsum(f.spent(0.0, curve))
    begins = np.diff(life, prepend=-1) > 0
    return total - total[begins][life]


def unfolded(taper: FloatArray, sd: float) -> FloatArray:
    """The difference of the ends (N,) whose mean sign-less reading is the one read (N,), um; ``sd`` of its
    error, um.

    The mean of a folded normal (Leone, Nelson and Nottingham, Technometrics 3 (1961) 543), turned round: 0 up
    to 0.8 sd, the reading itself from about 2 sd on.
    """
    return sd * np.interp(taper / sd, FOLDED, APART) + np.maximum(taper - sd * FOLDED[-1], 0.0)


def fleet_taper(f: Frame, p: Params) -> Params:
    """The parameters with the taper's growth per um of wear (mean, spread) and the sd of a taper reading.

    In each life the taper's slope over exposure is held against the wear rate there; a scrape's step is no
    wear, so the rate is taken within stretches between scrapes.
    """
    h = f.histories
    seen = f.usable & (h.kind == Kind.READING) & np.isfinite(h.taper_um)
    if seen.sum() < 8:
        return p
    gone, number = f.since_start
    life, x = np.unique(number[seen], return_inverse=True)[1], gone[seen]
    stretch = np.cumsum(np.append(True, np.diff(number) > 0) | (h.kind == Kind.SCRAPE))[seen]
    stretch = np.unique(stretch, return_inverse=True)[1]
    taper = unfolded(h.taper_um[seen], p.taper_sd)
    n = int(life.max()) + 1
    noise = float(np.mean(p.of_methods(h.methods)[0][h.method[seen]] ** 2))
    inner, whole = _apart(x, stretch), _apart(x, life)
    sxx, total = np.bincount(life, inner**2, minlength=n), np.bincount(life, whole**2, minlength=n)
    rate = np.bincount(life, inner * h.value_um[seen], minlength=n) / np.maximum(sxx, 1e-9)
    with_taper = np.bincount(life, whole * taper, minlength=n)
    enough = (rate > 0) & (rate**2 * sxx > 20 * noise)
    if enough.sum() < 4:
        return p
    left = _apart(taper, life) - (with_taper / np.maximum(total, 1e-9))[life] * whole
    freedom = np.maximum(np.bincount(life, minlength=n) - 2, 0)[enough].sum()
    squares = np.bincount(life, left**2, minlength=n)[enough].sum()
    sd = float(np.sqrt(squares / freedom)) if freedom >= 4 else float(np.sqrt(noise))
    sd = min(max(sd, 0.5), 3.0 * float(np.sqrt(noise)) + 1.0)
    rate, sxx, total, with_taper = rate[enough], sxx[enough], total[enough], with_taper[enough]
    wear = (rate**2 - noise / sxx) * total  # the rate's own error would flatten the slope
    mean = float(np.clip(np.sum(rate * with_taper) / wear.sum(), -0.5, 1.5))
    slope = with_taper / (rate * total)
    excess = (slope - mean) ** 2 - sd**2 / (rate**2 * total) - mean**2 * noise / (sxx * rate**2)
    spread = float(np.sqrt(np.clip(np.average(excess, weights=wear), 0.05**2, 0.5**2)))
    return replace(p, taper_mean=mean, taper_spread=spread, taper_sd=sd)


def _fresh_life(f: Frame, number: IntArray, last_life: IntArray) -> np.ndarray:
    """(B,) whether the present life began with new metal, whose ends hardly differ."""
    h = f.histories
    fresh = h.kind == Kind.NEW_LIFE
    filled = np.diff(h.start) > 0
    fresh[h.start[:-1][filled & h.fresh]] = True
    out = np.zeros(h.n_bearings, dtype=bool)
    out[f.owner[fresh & (number == last_life[f.owner])]] = True
    return out


def _apart(x: FloatArray, group: IntArray) -> FloatArray:
    """Each value less the mean of its group."""
    return x - (np.bincount(group, x) / np.maximum(np.bincount(group), 1))[group]


def taper_now(
    f: Frame, p: Params, rate: FloatArray, level: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """(B,) taper at the as-of day and its variance (um, um2), its growth per um of wear and the sd of that.

    In the present life: taper = t0 + g (wear since its start), g from the fleet's spread, t0 free within its
    own reading's uncertainty. ``rate`` (B,) um/kh turns exposure along the fleet's curve into wear. No taper
    read: zero, unknown.
    """
    h = f.histories
    n = h.n_bearings
    number, gone = f.since_start[1], gone_along(f, p.curve)
    last_life = np.full(n, -1)
    filled = np.diff(h.start) > 0
    last_life[filled] = number[h.start[1:][filled] - 1]
    seen = f.usable & (h.kind == Kind.READING) & np.isfinite(h.taper_um) & (number == last_life[f.owner])
    owner, x = f.owner[seen], gone[seen] * rate[f.owner[seen]]
    y, var = unfolded(h.taper_um[seen], p.taper_sd), p.taper_sd**2
    end = np.zeros(n)
    end[filled] = gone[h.start[1:][filled] - 1]
    x_now = (end + f.ages.tail_along(p.curve, f.tail)) * rate
    # two-parameter Bayes per bearing: t0 ~ N(0, wide), g ~ N(mean, spread)
    fresh = _fresh_life(f, number, last_life)
    a = np.bincount(owner, minlength=n) / var + 1.0 / np.where(fresh, NEW_TAPER_UM, ANY_TAPER_UM) ** 2
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
