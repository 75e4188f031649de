"""The plan as an integer programme: at most one job per bearing, least expected cost, within what is there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array

from .inputs import ACTIONS, LEAVE, REPLACE, FloatArray, Inputs, Job, refuses
from .layout import Layout, lay_out
from .stock import Family, families

GAP = 0.01
NODES = 20_000
FIT = 1e-6
SHORTAGE = 1e4


def _says(sentence: Callable[..., str], *facts: object) -> Callable[[float], str]:
    """A row's sentence with its facts as they are now; what is short comes later."""
    return lambda missing: sentence(missing, *facts)


class NoPlan(ValueError):
    """What must happen does not fit; `shortages` says in sentences what is short and by how much."""

    def __init__(self, shortages: list[str]) -> None:
        self.shortages = shortages
        super().__init__(" ".join(shortages))


@dataclass(frozen=True)
class Solution:
    """The chosen jobs, their expected cost, and how far at most it is from the best."""

    jobs: tuple[Job, ...]
    cost: float
    bound: float
    n_nodes: int
    stopped_by: str  # gap, nodes or time

    @property
    def gap(self) -> float:
        """Share of the cost that a better plan could save at most."""
        return max(self.cost - self.bound, 0.0) / max(abs(self.cost), 1e-9)


@dataclass
class _Rows:
    """Constraint rows as they are gathered; each has a sentence for the case that it cannot be kept."""

    row: list[int] = field(default_factory=list)
    col: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    top: list[float] = field(default_factory=list)
    short: list[Callable[[float], str] | None] = field(default_factory=list)

    def add(self, cols, values, top: float, short: Callable[[float], str] | None = None) -> None:
        cols = np.atleast_1d(cols)
        self.row += [len(self.top)] * len(cols)
        self.col += cols.tolist()
        self.value += np.broadcast_to(values, cols.shape).tolist()
        self.top.append(top)
        self.short.append(short)


@dataclass(frozen=True)
class Model:
    """The programme: n jobs, then openings of pumps, then unbored shells given to a bore, then a constant."""

    layout: Layout
    jobs: tuple[tuple[int, int, int], ...]  # (bearing, action, outage)
    openings: dict[tuple[int, int], int]  # (pump, outage) -> column
    cost: FloatArray
    low: FloatArray
    high: FloatArray
    whole: FloatArray
    rows: _Rows

    def matrix(self, extra: int = 0) -> coo_array:
        """The rows as a sparse matrix with room for more columns."""
        r = self.rows
        return coo_array((r.value, (r.row, r.col)), shape=(len(r.top), len(self.cost) + extra))


def fixed_jobs(inputs: Inputs) -> tuple[Job, ...]:
    """Pins, and what an accepted plan holds in outages whose scope is frozen."""
    pinned = {job.bearing: job for job in inputs.pinned}
    for job in inputs.accepted or ():
        t = inputs.outage_at.get(job.outage)
        if t is None or job.bearing not in inputs.bearing_at or not inputs.frozen(t):
            continue
        if job.bearing not in pinned and not any(refuses(no, job) for no in inputs.refused):
            pinned[job.bearing] = job
    return tuple(sorted(pinned.values()))


def candidates(layout: Layout, fixed: tuple[Job, ...]) -> list[tuple[int, int, int]]:
    """Jobs worth offering: one that costs more than leaving, before its opening, is never in the best plan."""
    inputs = layout.inputs
    settled = {inputs.bearing_at[job.bearing] for job in fixed}
    found = []
    for a, action in enumerate(ACTIONS):
        good = layout.offered[action] & (layout.cost[action] < layout.leave_cost[:, None] - 1e-9)
        found += [(int(i), a, int(t)) for i, t in np.argwhere(good) if i not in settled]
    for job in fixed:
        if job.action != LEAVE:
            i, t = inputs.bearing_at[job.bearing], inputs.outage_at[job.outage]
            found.append((i, ACTIONS.index(job.action), t))
    return sorted(found)


