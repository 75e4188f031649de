"""The plan as a whole-number programme over pumps by first outage, solved to a gap or a number of nodes.

``min sum F[p,t] x[p,t] + 0.5 sum over_t + holding``, one column a pump; twins never together; crew hours with a
reserve for what openings find; shells by family. The same instance gives the same plan: no clock stops it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csc_array

from inspections.wear.arrays import FloatArray, IntArray

from .instance import Instance
from .rows import HOLDING, LACK_H, OVER_H, SHORT_H, TOGETHER_H, Rows, Z, gathered

__all__ = ["HOLDING", "LACK_H", "OVER_H", "SHORT_H", "TOGETHER_H", "Moved", "NoPlan", "Plan", "Z", "solve"]
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

    ``cost``, ``bound`` crew hours: no plan costs less than ``bound``; ``gap_h`` allowed between them; ``stopped_by``
    "gap" or "nodes"; ``load``, ``again``, ``reserve``, ``short``, ``over`` (T,) crew hours expected, of re-openings,
    kept for what is found, short of what must be, and over capacity if things go as expected; ``bought``, ``lack``
    (F, T) shells; ``together`` twin pairs that fixed work puts together; ``moved`` and ``sentences`` by name.
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

    Two solves: the relaxed programme without a reserve tells how uncertain each outage's work is, the whole-number one
    keeps 1.28 of that spread free. ``gap`` is a share of the horizon's part of the objective, which holds the infinite future.
    ``previous`` (P,) an earlier plan's columns, -1 unknown: kept where it still fits and is within the gap, so that
    nothing moves while nothing is new. Raises NoPlan where no plan is found.

    >>> cost = np.array([[5.0, 7.0, 30.0], [5.0, 6.0, 30.0]])
    >>> two = Instance(cost, np.ones((2, 3), bool), np.full((2, 2), 10.0), np.zeros((2, 2)), np.full(2, 12.0),
    ...                np.zeros((2, 2, 2)), np.zeros(2), ("P1", "P2"), ("spring", "autumn"))
    >>> plan = solve(two)
    >>> plan.column.tolist(), plan.cost, [(m.pump, m.waiting_h) for m in plan.moved]
    ([0, 1], 11.0, [(1, 1.0)])
    """
    rows = gathered(given)
    rows = gathered(given, _relaxed(given, rows))
    plan = _run(given, rows, gap, nodes)
    if previous is not None:
        plan = _kept(given, rows, plan, previous, gap, nodes)
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
    best = np.where(given.allowed, given.cost, np.inf).min(axis=1).sum()
    allowed = given.gap_h(best, gap)
    x, objective, bound = _milp(rows, share, nodes)
    if objective - bound > allowed + FIT and abs(objective) > 1.5 * abs(best):
        again, cost, new_bound = _milp(rows, allowed / max(abs(objective), 1e-9), nodes)
        bound = max(bound, new_bound)
        if cost < objective:
            x, objective = again, cost
    return _plan(given, rows, x, objective, bound, allowed)


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
    wanted, pumps = given.wanted, np.arange(len(column))
    moved = tuple(
        Moved(
            int(i), int(wanted[i]), int(column[i]), float(given.cost[i, column[i]] - given.cost[i, wanted[i]])
        )
        for i in np.flatnonzero(given.cost[pumps, column] > given.cost[pumps, wanted] + FIT)
    )
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
        moved,
        (),
    )


def loads(given: Instance, column: IntArray) -> tuple[FloatArray, FloatArray]:
    """(T,) expected crew hours of the openings of a plan, and of their re-openings.

    >>> one = Instance(np.zeros((1, 3)), np.ones((1, 3), bool), np.full((1, 2), 10.0), np.zeros((1, 2)), np.zeros(2),
    ...                np.array([[[0.0, 0.5], [0.0, 0.0]]]), np.full(1, 8.0), ("P1",), ("A", "B"))
    >>> [a.tolist() for a in loads(one, np.array([0]))]
    [[10.0, 0.0], [0.0, 4.0]]
    """
    n = len(given.outages)
    inside = np.flatnonzero(column < n)
    load = np.bincount(column[inside], given.hours[inside, column[inside]], minlength=n)
    again = given.reopening[inside, column[inside]].T @ given.again_h[inside]
    return np.asarray(load, dtype=np.float64), again


def _kept(given: Instance, rows: Rows, plan: Plan, previous: IntArray, gap: float, nodes: int) -> Plan:
    """The earlier plan where it still fits and costs at most the gap more."""
    pumps = np.arange(len(previous))
    known = (previous >= 0) & (previous <= len(given.outages))
    if not known.all() or not given.allowed[pumps, previous].all():
        return plan
    only = np.zeros_like(given.allowed)
    only[pumps, previous] = True
    same = _run(given, rows.restricted(only), gap, nodes)
    near = same.cost <= plan.cost + plan.gap_h + FIT
    return replace(same, bound=min(plan.bound, same.cost), stopped_by=plan.stopped_by) if near else plan


def _sentences(given: Instance, plan: Plan) -> tuple[str, ...]:
    """What is short, by name."""
    said = []
    for k, name in enumerate(given.outages):
        if plan.short[k] > 0.05:
            must = plan.load[k] + plan.reserve[k]
            said.append(
                f"{name}: {plan.short[k]:.0f} h short: work that must be done there takes {must:.0f} of "
                f"{given.capacity[k]:.0f}, {plan.reserve[k]:.0f} of it kept for what is found."
            )
        elif plan.over[k] > 0.5:
            said.append(f"{name}: about {plan.over[k]:.0f} h short if things go as expected.")
    for a, b in plan.together:
        said.append(f"{given.names[a]} and its twin {given.names[b]} are both fixed to outages that overlap.")
    if given.shells is not None:
        for f, name in enumerate(given.shells.names):
            if plan.lack[f].max(initial=0.0) > 0.05:
                k = int(plan.lack[f].argmax())
                said.append(f"{name}: {plan.lack[f, k]:.1f} shells short by {given.outages[k]}.")
    return tuple(said)
