"""Every bearing's forecast: dates, chances, rate, advice, and what they rest on (sections 4 and 5)."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import crossing
from .advice import ADVICE, OUTCOMES, REASONS, REPLACE_FROM, advise, outcomes
from .arrays import USUAL_OUTAGE_DAYS, FloatArray, Histories, IntArray
from .belief import Clouds, believe, chunks, rate_under, spread_out
from .class_curves import follows_other
from .event_effects import Frame, lay_out
from .grounds import CURVED, bend_score, bent_in_time, detectable, falls, log_rate_variance, readings_in_view
from .larger_end import Belief, believe_all, believe_record, outlook_apart
from .own_curve import TIMES, bent_params, curve_logs, curve_weights, part_of, rate_shift
from .parameters import Params
from .population import Pool, Population
from .slips import last_readings, likely_factor, stepped_at
from .unwritten import Record, read_record

SURPRISING = 0.0027  # outside 99.7 %: said, and asked about
DOUBTFUL = 0.02  # from here on the date of a real step is worked out too, and the earlier date shown
AT_ONCE = 2048


@dataclass(frozen=True)
class Forecasts:
    """One row per bearing; days count from the as-of day, 0 already passed, inf beyond 40 years, NaN none."""

    outcome: NDArray[np.int8]
    advice: NDArray[np.int8]
    advice_reason: NDArray[np.int8]
    own_evidence: FloatArray
    rate_um_per_kh: FloatArray
    clearance_um: FloatArray
    replace_limit_um: FloatArray
    replace_limit_from: NDArray[np.int8]
    replace_days: FloatArray
    max_days: FloatArray
    p_replace_now: FloatArray
    p_max_now: FloatArray
    p_max_before_next: FloatArray
    p_max_before_following: FloatArray
    scrapes_left: FloatArray
    readings_used: IntArray
    surprise: FloatArray
    slip_factor: FloatArray
    detectable_um_per_kh: FloatArray
    unwritten: (
        FloatArray  # (B, 3) chances of new metal, another level, nothing in the latest gap; NaN: no doubt
    )
    unwritten_at: IntArray  # (B,) which of the bearing's own events ends that gap, -1 for none
    own_exponent: FloatArray  # (B,) the exponent of age its own record speaks for; NaN: its class's


def look_ahead(
    belief: Belief, h: Histories, level: FloatArray, days: FloatArray, shares: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Dates (B, S) at which ``level`` is reached with each share, and chances (B, T) by each day."""
    return crossing.dates(
        belief.clouds.begin,
        belief.clouds.parts,
        level,
        np.ascontiguousarray(np.maximum(days, 0.0)),
        shares,
        crossing.HORIZON_DAYS,
        np.clip(np.nan_to_num(h.hours_per_day, nan=24.0), 0.0, 24.0 * 7),
        np.clip(np.nan_to_num(h.duty_sd), 0, 3),
        np.clip(np.nan_to_num(h.duty_drift), 0, 4),
        belief.taper,
        belief.taper_sd,
        crossing.DUTY_NODES,
        crossing.DUTY_WEIGHTS,
    )


def quantiles(
    belief: Belief, shares: FloatArray, x: FloatArray | None = None, only_gain: bool = False
) -> FloatArray:
    """Quantiles (B, S) of the larger end after x kh, or of a scrape's step plus the wear of x kh."""
    n = len(belief.taper)
    return crossing.level_quantiles(
        belief.clouds.begin,
        belief.clouds.parts,
        np.zeros(n) if x is None else x,
        belief.step_mean,
        belief.step_sd**2,
        only_gain,
        belief.taper,
        belief.taper_sd,
        shares,
    )


