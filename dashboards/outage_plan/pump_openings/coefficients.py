"""From what is judged of bearings to the programme's numbers: each pump first opened at each outage, or after
the horizon.

The judgement states a pump's outages; a day between two of them (an outage that slips, days between outages
while a twin runs) takes its figures from the straight line between theirs, and the stop of an opening outside
outages comes on top.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboards.outage_plan.pump_openings.inputs import NOT_COUNTED, Bearing, Inputs, Outage, Pump
from dashboards.outage_plan.pump_openings.instance import BY_RULE_H, Instance, Scope, Shells, settled
from dashboards.outage_plan.pump_openings.stock import Family, families
from inspections.forecasts.judgement.judgement_figures import READING, Column, Judgement, Why
from inspections.wear.arrays import FloatArray, IntArray

STOP_SHARE = 0.5  # of the opening's hours, where the cost of a stop is not stated and the twin runs


@dataclass(frozen=True)
class Coefficients:
    """P pumps, B bearings, T outages; the last column of ``cost``, ``past``, ``new`` lies after the horizon.

    ``cost`` (P, T + 1) crew hours from now on of a first opening there; ``takes`` (P, T) whether the outage
    takes the pump; ``open_h`` (P,); ``stop_h`` (P,) of an opening outside outages; of bearings (B, T + 1):
    ``past`` chance of having passed by then, ``new``, ``scraped`` chances of what is found asking for it,
    ``hours``, ``variance`` of the own work; ``risk`` (B,) accepted; ``pump`` (B,) row of each bearing's pump.
    NaN where nothing can be said.
    """

    inputs: Inputs
    cost: FloatArray
    takes: NDArray[np.bool_]
    open_h: FloatArray
    stop_h: FloatArray
    past: FloatArray
    new: FloatArray
    scraped: FloatArray
    hours: FloatArray
    variance: FloatArray
    risk: FloatArray
    pump: IntArray

    @cached_property
    def wanted(self) -> IntArray:
        """(P,) the column each pump would take if nothing were short, pinned or frozen;
        T: after the horizon.
        """
        open_to = np.append(self.takes, np.ones((len(self.takes), 1), dtype=bool), axis=1)
        cost: FloatArray = np.where(open_to & np.isfinite(self.cost), self.cost, np.inf)
        return np.asarray(cost.argmin(axis=1), dtype=np.int64)

    @cached_property
    def reopening(self) -> FloatArray:
        """(P, T, T) expected further openings at each outage after a first one."""
        t = len(self.inputs.outages)
        return np.array([_reopening(self.inputs, p) for p in self.inputs.pumps]).reshape(-1, t, t)

    @cached_property
    def again_h(self) -> FloatArray:
        """(P,) crew hours of each of them."""
        return np.array([_largest(self.inputs, p, "again_h", 0.0) for p in self.inputs.pumps])

    @cached_property
    def job_hours(self) -> FloatArray:
        """(P, T) expected crew hours of a pump's whole job."""
        own = np.zeros((len(self.open_h), self.hours.shape[1]))
        np.add.at(own, self.pump, np.nan_to_num(self.hours))
        return (self.open_h[:, None] + own)[:, :-1]

    @cached_property
    def job_variance(self) -> FloatArray:
        """(P, T) of it."""
        own = np.zeros((len(self.open_h), self.hours.shape[1]))
        np.add.at(own, self.pump, np.nan_to_num(self.variance))
        return own[:, :-1]


