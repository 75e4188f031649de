"""Better plans near a plan: a few outages at a time are planned anew, the rest stays."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csc_array, csr_array, hstack

from dashboards.outage_plan.bearing_jobs.inputs import FloatArray
from dashboards.outage_plan.bearing_jobs.model import Model

PART_NODES = 60
PART_GAP = 0.0005
BROKEN = 1e-6
N_TOGETHER = (3, 4, 5)


class Search:
    """The programme made ready for many small solves."""

    def __init__(self, model: Model) -> None:
        self.model = model
        self.matrix = csc_array(model.matrix())
        self.top = np.array(model.rows.top)
        jobs = np.array(model.jobs, dtype=int).reshape(-1, 3)
        self.bearing, self.outage = jobs[:, 0], jobs[:, 2]
        self.opening_outage = np.array([t for _, t in model.openings], dtype=int)

    def solve(
        self, low: FloatArray, high: FloatArray, gap: float, nodes: int
    ) -> tuple[FloatArray | None, float]:
        """The programme within these bounds, its fixed columns taken out: the plan and its bound."""
        free = np.flatnonzero(high > low)
        x = low.copy()
        top = self.top - self.matrix @ x
        rows = self.matrix[:, free]
        width = np.diff(rows.tocsr().indptr)
        if np.any(top[width == 0] < -BROKEN):
            return None, -np.inf  # what is fixed breaks a row by itself
        used = np.flatnonzero(width)
        constant = float(self.model.cost @ x)
        cost = np.append(self.model.cost[free], constant)  # so that the gap is a share of the whole
        rows = hstack([rows.tocsr()[used], csr_array((len(used), 1))]).tocsr()
        limits = [LinearConstraint(rows, -np.inf, top[used])] if len(used) else []
        found = milp(
            cost,
            integrality=np.append(self.model.whole[free], 0),
            bounds=Bounds(np.append(low[free], 1.0), np.append(high[free], 1.0)),
            constraints=limits,
            options={"mip_rel_gap": gap, "node_limit": nodes},
        )
        if found.x is None:
            return None, -np.inf
        x[free] = found.x[:-1]
        bound = found.mip_dual_bound
        return x, float(bound) if bound is not None else -np.inf

    def near(
        self, x: FloatArray, outages: np.ndarray, gone: NDArray[np.bool_] | None = None
    ) -> tuple[FloatArray, FloatArray]:
        """Bounds that keep every job of the other outages and free the rest of the fleet for these.

        Jobs that are gone stay out unless the plan has them.
        """
        m, n = self.model, len(self.model.jobs)
        low, high = m.low.copy(), m.high.copy()
        done = x[:n] > 0.5
        kept = np.zeros(len(m.layout.pump), bool)
        kept[self.bearing[done & ~np.isin(self.outage, outages)]] = True
        fixed = kept[self.bearing] | ~np.isin(self.outage, outages)
        low[:n] = np.where(fixed, done, low[:n])
        high[:n] = np.where(fixed, done, high[:n])
        if gone is not None:
            high[:n][gone & ~done] = low[:n][gone & ~done]
        other = ~np.isin(self.opening_outage, outages)
        openings = slice(n, n + len(m.openings))
        opened = np.round(x[openings])
        low[openings] = np.where(other, opened, low[openings])
        high[openings] = np.where(other, opened, high[openings])
        return low, high

    def agreed(
        self, x: FloatArray, relaxed: FloatArray, share: float, gone: NDArray[np.bool_]
    ) -> tuple[FloatArray, FloatArray]:
        """Bounds that keep what a plan and a relaxed plan agree on (jobs, and bearings left alone).

        Jobs that are gone stay out unless the plan has them.
        """
        m, n = self.model, len(self.model.jobs)
        done = x[:n] > 0.5
        same = done & (relaxed[:n] > share)
        busy = np.union1d(self.bearing[done], self.bearing[relaxed[:n] > 1 - share])
        kept = np.isin(self.bearing, self.bearing[same]) | ~np.isin(self.bearing, busy)
        low, high = m.low.copy(), m.high.copy()
        low[:n] = np.where(kept, done, low[:n])
        high[:n] = np.where(kept | (gone & ~done), done, high[:n])
        return low, high

    def without(self, jobs: NDArray[np.bool_]) -> tuple[FloatArray, FloatArray]:
        """Bounds that forbid these jobs, and the openings that only they would need."""
        m, n = self.model, len(self.model.jobs)
        low, high = m.low.copy(), m.high.copy()
        high[:n][jobs & (low[:n] < 0.5)] = 0.0
        pumps = m.layout.pump[self.bearing]
        needed = {(int(p), int(t)) for p, t, h in zip(pumps, self.outage, high[:n], strict=True) if h > 0}
        for key, column in m.openings.items():
            high[column] = float(key in needed)
        return low, high

    def relaxed(self) -> tuple[float, FloatArray, FloatArray]:
        """The plain relaxation: its value, shares, and what each job would add to it."""
        m = self.model
        found = linprog(
            m.cost, A_ub=self.matrix, b_ub=self.top, bounds=np.column_stack([m.low, m.high]), method="highs"
        )
        if found.x is None:
            return -np.inf, m.low, np.zeros(len(m.jobs))
        return float(found.fun), found.x, found.lower.marginals[: len(m.jobs)]


def improve(
    search: Search,
    x: FloatArray,
    target: float,
    rounds: int,
    sizes: tuple[int, ...] = N_TOGETHER,
    gone: NDArray[np.bool_] | None = None,
    gap: float = PART_GAP,
    nodes: int = PART_NODES,
    told: Callable[[int], None] = lambda _: None,
) -> FloatArray:
    """Plan some outages anew, round after round, until the cost reaches the target.

    The choice of outages is drawn from a fixed row of numbers: the same inputs give the same plan.
    """
    rng = np.random.default_rng(1)
    n_t = len(search.model.layout.inputs.outages)
    best = float(search.model.cost @ x)
    without, size = 0, 0
    for k in range(rounds):
        if best <= target:
            break
        told(k + 1)
        some = rng.permutation(n_t)[: min(sizes[size], n_t)]
        tried, _ = search.solve(*search.near(x, some, gone), gap, nodes)
        cost = np.inf if tried is None else float(search.model.cost @ tried)
        without = 0 if cost < best * (1 - 1e-5) else without + 1
        if tried is not None and cost < best - 1e-9:
            x, best = tried, cost
        if without > n_t and size < len(sizes) - 1:
            without, size = 0, size + 1
    return x