def build(layout: Layout, stock: dict[tuple[str, str], Family] | None = None) -> Model:
    """Gather the programme's columns and rows."""
    inputs = layout.inputs
    fixed = fixed_jobs(inputs)
    _refuse_impossible(layout, fixed)
    jobs = candidates(layout, fixed)
    n_t = len(inputs.outages)
    columns = np.array(jobs, dtype=int).reshape(-1, 3)
    bearing, _, outage = columns.T
    keys = sorted({(int(layout.pump[i]), t) for i, _, t in jobs})
    openings = {key: len(jobs) + k for k, key in enumerate(keys)}
    rows = _Rows()
    leave = layout.leave_cost
    cost = [layout.cost[ACTIONS[a]][i, t] - leave[i] for i, a, t in jobs]
    cost += [inputs.settings.hour_cost * layout.open_hours[p] for p, _ in keys]
    for i in np.unique(bearing):
        mine = np.flatnonzero(bearing == i)
        rows.add(mine, 1.0, 1.0)
        for t in np.unique(outage[mine]):
            here = mine[outage[mine] == t]
            opening = openings[int(layout.pump[i]), int(t)]
            rows.add(np.append(here, opening), np.append(np.ones(len(here)), -1.0), 0.0)
    _twins(layout, openings, rows)
    spent = np.zeros((len(jobs), n_t))  # bearing's own hours
    shells = np.zeros((len(jobs), n_t))
    for j, (i, a, t) in enumerate(jobs):
        spent[j, t] = layout.hours[ACTIONS[a]][i]
        if ACTIONS[a] == REPLACE:
            shells[j, t] = 1.0
        else:
            shells[j] = layout.follow_up[i, t]
            spent[j] += layout.follow_up[i, t] * layout.hours[REPLACE][i]
    _crew(layout, openings, spent, rows)
    n = len(cost)
    n = _shells(layout, stock if stock is not None else families(inputs), columns, shells, rows, n)
    low, high = np.zeros(n + 1), np.ones(n + 1)
    high[len(cost) : n] = np.inf
    whole = np.zeros(n + 1)
    whole[: len(cost)] = 1.0
    at = {job: j for j, job in enumerate(jobs)}
    for job in fixed:
        if job.action != LEAVE:
            key = (inputs.bearing_at[job.bearing], ACTIONS.index(job.action), inputs.outage_at[job.outage])
            low[at[key]] = 1.0
    low[n] = 1.0  # a constant, so that the gap is a share of the whole expected cost
    full = np.zeros(n + 1)
    full[: len(cost)] = cost
    full[n] = leave.sum()
    return Model(layout, tuple(jobs), openings, full, low, high, whole, rows)


def _refuse_impossible(layout: Layout, fixed: tuple[Job, ...]) -> None:
    inputs = layout.inputs
    wrong = []
    for job in fixed:
        if job.action == LEAVE:
            continue
        i, t = inputs.bearing_at[job.bearing], inputs.outage_at.get(job.outage)
        if t is None or job.action not in ACTIONS:
            wrong.append(f"{job.bearing}: a pinned job needs an outage and one of {', '.join(ACTIONS)}.")
        elif not layout.eligible[i, t]:
            pump = inputs.bearings[i].pump
            wrong.append(f"{job.bearing} is pinned into {job.outage}, but {pump} is not in that outage.")
    if wrong:
        raise NoPlan(wrong)


def _twins(layout: Layout, openings: dict[tuple[int, int], int], rows: _Rows) -> None:
    """Twins are never open on the same day, whether in one outage or in two that overlap."""
    inputs = layout.inputs
    for p, t, q, s in twin_pairs(inputs):
        if (p, t) in openings and (q, s) in openings:
            a, b, name = inputs.pumps[p].name, inputs.pumps[q].name, inputs.outages[t].name
            rows.add(
                np.array([openings[p, t], openings[q, s]]), 1.0, 1.0,
                _says(lambda _, a, b, name: f"{name}: {a} and its twin {b} are both pinned; one must run.", a, b, name),
            )  # fmt: skip


def twin_pairs(inputs: Inputs) -> list[tuple[int, int, int, int]]:
    """(pump, outage, twin, outage) that must not both be opened."""
    pairs = {
        tuple(sorted((inputs.pump_at[p.name], inputs.pump_at[p.twin])))
        for p in inputs.pumps
        if p.twin in inputs.pump_at and p.twin != p.name
    }
    same = [
        (t, s)
        for t, o in enumerate(inputs.outages)
        for s, other in enumerate(inputs.outages)
        if o.overlaps(other)
    ]
    return [(p, t, q, s) for p, q in sorted(pairs) for t, s in same]