def coefficients(inputs: Inputs) -> Coefficients:
    """Everything a plan weighs, from the judged columns of each bearing."""
    days = [_days(b.judged, inputs.as_of) for b in inputs.bearings]
    after = np.array([_after(b.judged, inputs) for b in inputs.bearings])
    at = np.column_stack([np.tile(inputs.starts, (len(inputs.bearings), 1)), after])

    def of(name: str, now: str = "") -> FloatArray:
        return np.array(
            [_on(b.judged, days[i], at[i], name, now) for i, b in enumerate(inputs.bearings)]
        ).reshape(len(inputs.bearings), len(inputs.outages) + 1)

    pump = np.array([inputs.pump_at[b.pump] for b in inputs.bearings], dtype=np.int64)
    open_h = np.array([_largest(inputs, p, "open_h", 0.0) for p in inputs.pumps])
    stop = np.array(
        [_largest(inputs, p, "stop_h", STOP_SHARE * open_h[k]) for k, p in enumerate(inputs.pumps)]
    )
    takes = np.array([_takes(inputs, p) for p in inputs.pumps]).reshape(
        len(inputs.pumps), len(inputs.outages)
    )
    past = of("past", "past_now")
    # Where the maximum, or the bore, is wrong, having passed it says nothing.
    past[[i for i, b in enumerate(inputs.bearings) if b.judged.why == Why.NO_LIFE]] = np.nan
    made = Coefficients(
        inputs,
        np.zeros((len(inputs.pumps), len(inputs.outages) + 1)),
        takes,
        open_h,
        stop,
        past,
        of("new"),
        of("scraped"),
        _looked_at(inputs, of("hours")),
        of("hours_var"),
        np.array(
            [np.nan if b.judged.accepted_risk is None else b.judged.accepted_risk for b in inputs.bearings]
        ),
        pump,
    )
    return replace(made, cost=_costs(inputs, made, of("cost_h")))


def _looked_at(inputs: Inputs, hours: FloatArray) -> FloatArray:
    """(B, T + 1) own hours; a bearing of which nothing can be judged is measured while its pump is open."""
    measure = np.array([b.hours.measure_h for b in inputs.bearings])
    return np.where(np.isfinite(hours), hours, measure.reshape(-1, 1))


def _days(judged: Judgement, as_of: dt.date) -> FloatArray:
    """(K,) days to the judged columns, never falling."""
    days = [max((column.start_on - as_of).days, 0) for column in judged.columns]
    return np.maximum.accumulate(np.array(days, dtype=float)) if days else np.zeros(0)


def _after(judged: Judgement, inputs: Inputs) -> float:
    """Days to the pump's first opening after the horizon: the usual interval after its last known outage."""
    first = next((column for column in judged.columns if not column.known), None)
    return float((first.start_on - inputs.as_of).days) if first else inputs.end_day


def _on(judged: Judgement, days: FloatArray, at: FloatArray, name: str, now: str) -> FloatArray:
    """(N,) a figure of the judged columns on days ``at``; before the first column towards
    what stands today.
    """
    values = np.array([_figure(column, name) for column in judged.columns], dtype=float)
    if not len(values):
        return np.full(len(at), np.nan)
    if days[0] > 0:
        today = _figure(judged, now) if now else values[0]
        if name == "cost_h" and judged.stopping_h is not None:
            today = values[0] - judged.stopping_h
        values, days = np.append(today, values), np.append(0.0, days)
    return np.asarray(np.interp(at, days, values), dtype=np.float64)


def _figure(of: Column | Judgement, name: str) -> float:
    value = getattr(of, name)
    return float("nan") if value is None else float(value)


def _largest(inputs: Inputs, pump: Pump, name: str, otherwise: float) -> float:
    """The largest of a figure of the pump's bearings that state one."""
    own = [_figure(inputs.bearings[i].judged, name) for i in inputs.members[pump.name]]
    return max((value for value in own if np.isfinite(value)), default=otherwise)


def _takes(inputs: Inputs, pump: Pump) -> list[bool]:
    """Whether the pump can be opened in each outage: its judgement names it, and it takes place."""
    judged = [inputs.bearings[i].judged for i in inputs.members[pump.name]]
    named = {column.name for one in judged for column in one.columns if column.known}
    by_rule = any(inputs.bearings[i].by_rule for i in inputs.members[pump.name])
    opened = min((one.at.start_on for one in judged if one.at), default=dt.date.max)
    closed_until = dt.date.min if any(one.first == 0 for one in judged) else opened
    return [
        o.takes(pump) and ((not by_rule and o.start_on >= closed_until) if o.between else o.name in named)
        for o in inputs.outages
    ]


