"""A bound far above the plain relaxation's, and good plans beside it: whole outages as columns.

Crew hours and pump openings are lumps, and the plain relaxation cuts lumps into pieces. Here a column is a
whole outage's set of jobs that fits its crew hours; the best mixture of columns is found by column generation
(Gilmore & Gomory 1961; for assignment within capacities Savelsbergh 1997), each new column by a knapsack over
the pumps. Its value bounds every plan's cost from below, and the columns taken whole make a plan.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp
from scipy.sparse import csc_array, csr_array, hstack

from dashboards.outage_plan.bearing_jobs.inputs import FloatArray
from dashboards.outage_plan.bearing_jobs.model import KEPT, Model, twin_pairs

UNITS_H = (1.0, 0.5)
MOST_OPTIONS = 4096
NEAR = 0.1  # a step towards the mixture's prices; the prices of the best bound weigh the rest
ROUNDS, TOLD_EVERY = 250, 10
SETTLED = 0.003
DIVE_ROUNDS = 12
SURE = 0.95
FORCE = 4.0


class TooMany(ValueError):
    """A pump with too many bearings for all its ways to be listed: the plain relaxation must do."""


@dataclass(frozen=True)
class Option:
    """One pump's work in one outage: the jobs it does together."""

    jobs: tuple[int, ...]
    opening: int
    units: int


@dataclass
class Outages:
    """Every outage's pumps with their options, and the rows all outages share."""

    model: Model
    options: list[list[list[Option]]]  # outage -> pump -> options
    members: list[NDArray[np.int64]]  # outage -> each option's columns
    capacity: list[int]
    shared: csr_array  # rows that are not links, over all columns of the programme
    top: FloatArray
    shared_rows: np.ndarray
    rest: np.ndarray  # columns that belong to no outage
    forced: np.ndarray  # jobs that must be done
    force: float

    @property
    def cost(self) -> FloatArray:
        """The programme's costs, with what a forced job is worth taken off."""
        cost = self.model.cost.copy()
        cost[self.forced] -= self.force
        return cost


def gather(model: Model) -> Outages:
    """Sort the programme's columns by outage and pump."""
    layout = model.layout
    lengths = np.append(model.own_hours, layout.open_hours)
    even = [u for u in UNITS_H if np.all(np.mod(lengths, u) < 1e-9)]
    unit, whole = (even[0], True) if even else (UNITS_H[-1], False)
    rows = np.flatnonzero(
        ~np.array(model.rows.link, dtype=bool) & ~(np.array(model.rows.crew, dtype=bool) & whole)
    )
    shared = csr_array(model.matrix())[rows]
    n_t = len(layout.inputs.outages)
    by: dict[tuple[int, int], dict[int, list[int]]] = {}
    for j, (i, _, t) in enumerate(model.jobs):
        by.setdefault((t, int(layout.pump[i])), {}).setdefault(i, []).append(j)
    of = _couples(model)
    groups: list[dict[int, list[Option]]] = [{} for _ in range(n_t)]
    for (t, p), bearings in sorted(by.items()):
        found = _options(model, model.openings[p, t], layout.open_hours[p], bearings, unit)
        groups[t].setdefault(of.get(p, p), []).extend(found)
    options = [list(g.values()) for g in groups]
    capacity = [
        # Never more than all work there is: a plant that states no crew hours has none to count.
        min(int(np.floor(o.crew_hours / unit + 1e-9)), sum(max(x.units for x in g) for g in groups))
        for o, groups in zip(layout.inputs.outages, options, strict=True)
    ]
    n = len(model.jobs) + len(model.openings)
    forced = np.flatnonzero(model.low[: len(model.jobs)] > 0.5)
    most = float(np.abs(model.cost[:-1]).max(initial=1.0))
    return Outages(
        model,
        options,
        [_padded(groups, len(model.cost)) for groups in options],
        capacity,
        shared,
        np.array(model.rows.top)[rows],
        rows,
        np.arange(n, len(model.cost)),
        forced,
        FORCE * most,
    )


