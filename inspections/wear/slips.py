"""Readings that are likelier a slip of the pen than wear, weighed with the whole life (section 3).

Later readings count as much as earlier ones: a forward pass alone believes a slip at the first reading
and hides a real wipe at the last. Only bearings with a surprising reading pay for the weighing.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import grid, passes
from .arrays import FloatArray, IntArray, Kind
from .belief import Rate, chunks, evidence, pass_inputs, rate_under
from .event_effects import WIDE_SHARE, Frame, Work, frame, lay_out
from .parameters import Params
from .shape import spread

LOOKED_AT = 3.2  # sds from its forecast at which a reading's life is weighed
CHANCE = 0.005  # of one reading being a slip: a design assumption with no published source
WIDE = float(np.log(1e4))  # a slip may be any value: log-uniform over four decades
ROUNDS = 4
# Times the maximum, and share of new clearance, beyond which no bearing still runs (common practice, no
# published source).
MOST, LEAST = 5.0, 0.2
# radial for diametral and back, a misplaced decimal, mil read as 0.01 mm and back, inch for mm, thousandths
FACTORS = (0.5, 2.0, 0.1, 10.0, 2.54, 1 / 2.54, 25.4, 1 / 25.4, 1000.0, 0.001)


def rate_of(f: Frame, p: Params) -> Rate:
    """What the fleet expects of each bearing, its own readings included in the fleet's estimate."""
    return rate_under(p, *p.outlook(f.histories))


def distances(f: Frame, work: Work, rate: Rate) -> FloatArray:
    """(E,) each reading's distance from the forecast before it, in sds; 0 where there is no reading."""
    out = np.zeros(len(work.op))
    start, stop = f.histories.start[:-1], f.histories.start[1:]
    apart, du = spread(rate.warp, grid.NODES, rate.outlying), f.spent(rate.start_hours, rate.curve)
    for s in chunks(len(start), False):
        inputs = pass_inputs(work, rate, du, start[s], stop[s], np.zeros(s.stop - s.start), s)
        passes.surprises(*inputs, grid.NODES, apart, out)
    return out


def likely_slips(f: Frame, p: Params, *, last_too: bool) -> NDArray[np.bool_]:
    """(E,) readings that are more likely a slip than not.

    With ``last_too`` false the last reading of a bearing is never among them, and where it is the
    likeliest slip nothing before it is blamed in its place.
    """
    aside = np.zeros(len(f.owner), dtype=bool)
    rate = rate_of(f, p)
    far = np.abs(distances(f, lay_out(f, p), rate)) > LOOKED_AT
    suspects = np.unique(f.owner[far])
    last = last_readings(f)
    for _ in range(ROUNDS):
        if not len(suspects):
            break
        guilty, strength = _most_likely(f, p, rate, suspects, aside)
        found = (strength > 0) & (last_too | (guilty != last[suspects]))
        aside[guilty[found]] = True
        suspects = suspects[found]
    return aside


def cannot_be(f: Frame) -> NDArray[np.bool_]:
    """(E,) point readings that no bearing has: no rate is to be learned from them, however outlying rates may
    be.
    """
    h = f.histories
    most = MOST * f.wide_um / WIDE_SHARE
    far = (h.value_um > most[f.owner]) | (h.value_um < LEAST * f.new_um[f.owner])
    return f.usable & (h.kind == Kind.READING) & far


def last_readings(f: Frame) -> NDArray[np.int64]:
    """(B,) index of each bearing's last usable point reading, -1 where there is none."""
    out = np.full(f.histories.n_bearings, -1, dtype=np.int64)
    seen = np.flatnonzero(f.usable & (f.histories.kind == Kind.READING))
    out[f.owner[seen]] = seen
    return out


def _most_likely(
    f: Frame, p: Params, rate: Rate, suspects: NDArray[Any], aside: NDArray[Any]
) -> tuple[NDArray[Any], FloatArray]:
    """For each suspect bearing the reading most likely a slip, and the log odds of it."""
    h = f.histories
    candidates = f.usable & (h.kind == Kind.READING) & ~aside
    owners, left_out = [], []
    for i in suspects:
        own = np.flatnonzero(candidates[h.start[i] : h.start[i + 1]]) + h.start[i]
        owners += [i] * (len(own) + 1)
        left_out += [-1, *own]
    copies, hidden = np.array(owners), np.array(left_out)
    if not np.any(hidden >= 0):
        return np.zeros(len(suspects), dtype=np.int64), np.full(len(suspects), -np.inf)
    many = h.take(copies)
    origin = np.repeat(h.start[copies] - many.start[:-1], np.diff(many.start)) + np.arange(len(many.kind))
    skip = aside[origin] | (origin == np.repeat(hidden, np.diff(many.start)))
    g = frame(many)
    level = evidence(g, lay_out(g, p, skip), rate.take(copies))
    whole = dict(zip(copies[hidden < 0].tolist(), level[hidden < 0], strict=True))
    single = hidden >= 0
    owner, event = copies[single], hidden[single]
    odds = level[single] - np.array([whole[i] for i in owner]) + slip_odds(h.value_um[event])
    order = np.lexsort((odds, owner))
    final = np.flatnonzero(np.append(owner[order][1:] != owner[order][:-1], True))
    best = order[final]
    guilty = dict(zip(owner[best].tolist(), zip(event[best], odds[best], strict=True), strict=True))
    pairs = [guilty.get(int(i), (0, -np.inf)) for i in suspects]
    return np.array([e for e, _ in pairs], dtype=np.int64), np.array([o for _, o in pairs])


def slip_odds(value: FloatArray) -> FloatArray:
    """(N,) what calling a reading (N,), um, a slip of any value adds to the log evidence of a life without
    it.
    """
    return np.log(CHANCE / (1 - CHANCE)) - np.log(np.maximum(np.abs(value), 1.0) * WIDE)


def likely_factor(value: FloatArray, low: FloatArray, high: FloatArray) -> FloatArray:
    """(B,) the named factor that would bring a surprising value inside its forecast, NaN where none does.

    The factor is how many times too large the value is; of several the one landing nearest the middle.
    """
    out = np.full(len(value), np.nan)
    nearest = np.full(len(value), np.inf)
    for factor in FACTORS:
        mended = value / factor
        off = np.abs(mended - 0.5 * (low + high))
        fits = (mended > low) & (mended < high) & (off < nearest)
        out[fits], nearest[fits] = factor, off[fits]
    return out


def stepped_at(last: IntArray) -> Callable[[Work], Work]:
    """The change that reads each bearing's last reading as a real step of its level."""

    def stepped(work: Work) -> Work:
        op = work.op.copy()
        op[last] = grid.LEVEL
        return replace(work, op=op)

    return stepped