def _costs(inputs: Inputs, made: Coefficients, cost: FloatArray) -> FloatArray:
    """(P, T + 1): the judged cost of the pump; by rule the next outage, whatever it costs."""
    out = np.zeros_like(made.cost)
    for k, pump in enumerate(inputs.pumps):
        own = cost[[i for i in inputs.members[pump.name] if np.isfinite(cost[i]).all()]]
        out[k] = own[0] if len(own) else 0.0
        if any(inputs.bearings[i].by_rule for i in inputs.members[pump.name]):
            out[k, :-1] = BY_RULE_H * np.maximum(np.cumsum(made.takes[k]) - 1, 0)
            out[k, -1] = BY_RULE_H * made.takes[k].sum()
        out[k, :-1] += np.where(inputs.between, made.stop_h[k], 0.0)
    return out


def column_at(bearing: Bearing, outage: Outage, as_of: dt.date) -> Column:
    """What is judged of a bearing opened in an outage: the judged column, or one between two of them on its
    day.
    """
    judged = bearing.judged
    start = max(outage.start_on, as_of)
    named = next((c for c in judged.columns if c.name == outage.name and c.known), None)
    if named and max(named.start_on, as_of) == start:
        return named
    days, at = _days(judged, as_of), np.array([float((start - as_of).days)])
    nearest = judged.columns[int(np.abs(days - at[0]).argmin())]
    figures: dict[str, Any] = {
        name: _or_none(_on(judged, days, at, name, "past_now" if name == "past" else "")[0])
        for name in ("past", "new", "scraped", "hours", "hours_var")
    }
    if nearest.trigger_is == READING:
        for name in ("trigger_um", "scrape_from_um"):
            value = _or_none(_on(judged, days, at, name, "")[0])
            figures[name] = getattr(nearest, name) if value is None else float(np.ceil(value))
    return replace(
        nearest,
        name=outage.name,
        outage="",
        start_on=outage.start_on,
        end_on=outage.end_on,
        known=True,
        **figures,
    )


def _or_none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def instance(c: Coefficients) -> Instance:
    """The programme of these coefficients, pins, refusals and frozen scope kept to."""
    inputs = c.inputs
    allowed, _ = settled(np.where(_open_to(c), c.cost, np.nan), _scope(c))
    crew = np.array([o.crew_hours for o in inputs.outages])
    return Instance(
        cost=c.cost,
        allowed=allowed,
        hours=c.job_hours,
        variance=c.job_variance,
        capacity=np.where(crew >= NOT_COUNTED, np.inf, crew),
        reopening=c.reopening,
        again_h=c.again_h,
        names=tuple(p.name for p in inputs.pumps),
        outages=tuple(o.name for o in inputs.outages),
        twins=twins(inputs),
        overlaps=tuple(
            (a, b)
            for a, one in enumerate(inputs.outages)
            for b, other in enumerate(inputs.outages)
            if one.overlaps(other)
        ),
        shells=_shells(c),
    )


def _open_to(c: Coefficients) -> NDArray[np.bool_]:
    """(P, T + 1): pins go anywhere, everything else where the pump is taken."""
    open_to = np.append(c.takes, np.ones((len(c.takes), 1), dtype=bool), axis=1)
    for pump, column in pins(c.inputs).items():
        open_to[pump, column] = True
    return open_to


def twins(inputs: Inputs) -> tuple[tuple[int, int], ...]:
    """Pairs of pumps that must never be open together, each once."""
    pairs = {
        tuple(sorted((k, inputs.pump_at[p.twin])))
        for k, p in enumerate(inputs.pumps)
        if p.twin in inputs.pump_at and p.twin != p.name
    }
    return tuple(sorted((a, b) for a, b in pairs))


def pins(inputs: Inputs) -> dict[int, int]:
    """The column to which each pump is pinned; T where it is pinned to be left closed.

    An opening agreed outside an outage is one, unless the pump was pinned elsewhere or refused there since.
    """
    removed = refusals(inputs)
    agreed = {
        k: t
        for t, outage in enumerate(inputs.outages)
        for k, pump in enumerate(inputs.pumps)
        if outage.agreed and outage.takes(pump) and not removed[k, t]
    }
    return agreed | {
        inputs.pump_at[inputs.bearings[inputs.bearing_at[job.bearing]].pump]: inputs.outage_at.get(
            job.outage, len(inputs.outages)
        )
        for job in inputs.pinned
    }


