"""What a plan does, without solving anything: risk, hours, spares, what does not fit and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from dashboards.outage_plan.bearing_jobs.above import NotFitting, not_fitting
from dashboards.outage_plan.bearing_jobs.inputs import ACTIONS, OPEN, REPLACE, SCRAPE, Inputs, Job
from dashboards.outage_plan.bearing_jobs.laid import ENOUGH, Laid, as_arrays, chances
from dashboards.outage_plan.bearing_jobs.layout import lay_out
from dashboards.outage_plan.bearing_jobs.model import twin_pairs
from dashboards.outage_plan.bearing_jobs.stock import MonthOfSpares, Taken, by_month, families, hand_out
from fleet.formatting import chance


@dataclass(frozen=True)
class PlannedJob:
    """One line of the plan; a pump's opening is shared out among its bearings of that outage."""

    bearing: str
    pump: str
    outage: str
    action: str
    crew_hours: float
    shell_type: str
    shell_from: str
    p_max_before_work: float
    p_max_if_deferred: float
    reason: str


@dataclass(frozen=True)
class Load:
    """One outage's crew hours; `expected_hours` are kept for new shells that earlier openings may call for."""

    outage: str
    crew_hours: float
    used_hours: float
    expected_hours: float
    by_action: dict[str, float]
    n_jobs: int

    @property
    def over_hours(self) -> float:
        """Hours planned beyond those that are there."""
        return max(self.used_hours - self.crew_hours, 0.0)


@dataclass(frozen=True)
class Evaluation:
    """A plan's consequences. `chance` (B, T + 1) of passing by each outage and the end, under the plan."""

    jobs: tuple[PlannedJob, ...]
    cost: float
    expected_passings: float
    n_above_accepted: int
    chance: np.ndarray = field(compare=False)
    loads: tuple[Load, ...]
    months: tuple[MonthOfSpares, ...]
    shells: tuple[Taken, ...]
    not_fitting: tuple[NotFitting, ...]
    faults: tuple[str, ...]
    marked: tuple[str, ...]


def evaluate(plan: tuple[Job, ...], inputs: Inputs) -> Evaluation:
    """Everything the page says of a plan; cheap enough to answer while a job is being moved."""
    layout = lay_out(inputs)
    stock = families(inputs)
    at = as_arrays(plan, layout)
    news = [(int(i), int(at.outage[i])) for i in np.flatnonzero(at.action == ACTIONS.index(REPLACE))]
    news += [(int(i), int(at.kept[i])) for i in np.flatnonzero(at.kept >= 0)]
    taken = hand_out(inputs, stock, news)
    chance = chances(at)
    before = _chance_before_work(at)
    above = before > inputs.settings.accepted_risk + ENOUGH
    missing = not_fitting(at, stock, taken, before, np.flatnonzero(above))
    return Evaluation(
        jobs=_lines(at, taken),
        cost=_cost(at),
        expected_passings=float(chance[:, -1].sum()),
        n_above_accepted=int(above.sum()),
        chance=chance,
        loads=_loads(at),
        months=tuple(by_month(inputs, stock, taken)),
        shells=tuple(taken),
        not_fitting=missing,
        faults=tuple(_faults(at, taken)),
        marked=tuple(_marked(plan, inputs)),
    )


def _cost(at: Laid) -> float:
    layout = at.layout
    total = layout.leave_cost.copy()
    for a, action in enumerate(ACTIONS):
        mine = np.flatnonzero(at.action == a)
        total[mine] = layout.cost[action][mine, at.outage[mine]]
    hours = float(layout.open_hours @ (at.opened | at.kept_open) @ layout.open_dearer)
    return float(total.sum()) + layout.inputs.settings.hour_cost * hours


def _chance_before_work(at: Laid) -> np.ndarray:
    """(B,) what the accepted risk bounds: the chance by the work's outage, or by the end if left."""
    rows = np.arange(len(at.action))
    if not at.layout.chance.shape[1]:
        return at.layout.chance_end
    return np.where(at.action < 0, at.layout.chance_end, at.layout.chance[rows, at.outage])