def _crew(layout: Layout, openings: dict[tuple[int, int], int], spent: FloatArray, rows: _Rows) -> None:
    for t, outage in enumerate(layout.inputs.outages):
        mine = np.flatnonzero(spent[:, t] > 0)
        opened = [(col, layout.open_hours[p]) for (p, s), col in openings.items() if s == t]
        cols = np.concatenate([mine, [c for c, _ in opened]]).astype(int)
        values = np.concatenate([spent[mine, t], [h for _, h in opened]])
        rows.add(
            cols, values, outage.crew_hours,
            _says(lambda x, o: f"{o.name}: {x:.0f} h short of crew ({o.crew_hours:.0f} h are there).", outage),
        )  # fmt: skip


def _shells(
    layout: Layout, stock: dict[tuple[str, str], Family], columns, shells: FloatArray, rows: _Rows, n: int
) -> int:  # fmt: skip
    """Cumulative shells of every half and bore; unbored ones are given to a bore and stay given."""
    inputs = layout.inputs
    for family in stock.values():
        fits = [
            i
            for i, b in enumerate(inputs.bearings)
            if b.shell_type == family.shell_type and family.half in b.halves
        ]
        users = np.flatnonzero(np.isin(columns[:, 0], fits) & shells.any(axis=1))
        if not len(users):
            continue
        tolerance = inputs.settings.bore_tolerance_um
        pool = np.array([family.pool_of(inputs.bearings[columns[j, 0]], tolerance) for j in users])
        used = np.cumsum(shells[users], axis=1)
        net = used - shells[users] @ family.returns
        before = dict.fromkeys(range(len(family.bored)), -1)
        order = np.argsort(inputs.starts, kind="stable")
        for t in order:
            given = []
            for k, bored in enumerate(family.bored):
                mine = users[pool == k]
                if not len(mine) or np.isinf(bored.total[t]):
                    continue
                rows.add(np.append(mine, n), np.append(used[pool == k, t], -1.0), bored.total[t])
                if before[k] >= 0:
                    rows.add(np.array([before[k], n]), np.array([1.0, -1.0]), 0.0)
                before[k] = n
                given.append(n)
                n += 1
            if np.isinf(family.plain.total[t]):
                continue
            # A shell that comes back relined is to be bored again, whichever bore it had.
            values = np.where(pool < 0, net[:, t], net[:, t] - used[:, t])
            name, when, top = family.name, inputs.outages[t].name, family.plain.total[t]
            rows.add(
                np.concatenate([users, given]).astype(int), np.concatenate([values, np.ones(len(given))]), top,
                _says(lambda x, name, when: f"{when}: {x:.0f} shell(s) {name} short.", name, when),
            )  # fmt: skip
    return n


def solve(inputs: Inputs, *, gap: float = GAP, nodes: int = NODES, guard_s: float = 600.0) -> Solution:
    """The plan of least expected cost; the same inputs give the same answer unless the guard stops it."""
    model = build(lay_out(inputs))
    limits = LinearConstraint(model.matrix().tocsc(), -np.inf, model.rows.top) if model.rows.top else ()
    options = {"mip_rel_gap": gap, "node_limit": nodes, "time_limit": guard_s}
    result = milp(
        model.cost, integrality=model.whole, bounds=Bounds(model.low, model.high), constraints=limits,
        options=options,
    )  # fmt: skip
    if result.x is None:
        raise NoPlan(_what_is_short(model))
    chosen = [model.jobs[j] for j in np.flatnonzero(result.x[: len(model.jobs)] > 0.5)]
    bound = result.mip_dual_bound if result.mip_dual_bound is not None else result.fun
    stopped = {0: "gap", 1: "nodes"}.get(result.status, "gap")
    if result.status == 1 and "ime" in result.message:
        stopped = "time"
    named = tuple(
        sorted(Job(inputs.bearings[i].name, ACTIONS[a], inputs.outages[t].name) for i, a, t in chosen)
    )
    return Solution(named, float(result.fun), float(bound), int(result.mip_node_count or 0), stopped)


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
        options={"mip_rel_gap": 0.01, "node_limit": NODES},
    )
    if result.x is None:
        return ["No plan was found within the node limit, and nothing that must happen is short: raise it."]
    lack = result.x[n:]
    sentences = [say for say in model.rows.short if say is not None]
    return [say(missing) for say, missing in zip(sentences, lack, strict=True) if missing > FIT]
