"""What the engine believes of bearings today, in the figures that a decision takes: beliefs, chances, and the
class's usual.

The reading of the record is that of ``forecast``: where the last reading surprises, it is read as a slip,
as a real step and as it is, and the reading with the earliest date governs, so that a forecast and a decision
never state two chances.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import crossing
from .arrays import FloatArray, Histories, IntArray
from .event_effects import Frame
from .forecast import DOUBTFUL, lining_used_up, look_ahead, surprise_of_last
from .larger_end import Belief, believe_all, believe_record
from .own_curve import part_of
from .population import Pool, Population
from .predictive import NODES, Predictive, from_clouds, worn_ahead
from .shape import spread_beyond
from .slips import last_readings, stepped_at
from .unwritten import Record, read_record

LEAST_KH = 1.0  # over which rates are averaged at least, where wear is curved
P10 = 1  # column of the 1 in 10 date among ``crossing.SHARES``


@dataclass(frozen=True)
class Standing:
    """B bearings as of today, um and kh; ``worn`` (B, K) what exposures wear like at today's rate, ``chance``
    (B, T).

    ``weight``, ``log_rate_nodes``, ``level``, ``variance`` (B, N) the belief; ``unevenness`` (B,) its beta;
    ``limit_um`` the level the chances are of. ``new_um``, ``new_sd_um`` of new metal, ``log_rate``,
    ``spread``, ``memory``, ``class_unevenness`` of bearings like it, ``scrape_um``, ``scrape_sd_um`` of a
    scrape, ``reading_sd_um`` of a reading by the method last used, ``by_lining`` whether a lining's end
    stands for the maximum, all (B,).
    """

    weight: FloatArray
    log_rate_nodes: FloatArray
    level: FloatArray
    variance: FloatArray
    unevenness: FloatArray
    worn: FloatArray
    chance: FloatArray
    limit_um: FloatArray
    by_lining: NDArray[np.bool_]
    new_um: FloatArray
    new_sd_um: FloatArray
    log_rate: FloatArray
    spread: FloatArray
    memory: FloatArray
    class_unevenness: FloatArray
    scrape_um: FloatArray
    scrape_sd_um: FloatArray
    reading_sd_um: FloatArray
    exponent: FloatArray
    exponent_at_kh: FloatArray

    @property
    def belief(self) -> Predictive:
        """The belief as a decision takes it."""
        return Predictive(self.weight, self.log_rate_nodes, self.level, self.variance, self.unevenness)


def standing(
    h: Histories,
    population: Population,
    days: FloatArray,
    ahead_kh: FloatArray,
    limit_um: FloatArray,
    usual_sd_um: float,
) -> Standing:
    """The beliefs of B bearings, and their chances of having passed ``limit_um`` (B,) by ``days`` (B, T) of
    even duty.

    ``ahead_kh`` (B, K) exposures from today of which is told what they wear like; ``usual_sd_um`` the sd of a
    reading where a bearing has none. Where a lining is used up at a smaller clearance than ``limit_um``, that
    one stands for it.
    """
    n = h.n_bearings
    out: dict[str, FloatArray] = {}
    for clock in sorted(set(h.clock.tolist())):
        members = np.flatnonzero(h.clock == clock)
        with np.errstate(all="ignore"):
            got = _of_pool(
                h.take(members),
                population.pool(clock),
                days[members],
                ahead_kh[members],
                limit_um[members],
                usual_sd_um,
            )
        for name, values in got.items():
            whole = out.setdefault(name, np.full((n, *values.shape[1:]), np.nan))
            whole[members] = values
    given: dict[str, Any] = {f.name: out[f.name] for f in fields(Standing)}
    return Standing(**given | {"by_lining": out["by_lining"] > 0.5})


def _of_pool(
    h: Histories, pool: Pool, days: FloatArray, ahead_kh: FloatArray, limit: FloatArray, usual_sd: float
) -> dict[str, FloatArray]:
    record = read_record(h, pool.designs[0])
    f, aside = record.f, record.aside
    belief = believe_record(record, pool)
    got = _of_belief(f, belief, days, ahead_kh, limit)
    surprise, _ = surprise_of_last(f, pool, aside, last_readings(f))
    odd = np.flatnonzero(surprise < DOUBTFUL)
    if len(odd):
        as_read = _early(belief, f.histories, days)[odd]
        rows, earlier = _of_surprised(record, pool, odd, days[odd], ahead_kh[odd], limit[odd])
        taken = odd[~(as_read < earlier)]
        for name, values in rows.items():
            got[name][taken] = values[~(as_read < earlier)]
    return got | _of_class(f, pool, belief, usual_sd)


def _early(belief: Belief, h: Histories, days: FloatArray) -> FloatArray:
    """(B,) days to the 10 % date of the maximum; beyond all where there is none."""
    maximum = np.where(h.limit_um > 0, h.limit_um, np.nan)
    date = look_ahead(belief, h, maximum, days, crossing.SHARES)[0][:, P10]
    return np.where(np.isnan(date), np.inf, date)


def _of_surprised(
    record: Record,
    pool: Pool,
    odd: IntArray,
    days: FloatArray,
    ahead_kh: FloatArray,
    limit: FloatArray,
) -> tuple[dict[str, FloatArray], FloatArray]:
    """The belief of the reading that governs, of bearings whose last reading surprises (as ``forecast``
    chooses it), and (b,) days to its 10 % date.
    """
    g, hidden = part_of(record.f, record.aside, odd)
    last = last_readings(g)
    as_slip = hidden.copy()
    as_slip[last] = True
    slip, step = believe_all(g, pool, as_slip), believe_all(g, pool, hidden, stepped_at(last))
    first = [_early(b, g.histories, days) for b in (slip, step)]
    first[0][g.histories.last_confirmed] = np.inf
    two = [_of_belief(g, b, days, ahead_kh, limit) for b in (slip, step)]
    take = first[0] < first[1]
    chosen = {k: np.where(take.reshape(-1, *[1] * (v.ndim - 1)), v, two[1][k]) for k, v in two[0].items()}
    return chosen, np.minimum(*first)


def _of_belief(
    f: Frame, belief: Belief, days: FloatArray, ahead_kh: FloatArray, limit: FloatArray
) -> dict[str, FloatArray]:
    h = f.histories
    used_up = lining_used_up(f, belief)
    lower = np.isfinite(used_up) & ~(used_up >= limit)  # a limit that is not stated is never the lower one
    level = np.where(lower, used_up, limit)
    years = days[:, min(1, days.shape[1] - 1)] / 365.25
    duty_sd = np.sqrt(np.nan_to_num(h.duty_sd) ** 2 + np.nan_to_num(h.duty_drift) * years / 3.0)
    coming = np.maximum(ahead_kh[:, min(2, ahead_kh.shape[1] - 1)], LEAST_KH)
    p = from_clouds(belief.clouds, belief.taper, belief.taper_sd, duty_sd, NODES, at_kh=coming)
    return {
        "weight": p.weight,
        "log_rate_nodes": p.log_rate,
        "level": p.level,
        "variance": p.variance,
        "unevenness": p.unevenness_um,
        "worn": worn_ahead(belief.clouds, ahead_kh),
        "chance": look_ahead(belief, h, level, days, np.zeros(0))[1],
        "limit_um": level,
        "by_lining": lower.astype(np.float64),
    }


def _of_class(f: Frame, pool: Pool, belief: Belief, usual_sd: float) -> dict[str, FloatArray]:
    """What is usual of bearings like each: new metal, rates, scrapes, and how well it is measured."""
    h, p = f.histories, pool.designs[0]
    last = last_readings(f)
    sd, bias_sd = p.of_methods(h.methods)[0], p.bias_sd(h.methods)
    method = h.method[np.maximum(last, 0)] if len(h.kind) else np.full(h.n_bearings, -1)
    known = (last >= 0) & (method >= 0)
    read = np.hypot(sd, bias_sd)[np.where(known, method, 0)]
    growth = 1.0 + 0.5 * belief.taper
    n = h.n_bearings
    return {
        "new_um": f.new_um * (1.0 + p.of_new(h.class_)),
        "new_sd_um": f.new_um * p.new_spread,
        "log_rate": p.outlook(h)[0] + np.log(growth),
        "spread": np.full(n, p.tau * np.sqrt(spread_beyond(p.outlying))),
        "memory": np.full(n, p.rho),
        "class_unevenness": p.beta / growth,
        "scrape_um": belief.step_mean,
        "scrape_sd_um": belief.step_sd,
        "reading_sd_um": np.where(known, read, usual_sd),
        "exponent": np.broadcast_to(p.curve.of(h.class_), n),
        "exponent_at_kh": np.full(n, p.usual_kh),
    }
