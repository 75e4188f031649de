"""One bearing's fitted path through its record, and the fan ahead of it, for charts."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import crossing, grid
from .arrays import FloatArray, Histories
from .belief import Clouds
from .event_effects import Frame, lay_out
from .forecast import look_ahead, replace_limits
from .larger_end import Belief, believe_record
from .normal import EIGHT_IN_TEN
from .parameters import Params
from .pass_inputs import Memory
from .population import Population
from .shape import spread
from .slips import rate_of
from .unwritten import read_record
from .zeros import has_zeros, run_joint

FAN_SHARES = np.array([0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95])
FRESH_START = np.array([grid.LIFE, grid.LEVEL])


@dataclass(frozen=True)
class Path:
    """E events and T days ahead; lengths in um.

    before, after (E, 3): mean, p10 and p90 of the clearance (mean of the ends, reference scale) just
    before and just after each event, given the whole record. set_aside (E,): readings taken for slips.
    fan (T, 7): 5/10/25/50/75/90/95 % of the larger end; p_max, p_replace (T,): chance that the limit is
    reached by then. larger_end_um: what the larger end has over the mean at the as-of day.
    """

    exposure_kh: FloatArray
    kind: NDArray[np.int8]
    before: FloatArray
    after: FloatArray
    set_aside: NDArray[np.bool_]
    days_ahead: FloatArray
    fan: FloatArray
    p_max: FloatArray
    p_replace: FloatArray
    larger_end_um: float


def path(
    histories: Histories,
    population: Population,
    i: int,
    days_ahead: FloatArray,
    *,
    accepted_risk: float = 0.10,
) -> Path:
    """The path and fan of bearing ``i``; empty arrays where its record holds nothing."""
    told = histories.take([i])
    pool = population.pool(int(told.clock[0]))
    days = np.maximum(np.asarray(days_ahead, dtype=float), 0.0)
    with np.errstate(all="ignore"):
        record = read_record(told, pool.designs[0])
        f, h = record.f, record.f.histories
        before, after = smooth(f, pool.designs[0], record.aside)
        belief = believe_record(record, pool)
        limit = np.where(h.limit_um > 0, h.limit_um, np.nan)
        level, source = replace_limits(f, belief, accepted_risk)
        goal = np.where(source == 3, limit, level)
        many = h.take(np.zeros(len(days), dtype=int))
        fan = _fan(belief, h, days)
    now = float(belief.clouds.moments(crossing.MEAN)[0][0]) if len(belief.clouds.parts) else np.nan
    mean_now = after[-1, 0] + _worn(belief, float(f.tail[0])) if len(after) else now
    own = record.origin >= 0
    return Path(
        told.exposure_kh,
        told.kind,
        before[own],
        after[own],
        record.aside[own],
        days,
        fan,
        _chance(belief, many, limit[0], days),
        _chance(belief, many, goal[0], days),
        float(max(now - mean_now, 0.0)) if np.isfinite(now) else 0.0,
    )


def _worn(belief: Belief, tail: float) -> float:
    """What the mean of the ends is expected to have worn in the ``tail`` kh before the as-of day, um."""
    parts = belief.clouds.parts
    return float(-np.sum(parts[:, crossing.WEIGHT] * parts[:, crossing.RATE] * crossing.ahead(parts, -tail)))


def _repeat(belief: Belief, n: int, parts: FloatArray) -> Belief:
    """The one bearing n times over, with the given components (n * size, 8)."""
    size = len(parts) // max(n, 1)
    clouds = Clouds(np.arange(n + 1, dtype=np.int64) * size, parts, np.zeros(n))
    one = {
        k: np.repeat(getattr(belief, k), n)
        for k in ("taper", "taper_sd", "prior_var", "step_mean", "step_sd")
    }
    return replace(belief, clouds=clouds, **one)


def _chance(belief: Belief, many: Histories, level: float, days: FloatArray) -> FloatArray:
    n = len(days)
    if n == 0:
        return np.zeros(0)
    again = _repeat(belief, n, np.tile(belief.clouds.parts, (n, 1)))
    return look_ahead(again, many, np.full(n, level), days[:, None], np.zeros(0))[1][:, 0]


def _fan(belief: Belief, h: Histories, days: FloatArray) -> FloatArray:
    """(T, 7) quantiles of the larger end on each day, the mean over the duty ahead."""
    base = belief.clouds.parts
    if not len(base) or not len(days):
        return np.full((len(days), len(FAN_SHARES)), np.nan)
    rows = []
    for day in days:
        spread = np.sqrt(h.duty_sd[0] ** 2 + h.duty_drift[0] * day / 365.25 / 3.0)
        for node, weight in zip(crossing.DUTY_NODES, crossing.DUTY_WEIGHTS, strict=True):
            part = base.copy()
            x = day * h.hours_per_day[0] / 1000.0 * np.exp(spread * node)
            worn = crossing.ahead(part, x)
            gain = part[:, crossing.RATE] * worn
            lean = part[:, crossing.LEAN] + part[:, crossing.RATE_LEAN] * worn
            part[:, crossing.WEIGHT] *= weight
            part[:, crossing.MEAN] += gain * (1.0 + 0.5 * belief.taper[0])
            part[:, crossing.VAR] += part[:, crossing.BETA] * gain + (0.5 * belief.taper_sd[0] * gain) ** 2
            part[:, crossing.LEAN] = lean
            rows.append(part)
    again = _repeat(belief, len(days), np.concatenate(rows))
    zero = np.zeros(len(days))
    return crossing.level_quantiles(
        again.clouds.begin, again.clouds.parts, zero, zero, zero, False, zero, zero, FAN_SHARES
    )


def smooth(f: Frame, p: Params, aside: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
    """(E, 3) mean, p10, p90 before and after each event of one bearing, given the whole record.

    Forward on the grid, then Rauch, Tung and Striebel's backward pass node by node; the node weights of a
    life come from its own record and, through the place's node, from all others. What a later wall reading
    says of an earlier offset is not carried back: the drawn path of such a bearing is a little wider than it
    need be, its forecast is not.
    """
    work = lay_out(f, p, aside)
    n = len(work.op)
    if n == 0:
        return np.zeros((0, 3)), np.zeros((0, 3))
    rate = rate_of(f, p)
    z, du = grid.NODES, f.spent(rate.start_hours, rate.curve)
    apart, memory = spread(rate.warp, z, rate.outlying), grid.blank_memory(len(z))
    r = grid.rates(rate.loc[0], rate.tau[0], apart.x, False)
    grid.remember(rate.rho[0], z, apart, memory)
    m, v, w = np.full(len(z), work.m0[0]), np.full(len(z), work.v0[0]), -0.5 * z * z
    q, fresh = np.ones(len(z)), np.exp(w) / np.sum(np.exp(w))
    past, own = np.stack([memory.place, fresh]), []
    first, joint = (m.copy(), v.copy(), w.copy()), bool(has_zeros(work.op, 0, n))
    states = []
    for e in range(n):
        gain = r * du[e]
        mb, vb = m + gain + work.jump[e], v + rate.beta[0] * gain + work.jump_var[e]
        ended, started = grid.cell_mass(w)[0], past[1].copy()
        told = (work.op, du, work.a, work.b, work.c, work.jump, work.jump_var)
        if joint:  # the offsets are kept by going through the record again from its start
            m, v, w = first[0].copy(), first[1].copy(), first[2].copy()
            past = np.stack([memory.place, fresh])
            run_joint(*told, work.zero, 0, e + 1, r, memory, past, rate.beta[0], m, v, w)
        else:
            grid.run_one(*told, e, e + 1, r, memory, past, rate.beta[0], m, v, w, q)
        if work.op[e] in (grid.LIFE, grid.BREAK):
            own.append(Life(ended, started, work.op[e] == grid.BREAK))
        states.append((mb, vb, m.copy(), v.copy()))
    own.append(Life(grid.cell_mass(w)[0], past[1], False))
    return _backward(work, du, rate.beta[0], r, _by_whole_record(own, memory), states)


@dataclass(frozen=True)
class Life:
    """Node weights (K,) of a life at its end and at its beginning; whether a rate break ended it."""

    mass: FloatArray
    begun: FloatArray
    broken: bool


def _by_whole_record(own: list[Life], memory: Memory) -> list[FloatArray]:
    """(L lists of K) node weights of each life of a place given all of them, in order.

    The ratio of a life's weights at its end and at its beginning is what its record alone says. Given the
    place's node lives are independent, so a life's weights are its own record's times what the place's node
    is believed to be by the lives before it and by those after, each passing what rate breaks leave of it.
    """
    said = [np.where(one.mass > 1e-15, one.mass / np.maximum(one.begun, 1e-300), 0.0) for one in own]
    said = [x / x.max() for x in said]
    there = [memory.table[0] @ x for x in said]
    before, after = [memory.place], [np.ones(len(memory.place))]
    for one, heard in zip(own[:-1], there[:-1], strict=True):
        belief = before[-1] * heard
        belief = grid.after_break(belief, memory) if one.broken else belief
        before.append(belief / belief.sum())
    for one, heard in zip(own[-2::-1], there[:0:-1], strict=True):
        told = after[-1] * heard
        if one.broken:
            gone = grid.CURED * memory.outlying
            told = told * (1.0 - gone) + gone * (memory.place @ told)
        after.append(told / told.max())
    weights = [x * ((a * b) @ memory.table[0]) for x, a, b in zip(said, before, reversed(after), strict=True)]
    return [mass / mass.sum() for mass in weights]


def _backward(work, du, beta, r, lives, states) -> tuple[FloatArray, FloatArray]:
    n = len(states)
    before, after = np.zeros((n, 3)), np.zeros((n, 3))
    mass = lives[-1]
    ms, vs = states[-1][2], states[-1][3]
    for e in range(n - 1, -1, -1):
        mb, vb, ma, va = states[e]
        after[e] = _band(mass, ms, vs)
        op = work.op[e]
        if op in (grid.LIFE, grid.BREAK):
            lives = lives[:-1]
            mass = lives[-1]
        if op in (grid.LIFE, grid.LEVEL, grid.BREAK):
            ms, vs = mb, vb
        elif op == grid.STEP:
            ms, vs = _back(mb, vb, ma, va, ms, vs)
        before[e] = _band(mass, ms, vs)
        if e > 0:
            ms, vs = _back(states[e - 1][2], states[e - 1][3], mb, vb, ms, vs)
    return before, after


def _back(m, v, m_next, v_next, ms, vs) -> tuple[FloatArray, FloatArray]:
    """One backward step: filtered m, v; predicted and smoothed at the next state."""
    share = v / np.maximum(v_next, 1e-12)
    return m + share * (ms - m_next), np.maximum(v + share**2 * (vs - v_next), 1e-12)


def _band(mass: FloatArray, m: FloatArray, v: FloatArray) -> FloatArray:
    mean = float(mass @ m)
    sd = float(np.sqrt(max(mass @ (v + (m - mean) ** 2), 0.0)))
    return np.array([mean, mean - EIGHT_IN_TEN * sd, mean + EIGHT_IN_TEN * sd])