def rate_quantiles(belief: Belief, shares: FloatArray, x: FloatArray) -> FloatArray:
    """Quantiles (B, S) of the larger end's mean wear rate over the coming x (B,) kh, um/kh."""
    parts = belief.clouds.parts.copy()
    growth = (1.0 + 0.5 * belief.taper)[belief.clouds.owner] * _mean_stretch(parts, x[belief.clouds.owner])
    parts[:, crossing.MEAN] = parts[:, crossing.RATE] * growth
    parts[:, crossing.VAR] = (parts[:, crossing.RATE_LEAN] * growth) ** 2
    parts[:, crossing.LEAN] = 0.0
    found = quantiles(replace(belief, clouds=replace(belief.clouds, parts=parts)), shares)
    return np.clip(found, 0.0, 1e6)


def _mean_stretch(parts: FloatArray, x: FloatArray) -> FloatArray:
    """(N,) mean rate over x (N,) kh from now as a share of today's; 1 where wear is straight."""
    exponent, age = parts[:, crossing.EXPONENT], parts[:, crossing.AGE]
    bent = age / exponent * (np.maximum(1.0 + x / age, 0.0) ** exponent - 1.0) / x
    return np.where(exponent == 1.0, 1.0, bent)


def _mean_rate(clouds: Clouds, x: FloatArray) -> FloatArray:
    """(B,) expected mean rate over x (B,) kh from now, or before now where x is below zero, um/kh."""
    parts = clouds.parts.copy()
    parts[:, crossing.RATE] *= _mean_stretch(parts, x[clouds.owner])
    return replace(clouds, parts=parts).moments(crossing.RATE)[0]


def chance_by(
    histories: Histories, population: Population, days: FloatArray, *, accepted_risk: float = 0.10
) -> tuple[FloatArray, FloatArray]:
    """Chances (B, k) that the maximum, and that the replace limit, is reached by ``days`` (B, k)."""
    out = [np.full(np.shape(days), np.nan) for _ in range(2)]
    for members, pool in _pools(histories, population):
        with np.errstate(all="ignore"):
            record = read_record(histories.take(members), pool.designs[0])
            h, belief = record.f.histories, believe_record(record, pool)
            level, source = replace_limits(record.f, belief, accepted_risk)
            when = np.asarray(days, dtype=float)[members]
            none = np.zeros(0)
            for k, goal in enumerate((_level(h.limit_um), np.where(source == 3, h.limit_um, level))):
                out[k][members] = look_ahead(belief, h, goal, when, none)[1]
    return out[0], out[1]


def _level(limit: FloatArray) -> FloatArray:
    return np.where(limit > 0, limit, np.nan)


def replace_limits(f: Frame, belief: Belief, accepted_risk: float) -> tuple[FloatArray, NDArray[np.int8]]:
    """(B,) the replace-rather-than-scrape limit, um, and where it comes from.

    c* = L - q(J + G): the step of a scrape and the wear between the coming two outages, at 1 - risk. Below
    the fitting clearance there is no room to scrape. Where the wall was measured, the clearance at which the
    lining is at its least stands for L too; the lower limit rules.
    """
    h = f.histories
    between = np.maximum(np.diff(np.nan_to_num(h.outage_days, nan=0.0), axis=1)[:, 0], 0.0)
    between = np.where(between > 0, between, USUAL_OUTAGE_DAYS)
    x = between * np.clip(np.nan_to_num(h.hours_per_day, nan=24.0), 0.0, 24.0 * 7) / 1000.0
    spent = quantiles(belief, np.array([1.0 - accepted_risk]), x, only_gain=True)[:, 0]
    limit = _level(h.limit_um)
    derived = limit - spent
    plant = h.replace_um > 0
    known = np.isfinite(derived)
    no_room = known & (derived < f.new_um)
    source = np.select([plant, ~known, no_room], [0, 4, 3], default=1).astype(np.int8)
    level = np.where(plant, h.replace_um, derived)
    used_up = lining_used_up(f, belief)
    by_lining = np.where(used_up - spent < f.new_um, used_up, used_up - spent)
    ruling = np.where(source == 3, limit, np.where(source == 4, np.inf, level))
    lower = np.isfinite(by_lining) & (by_lining < ruling)
    return np.where(lower, by_lining, level), np.where(lower, np.int8(2), source)


