"""The plan as an integer programme: at most one job per bearing, least expected cost, within what is there."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array

from dashboards.outage_plan.bearing_jobs.inputs import (
    ACTIONS,
    LEAVE,
    REPLACE,
    FloatArray,
    Inputs,
    Job,
    refuses,
)
from dashboards.outage_plan.bearing_jobs.layout import Layout
from dashboards.outage_plan.bearing_jobs.stock import Family, families


def _says(sentence: Callable[..., str], *facts: object) -> Callable[[float], str]:
    """A row's sentence with its facts as they are now; what is short comes later."""
    return lambda missing: sentence(missing, *facts)


class NoPlan(ValueError):
    """What must happen does not fit; `shortages` says in sentences what is short and by how much."""

    def __init__(self, shortages: list[str]) -> None:
        self.shortages = shortages
        super().__init__(" ".join(shortages))


KEPT = len(ACTIONS)  # a new shell and its hours kept for what an opening may find


@dataclass
class _Rows:
    """Constraint rows as they are gathered; each has a sentence for the case that it cannot be kept."""

    row: list[int] = field(default_factory=list)
    col: list[int] = field(default_factory=list)
    value: list[float] = field(default_factory=list)
    top: list[float] = field(default_factory=list)
    short: list[Callable[[float], str] | None] = field(default_factory=list)
    link: list[bool] = field(default_factory=list)  # only says that a job needs its pump opened
    crew: list[bool] = field(default_factory=list)  # an outage's hours

    def add(
        self,
        cols: NDArray[np.int64],
        values: FloatArray | float,
        top: float,
        short: Callable[[float], str] | None = None,
        *,
        link: bool = False,
        crew: bool = False,
    ) -> None:
        cols = np.atleast_1d(cols)
        self.row += [len(self.top)] * len(cols)
        self.col += cols.tolist()
        self.value += np.broadcast_to(values, cols.shape).tolist()
        self.top.append(top)
        self.short.append(short)
        self.link.append(link)
        self.crew.append(crew)


@dataclass(frozen=True)
class Model:
    """The programme: n jobs, then openings of pumps, then unbored shells given to a bore, then a constant.

    Among the jobs are the new shells kept for what an opening may find: action `KEPT`, at no cost of its own.
    """

    layout: Layout
    jobs: tuple[tuple[int, int, int], ...]  # (bearing, action, outage)
    openings: dict[tuple[int, int], int]  # (pump, outage) -> column
    cost: FloatArray
    low: FloatArray
    high: FloatArray
    whole: FloatArray
    rows: _Rows
    own_hours: FloatArray  # (n,) of each job in its outage, without the opening

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
    jobs = _with_kept(layout, candidates(layout, fixed))
    at = {job: j for j, job in enumerate(jobs)}
    keys = sorted({(int(layout.pump[i]), t) for i, _, t in jobs})
    openings = {key: len(jobs) + k for k, key in enumerate(keys)}
    rows = _Rows()
    own_hours = np.array([layout.hours[REPLACE if a == KEPT else ACTIONS[a]][i] for i, a, _ in jobs])
    columns = np.array(jobs, dtype=int).reshape(-1, 3)
    _one_job_each(layout, columns, at, openings, rows)
    _twins(layout, openings, rows)
    _crew(layout, columns[:, 2], openings, own_hours, rows)
    cost = [0.0 if a == KEPT else layout.cost[ACTIONS[a]][i, t] - layout.leave_cost[i] for i, a, t in jobs]
    cost += [inputs.settings.hour_cost * layout.open_hours[p] * layout.open_dearer[t] for p, t in keys]
    n = _shells(layout, stock if stock is not None else families(inputs), columns, rows, len(cost))
    low, high, whole, full = np.zeros(n + 1), np.ones(n + 1), np.zeros(n + 1), np.zeros(n + 1)
    high[len(cost) : n] = np.inf
    whole[: len(cost)] = 1.0
    for job in fixed:
        if job.action != LEAVE:
            key = (inputs.bearing_at[job.bearing], ACTIONS.index(job.action), inputs.outage_at[job.outage])
            low[at[key]] = 1.0
    low[n] = 1.0  # a constant, so that the gap is a share of the whole expected cost
    full[: len(cost)] = cost
    full[n] = layout.leave_cost.sum()
    return Model(layout, tuple(jobs), openings, full, low, high, whole, rows, own_hours)


