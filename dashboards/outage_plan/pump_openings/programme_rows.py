"""The programme's columns and rows, gathered as sparse triplets."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from dashboards.outage_plan.pump_openings.instance import Instance
from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.normal import EIGHT_IN_TEN

OVER_H = 0.5  # an hour over capacity costs 1.5 in all; the hour itself is in the openings' cost
SHORT_H = 200.0  # crew hours for an hour short: only what is fixed is ever short
LACK_H = 2000.0  # for a shell short, likewise
TOGETHER_H = 5000.0  # for twins fixed together, likewise
HOLDING = 0.02  # of its price for a shell bought


@dataclass
class _Triplets:
    row: list[NDArray[Any]] = field(default_factory=list)
    col: list[NDArray[Any]] = field(default_factory=list)
    value: list[NDArray[Any]] = field(default_factory=list)
    bottom: list[float] = field(default_factory=list)
    top: list[float] = field(default_factory=list)

    def add(self, col: NDArray[Any], value: NDArray[Any], top: float, bottom: float = -np.inf) -> None:
        self.row.append(np.full(len(col), len(self.top)))
        self.col.append(col)
        self.value.append(value)
        self.bottom.append(bottom)
        self.top.append(top)


@dataclass(frozen=True)
class Rows:
    """The programme: N openings ``pump``, ``column`` (N,), then slacks; cost, bounds and rows of all columns.

    Slacks in order: short (T), over (T), bought and lack (F, T each), one for each twin pair that may be
    fixed together. ``reserve`` (T,), ``shell_reserve`` (F, T) what is kept free.
    """

    pump: IntArray
    column: IntArray
    cost: FloatArray
    whole: FloatArray
    low: FloatArray
    high: FloatArray
    row: IntArray
    col: IntArray
    value: FloatArray
    bottom: FloatArray
    top: FloatArray
    reserve: FloatArray
    shell_reserve: FloatArray
    pairs: tuple[tuple[int, int], ...]

    def slacks(self, x: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """short, over (T,), bought, lack (F, T) in a solution."""
        n, t = len(self.pump), len(self.reserve)
        f = self.shell_reserve.size
        shape = self.shell_reserve.shape
        at = n + 2 * t
        bought, lack = x[at : at + f].reshape(shape), x[at + f : at + 2 * f].reshape(shape)
        return x[n : n + t], x[n + t : at], bought, lack

    def dear(self, x: FloatArray) -> float:
        """What a solution's shortages cost, which no gap should be measured by."""
        short, _, _, lack = self.slacks(x)
        return float(SHORT_H * short.sum() + LACK_H * lack.sum() + TOGETHER_H * self.clashes(x).sum())

    def clashes(self, x: FloatArray) -> FloatArray:
        """How far each of ``pairs`` is put together in a solution."""
        return x[len(x) - len(self.pairs) :] if self.pairs else np.zeros(0)


def gathered(given: Instance, planned: FloatArray | None = None) -> Rows:
    """Columns and rows of an instance; ``planned`` (P, T + 1) shares of a first plan, whose spread is kept in
    reserve.

    >>> single = Instance(
    ...     np.array([[1.0, 2.0]]),
    ...     np.ones((1, 2), bool),
    ...     np.full((1, 1), 10.0),
    ...     np.full((1, 1), 25.0),
    ...     np.full(1, 20.0),
    ...     np.zeros((1, 1, 1)),
    ...     np.zeros(1),
    ...     ("P1",),
    ...     ("A",),
    ... )
    >>> gathered(single).reserve.tolist(), gathered(single, np.array([[1.0, 0.0]])).reserve.round(2).tolist()
    ([0.0], [6.41])
    """
    pump, column = np.nonzero(given.allowed)
    n, t = len(pump), len(given.outages)
    families = 0 if given.shells is None else len(given.shells.names)
    reserve, shell_reserve = _reserves(given, planned, families)
    fixed = given.fixed
    pairs = tuple((p, q) for p, q in given.twins if fixed[p] and fixed[q])
    at_over, at_shell = n + t, n + 2 * t
    at_pair = at_shell + 2 * families * t
    rows = _Triplets()
    for i in range(len(given.names)):
        mine = np.flatnonzero(pump == i)
        rows.add(mine, np.ones(len(mine)), 1.0, 1.0)
    _twins(given, rows, pump, column, {pair: at_pair + k for k, pair in enumerate(pairs)})
    _crew(given, rows, pump, column, reserve, n, at_over)
    if given.shells is not None:
        _shells(given, rows, pump, column, shell_reserve, at_shell)
    cost, high = _columns(given, given.cost[pump, column], len(pairs))
    return Rows(
        pump,
        column,
        cost,
        (np.arange(len(cost)) < n).astype(np.float64),
        np.zeros(len(cost)),
        high,
        np.concatenate(rows.row),
        np.concatenate(rows.col),
        np.concatenate(rows.value),
        np.array(rows.bottom),
        np.array(rows.top),
        reserve,
        shell_reserve,
        pairs,
    )


