"""A plan without a solver: at each outage, pumps in order of what postponing costs for
each hour they need.
"""

from __future__ import annotations

import numpy as np

from dashboards.outage_plan.pump_openings.instance import Instance
from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.normal import EIGHT_IN_TEN


def in_order(given: Instance) -> IntArray:
    """Columns (P,), T after the horizon: what a planner does by hand, and about as good where only hours are
    short.

    Outage by outage: fixed pumps first, then those that would rather not wait, dearest postponing cost per
    expected hour first, while hours (with their reserve) and shells (with those of re-openings) last and no
    twin is open. Shells that can be bought in time are there.

    >>> cost = np.array([[5.0, 7.0, 30.0], [5.0, 6.0, 30.0]])
    >>> two = Instance(cost, np.ones((2, 3), bool), np.full((2, 2), 10.0), np.zeros((2, 2)), np.full(2, 12.0),
    ...                np.zeros((2, 2, 2)), np.zeros(2), ("P1", "P2"), ("spring", "autumn"))
    >>> in_order(two).tolist()
    [0, 1]
    """
    pumps, columns = given.cost.shape
    cost = np.where(given.allowed, given.cost, np.inf)
    placed = np.full(pumps, -1)
    fixed = given.fixed
    placed[fixed] = given.allowed[fixed].argmax(axis=1)
    for k in range(columns - 1):
        after = cost[:, k + 1 :].min(axis=1)
        rather_now = (placed < 0) & np.isfinite(cost[:, k]) & (after > cost[:, k])
        waits = np.where(rather_now, np.minimum(cost[:, k + 1], 1e12) - cost[:, k], 0.0)
        per_hour = waits / np.maximum(given.hours[:, k], 1e-9)
        for i in np.lexsort((np.arange(pumps), -per_hour)):
            if rather_now[i] and _fits(given, placed, int(i), k):
                placed[i] = k
    return np.where(placed < 0, columns - 1, placed)


def _fits(given: Instance, placed: IntArray, i: int, k: int) -> bool:
    """Whether pump i still fits into outage k beside what is placed."""
    here = np.append(np.flatnonzero(placed == k), i)
    hours = given.hours[here, k].sum() + EIGHT_IN_TEN * np.sqrt(given.variance[here, k].sum())
    if hours > given.capacity[k] + 1e-9:
        return False
    overlaps = given.overlaps or tuple((a, a) for a in range(len(given.outages)))
    busy = {b for a, b in overlaps if a == k}
    for p, q in given.twins:
        if i in (p, q) and int(placed[q if i == p else p]) in busy:
            return False
    return given.shells is None or _shells_last(given, placed, i, k)


def _shells_last(given: Instance, placed: IntArray, i: int, k: int) -> bool:
    """Whether the families of pump i still have shells by outage k, and by every later
    one already placed in.
    """
    s, t = given.shells, len(given.outages)
    assert s is not None
    with_i = placed.copy()
    with_i[i] = k
    inside = np.flatnonzero((with_i >= 0) & (with_i < t))
    reopened = np.cumsum(given.reopening[inside, with_i[inside]], axis=1)
    for f in np.flatnonzero(s.new[:, i, k] > 0):
        need, var = (_by_outage(a[f, inside, with_i[inside]], with_i[inside], t) for a in (s.new, s.variance))
        have = np.where(s.buyable[f], np.inf, s.on_hand[f] + s.due[f])
        need = need + s.again[f, inside] @ reopened
        later = np.arange(t) >= k
        if np.any((need + EIGHT_IN_TEN * np.sqrt(var) > have + 1e-9)[later]):
            return False
    return True


def _by_outage(values: FloatArray, at: IntArray, t: int) -> FloatArray:
    """(T,) running sums of values at their outages."""
    return np.cumsum(np.bincount(at, values, minlength=t))
