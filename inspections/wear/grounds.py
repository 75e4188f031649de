"""What a forecast rests on: readings in view, what they can detect, and whether wear looks straight."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .ages import Curve
from .arrays import FloatArray, Histories, IntArray, Kind
from .belief import Clouds, evidence, rate_under
from .event_effects import Frame, frame, lay_out
from .normal import NINE_IN_TEN
from .parameters import Params
from .slips import slip_odds
from .taper import gone_along

CURVED = 3.0  # sds of the bend of a life's readings at which steady wear is doubted
READINGS_FOR_BEND = 5
READINGS_FOR_FALL, FALLING = 3, 3.0  # readings, and sds below zero, from which clearances are said to fall
EXPONENTS = (
    0.5,
    2.0,
)  # times the fleet's own exponent of a life's age: wear that slows down, wear that speeds up
LOOKED_AT = (
    1.0  # sds of bend from which the record is held against wear as a power; under it no such record was seen
)
LIKELIER = 2.7  # log evidence by which such wear must be likelier than steady wear


def readings_in_view(f: Frame) -> IntArray:
    """(B,) usable readings and intervals."""
    return np.bincount(f.owner[f.usable], minlength=f.histories.n_bearings)


def log_rate_variance(clouds: Clouds) -> FloatArray:
    """(B,) posterior variance of the log rate."""
    parts = clouds.parts.copy()
    rate = np.maximum(parts[:, 3], 1e-300)
    inside = (parts[:, 5] / rate) ** 2
    parts[:, 6] = np.log(rate)
    n = len(clouds.begin) - 1
    _, between = Clouds(clouds.begin, parts, clouds.edge).moments(6)
    return between + np.bincount(clouds.owner, parts[:, 0] * inside, minlength=n)


def _segments(
    f: Frame, p: Params, aside: NDArray[np.bool_], along: FloatArray | None = None
) -> tuple[IntArray, FloatArray, FloatArray, FloatArray, IntArray]:
    """Readings of the present life: owner, exposure, value, variance, and segment between scrapes."""
    h = f.histories
    gone, life = f.since_start
    gone = gone if along is None else along
    present = np.full(h.n_bearings, -1)
    present[f.owner] = life  # the last written is the last event's
    seen = f.usable & ~aside & (h.kind == Kind.READING) & (life == present[f.owner])
    cut = h.among(Kind.SCRAPE, Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE)
    cut[h.start[:-1][np.diff(h.start) > 0]] = True
    segment = np.cumsum(cut)
    sd, bias = p.of_methods(h.methods)
    which = np.clip(h.method[seen], 0, len(sd) - 1)
    var = sd[which] ** 2 + np.nan_to_num(h.extra_sd_um[seen]) ** 2
    off = bias[which] + p.of_gauges(h)[seen]
    return f.owner[seen], gone[seen], h.value_um[seen] - off, var, segment[seen]


def _centred(x: FloatArray, weight: FloatArray, group: IntArray) -> FloatArray:
    total = np.bincount(group, weight)
    return x - (np.bincount(group, weight * x) / np.maximum(total, 1e-300))[group]


def detectable(f: Frame, p: Params, aside: NDArray[np.bool_]) -> FloatArray:
    """(B,) the smallest rate the present life's readings can show above zero, one-sided 95 %, um/kh.

    z / sqrt(sum (x - mean)^2 / var), each stretch between scrapes with a level of its own. Two
    readings of sd s a time T apart: z s sqrt(2) / T, z = NINE_IN_TEN.
    """
    owner, x, _, var, segment = _segments(f, p, aside)
    out = np.full(f.histories.n_bearings, np.nan)
    if not len(owner):
        return out
    apart = _centred(x, 1 / var, segment)
    spread = np.bincount(owner, apart**2 / var, minlength=len(out))
    return np.where(spread > 0, NINE_IN_TEN / np.sqrt(np.maximum(spread, 1e-300)), np.nan)


def bend_score(f: Frame, p: Params, aside: NDArray[np.bool_]) -> FloatArray:
    """(B,) how many standard errors the present life's readings bend, uneven wear allowed for; 0 where too
    few.

    The coefficient of a square term beside a level per stretch and one slope, against its standard error.
    """
    owner, x, y, var, segment = _segments(f, p, aside, gone_along(f, p.curve))
    n = f.histories.n_bearings
    if not len(owner):
        return np.zeros(n)
    first, last = np.full(n, np.inf), np.full(n, -np.inf)
    np.minimum.at(first, owner, y)
    np.maximum.at(last, owner, y)
    count = np.bincount(owner, minlength=n)
    uneven = p.beta * np.maximum(last - first, 0.0) / np.maximum(count, 1)
    weight = 1.0 / (var + uneven[owner])
    x = _centred(x, weight, segment)
    y = _centred(y, weight, segment)
    square = _centred(x * x, weight, segment)
    sxx = np.bincount(owner, weight * x * x, minlength=n)
    slope = np.bincount(owner, weight * x * square, minlength=n) / np.maximum(sxx, 1e-300)
    rest = square - slope[owner] * x
    information = np.bincount(owner, weight * rest * rest, minlength=n)
    bend = np.bincount(owner, weight * rest * y, minlength=n)
    score = np.abs(bend) / np.sqrt(np.maximum(information, 1e-300))
    return np.where((count >= READINGS_FOR_BEND) & (information > 1e-9), score, 0.0)


def falls(f: Frame, p: Params, aside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(B,) whether the present life's readings fall far more surely than the gauge's error can explain.

    Wear only grows. One slope through the readings, a level of its own for each stretch between scrapes: its
    distance below zero in its own standard errors, by the error stated for the gauge: the fleet's fitted one
    swallows a fall of all.
    """
    owner, x, y, var, segment = _segments(f, replace(p, method_sd={}), aside)
    n = f.histories.n_bearings
    if not len(owner):
        return np.zeros(n, dtype=bool)
    x, y = _centred(x, 1 / var, segment), _centred(y, 1 / var, segment)
    sxx = np.bincount(owner, x * x / var, minlength=n)
    sxy = np.bincount(owner, x * y / var, minlength=n)
    count = np.bincount(owner, minlength=n)
    return (count >= READINGS_FOR_FALL) & (sxy < -FALLING * np.sqrt(np.maximum(sxx, 1e-300)))


