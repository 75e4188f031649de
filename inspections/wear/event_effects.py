"""What the filter is to do at each event, under given parameters."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from . import grid
from .ages import STRAIGHT, Ages, Curve, ages
from .arrays import FloatArray, Histories, IntArray, Kind
from .parameters import Params

WIDE_SHARE = 0.4  # sd of an unknown level as a share of the in-service maximum (wear model, section 2)
RANGE_TO_NEW = 0.5  # common practice, no published source: new clearance about half the maximum
RUN_IN_KH = 1.0  # new metal beds in within about a thousand hours (common practice, no published source)
LARGEST_UM = 1e7  # beyond any clearance; keeps squares finite


@dataclass(frozen=True)
class Frame:
    """What does not depend on parameters: steps of exposure, and each bearing's scale (um)."""

    histories: Histories
    owner: IntArray
    du: FloatArray
    new_um: FloatArray  # (B,) middle of the fitting range, or the best guess of it
    wide_um: FloatArray  # (B,) sd of a level nobody knows
    tail: FloatArray  # (B,) exposure from the last event to the as-of day
    usable: NDArray[np.bool_]  # (E,) readings, intervals and drops that can be used
    starts: FloatArray  # (E,) thousand starts since the event before; 0 where none are recorded
    starts_per_hour: FloatArray  # (B,) of late; 0 where none are recorded
    run_in: FloatArray  # (E,) share of the running in between the event before and this
    run_in_left: FloatArray  # (B,) share of it still to come after the last event
    ages: Ages
    along: FloatArray | None = None  # (E,) steps along a curve of its own, kh, instead of the pool's

    @cached_property
    def since_start(self) -> tuple[FloatArray, IntArray]:
        """(E,) exposure gone since the present life or level began, kh; and the number of that life."""
        h = self.histories
        begins = h.among(Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE)
        begins[h.start[:-1][np.diff(h.start) > 0]] = True
        number = np.cumsum(begins).astype(np.int64) - 1
        total = np.cumsum(self.du)
        at = total[begins]
        return total - at[number] if len(at) else total, number

    def spent(self, start_hours: float, curve: Curve = STRAIGHT) -> FloatArray:
        """(E,) exposure since the event before in equivalent kh: run hours and starts, along the curve of
        wear.
        """
        spent = self.du if self.along is None else self.along
        spent = spent + start_hours * self.starts if start_hours > 0 else spent
        if curve.straight or self.along is not None:
            return spent
        return spent * self.ages.growth(curve, self.du)


def frame(h: Histories) -> Frame:
    """Steps and scales of every bearing; broken figures are set aside here, never raised."""
    owner = h.owner
    exposure = np.nan_to_num(h.exposure_kh, nan=0.0, posinf=0.0, neginf=0.0)
    du = np.diff(exposure, prepend=0.0)
    filled = np.diff(h.start) > 0
    du[h.start[:-1][filled]] = 0.0
    du = np.maximum(du, 0.0)
    last = np.zeros(h.n_bearings)
    last[filled] = exposure[h.start[1:][filled] - 1]
    now = np.where(np.isfinite(h.now_kh), h.now_kh, last)
    tail = np.where(filled, np.maximum(now - last, 0.0), 0.0)
    value = h.among(Kind.READING, Kind.DROP) & np.isfinite(h.value_um) & (np.abs(h.value_um) < LARGEST_UM)
    bounds = (h.kind == Kind.INTERVAL) & ~(np.isnan(h.low_um) | np.isnan(h.high_um)) & (h.low_um < h.high_um)
    bounds &= np.isfinite(h.low_um) | np.isfinite(h.high_um)
    usable = (value | bounds) & (h.method >= 0) & (h.method < max(len(h.methods), 1))
    usable &= (h.kind != Kind.DROP) | (h.zero >= 0)
    new, wide = _scales(h, owner, usable)
    run_in, left = _running_in(h, exposure)
    own = ages(h, du, owner, usable, new)
    return Frame(h, owner, du, new, wide, tail, usable, _starts(h), _per_hour(h), run_in, left, own)


