"""The plan as a whole-number programme over pumps by first outage, solved to a gap or a number of nodes.

``min sum F[p,t] x[p,t] + 0.5 sum over_t + holding``, one column a pump; twins never together; crew hours with
a reserve for what openings find; shells by family. The same instance gives the same plan: no clock stops it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csc_array

from dashboards.outage_plan.pump_openings.instance import Instance
from dashboards.outage_plan.pump_openings.programme_rows import (
    HOLDING,
    LACK_H,
    OVER_H,
    SHORT_H,
    TOGETHER_H,
    Rows,
    gathered,
)
from inspections.wear.arrays import FloatArray, IntArray

__all__ = ["HOLDING", "LACK_H", "OVER_H", "SHORT_H", "TOGETHER_H", "Moved", "NoPlan", "Plan", "solve"]
GAP = 0.01
NODES = 400
FIT = 1e-6


class NoPlan(ValueError):
    """No plan was found within the number of nodes."""


@dataclass(frozen=True)
class Moved:
    """A pump placed elsewhere than it wants: both columns, and what the place costs it, crew hours."""

    pump: int
    wanted: int
    placed: int
    waiting_h: float


@dataclass(frozen=True)
class Plan:
    """The column (P,) of each pump (T: after the horizon), what it costs, and what is short.

    ``cost``, ``bound`` crew hours: no plan costs less than ``bound``; ``gap_h`` allowed between them;
    ``stopped_by`` "gap" or "nodes"; ``load``, ``again``, ``reserve``, ``short``, ``over`` (T,) crew hours
    expected, of re-openings, kept for what is found, short of what must be, and over capacity if things go as
    expected; ``bought``, ``lack`` (F, T) shells; ``together`` twin pairs that fixed work puts together;
    ``moved`` and ``sentences`` by name.
    """

    column: IntArray
    cost: float
    bound: float
    gap_h: float
    stopped_by: str
    load: FloatArray
    again: FloatArray
    reserve: FloatArray
    short: FloatArray
    over: FloatArray
    bought: FloatArray
    lack: FloatArray
    together: tuple[tuple[int, int], ...]
    moved: tuple[Moved, ...]
    sentences: tuple[str, ...]


def solve(given: Instance, *, gap: float = GAP, nodes: int = NODES, previous: IntArray | None = None) -> Plan:
    """The plan of least expected cost to an absolute gap, or as good as ``nodes`` nodes find.

    Two solves: the relaxed programme without a reserve tells how uncertain each outage's work is, the
    whole-number one leaves room for 9 in 10 of that spread. ``gap`` is a share of the horizon's part of the
    objective, which holds the infinite future. ``previous`` (P,) an earlier plan's columns, -1 unknown: kept
    where it still fits and is within the gap, so that nothing moves while nothing is new. Raises NoPlan where
    no plan is found.

    >>> cost = np.array([[5.0, 7.0, 30.0], [5.0, 6.0, 30.0]])
    >>> two = Instance(cost, np.ones((2, 3), bool), np.full((2, 2), 10.0), np.zeros((2, 2)), np.full(2, 12.0),
    ...                np.zeros((2, 2, 2)), np.zeros(2), ("P1", "P2"), ("spring", "autumn"))
    >>> plan = solve(two)
    >>> plan.column.tolist(), plan.cost, [(m.pump, m.waiting_h) for m in plan.moved]
    ([0, 1], 11.0, [(1, 1.0)])
    """
    rows = gathered(given)
    shares = _relaxed(given, rows)
    rows = gathered(given, shares)
    plan = _run(given, rows, gap, nodes)
    if previous is not None:
        plan = _kept(given, shares, plan, previous)
    return replace(plan, sentences=_sentences(given, plan))


def _relaxed(given: Instance, rows: Rows) -> FloatArray:
    """(P, T + 1) shares in which the relaxed programme opens each pump at each column."""
    x, _, _ = _milp(replace(rows, whole=np.zeros_like(rows.whole)), 0.0, 1)
    share = np.zeros(given.cost.shape)
    share[rows.pump, rows.column] = np.clip(x[: len(rows.pump)], 0.0, 1.0)
    return share


def _run(given: Instance, rows: Rows, gap: float, nodes: int) -> Plan:
    """Solve; where dear shortages would loosen the gap, once more with a gap that leaves them out."""
    share = gap * (1.0 - given.discount ** len(given.outages))
    x, objective, bound = _milp(rows, share, nodes)
    allowed = given.gap_h(objective - rows.dear(x), gap)
    if objective - bound > allowed + FIT and rows.dear(x) > FIT:
        again, cost, new_bound = _milp(rows, allowed / max(abs(objective), FIT), nodes)
        bound = max(bound, new_bound)
        if cost < objective:
            x, objective = again, cost
    return _plan(given, rows, x, objective, bound, given.gap_h(objective - rows.dear(x), gap))


def _milp(rows: Rows, share: float, nodes: int) -> tuple[FloatArray, float, float]:
    """Values, objective and bound of the programme."""
    matrix = csc_array((rows.value, (rows.row, rows.col)), shape=(len(rows.top), len(rows.cost)))
    done = milp(
        rows.cost,
        integrality=rows.whole,
        bounds=Bounds(rows.low, rows.high),
        constraints=LinearConstraint(matrix, rows.bottom, rows.top),
        options={"mip_rel_gap": share, "node_limit": nodes},
    )
    if done.x is None:
        raise NoPlan(
            f"No plan was found within {nodes} nodes: {done.message} Allow more nodes, or loosen pins."
        )
    bound = done.mip_dual_bound if done.mip_dual_bound is not None else done.fun
    return done.x, float(done.fun), float(bound)


def _plan(given: Instance, rows: Rows, x: FloatArray, objective: float, bound: float, allowed: float) -> Plan:
    chosen = x[: len(rows.pump)] > 0.5
    column = np.zeros(len(given.names), dtype=np.int64)
    column[rows.pump[chosen]] = rows.column[chosen]
    load, again = loads(given, column)
    short, over, bought, lack = rows.slacks(x)
    met = tuple(pair for pair, v in zip(rows.pairs, rows.clashes(x), strict=True) if v > 0.5)
    stopped = "gap" if objective - bound <= allowed + FIT else "nodes"
    return Plan(
        column,
        objective,
        min(bound, objective),
        allowed,
        stopped,
        load,
        again,
        rows.reserve,
        short,
        over,
        bought,
        lack,
        met,
        _moved(given, column),
        (),
    )


def _moved(given: Instance, column: IntArray) -> tuple[Moved, ...]:
    """Pumps placed where they cost more than at the column they want."""
    wanted, pumps = given.wanted, np.arange(len(column))
    extra = given.cost[pumps, column] - given.cost[pumps, wanted]
    return tuple(
        Moved(int(i), int(wanted[i]), int(column[i]), float(extra[i])) for i in np.flatnonzero(extra > FIT)
    )


def loads(given: Instance, column: IntArray) -> tuple[FloatArray, FloatArray]:
    """(T,) expected crew hours of the openings of a plan, and of their re-openings.

    >>> single = Instance(
    ...     np.zeros((1, 3)),
    ...     np.ones((1, 3), bool),
    ...     np.full((1, 2), 10.0),
    ...     np.zeros((1, 2)),
    ...     np.zeros(2),
    ...     np.array([[[0.0, 0.5], [0.0, 0.0]]]),
    ...     np.full(1, 8.0),
    ...     ("P1",),
    ...     ("A", "B"),
    ... )
    >>> [a.tolist() for a in loads(single, np.array([0]))]
    [[10.0, 0.0], [0.0, 4.0]]
    """
    n = len(given.outages)
    inside = np.flatnonzero(column < n)
    load = np.bincount(column[inside], given.hours[inside, column[inside]], minlength=n)
    again = given.reopening[inside, column[inside]].T @ given.again_h[inside]
    return np.asarray(load, dtype=np.float64), again


def _kept(given: Instance, shares: FloatArray, plan: Plan, previous: IntArray) -> Plan:
    """The earlier plan where it still fits and costs at most the gap more."""
    pumps = np.arange(len(previous))
    known = (previous >= 0) & (previous <= len(given.outages))
    if not known.all() or not given.allowed[pumps, previous].all():
        return plan
    same = priced(given, previous, shares)
    if same.cost > plan.cost + plan.gap_h + FIT:
        return plan
    return replace(same, bound=min(plan.bound, same.cost), gap_h=plan.gap_h, stopped_by=plan.stopped_by)


def priced(given: Instance, column: IntArray, shares: FloatArray | None = None) -> Plan:
    """Any plan's cost and what is short under it: what a change on the page is priced by, nothing searched.

    ``column`` (P,) each pump's column, whatever is allowed; ``shares`` (P, T + 1) a plan whose spread is kept
    in reserve, by default its own. What does not fit is short at its price and named.

    >>> cost = np.array([[5.0, 7.0, 30.0], [5.0, 6.0, 30.0]])
    >>> two = Instance(cost, np.ones((2, 3), bool), np.full((2, 2), 10.0), np.zeros((2, 2)), np.full(2, 12.0),
    ...                np.zeros((2, 2, 2)), np.zeros(2), ("P1", "P2"), ("spring", "autumn"))
    >>> priced(two, np.array([1, 0])).cost, priced(two, np.array([0, 0])).short.tolist()
    (12.0, [8.0, 0.0])
    """
    only = np.zeros_like(given.allowed)
    only[np.arange(len(column)), column] = True
    fixed = replace(given, allowed=only)
    rows = gathered(fixed, only.astype(np.float64) if shares is None else shares)
    plan = _run(fixed, rows, GAP, 1)
    plan = replace(plan, moved=_moved(given, column))
    return replace(plan, sentences=_sentences(given, plan))


def _sentences(given: Instance, plan: Plan) -> tuple[str, ...]:
    """What is short, by name."""
    sentences = []
    for k, name in enumerate(given.outages):
        if plan.short[k] > 0.05:
            must = plan.load[k] + plan.reserve[k]
            sentences.append(
                f"{name}: {plan.short[k]:.0f} h short: work that must be done there takes {must:.0f} of "
                f"{given.capacity[k]:.0f}, {plan.reserve[k]:.0f} of it kept for what is found."
            )
        elif plan.over[k] > 0.5:
            sentences.append(f"{name}: about {plan.over[k]:.0f} h short if things go as expected.")
    for a, b in plan.together:
        sentences.append(
            f"{given.names[a]} and its twin {given.names[b]} are both fixed to outages that overlap."
        )
    if given.shells is not None:
        for f, name in enumerate(given.shells.names):
            if plan.lack[f].max(initial=0.0) > 0.05:
                k = int(plan.lack[f].argmax())
                sentences.append(f"{name}: {plan.lack[f, k]:.1f} shells short by {given.outages[k]}.")
    return tuple(sentences)