def refusals(inputs: Inputs) -> NDArray[np.bool_]:
    """(P, T) where a pump must not be opened, because one of its bearings must not."""
    removed = np.zeros((len(inputs.pumps), len(inputs.outages)), dtype=bool)
    for job in inputs.refused:
        pump = inputs.pump_at[inputs.bearings[inputs.bearing_at[job.bearing]].pump]
        removed[pump, inputs.outage_at[job.outage] if job.outage else slice(None)] = True
    return removed


def accepted_columns(inputs: Inputs) -> IntArray | None:
    """(P,) the column at which the accepted plan opens each pump, T where it does not; None where none is
    accepted.
    """
    if inputs.accepted is None:
        return None
    columns = np.full(len(inputs.pumps), len(inputs.outages))
    for job in inputs.accepted:
        if job.bearing in inputs.bearing_at and job.outage in inputs.outage_at:
            pump = inputs.pump_at[inputs.bearings[inputs.bearing_at[job.bearing]].pump]
            columns[pump] = min(columns[pump], inputs.outage_at[job.outage])
    return columns


def _scope(c: Coefficients) -> Scope:
    inputs = c.inputs
    frozen = np.array([inputs.frozen(t) for t in range(len(inputs.outages))], dtype=bool)
    accepted = accepted_columns(inputs)
    if accepted is not None:
        accepted = np.where(accepted < len(inputs.outages), accepted, -1)
    return Scope(pins(inputs), refusals(inputs), frozen, accepted)


def _reopening(inputs: Inputs, pump: Pump) -> FloatArray:
    """(T, T) expected further openings by outage after a first one; of days between two as of the outage
    after.
    """
    t = len(inputs.outages)
    out = np.zeros((t, t))
    judged = next((inputs.bearings[i].judged for i in inputs.members[pump.name]), None)
    if judged is None:
        return out
    columns = {column.name: k for k, column in enumerate(judged.columns) if column.known}
    places = [(s, columns[o.name]) for s, o in enumerate(inputs.outages) if o.name in columns]
    for first in range(t):
        row = next((k for s, k in places if s >= first), None)
        again = judged.columns[row].again if row is not None else ()
        for s, k in places:
            if s > first and k < len(again):
                out[first, s] = again[k]
    return out


def _shells(c: Coefficients) -> Shells | None:
    """What every half of every shell type needs and has, spares that fit no bearing of the plan left out."""
    kinds = list(_told_apart(families(c.inputs)))
    if not kinds:
        return None
    inputs, t = c.inputs, len(c.inputs.outages)
    new = np.zeros((len(kinds), len(inputs.pumps), t))
    variance, again = np.zeros_like(new), np.zeros(new.shape[:2])
    due, buyable = np.zeros((len(kinds), t)), np.zeros((len(kinds), t), dtype=bool)
    price = np.zeros(len(kinds))
    for f, family in enumerate(kinds):
        mine = [
            i
            for i, b in enumerate(inputs.bearings)
            if b.shell_type == family.shell_type and family.half in b.halves
        ]
        for i in mine:
            chance = np.nan_to_num(c.new[i, :t])
            new[f, c.pump[i]] += chance
            variance[f, c.pump[i]] += chance * (1.0 - chance)
            again[f, c.pump[i]] += np.nan_to_num(_figure(inputs.bearings[i].judged, "again_new"))
        pools = {family.pool_of(inputs.bearings[i], inputs.settings.bore_tolerance_um) for i in mine}
        fitting = [family.plain, *(family.bored[k] for k in pools if k >= 0)]
        for pool in fitting:
            due[f] += pool.ready + np.where(np.isfinite(pool.orderable), pool.orderable, 0.0)
            buyable[f] |= np.isinf(pool.orderable)
        price[f] = max(inputs.bearings[i].shell_h for i in mine)
    back = np.array([family.returns for family in kinds])
    names = tuple(family.name for family in kinds)
    return Shells(new, variance, again, np.zeros(len(kinds)), due, buyable, price, names, back)


def _told_apart(found: dict[tuple[str, str], Family]) -> list[Family]:
    """One half of each type where both come in the same numbers: a new shell takes both."""
    kept: list[Family] = []
    for family in found.values():
        if not any(family.same_stock(other) for other in kept):
            kept.append(family)
    return kept