def _with_kept(layout: Layout, jobs: list[tuple[int, int, int]]) -> list[tuple[int, int, int]]:
    looking = [(i, t) for i, a, t in jobs if ACTIONS[a] != REPLACE]
    return sorted({*jobs, *((i, KEPT, int(layout.kept[i, t])) for i, t in looking if layout.kept[i, t] >= 0)})


def _one_job_each(
    layout: Layout,
    columns: NDArray[np.int64],
    at: dict[tuple[int, int, int], int],
    openings: dict[tuple[int, int], int],
    rows: _Rows,
) -> None:
    """At most one job per bearing, within an opening of its pump, and what an opening keeps is kept."""
    bearing, action, outage = columns.T
    for i in np.unique(bearing):
        mine = np.flatnonzero(bearing == i)
        rows.add(mine[action[mine] != KEPT], 1.0, 1.0)
        for t in np.unique(outage[mine]):
            # A shell kept for this outage and a job of the same bearing in it never go together.
            here = mine[outage[mine] == t]
            opening = openings[int(layout.pump[i]), int(t)]
            rows.add(np.append(here, opening), np.append(np.ones(len(here)), -1.0), 0.0, link=True)
            looking = [
                j for j in mine if action[j] < ACTIONS.index(REPLACE) and layout.kept[i, outage[j]] == t
            ]
            if looking:
                kept = at[int(i), KEPT, int(t)]
                rows.add(np.array([*looking, kept]), np.append(np.ones(len(looking)), -1.0), 0.0)


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
                np.array([openings[p, t], openings[q, s]]),
                1.0,
                1.0,
                _says(
                    lambda _, a, b, name: f"{name}: {a} and its twin {b} are both pinned; one must run.",
                    a,
                    b,
                    name,
                ),
            )


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


def _crew(
    layout: Layout,
    outage: NDArray[np.int64],
    openings: dict[tuple[int, int], int],
    own_hours: FloatArray,
    rows: _Rows,
) -> None:
    for t, one in enumerate(layout.inputs.outages):
        mine = np.flatnonzero(outage == t)
        opened = [(col, layout.open_hours[p]) for (p, s), col in openings.items() if s == t]
        cols = np.concatenate([mine, [c for c, _ in opened]]).astype(int)
        values = np.concatenate([own_hours[mine], [h for _, h in opened]])
        rows.add(
            cols,
            values,
            one.crew_hours,
            _says(lambda x, o: f"{o.name}: {x:.0f} h short of crew ({o.crew_hours:.0f} h are there).", one),
            crew=True,
        )


def _counted(inputs: Inputs, stock: dict[tuple[str, str], Family]) -> list[tuple[Family, str, list[int]]]:
    """The families to count, the halves each stands for, and the bearings they fit."""
    found: list[tuple[Family, str, list[int]]] = []
    for family in stock.values():
        fits = [
            i
            for i, b in enumerate(inputs.bearings)
            if b.shell_type == family.shell_type and family.half in b.halves
        ]
        same = [k for k, (one, _, others) in enumerate(found) if family.same_stock(one) and fits == others]
        if same:
            one, halves, _ = found[same[0]]
            found[same[0]] = (one, f"{halves} and {family.half}", fits)
        else:
            found.append((family, family.half, fits))
    return found


def _shells(
    layout: Layout,
    stock: dict[tuple[str, str], Family],
    columns: NDArray[np.int64],
    rows: _Rows,
    n: int,
) -> int:
    """Cumulative shells of every half and bore; unbored ones are given to a bore and stay given."""
    inputs = layout.inputs
    takes = columns[:, 1] >= ACTIONS.index(REPLACE)  # a new shell, or one that is kept
    shells = np.zeros((len(columns), len(inputs.outages)))
    shells[np.flatnonzero(takes), columns[takes, 2]] = 1.0
    for family, halves, fits in _counted(inputs, stock):
        users = np.flatnonzero(np.isin(columns[:, 0], fits) & takes)
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
            name, when, top = f"{family.shell_type} {halves}", inputs.outages[t].name, family.plain.total[t]
            rows.add(
                np.concatenate([users, given]).astype(int),
                np.concatenate([values, np.ones(len(given))]),
                top,
                _says(lambda x, name, when: f"{when}: {x:.0f} shell(s) {name} short.", name, when),
            )
    return n