def _couples(model: Model) -> dict[int, int]:
    """Of two twins that are nobody else's, the second's group is the first's: one option for both."""
    pairs = {(p, q) for p, t, q, s in twin_pairs(model.layout.inputs) if t == s}
    counts = np.bincount(np.array(sorted(pairs), dtype=int).ravel(), minlength=1)
    return {q: p for p, q in pairs if counts[p] == 1 and counts[q] == 1}


def _options(
    model: Model, opening: int, open_h: float, bearings: dict[int, list[int]], unit: float
) -> list[Option]:
    """All ways to work on a pump; hours are rounded down, so that the bound stays one."""
    choices = [[None, *jobs] for jobs in bearings.values()]
    if np.prod([len(c) for c in choices], dtype=float) > MOST_OPTIONS:
        raise TooMany
    found = []
    for mixed in itertools.product(*choices):
        jobs = tuple(j for j in mixed if j is not None)
        if jobs:
            hours = open_h + sum(model.own_hours[j] for j in jobs)
            found.append(Option(jobs, opening, int(np.floor(hours / unit + 1e-9))))
    return found


def best_set(
    groups: list[list[Option]], capacity: int, reduced: FloatArray, members: NDArray[np.int64]
) -> tuple[FloatArray, list[Option]]:
    """The cheapest set of options, at most one a pump, within the capacity: a knapsack by its table."""
    worth = np.append(reduced, 0.0)[members].sum(axis=1).tolist()
    table = np.zeros(capacity + 1)
    taken, kept, at = [], [], 0
    for group in groups:
        good = _worth_trying(group, worth[at : at + len(group)], capacity)
        at += len(group)
        if not good:
            continue
        new, pick = table.copy(), np.full(capacity + 1, -1, dtype=np.int16)
        for k, (c, o) in enumerate(good):
            tried = table[: capacity + 1 - o.units] + c
            better = tried < new[o.units :] - 1e-12
            new[o.units :][better] = tried[better]
            pick[o.units :][better] = k
        table = new
        taken.append(pick)
        kept.append(good)
    at, chosen = capacity, []
    for pick, good in zip(reversed(taken), reversed(kept), strict=True):
        if pick[at] >= 0:
            option = good[pick[at]][1]
            chosen.append(option)
            at -= option.units
    return table, chosen


def _worth_trying(group: list[Option], worth: list[float], capacity: int) -> list[tuple[float, Option]]:
    """Options that save something and that no shorter one beats."""
    good: list[tuple[float, Option]] = []
    for k in sorted(range(len(group)), key=lambda k: (group[k].units, worth[k])):
        if group[k].units <= capacity and worth[k] < (good[-1][0] if good else 0.0) - 1e-9:
            good.append((worth[k], group[k]))
    return good


def _padded(groups: list[list[Option]], n: int) -> NDArray[np.int64]:
    """(options, k) each option's columns, filled up with column n, which costs nothing."""
    rows = [(*o.jobs, o.opening) for group in groups for o in group]
    width = max((len(r) for r in rows), default=1)
    return np.array([(*r, *[n] * (width - len(r))) for r in rows], dtype=np.int64).reshape(-1, width)


@dataclass
class Mixture:
    """The columns so far: each a set of jobs and openings of one outage."""

    outage: list[int]
    members: list[np.ndarray]
    bound: float = -np.inf
    prices: FloatArray | None = None  # of the shared rows, where the bound was found


def bound(o: Outages, rounds: int = ROUNDS, told: Callable[[int], None] = lambda _: None) -> Mixture:
    """Generate columns until the mixture is the best, or nearly.

    Prices are smoothed (Wentges 1997): left alone they swing, and the bound with them.
    """
    mix = Mixture([], [])
    seen: set[tuple[int, ...]] = set()
    centre = best = _relaxed_prices(o)
    step = NEAR
    for k in range(rounds):
        if k % TOLD_EVERY == 0:
            told(k + 1)
        low, columns = _price(o, centre)
        if low > mix.bound:
            mix.bound, best, step = low, centre, min(step * 1.5, 0.5)
        else:
            step = max(step * 0.8, 0.01)
        n_new = _keep(mix, seen, columns)
        value, prices, _ = _master(o, mix)
        if value - mix.bound <= SETTLED * abs(value):
            break
        if not n_new:
            low, columns = _price(o, prices)
            if low > mix.bound:
                mix.bound, best = low, prices
            if not _keep(mix, seen, columns):
                break
        centre = step * prices + (1 - step) * best
    mix.prices = best
    return mix