def _columns(given: Instance, opening: FloatArray, pairs: int) -> tuple[FloatArray, FloatArray]:
    """Cost and upper bound of every column: the openings (N,), then the slacks in the order ``Rows`` says."""
    t = len(given.outages)
    cost = [opening, np.full(t, SHORT_H), np.full(t, OVER_H)]
    high = [np.ones(len(opening)), np.full(2 * t, np.inf)]
    if given.shells is not None:
        bought = np.repeat(HOLDING * given.shells.price_h, t)
        cost += [bought, np.full(len(bought), LACK_H)]
        high += [np.where(given.shells.buyable.ravel(), np.inf, 0.0), np.full(len(bought), np.inf)]
    cost.append(np.full(pairs, TOGETHER_H))
    high.append(np.full(pairs, np.inf))
    return np.concatenate(cost), np.concatenate(high)


def _reserves(given: Instance, planned: FloatArray | None, families: int) -> tuple[FloatArray, FloatArray]:
    """Room for 9 in 10: (T,) of each outage's hours, (F, T) of the shells needed by then, under a plan; 0
    without one.
    """
    t = len(given.outages)
    if planned is None:
        return np.zeros(t), np.zeros((families, t))
    share = planned[:, :t]
    shells = np.zeros((families, t))
    if given.shells is not None:
        shells = np.einsum("fpt,pt->ft", given.shells.variance, share)
    still_out = np.triu(
        np.ones((t, t))
    )  # what is taken out by an outage, but for what is back relined by then
    out = np.broadcast_to(still_out, (families, t, t))
    if given.shells is not None and given.shells.back is not None:
        out = still_out * (1.0 - given.shells.back)
    return EIGHT_IN_TEN * np.sqrt(np.sum(share * given.variance, axis=0)), EIGHT_IN_TEN * np.sqrt(
        np.einsum("fs,fst->ft", shells, out)
    )


def _twins(
    given: Instance, rows: _Triplets, pump: IntArray, column: IntArray, clash: dict[tuple[int, int], int]
) -> None:
    """x[p,t] + x[q,s] <= 1 where outages t and s overlap; fixed pairs at a dear price."""
    place = {(int(p), int(k)): j for j, (p, k) in enumerate(zip(pump, column, strict=True))}
    meet: dict[int, list[int]] = {}
    for a, b in given.overlaps or tuple((k, k) for k in range(len(given.outages))):
        meet.setdefault(a, []).append(b)
    for p, q in given.twins:
        for a, others in meet.items():
            mine = place.get((p, a))
            theirs = [place[(q, b)] for b in others if (q, b) in place]
            if mine is None or not theirs:
                continue
            col, value = [mine, *theirs], [1.0] * (1 + len(theirs))
            if (p, q) in clash:
                col, value = [*col, clash[(p, q)]], [*value, -1.0]
            rows.add(np.array(col), np.array(value), 1.0)


def _crew(
    given: Instance,
    rows: _Triplets,
    pump: IntArray,
    column: IntArray,
    reserve: FloatArray,
    at_short: int,
    at_over: int,
) -> None:
    """Hours with their reserve against capacity, hard; the same with expected re-openings, at a price."""
    t = len(given.outages)
    inside = column < t
    for k in range(t):
        if not np.isfinite(given.capacity[k]):
            continue
        here = np.flatnonzero(column == k)
        room = float(given.capacity[k] - reserve[k])
        rows.add(np.append(here, at_short + k), np.append(given.hours[pump[here], k], -1.0), room)
        load = np.zeros(len(pump))
        load[here] = given.hours[pump[here], k]
        load[inside] += given.reopening[pump[inside], column[inside], k] * given.again_h[pump[inside]]
        loaded = np.flatnonzero(load > 0)
        rows.add(np.append(loaded, at_over + k), np.append(load[loaded], -1.0), room)


def _shells(
    given: Instance, rows: _Triplets, pump: IntArray, column: IntArray, reserve: FloatArray, at_shell: int
) -> None:
    """Shells of a family needed by each outage, their reserve and re-openings, against
    what is there by then.
    """
    s, t = given.shells, len(given.outages)
    assert s is not None
    inside = np.flatnonzero(column < t)
    p, k = pump[inside], column[inside]
    reopened = np.cumsum(given.reopening[p, k], axis=1)
    begun = k[:, None] <= np.arange(t)
    size = len(s.names) * t
    for f in range(len(s.names)):
        gone = begun if s.back is None else begun & ~(s.back[f][k] > 0)
        need = s.new[f, p, k][:, None] * gone + reopened * s.again[f, p][:, None]
        for by in range(t):
            loaded = np.flatnonzero(need[:, by] > 0)
            bought = at_shell + f * t + np.arange(by + 1)
            col = np.concatenate([inside[loaded], bought, [at_shell + size + f * t + by]])
            value = np.concatenate([need[loaded, by], np.full(by + 2, -1.0)])
            rows.add(col, value, float(s.on_hand[f] + s.due[f, by] - reserve[f, by]))
