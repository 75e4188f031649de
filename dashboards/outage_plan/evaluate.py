"""What a plan does, without solving anything: risk, hours, spares, what does not fit and why."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from .inputs import ACTIONS, LEAVE, OPEN, REPLACE, SCRAPE, Inputs, Job
from .layout import Layout, at_days, lay_out
from .model import fixed_jobs, twin_pairs
from .stock import Family, MonthOfSpares, Taken, by_month, families, hand_out

ENOUGH = 1e-6


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
class NotFitting:
    """A bearing above the accepted risk: how far, why, and what would make it fit."""

    bearing: str
    chance: float
    by: str
    cause: str  # already, no_outage, refused, pinned, no_shell, no_hours, twin, dearer
    reason: str
    remedy: str


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


@dataclass(frozen=True)
class Laid:
    """A plan as arrays beside its layout: action (-1 leave) and outage of each bearing."""

    layout: Layout
    action: np.ndarray
    outage: np.ndarray
    opened: np.ndarray  # (P, T)
    used: np.ndarray  # (T,)
    kept: np.ndarray  # (B,) the outage a new shell is kept for after an opening, or -1
    kept_open: np.ndarray  # (P, T) pumps opened only for what is kept
    expected: np.ndarray  # (T,) hours kept


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
    missing = _not_fitting(at, stock, taken, before, np.flatnonzero(above))
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


def as_arrays(plan: tuple[Job, ...], layout: Layout) -> Laid:
    inputs = layout.inputs
    n_b, n_t = layout.chance.shape
    action, outage = np.full(n_b, -1), np.full(n_b, -1)
    opened = np.zeros((len(inputs.pumps), n_t), bool)
    used, expected, kept = np.zeros(n_t), np.zeros(n_t), np.full(n_b, -1)
    kept_open = np.zeros_like(opened)
    for job in plan:
        if job.action == LEAVE:
            continue
        i, t = inputs.bearing_at[job.bearing], inputs.outage_at[job.outage]
        if action[i] >= 0:
            raise ValueError(f"{job.bearing} has two jobs: a plan holds one job per bearing.")
        action[i], outage[i] = ACTIONS.index(job.action), t
        opened[layout.pump[i], t] = True
        used[t] += layout.hours[job.action][i]
        if job.action != REPLACE:
            kept[i] = layout.kept[i, t]
    for i in map(int, np.flatnonzero(kept >= 0)):
        expected[kept[i]] += layout.hours[REPLACE][i]
        kept_open[layout.pump[i], kept[i]] = True
    kept_open &= ~opened
    used += layout.open_hours @ opened
    expected += layout.open_hours @ kept_open
    return Laid(layout, action, outage, opened, used, kept, kept_open, expected)


def _cost(at: Laid) -> float:
    layout = at.layout
    total = layout.leave_cost.copy()
    for a, action in enumerate(ACTIONS):
        mine = np.flatnonzero(at.action == a)
        total[mine] = layout.cost[action][mine, at.outage[mine]]
    hours = float((layout.open_hours @ (at.opened | at.kept_open)).sum())
    return float(total.sum()) + layout.inputs.settings.hour_cost * hours


def chances(at: Laid) -> np.ndarray:
    """(B, T + 1) chance of passing by each outage and by the end with the plan carried out."""
    layout, inputs = at.layout, at.layout.inputs
    chance = np.column_stack([layout.chance, layout.chance_end])
    when = np.append(inputs.starts, inputs.end_day)
    mine = np.flatnonzero(at.action == ACTIONS.index(REPLACE))
    if len(mine):
        new = np.nan_to_num(np.array([inputs.bearings[i].chance_new for i in mine]))
        start = inputs.starts[at.outage[mine]][:, None]
        fresh = at_days(np.asarray(inputs.days, float), new, when - start)
        passed = layout.chance[mine, at.outage[mine]][:, None]
        chance[mine] = np.where(when > start, passed + (1 - passed) * fresh, chance[mine])
    for i in np.flatnonzero((at.action >= 0) & (at.action != ACTIONS.index(REPLACE))):
        opening = inputs.bearings[i].opening
        if opening is not None:
            low = layout.chance[i, at.outage[i]]
            last = max(opening.chance[at.outage[i]], low)
            after = when > inputs.starts[at.outage[i]]
            chance[i, after] = np.minimum(chance[i, after], last)
    return chance


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
                b.name, b.pump, inputs.outages[t].name, action, float(hours),
                b.shell_type if action == REPLACE else "", ", ".join(found), float(layout.chance[i, t]),
                float(layout.chance_after[i, t]), _why(at, int(i), b.name in fixed),
            )
        )  # fmt: skip
    return tuple(lines)


def in_ten(p: float) -> str:
    """A chance as something to count."""
    if p > 0.95:
        return "over 19 in 20"
    if p >= 0.095:
        return f"{round(10 * p)} in 10"
    return f"{round(100 * p)} in 100" if p >= 0.005 else "less than 1 in 100"


def _why(at: Laid, i: int, pinned: bool) -> str:
    layout, inputs = at.layout, at.layout.inputs
    b, t, action = inputs.bearings[i], at.outage[i], ACTIONS[at.action[i]]
    if pinned:
        return "pinned by the planner"
    if action == SCRAPE:
        return "a scrape is owed: the last contact check stands open"
    if action == OPEN and b.opening is not None:
        return f"thin evidence: a reading would change the decision {in_ten(b.opening.changes[t])} times"
    now, later = layout.chance[i, t], layout.chance_after[i, t]
    if now > inputs.settings.accepted_risk:
        return f"{in_ten(now)} have passed the maximum by then, above the accepted risk"
    if later > inputs.settings.accepted_risk:
        return f"the last outage before {in_ten(later)} would pass the maximum"
    return f"cheapest here: {in_ten(later)} would pass the maximum before the outage after"


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
                outage.name, outage.crew_hours, float(at.used[t]), float(at.expected[t]), by,
                int(np.sum((at.outage == t) & (at.action >= 0))),
            )
        )  # fmt: skip
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


def _not_fitting(
    at: Laid, stock: dict, taken: list[Taken], before: np.ndarray, rows: np.ndarray
) -> tuple[NotFitting, ...]:
    """Why each bearing above the accepted risk is there, from what its best outage in time lacks."""
    room = Room(at, stock, taken)
    missing = [_one_not_fitting(at, room, float(before[i]), int(i)) for i in rows]
    return tuple(sorted(missing, key=lambda m: -m.chance))


def _one_not_fitting(at: Laid, room: Room, p: float, i: int) -> NotFitting:
    layout, inputs = at.layout, at.layout.inputs
    b, risk = inputs.bearings[i], inputs.settings.accepted_risk
    by = inputs.outages[at.outage[i]].name if at.action[i] >= 0 else "the end of the plan"

    def lacking(cause: str, reason: str, remedy: str) -> NotFitting:
        return NotFitting(b.name, p, by, cause, reason, remedy)

    in_time = np.flatnonzero((layout.chance[i] <= risk) & layout.eligible[i])
    if not len(in_time):
        first = np.flatnonzero(layout.eligible[i])
        if not len(first):
            return lacking(
                "no_outage", f"no outage of the plan takes {b.pump}", f"put {b.pump} into an outage"
            )
        name, p0 = inputs.outages[first[0]].name, layout.chance[i, first[0]]
        return lacking(
            "already", f"{in_ten(p0)} have passed before {name}, its first outage",
            f"open {b.pump} before {name}, or record a deferral with checks until then",
        )  # fmt: skip
    fixed = {job.bearing for job in fixed_jobs(inputs)}
    if b.name in fixed:
        return lacking("pinned", "its job is pinned or frozen", "take the pin back, or record the deferral")
    offered = [t for t in in_time if layout.offered[REPLACE][i, t]]
    if not offered:
        return lacking("refused", "every job in time is refused or frozen", "take a refusal back")
    found = [room.lack(i, int(t)) for t in reversed(offered)]
    causes = [f for f in found if f is not None]
    if len(causes) < len(found):
        return lacking("dearer", "it would fit, but costs more than the stated penalty", "pin it to force it")
    return lacking(*min(causes, key=lambda c: c[0] != "no_hours"))


class Room:
    """What is left in each outage beside the plan; answers are kept, for many bearings ask the same."""

    def __init__(self, at: Laid, stock: dict[tuple[str, str], Family], taken: list[Taken]) -> None:
        self.at, self.stock = at, stock
        inputs = at.layout.inputs
        self.twins: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for p, t, q, s in twin_pairs(inputs):
            self.twins.setdefault((p, t), []).append((q, s))
            self.twins.setdefault((q, s), []).append((p, t))
        self.wanted: dict[str, list[tuple[int, int]]] = {}
        self.short: dict[str, int] = {}
        for x in taken:
            self.wanted.setdefault(x.family, []).append((inputs.bearing_at[x.bearing], x.outage))
            self.short[x.family] = self.short.get(x.family, 0) + (x.source == "short")
        self.known: dict[tuple, bool] = {}

    def lack(self, i: int, t: int, action: str = REPLACE) -> tuple[str, str, str] | None:
        """(cause, reason, remedy) that keeps a job, as a rule a new shell, out of one outage; None where it fits."""
        at, layout, inputs = self.at, self.at.layout, self.at.layout.inputs
        b, p, outage = inputs.bearings[i], layout.pump[i], inputs.outages[t]
        for q, s in self.twins.get((int(p), t), ()):
            if at.opened[q, s] or at.kept_open[q, s]:
                twin = inputs.pumps[q].name
                return "twin", f"its twin {twin} is open in {outage.name}", f"move {twin} to another outage"
        for half in b.halves if b.shell_type and action == REPLACE else ():
            if self._no_shell(i, t, half):
                name, by = f"{b.shell_type} {half}", outage.start_on.isoformat()
                return (
                    "no_shell", f"no shell {name} in time for {outage.name}", f"one shell {name} by {by}"
                )  # fmt: skip
        need = self.needs(i, t, action)
        gone = layout.hours[ACTIONS[at.action[i]]][i] if at.outage[i] == t and at.action[i] >= 0 else 0.0
        free = outage.crew_hours - at.used[t] - at.expected[t] + gone
        if need > free + ENOUGH:
            more = f"{need - free:.0f} more crew hours in {outage.name}"
            return "no_hours", f"{outage.name} has {max(free, 0):.0f} of the {need:.0f} h it needs", more
        return None

    def needs(self, i: int, t: int, action: str) -> float:
        """Crew hours of one more job in an outage, with the pump's opening where nothing else opens it."""
        p, layout = self.at.layout.pump[i], self.at.layout
        opening = 0.0 if self.at.opened[p, t] or self.at.kept_open[p, t] else layout.open_hours[p]
        return float(layout.hours[action][i] + opening)

    def _no_shell(self, i: int, t: int, half: str) -> bool:
        """Whether one more shell out in outage t would leave this or a later outage without."""
        inputs = self.at.layout.inputs
        b = inputs.bearings[i]
        family = self.stock[b.shell_type, half]
        mine = self.wanted.get(family.name, [])
        has = next((s for k, s in mine if k == i), -1)
        key = (family.name, family.pool_of(b, inputs.settings.bore_tolerance_um), t, has)
        if key not in self.known:
            wanted = [w for w in mine if w[0] != i] + [(i, t)]
            again = hand_out(inputs, {(b.shell_type, half): family}, wanted)
            self.known[key] = sum(x.source == "short" for x in again) > self.short.get(family.name, 0)
        return self.known[key]
