"""Solve the programme: stop by gap or nodes, and say what is short where nothing fits."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp

from dashboards.outage_plan.bearing_jobs.columns import (
    TooMany,
    dive,
    gather,
    mixed,
    out_of_reach,
    whole_columns,
)
from dashboards.outage_plan.bearing_jobs.columns import bound as columns_bound
from dashboards.outage_plan.bearing_jobs.inputs import ACTIONS, FloatArray, Inputs, Job
from dashboards.outage_plan.bearing_jobs.layout import lay_out
from dashboards.outage_plan.bearing_jobs.model import KEPT, Model, NoPlan, build
from dashboards.outage_plan.bearing_jobs.search import N_TOGETHER, PART_GAP, PART_NODES, Search, improve

__all__ = ["NoPlan", "Solution", "solve"]
Tell = Callable[[int, str], None]
STEPS = 6  # that `solve` tells of; a plan that is good enough skips the later ones
GAP = 0.01
NODES = 20  # at most, on what is left of the programme
NEAR_NODES, FEW_NODES = 100, 1
EFFORT = 20  # outages planned anew so many times at most
MANY = 4000  # jobs to choose from beyond which columns take too long
PART = 0.003  # of the relaxation's value: a job that adds more is not among the likely ones
MANY_TOGETHER, MANY_GAP, MANY_NODES = (4, 5), 0.001, 20
AGREED = (0.3, 0.6, 0.9)
FIT = 1e-6
SHORTAGE = 1e4


@dataclass(frozen=True)
class Solution:
    """The chosen jobs, their expected cost, and how far at most it is from the best."""

    jobs: tuple[Job, ...]
    cost: float
    bound: float
    stopped_by: str  # gap or nodes

    @property
    def gap(self) -> float:
        """Share of the cost that a better plan could save at most."""
        return max(self.cost - self.bound, 0.0) / max(abs(self.cost), 1e-9)


def _quiet(step: int, words: str) -> None:
    """Tell nobody."""


def solve(inputs: Inputs, *, gap: float = GAP, tell: Tell = _quiet) -> Solution:
    """The plan of least expected cost, to a gap or as good as a fixed number of steps finds.

    No clock stops it: the same inputs give the same answer on every machine. `tell` hears which of `STEPS` begins.
    """
    model = build(lay_out(inputs))
    run = _Run(model, Search(model), gap, tell)
    run.say(1, f"{len(model.jobs)} possible jobs are laid out")
    if len(model.jobs) > MANY or not run.by_columns():
        run.by_parts()
    if run.x is None:
        run.take(*run.search.solve(model.low, model.high, gap, NODES))
    if run.x is None:
        raise NoPlan(_what_is_short(model))
    chosen = [model.jobs[j] for j in np.flatnonzero(run.x[: len(model.jobs)] > 0.5)]
    named = sorted(
        Job(inputs.bearings[i].name, ACTIONS[a], inputs.outages[t].name) for i, a, t in chosen if a != KEPT
    )
    return Solution(tuple(named), run.cost, min(run.bound, run.cost), "gap" if run.closed else "nodes")


@dataclass
class _Run:
    """The best plan and bound so far; each step is taken only while the gap is open."""

    model: Model
    search: Search
    gap: float
    tell: Tell
    x: FloatArray | None = None
    bound: float = -np.inf

    @property
    def cost(self) -> float:
        """Of the best plan so far."""
        return np.inf if self.x is None else float(self.model.cost @ self.x)

    @property
    def target(self) -> float:
        """The cost at which the gap is closed."""
        return self.bound / (1 - self.gap) if self.bound > 0 else self.bound * (1 - self.gap)

    @property
    def closed(self) -> bool:
        """Whether no plan can be better by more than the gap."""
        return self.cost <= self.target + FIT

    def say(self, step: int, words: str) -> None:
        """Tell what begins, and how good the plan so far is."""
        known = self.x is not None and np.isfinite(self.bound)
        so_far = (
            f"; the best plan so far is within {1 - self.bound / self.cost:.1%} of the best" if known else ""
        )
        self.tell(step, words + so_far)

    def anew(
        self,
        step: int,
        rounds: int,
        sizes: tuple[int, ...] = N_TOGETHER,
        gone: NDArray[np.bool_] | None = None,
        gap: float = PART_GAP,
        nodes: int = PART_NODES,
    ) -> None:
        """Some outages planned anew, round after round."""
        if self.x is None or self.closed:
            return

        def told(k: int) -> None:
            self.say(step, f"outages are planned anew, round {k} of at most {rounds}")

        self.x = improve(self.search, self.x, self.target, rounds, sizes, gone, gap, nodes, told)

    def take(self, x: FloatArray | None, bound: float = -np.inf) -> None:
        """Keep what is better."""
        self.bound = max(self.bound, bound)
        if x is not None and self.model.cost @ x < self.cost:
            self.x = x

    def by_columns(self) -> bool:
        """Whole outages as columns, then near the mixture, then outages anew, then what is left of the programme."""
        model, search = self.model, self.search
        if not model.jobs:
            self.take(model.low.copy(), float(model.cost[-1]))
            return True
        try:
            outages = gather(model)
        except TooMany:
            return False
        mix = columns_bound(outages, told=lambda k: self.say(2, f"whole outages are put together, round {k}"))
        self.say(3, "plans are made of whole outages")
        self.take(whole_columns(outages, mix, self.gap / 4, NEAR_NODES), mix.bound)
        if not self.closed:
            self.take(dive(outages, mix))
            self.take(whole_columns(outages, mix, self.gap / 4, NEAR_NODES))
        if not self.closed:
            self.say(4, "plans near the best mixture are tried")
            self._near(mixed(outages, mix), out_of_reach(outages, mix, self.target))
        self.anew(5, EFFORT)
        if not self.closed:
            self.say(6, "what is left is searched")
            # A job that would lift the bound over the best plan's cost is in no better plan.
            reach = search.without(out_of_reach(outages, mix, self.cost + FIT))
            self.take(*search.solve(*reach, self.gap, NODES))
        return True

    def by_parts(self) -> None:
        """Large fleets: jobs that the plain relaxation holds for good or nearly so, then near it, then outages anew."""
        value, shares, more = self.search.relaxed()
        far = more > PART * abs(value)
        self.say(2, "the likely jobs are searched")
        x, bound = self.search.solve(*self.search.without(far), self.gap * 0.8, FEW_NODES)
        # A plan with a job left out of this part costs more than the relaxation by at least that.
        self.take(x, min(bound, value + PART * abs(value)) if x is not None else -np.inf)
        self.say(4, "plans near the plain relaxation are tried")
        self._near(shares, far, MANY_GAP, MANY_NODES)
        self.anew(5, EFFORT, MANY_TOGETHER, far, MANY_GAP, MANY_NODES)

    def _near(
        self, shares: FloatArray, gone: NDArray[np.bool_], gap: float = PART_GAP, nodes: int = NEAR_NODES
    ) -> None:
        """Keep what the plan and the relaxed plan agree on, and plan the rest anew."""
        for share in AGREED:
            if self.x is None or self.closed:
                return
            near = self.search.agreed(self.x, shares, share, gone)
            self.take(self.search.solve(*near, gap, nodes)[0])


def _what_is_short(model: Model) -> list[str]:
    """Let every row that has a sentence be broken at a price, and say which ones are."""
    soft = [r for r, say in enumerate(model.rows.short) if say is not None]
    n = len(model.cost)
    matrix = model.matrix(len(soft)).tolil()
    for k, r in enumerate(soft):
        matrix[r, n + k] = -1.0
    cost = np.concatenate([np.zeros(n), np.full(len(soft), SHORTAGE)])
    # Hours are many and shells few: each breach counts as a share of what its row holds.
    cost[n:] /= np.maximum(np.array([model.rows.top[r] for r in soft]), 1.0)
    result = milp(
        cost,
        integrality=np.concatenate([model.whole, np.zeros(len(soft))]),
        bounds=Bounds(
            np.concatenate([model.low, np.zeros(len(soft))]),
            np.concatenate([model.high, np.full(len(soft), np.inf)]),
        ),
        constraints=LinearConstraint(matrix.tocsc(), -np.inf, model.rows.top),
        options={"mip_rel_gap": 0.01, "node_limit": 2000},
    )
    if result.x is None:
        return ["No plan was found within the node limit, and nothing that must happen is short: raise it."]
    lack = result.x[n:]
    sentences = [say for say in model.rows.short if say is not None]
    return [say(missing) for say, missing in zip(sentences, lack, strict=True) if missing > FIT]