def _keep(mix: Mixture, seen: set, columns: list[tuple[int, np.ndarray]]) -> int:
    n = 0
    for t, members in columns:
        key = (t, *members.tolist())
        if len(members) and key not in seen:
            seen.add(key)
            mix.outage.append(t)
            mix.members.append(members)
            n += 1
    return n


def _relaxed_prices(o: Outages) -> FloatArray:
    """The shared rows' prices in the plain relaxation, to begin from."""
    m = o.model
    found = linprog(
        m.cost,
        A_ub=m.matrix().tocsr(),
        b_ub=m.rows.top,
        bounds=np.column_stack([m.low, m.high]),
        method="highs",
    )
    if found.x is None:
        return np.zeros(len(o.top))
    prices = -found.ineqlin.marginals[o.shared_rows]
    return np.maximum(prices, 0.0)


def _price(
    o: Outages, prices: FloatArray, gone: np.ndarray | None = None
) -> tuple[float, list[tuple[int, np.ndarray]]]:
    """The bound at these prices, and each outage's cheapest set of jobs."""
    reduced = o.cost + o.shared.T @ prices
    low = -float(prices @ o.top) + o.force * len(o.forced)
    rest = reduced[o.rest]
    if np.any((rest < -1e-7) & np.isinf(o.model.high[o.rest])):
        low = -np.inf
    low += float(np.minimum(rest * o.model.low[o.rest], 0.0).sum()) + float(rest[-1] * (rest[-1] > 0))
    if gone is not None:
        reduced[gone] = np.inf
    columns = []
    for t, groups in enumerate(o.options):
        table, chosen = best_set(groups, o.capacity[t], reduced, o.members[t])
        low += float(table[-1])
        members = sorted({j for c in chosen for j in (*c.jobs, c.opening)})
        columns.append((t, np.array(members, dtype=int)))
    return low, columns


def _columns(o: Outages, mix: Mixture) -> tuple[FloatArray, csc_array]:
    """Costs and rows (shared, then one per outage) of the mixture's columns and of those of no outage."""
    n, n_t = len(o.model.cost), len(o.options)
    row = np.concatenate([*mix.members, o.rest]).astype(int)
    sizes = [*map(len, mix.members), *[1] * len(o.rest)]
    pick = csc_array(
        (np.ones(len(row)), (row, np.repeat(np.arange(len(sizes)), sizes))), shape=(n, len(sizes))
    )
    k = len(mix.members)
    each = csc_array((np.ones(k), (np.array(mix.outage, dtype=int), np.arange(k))), shape=(n_t, len(sizes)))
    return o.cost @ pick, csc_array(hstack([(o.shared @ pick).T, each.T]).T)


def _master(
    o: Outages, mix: Mixture, held: dict[int, int] | None = None
) -> tuple[float, FloatArray, FloatArray]:
    """The best mixture's value, its prices of the shared rows, and each column's share.

    Where an outage holds a column, the mixture has that one whole and no other of the outage.
    """
    cost, rows = _columns(o, mix)
    top = np.append(o.top, np.ones(len(o.options)))
    k = len(mix.members)
    low = np.append(np.zeros(k), o.model.low[o.rest])
    high = np.append(np.ones(k), o.model.high[o.rest])
    if held:
        high[:k][np.isin(np.array(mix.outage), list(held))] = 0.0
        low[list(held.values())] = high[list(held.values())] = 1.0
    found = linprog(cost, A_ub=rows, b_ub=top, bounds=np.column_stack([low, high]), method="highs")
    if found.x is None:
        return np.inf, np.zeros(len(o.top)), np.zeros(k)
    prices = np.maximum(-found.ineqlin.marginals[: len(o.top)], 0.0)
    return float(found.fun) + o.force * len(o.forced), prices, found.x[:k]


