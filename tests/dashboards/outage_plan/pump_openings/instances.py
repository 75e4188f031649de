"""Small and invented instances for the programme's tests and benches."""

from __future__ import annotations

from itertools import product
from typing import Any

import numpy as np

from dashboards.outage_plan.pump_openings.instance import Instance, Shells
from dashboards.outage_plan.pump_openings.programme_rows import HOLDING, OVER_H, SHORT_H


def instance(cost: Any, **changes: Any) -> Instance:
    """Pumps whose openings cost ``cost`` (P, T + 1); 10 h each, nothing uncertain, hours without end."""
    cost = np.asarray(cost, dtype=float)
    p, t = cost.shape[0], cost.shape[1] - 1
    given = {
        "allowed": np.ones((p, t + 1), dtype=bool),
        "hours": np.full((p, t), 10.0),
        "variance": np.zeros((p, t)),
        "capacity": np.full(t, np.inf),
        "reopening": np.zeros((p, t, t)),
        "again_h": np.zeros(p),
        "names": tuple(f"P{i}" for i in range(p)),
        "outages": tuple(f"outage {k}" for k in range(t)),
    }
    return Instance(cost=cost, **{**given, **changes})


def shells(p: int, t: int, **changes: Any) -> Shells:
    """One family; every opening needs one shell for certain, none on hand, none to be bought."""
    given = {
        "new": np.ones((1, p, t)),
        "variance": np.zeros((1, p, t)),
        "again": np.zeros((1, p)),
        "on_hand": np.zeros(1),
        "due": np.zeros((1, t)),
        "buyable": np.zeros((1, t), dtype=bool),
        "price_h": np.full(1, 40.0),
        "names": ("SL-1",),
    }
    return Shells(**{**given, **changes})


def cheapest(given: Instance) -> float:
    """Least objective over every plan, by trying them all; nothing uncertain, no plan short."""
    best = np.inf
    pumps, t = len(given.names), len(given.outages)
    overlaps = given.overlaps or tuple((k, k) for k in range(t))
    for plan in product(range(t + 1), repeat=pumps):
        if not all(given.allowed[i, k] for i, k in enumerate(plan)):
            continue
        if any((plan[p], plan[q]) in overlaps for p, q in given.twins):
            continue
        load, again = np.zeros(t), np.zeros(t)
        for i, k in enumerate(plan):
            if k < t:
                load[k] += given.hours[i, k]
                again += given.reopening[i, k] * given.again_h[i]
        cost = sum(given.cost[i, k] for i, k in enumerate(plan))
        cost += (
            SHORT_H * np.maximum(load - given.capacity, 0).sum()
            + OVER_H * np.maximum(load + again - given.capacity, 0).sum()
        )
        best = min(best, cost + _stock(given, plan, t))
    return best


def _stock(given: Instance, plan: tuple[int, ...], t: int) -> float:
    s = given.shells
    if s is None:
        return 0.0
    cost = 0.0
    for f in range(len(s.names)):
        need = np.zeros(t)
        for i, k in enumerate(plan):
            if k < t:
                need[k] += s.new[f, i, k]
                need += given.reopening[i, k] * s.again[f, i]
        missing = np.maximum(np.cumsum(need) - s.on_hand[f] - s.due[f], 0.0)
        if np.any((missing > 1e-9) & (np.cumsum(s.buyable[f]) == 0)):
            return np.inf
        cost += HOLDING * s.price_h[f] * missing.max()
    return cost