def _per_hour(h: Histories) -> FloatArray:
    return np.maximum(np.nan_to_num(h.starts_per_hour, nan=0.0, posinf=0.0), 0.0)


def _starts(h: Histories) -> FloatArray:
    """(E,) thousand starts since the event before; never negative."""
    counted = np.nan_to_num(h.starts_k, nan=0.0, posinf=0.0, neginf=0.0)
    more = np.diff(counted, prepend=0.0)
    more[h.start[:-1][np.diff(h.start) > 0]] = 0.0
    return np.maximum(more, 0.0)


def _running_in(h: Histories, exposure: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Shares of new metal's running in, 1 - exp(-x / 1 kh), that fall before each event
    and after the last.
    """
    share, left = np.zeros(len(exposure)), np.zeros(h.n_bearings)
    fresh = h.kind == Kind.NEW_LIFE
    first = h.start[:-1][np.diff(h.start) > 0]
    fresh[first[h.fresh[np.diff(h.start) > 0]]] = True
    if not fresh.any():
        return share, left
    owner = h.owner
    began = np.maximum.accumulate(np.where(fresh, np.arange(len(fresh)), -1))
    known = (began >= 0) & (owner[np.maximum(began, 0)] == owner)
    run = np.where(known, exposure - exposure[np.maximum(began, 0)], np.inf)
    gone = np.exp(-run / RUN_IN_KH)
    later = known & ~fresh
    later[first] = False
    share[later] = np.maximum(gone[np.flatnonzero(later) - 1] - gone[later], 0.0)
    filled = np.diff(h.start) > 0
    left[filled] = gone[h.start[1:][filled] - 1]
    return share, left


def _scales(h: Histories, owner: IntArray, usable: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """New clearance and the spread of an unknown level, from the limits where stated, else the readings."""
    limit = np.where(h.limit_um > 0, h.limit_um, np.where(h.replace_um > 0, h.replace_um, np.nan))
    new = np.where(h.fitting_um > 0, h.fitting_um, RANGE_TO_NEW * limit)
    for i in np.flatnonzero(np.isnan(new)):
        events = np.arange(h.start[i], h.start[i + 1])
        seen = h.value_um[events][usable[events] & np.isfinite(h.value_um[events])]
        new[i] = max(float(np.median(seen)), 1.0) if len(seen) else 100.0
    wide = WIDE_SHARE * np.where(np.isnan(limit), new / RANGE_TO_NEW, limit)
    return new, wide


@dataclass(frozen=True)
class Work:
    """The filter's instructions: op (E,), numbers a, b, c (E,) and the starting level (B,)."""

    op: NDArray[np.int8]
    a: FloatArray
    b: FloatArray
    c: FloatArray
    m0: FloatArray
    v0: FloatArray
    zero: NDArray[np.int8] = field(
        default_factory=lambda: np.zeros(0, dtype=np.int8)
    )  # (E,) series of a DROP
    jump: FloatArray = field(
        default_factory=lambda: np.zeros(0)
    )  # (E,) what running in adds before each event, and its variance
    jump_var: FloatArray = field(default_factory=lambda: np.zeros(0))
    jump_left: FloatArray = field(
        default_factory=lambda: np.zeros(0)
    )  # (B,) what it still adds after the last
    jump_left_var: FloatArray = field(default_factory=lambda: np.zeros(0))

    def __post_init__(self) -> None:
        """Without running in nothing is added anywhere, without drops there are no series."""
        if len(self.zero) != len(self.op):
            object.__setattr__(self, "zero", np.full(len(self.op), -1, dtype=np.int8))
        for name, like in (
            ("jump", self.a),
            ("jump_var", self.a),
            ("jump_left", self.m0),
            ("jump_left_var", self.m0),
        ):
            if len(getattr(self, name)) != len(like):
                object.__setattr__(self, name, np.zeros(len(like)))


def lay_out(f: Frame, p: Params, set_aside: NDArray[np.bool_] | None = None) -> Work:
    """Instructions for every event; ``set_aside`` (E,) readings count as not taken."""
    h = f.histories
    n = len(h.kind)
    op = np.full(n, grid.SKIP, dtype=np.int8)
    a, b, c = np.zeros(n), np.ones(n), np.zeros(n)
    use = f.usable if set_aside is None else f.usable & ~set_aside
    sd, bias = p.of_methods(h.methods)
    which = np.clip(h.method, 0, len(sd) - 1)
    extra = np.nan_to_num(h.extra_sd_um, nan=0.0, posinf=0.0)
    var, shift = sd[which] ** 2 + extra**2, bias[which] + p.of_gauges(h)
    reading = np.flatnonzero(use & (h.kind == Kind.READING))
    op[reading], a[reading], b[reading] = grid.READ, (h.value_um - shift)[reading], var[reading]
    drop = np.flatnonzero(use & (h.kind == Kind.DROP))
    op[drop], a[drop], b[drop] = grid.DROP, h.value_um[drop], var[drop]
    bounds = np.flatnonzero(use & (h.kind == Kind.INTERVAL))
    op[bounds], c[bounds] = grid.CENSOR, var[bounds]
    a[bounds] = np.clip(h.low_um[bounds] - shift[bounds], -LARGEST_UM, LARGEST_UM)
    b[bounds] = np.clip(h.high_um[bounds] - shift[bounds], -LARGEST_UM, LARGEST_UM)
    _opened(f, p, op, a, b, c)
    scrape = np.flatnonzero(h.kind == Kind.SCRAPE)
    mean, spread = p.of_steps(h.class_)
    op[scrape], a[scrape], b[scrape] = grid.STEP, mean[f.owner[scrape]], spread[f.owner[scrape]] ** 2
    new = f.new_um * (1.0 + p.of_new(h.class_))
    new_sd = f.new_um * p.new_spread
    for kind, code in (
        (Kind.NEW_LIFE, grid.LIFE),
        (Kind.NEW_BASELINE, grid.LEVEL),
        (Kind.UNSURE, grid.LEVEL),
    ):
        here = np.flatnonzero(h.kind == kind)
        start = new if kind == Kind.NEW_LIFE else new + 0.25 * f.wide_um
        loose = new_sd if kind == Kind.NEW_LIFE else f.wide_um
        op[here] = code
        stated, sd_stated, of = h.level_um[here], h.level_sd_um[here], f.owner[here]
        a[here] = np.where(np.isfinite(stated), stated, start[of])
        b[here] = np.where(sd_stated > 0, sd_stated, loose[of]) ** 2
    op[h.kind == Kind.RATE_BREAK] = grid.BREAK
    first = h.start[:-1][np.diff(h.start) > 0]
    op[first[op[first] == grid.LIFE]] = grid.LEVEL  # nothing before it to remember
    m0 = np.where(h.fresh, new, new + 0.25 * f.wide_um)
    v0 = np.where(h.fresh, new_sd, f.wide_um) ** 2
    more, left = p.run_in * f.run_in, p.run_in * f.run_in_left
    return Work(op, a, b, c, m0, v0, h.zero, more, more**2, left, left**2)


def _opened(f: Frame, p: Params, op: NDArray[np.int8], a: FloatArray, b: FloatArray, c: FloatArray) -> None:
    """What a visit's reason says of the clearance: P(opened because bad) = Phi((c - at) / sd), a soft bound.

    A bearing that was opened because something seemed wrong is likelier worn, one opened by plan is not.
    """
    if not p.opened:
        return
    h = f.histories
    room = (h.limit_um - f.new_um)[f.owner]
    known = (h.kind == Kind.OPENED) & np.isfinite(h.value_um) & (room > 0)
    at = f.new_um[f.owner] + p.opened[0] * room
    bad = h.value_um > 0.5
    op[known] = grid.CENSOR
    a[known] = np.where(bad, at, -LARGEST_UM)[known]
    b[known] = np.where(bad, LARGEST_UM, at)[known]
    c[known] = ((p.opened[1] * room) ** 2)[known]