def dive(o: Outages, mix: Mixture) -> FloatArray | None:
    """A plan by settling one outage after the other, with new columns for the rest after each."""
    held: dict[int, int] = {}
    n = len(o.model.jobs)
    bearing, action, _ = np.array(o.model.jobs, dtype=int).reshape(-1, 3).T
    kept = action == KEPT  # may still come in for a job that is settled
    value, prices, share = _master(o, mix)
    open_ = set(range(len(o.options)))
    seen = {(t, *m.tolist()) for t, m in zip(mix.outage, mix.members, strict=True)}
    while open_:
        lead = [c for c in np.argsort(-share, kind="stable") if share[c] > 0.01 and mix.outage[c] in open_]
        if not lead:
            break
        sure = [c for c in lead if share[c] > SURE] or lead[:1]
        for c in sure:
            held[mix.outage[c]] = int(c)
            open_.discard(mix.outage[c])
        done = bearing[[j for c in held.values() for j in mix.members[c] if j < n]]
        gone = np.flatnonzero(np.isin(bearing, done) & ~kept)
        for k in range(DIVE_ROUNDS):
            value, prices, share = _master(o, mix, held)
            if not np.isfinite(value) or not open_:
                break
            calm = mix.prices if mix.prices is not None else prices
            _, columns = _price(o, prices if k % 2 else (prices + calm) / 2, gone)
            if not _keep(mix, seen, [c for c in columns if c[0] in open_]) and k % 2:
                break
        if not np.isfinite(value):
            return None
    x = np.zeros(len(o.model.cost))
    for c in held.values():
        x[mix.members[c]] = 1.0
    return _with_rest(o, x)


def _with_rest(o: Outages, x: FloatArray) -> FloatArray | None:
    """The plan with the columns of no outage set as they must be, or None where it breaks a row."""
    left = o.top - o.shared @ x
    rows = o.shared[:, o.rest]
    bounds = np.column_stack([o.model.low[o.rest], o.model.high[o.rest]])
    found = linprog(np.zeros(len(o.rest)), A_ub=rows, b_ub=left, bounds=bounds, method="highs")
    if found.x is None or not np.all(x[o.forced] > 0.5):
        return None
    x[o.rest] = found.x
    return x


def mixed(o: Outages, mix: Mixture) -> FloatArray:
    """The best mixture as shares of the programme's columns."""
    share = _master(o, mix)[2]
    x = np.zeros(len(o.model.cost))
    for members, part in zip(mix.members, share, strict=True):
        x[members] += part
    return x


def whole_columns(o: Outages, mix: Mixture, gap: float, nodes: int) -> FloatArray | None:
    """A plan of the programme from the mixture's columns taken whole, or None."""
    cost, rows = _columns(o, mix)
    top = np.append(o.top, np.ones(len(o.options)))
    k = len(mix.members)
    low = np.append(np.zeros(k), o.model.low[o.rest])
    high = np.append(np.ones(k), o.model.high[o.rest])
    found = milp(
        cost,
        integrality=np.append(np.ones(k), np.zeros(len(o.rest))),
        bounds=Bounds(low, high),
        constraints=LinearConstraint(rows, -np.inf, top),
        options={"mip_rel_gap": gap, "node_limit": nodes},
    )
    if found.x is None:
        return None
    x = np.zeros(len(o.model.cost))
    for c in np.flatnonzero(found.x[:k] > 0.5):
        x[mix.members[c]] = 1.0
    x[o.rest] = found.x[k:]
    done = np.all(x[o.forced] > 0.5)
    return x if done else None


def out_of_reach(o: Outages, mix: Mixture, most: float) -> np.ndarray:
    """(n,) jobs that no plan of at most this cost can hold, by the bound with the job put in."""
    out = np.zeros(len(o.model.jobs), bool)
    if mix.prices is None:
        return out
    reduced = o.cost + o.shared.T @ mix.prices
    low, _ = _price(o, mix.prices)
    for t, groups in enumerate(o.options):
        table, _ = best_set(groups, o.capacity[t], reduced, o.members[t])
        least: dict[int, float] = {}
        for option in (x for group in groups for x in group if x.units <= o.capacity[t]):
            worth = sum(reduced[j] for j in option.jobs) + reduced[option.opening]
            with_it = low - table[-1] + worth + table[o.capacity[t] - option.units]
            for j in option.jobs:
                least[j] = min(least.get(j, np.inf), with_it)
        for j in {j for group in groups for x in group for j in x.jobs}:
            out[j] = least.get(j, np.inf) > most
    out[o.forced] = False
    return out