def lining_used_up(f: Frame, belief: Belief) -> FloatArray:
    """(B,) clearance of the larger end at which the lining is at its least, um; NaN where no wall was
    measured.

    The clearance when the wall was last measured (today's less the wear and the scrapes since) plus what was
    left.
    """
    h = f.histories
    level = belief.clouds.moments(crossing.MEAN)[0]
    ago = np.maximum(np.maximum(h.now_kh - h.lining_at_kh, 0.0), 1e-9)
    rate = _mean_rate(belief.clouds, -ago)
    since = np.maximum(h.now_kh - h.lining_at_kh, 0.0) * rate * (1.0 + 0.5 * belief.taper)
    return level - since - h.lining_scrapes * belief.step_mean + h.lining_left_um


def forecast(
    histories: Histories, population: Population, *, accepted_risk: float = 0.10, threads: bool = False
) -> Forecasts:
    """Forecast every bearing; a bearing that cannot be forecast gets an outcome, never an exception."""
    out = _blank(histories.n_bearings)
    for members, pool in _pools(histories, population):
        size = max(1, AT_ONCE // max(1, sum(w > 0 for w in pool.weights)))
        blocks = [members[i : i + size] for i in range(0, len(members), size)]

        def task(part: slice, blocks: list[Any] = blocks, pool: Pool = pool) -> list[Forecasts]:
            return [_safely(histories.take(b), pool, accepted_risk) for b in blocks[part]]

        parts = chunks(len(blocks), threads) if threads else [slice(0, len(blocks))]
        for part, rows in zip(parts, spread_out(task, parts, threads), strict=True):
            for block, row in zip(blocks[part], rows, strict=True):
                for field in fields(Forecasts):
                    getattr(out, field.name)[block] = getattr(row, field.name)
    return out


def _pools(h: Histories, population: Population) -> list[tuple[IntArray, Pool]]:
    clocks = sorted(set(h.clock.tolist()))
    return [(np.flatnonzero(h.clock == clock), population.pool(clock)) for clock in clocks]


def _blank(n: int) -> Forecasts:
    def nan(*shape: int) -> FloatArray:
        return np.full((n, *shape), np.nan)

    def code() -> NDArray[np.int8]:
        return np.zeros(n, dtype=np.int8)

    return Forecasts(
        code(),
        code(),
        code(),
        nan(),
        nan(3),
        nan(3),
        nan(),
        code(),
        nan(5),
        nan(5),
        nan(),
        nan(),
        nan(),
        nan(),
        nan(),
        np.zeros(n, dtype=np.int64),
        nan(),
        nan(),
        nan(),
        nan(3),
        np.full(n, -1),
        nan(),
    )


def _safely(h: Histories, pool: Pool, accepted_risk: float) -> Forecasts:
    """Forecasts of a block; where one bearing's figures break it, that bearing alone says so."""
    try:
        return _block(h, pool, accepted_risk)
    except (ArithmeticError, ValueError, IndexError, np.linalg.LinAlgError):
        if h.n_bearings > 1:
            rows = [_safely(h.take([i]), pool, accepted_risk) for i in range(h.n_bearings)]
            return Forecasts(*(np.concatenate([getattr(r, f.name) for r in rows]) for f in fields(Forecasts)))
        row = _blank(1)
        row.outcome[:] = OUTCOMES.index("fleet_only")
        row.advice[:] = ADVICE.index("open")
        row.advice_reason[:] = REASONS.index("fleet_only")
        row.replace_limit_from[:] = REPLACE_FROM.index("")
        return row


def _block(h: Histories, pool: Pool, accepted_risk: float) -> Forecasts:
    """Forecasts of some bearings of one pool; the earlier of two where the last reading surprises."""
    with np.errstate(all="ignore"):
        record = read_record(h, pool.designs[0])
        f, aside = record.f, record.aside
        surprise, factor = surprise_of_last(f, pool, aside, last_readings(f))
        rows = _rows(f, pool, aside, accepted_risk, surprise, factor, believe_record(record, pool))
        rows.own_exponent[:] = record.times_over() * pool.designs[0].curve.of(h.class_)
        odd = np.flatnonzero(surprise < DOUBTFUL)
        if len(odd):
            _earlier_governs(record, pool, odd, accepted_risk, surprise, factor, rows)
        rows.unwritten[:] = record.chances
        rows.unwritten_at[:] = np.where(record.event >= 0, record.event - h.start[:-1], -1)
        return rows


def _earlier_governs(
    record: Record,
    pool: Pool,
    odd: IntArray,
    risk: float,
    surprise: FloatArray,
    factor: FloatArray,
    rows: Forecasts,
) -> None:
    """Replace the rows of surprising last readings: as a slip (not where a second one confirmed it) and as a
    real step, the earlier date shown; the reading as it is, wear and its curve in it, stays where its date is
    earlier than both.
    """
    g, hidden = part_of(record.f, record.aside, odd)
    last = last_readings(g)
    as_slip = hidden.copy()
    as_slip[last] = True

    told = risk, surprise[odd], factor[odd]
    slip = _rows(g, pool, as_slip, *told, believe_all(g, pool, as_slip))
    step = _rows(g, pool, hidden, *told, believe_all(g, pool, hidden, stepped_at(last)))
    first = [np.where(np.isnan(x), np.inf, x) for x in (slip.max_days[:, 1], step.max_days[:, 1])]
    first[0][g.histories.last_confirmed] = np.inf
    as_read = rows.max_days[odd, 1] < np.minimum(*first)
    take_slip = first[0] < first[1]
    for field in fields(Forecasts):
        a, b, c = (getattr(x, field.name) for x in (slip, step, rows))
        many = (-1, *[1] * (a.ndim - 1))
        chosen = np.where(take_slip.reshape(many), a, b)
        c[odd] = np.where(as_read.reshape(many), c[odd], chosen)


def surprise_of_last(
    f: Frame, pool: Pool, aside: NDArray[Any], last: IntArray
) -> tuple[FloatArray, FloatArray]:
    """(B,) two-sided tail of the last reading against its forecast from the others; the likely slip, none of
    a reading that a second one confirmed.
    """
    n = f.histories.n_bearings
    surprise, factor = np.full(n, np.nan), np.full(n, np.nan)
    has = last >= 0
    if not has.any():
        return surprise, factor
    p = pool.designs[0]
    cloud, above = _above_last(f, p, aside, last)
    surprise = _two_sided(above)
    doubtful = np.flatnonzero(surprise < DOUBTFUL)
    if len(doubtful) and p.own_curves > 0:
        surprise[doubtful] = _two_sided(_above_as_reads(f, p, aside, doubtful, above[doubtful]))
    zero = np.zeros(n)
    odd = surprise < SURPRISING
    if odd.any():
        belief = Belief(cloud, zero, zero, zero, zero, zero)
        band = quantiles(belief, np.array([0.025, 0.975]))
        raw = f.histories.value_um[np.maximum(last, 0)]
        odd &= ~f.histories.last_confirmed
        factor = np.where(odd, likely_factor(raw, band[:, 0], band[:, 1]), np.nan)
    return surprise, factor


def _two_sided(above: FloatArray) -> FloatArray:
    return np.asarray(np.clip(2.0 * np.minimum(above, 1.0 - above), 0.0, 1.0))


def _above_last(
    f: Frame, p: Params, aside: NDArray[Any], last: IntArray, times: float = 1.0
) -> tuple[Clouds, FloatArray]:
    """What is believed of each last reading from the ones before it, and (B,) the chance of a larger one."""
    n, has, bent = f.histories.n_bearings, last >= 0, bent_params(p, times)
    stop = np.where(has, last, f.histories.start[1:])
    work = lay_out(f, p, aside)
    loc, var = outlook_apart(f, p, work, stop)
    rate = rate_under(bent, loc if times == 1.0 else loc + rate_shift(f, p, times), var)
    cloud = believe(f, work, rate, np.where(has, f.du[np.maximum(last, 0)], 0.0), stop=stop)
    parts = cloud.parts
    parts[:, crossing.VAR] += np.where(has, work.b[np.maximum(last, 0)], 0.0)[cloud.owner]
    zero = np.zeros(n)
    value = np.where(has, work.a[np.maximum(last, 0)], np.nan)
    args = (np.zeros((n, 1)), np.zeros(0), 1.0, zero, zero, zero, zero, zero)
    nodes = crossing.DUTY_NODES, crossing.DUTY_WEIGHTS
    return cloud, crossing.dates(cloud.begin, parts, value, *args, *nodes)[1][:, 0]


def _above_as_reads(
    f: Frame, p: Params, aside: NDArray[Any], doubtful: IntArray, above: FloatArray
) -> FloatArray:
    """(b,) the chance of a larger last reading of some bearings under all the curves they may follow.

    Each by its weight before that reading; ``above`` (b,) under their class's.
    """
    own, skip = part_of(f, aside, doubtful)
    last = last_readings(own)
    weight = curve_weights(curve_logs(own, p, skip, last), p.own_curves)
    begun = own.ages.known[own.ages.present]
    rest = [_above_last(own, p, skip, last, times)[1] for times in TIMES[1:]]
    return np.where(begun, np.sum(weight * np.stack([above, *rest], axis=1), axis=1), above)


def _rows(
    f: Frame,
    pool: Pool,
    aside: NDArray[Any],
    risk: float,
    surprise: FloatArray,
    factor: FloatArray,
    belief: Belief,
) -> Forecasts:
    """All columns of some bearings under one reading of their record."""
    h = f.histories
    limit = _level(h.limit_um)
    replace_um, source = replace_limits(f, belief, risk)
    plant, no_room = source == 0, source == 3
    (max_days, p_max), (replace_days, p_replace) = _both_limits(
        h, belief, limit, np.where(no_room, limit, replace_um)
    )
    n_used = readings_in_view(f)
    doubtful = aside.copy()
    odd = surprise < SURPRISING
    doubtful[last_readings(f)[odd]] = True
    misfit = _misfits(f, pool, doubtful, belief)
    has_limit = np.isfinite(limit) | (h.replace_um > 0) | (source == 2)
    past = (p_max[:, 0] >= 0.5) | (plant & (p_replace[:, 0] >= 0.5))
    broken = ~np.isfinite(np.where(np.isfinite(limit), p_max[:, 0], p_replace[:, 0]))
    young = np.full(h.n_bearings, pool.young)
    alone = (n_used == 0) | broken
    outcome = outcomes(has_limit=has_limit, young=young, alone=alone, past=past, misfit=misfit)
    advice, reason = _advised(h, outcome, odd, misfit, source, risk, p_max, p_replace)
    silent = (outcome <= 1)[:, None]
    three = np.array([0.1, 0.5, 0.9])
    level = quantiles(belief, three)
    evidence_ = np.clip(1.0 - log_rate_variance(belief.clouds) / belief.prior_var, 0.0, 1.0)
    return Forecasts(
        outcome=outcome,
        advice=advice,
        advice_reason=reason,
        own_evidence=np.where(n_used > 0, evidence_, 0.0),
        rate_um_per_kh=rate_quantiles(belief, three, _coming_kh(h)),
        clearance_um=level,
        replace_limit_um=replace_um,
        replace_limit_from=source,
        replace_days=np.where(silent, np.nan, replace_days),
        max_days=np.where(silent, np.nan, max_days),
        p_replace_now=p_replace[:, 0],
        p_max_now=p_max[:, 0],
        p_max_before_next=p_max[:, 1],
        p_max_before_following=p_max[:, 2],
        scrapes_left=_scrapes_left(level[:, 1], replace_um, belief),
        readings_used=n_used,
        surprise=surprise,
        slip_factor=factor,
        detectable_um_per_kh=detectable(f, pool.designs[0], aside),
        unwritten=np.full((h.n_bearings, 3), np.nan),
        unwritten_at=np.full(h.n_bearings, -1),
        own_exponent=np.full(h.n_bearings, np.nan),
    )


def _advised(
    h: Histories,
    outcome: NDArray[Any],
    odd: NDArray[np.bool_],
    misfit: NDArray[np.bool_],
    source: NDArray[Any],
    risk: float,
    p_max: FloatArray,
    p_replace: FloatArray,
) -> tuple[NDArray[Any], NDArray[Any]]:
    """(B,) what to do with each bearing and why; ``odd``: its last reading surprises; the chances (B, 3) are
    of today, the next outage and the one after.
    """
    return advise(
        outcome=outcome,
        surprising=odd,
        age_outages=h.last_reading_age_outages,
        p_following=p_max[:, 2],
        p_replace_next=p_replace[:, 1],
        plant_replace=source == 0,
        no_room=(source == 3) | ((source == 1) & (p_replace[:, 1] >= 0.5)),
        scrape_owed=h.scrape_owed,
        scrapeable=h.scrapeable,
        accepted_risk=risk,
        misfit=misfit,
    )


def _both_limits(
    h: Histories, belief: Belief, limit: FloatArray, goal: FloatArray
) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
    """Days to, and chances of having passed, the maximum and the replace-rather-than-scrape limit (B,) um;
    where both are one it is worked out once.
    """
    now = np.zeros((h.n_bearings, 1))
    when = np.concatenate([now, np.nan_to_num(h.outage_days, nan=USUAL_OUTAGE_DAYS)], axis=1)
    days, chance = look_ahead(belief, h, limit, when, crossing.SHARES)
    apart = (goal != limit) | ~np.isfinite(limit)
    own_days, own_chance = look_ahead(belief, h, np.where(apart, goal, np.nan), when, crossing.SHARES)
    own_days[~apart], own_chance[~apart] = days[~apart], chance[~apart]
    return (days, chance), (own_days, own_chance)


def _misfits(f: Frame, pool: Pool, doubtful: NDArray[Any], belief: Belief) -> NDArray[np.bool_]:
    """(B,) bearings that the model does not fit; ``doubtful`` (E,) readings do not count for it."""
    bend = bend_score(f, pool.designs[0], doubtful)
    misfit = (belief.clouds.edge > 1e-3) | (bend > CURVED)
    misfit |= bent_in_time(f, pool.designs[0], doubtful, bend)
    return misfit | falls(f, pool.designs[0], doubtful) | follows_other(pool.curved, f.histories.class_)


def _coming_kh(h: Histories) -> FloatArray:
    """(B,) run hours to the next outage, kh; at least one."""
    days = np.nan_to_num(h.outage_days[:, 0], nan=USUAL_OUTAGE_DAYS)
    return np.maximum(days * np.clip(np.nan_to_num(h.hours_per_day, nan=24.0), 0.0, 168.0) / 1000.0, 1.0)


def _scrapes_left(now: FloatArray, replace_um: FloatArray, belief: Belief) -> FloatArray:
    """(B,) how many scrapes the middle clearance still allows: one if below the limit,
    more by whole steps.
    """
    room = replace_um - now
    left = np.where(room < 0, 0.0, 1.0 + np.floor(np.maximum(room, 0.0) / np.maximum(belief.step_mean, 1e-6)))
    return np.where(np.isfinite(room), np.minimum(left, 99.0), np.nan)