def _lines(at: Laid, taken: list[Taken]) -> tuple[PlannedJob, ...]:
    layout, inputs = at.layout, at.layout.inputs
    fixed = {job.bearing for job in inputs.pinned}
    source: dict[str, list[Taken]] = {}
    for t in taken:
        source.setdefault(t.bearing, []).append(t)
    lines = []
    for i in sorted(np.flatnonzero(at.action >= 0), key=lambda i: (inputs.starts[at.outage[i]], i)):
        b, t, action = inputs.bearings[i], at.outage[i], ACTIONS[at.action[i]]
        sharing = np.sum((layout.pump == layout.pump[i]) & (at.outage == t) & (at.action >= 0))
        hours = layout.hours[action][i] + layout.open_hours[layout.pump[i]] / sharing
        found = sorted({x.source for x in source.get(b.name, [])})
        lines.append(
            PlannedJob(
                b.name,
                b.pump,
                inputs.outages[t].name,
                action,
                float(hours),
                b.shell_type if action == REPLACE else "",
                ", ".join(found),
                float(layout.chance[i, t]),
                float(layout.chance_after[i, t]),
                _why(at, int(i), b.name in fixed),
            )
        )
    return tuple(lines)


def _why(at: Laid, i: int, pinned: bool) -> str:
    layout, inputs = at.layout, at.layout.inputs
    b, t, action = inputs.bearings[i], at.outage[i], ACTIONS[at.action[i]]
    if pinned:
        return "pinned by the planner"
    look = b.looks.get(inputs.outages[t].name)
    if look and look.words and action != SCRAPE:
        return look.words
    if action == SCRAPE:
        return "a scrape is owed: the last contact check stands open"
    if action == OPEN and b.opening is not None:
        return f"open and look: a reading would change the decision {chance(b.opening.changes[t])} times"
    now, later = layout.chance[i, t], layout.chance_after[i, t]
    if now > inputs.settings.accepted_risk:
        return f"{chance(now)} have passed the maximum by then, above the accepted risk"
    if later > inputs.settings.accepted_risk:
        return f"the last outage before {chance(later)} would pass the maximum"
    return f"cheapest here: {chance(later)} would pass the maximum before the outage after"


def _loads(at: Laid) -> tuple[Load, ...]:
    layout, inputs = at.layout, at.layout.inputs
    loads = []
    for t, outage in enumerate(inputs.outages):
        by = {
            a: float(layout.hours[a][(at.action == k) & (at.outage == t)].sum())
            for k, a in enumerate(ACTIONS)
        }
        by["opening"] = float(layout.open_hours @ at.opened[:, t])
        loads.append(
            Load(
                outage.name,
                outage.crew_hours,
                float(at.used[t]),
                float(at.expected[t]),
                by,
                int(np.sum((at.outage == t) & (at.action >= 0))),
            )
        )
    return tuple(loads)


def _faults(at: Laid, taken: list[Taken]) -> Iterator[str]:
    """What the plan breaks, in sentences."""
    layout, inputs = at.layout, at.layout.inputs
    for t, outage in enumerate(inputs.outages):
        over = at.used[t] + at.expected[t] - outage.crew_hours
        if over > ENOUGH:
            yield (
                f"{outage.name}: {at.used[t]:.0f} h planned"
                + (
                    f" and {at.expected[t]:.0f} h kept for what openings find"
                    if at.expected[t] >= 0.5
                    else ""
                )
                + f" of {outage.crew_hours:.0f} crew hours: {over:.0f} h too many."
            )
    for p, t, q, s in twin_pairs(inputs):
        both = at.opened | at.kept_open
        if both[p, t] and both[q, s]:
            a, b = inputs.pumps[p].name, inputs.pumps[q].name
            yield f"{inputs.outages[t].name}: {a} and its twin {b} would both be open; one must run."
    for x in taken:
        if x.source == "short":
            where = inputs.outages[x.outage].name
            yield f"{where}: no shell {x.family} for {x.bearing}, neither there nor to be had in time."
    for i in np.flatnonzero(at.action >= 0):
        if not layout.eligible[i, at.outage[i]]:
            bearing, out = inputs.bearings[i], inputs.outages[at.outage[i]]
            why = "is skipped" if out.skipped else f"does not include {bearing.pump}"
            yield f"{bearing.name}: {out.name} {why}."


def _marked(plan: tuple[Job, ...], inputs: Inputs) -> Iterator[str]:
    """Changes to an outage whose scope is frozen: marked, not undone."""
    if inputs.accepted is None:
        return
    was, now = set(inputs.accepted), set(plan)
    for t, outage in enumerate(inputs.outages):
        if not inputs.frozen(t):
            continue
        for job in sorted(x for x in now - was if x.outage == outage.name):
            yield f"{outage.name}: {job.action} {job.bearing} came in after the freeze day."
        for job in sorted(x for x in was - now if x.outage == outage.name):
            yield f"{outage.name}: {job.action} {job.bearing} was taken out after the freeze day."