def bent_in_time(f: Frame, p: Params, aside: NDArray[np.bool_], score: FloatArray) -> NDArray[np.bool_]:
    """(B,) whether wear as a power of a life's exposure explains the record far better than steady wear.

    Both have the same prior and as many free numbers: each life's exposure x is replaced by X (x / X)^q, X
    the life's own. Under steady wear a log evidence ratio above t is rarer than exp(-t). Readings set
    ``aside`` (E,) count as slips in both, or in neither: a curve read with a fine gauge is no steady wear
    with two slips of the pen. ``score`` (B,) is the present life's bend: records that hardly bend are not
    looked at.
    """
    h = f.histories
    life = f.since_start[1]
    out = np.zeros(h.n_bearings, dtype=bool)
    seen = f.usable & (h.kind == Kind.READING)
    if not seen.any():
        return out
    most = np.zeros(h.n_bearings, dtype=np.int64)
    np.maximum.at(most, f.owner[seen], np.bincount(life[seen])[life[seen]])
    doubted = np.bincount(f.owner[aside], minlength=h.n_bearings) > 0
    some = np.flatnonzero((most >= READINGS_FOR_BEND) & ((score == 0.0) | (score > LOOKED_AT) | doubted))
    for mine in (some[~doubted[some]], some[doubted[some]]):
        if len(mine):
            out[mine] = _curved_odds(h.take(mine), p, aside[_events_of(h, mine)]) > LIKELIER
    return out


def _events_of(h: Histories, bearings: IntArray) -> IntArray:
    """Indices of the events of some bearings, in order."""
    return np.concatenate([np.arange(h.start[i], h.start[i + 1]) for i in bearings])


def _curved_odds(h: Histories, p: Params, aside: NDArray[np.bool_]) -> FloatArray:
    """(B,) log evidence of the best power over that of steady wear, each with the slips
    that suit it better.
    """
    f = frame(h)
    rate = rate_under(p, *p.outlook(h))
    curves = [replace(f, along=bent_along(f, p.curve, times)) for times in EXPONENTS]
    best = np.full((2, h.n_bearings), -np.inf)
    for skip in (aside, np.zeros_like(aside)) if aside.any() else (aside,):
        work, slips = (
            lay_out(f, p, skip),
            np.bincount(f.owner[skip], slip_odds(h.value_um[skip]), h.n_bearings),
        )
        best[0] = np.maximum(best[0], evidence(f, work, rate) + slips)
        for curve in curves:
            best[1] = np.maximum(best[1], evidence(curve, work, rate) + slips)
    return best[1] - best[0]


def bent_along(f: Frame, curve: Curve, times: float) -> FloatArray:
    """(E,) steps of a life's exposure under the fleet's exponent ``times`` over, each life's whole gain kept,
    kh.
    """
    life = f.since_start[1]
    gone = gone_along(f, curve)
    length = np.zeros(int(life.max()) + 1)
    np.maximum.at(length, life, gone)
    x = length[life] * (gone / np.maximum(length[life], 1e-12)) ** times
    step = np.diff(x, prepend=0.0)
    return np.where(np.diff(life, prepend=-1) > 0, f.spent(0.0, curve), np.maximum(step, 0.0))
