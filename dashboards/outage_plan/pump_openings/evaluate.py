"""What a plan does, without solving anything: lines with their triggers, hours, shells, risk, what does not
fit and why.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dashboards.outage_plan.pump_openings.above import NotFitting, not_fitting
from dashboards.outage_plan.pump_openings.coefficients import Coefficients, coefficients, column_at, pins
from dashboards.outage_plan.pump_openings.inputs import LEAVE, OPEN, Bearing, Inputs, Job
from dashboards.outage_plan.pump_openings.outcomes import FEW, Spread, job_hours, shells_within
from dashboards.outage_plan.pump_openings.room import ENOUGH, Room
from dashboards.outage_plan.pump_openings.stock import MonthOfSpares, Taken, by_month
from inspections.forecasts.judgement.judgement_figures import ALWAYS, Column, Word
from inspections.forecasts.judgement.judgement_sentence import (
    EXPECTED,
    Standing,
    opening_at,
    sentence,
    standing_of,
)
from inspections.wear.arrays import FloatArray

NAMED = 0.05  # a further opening less likely than 1 in 20 gets no line of its own


@dataclass(frozen=True)
class PlannedJob:
    """One line of the plan: a bearing looked at when its pump is open; a pump's opening is shared out among
    its lines.

    ``crew_hours`` expected, this bearing's share; ``crew_hours_p90``, ``crew_hours_most``, ``shells_p90`` of
    the whole pump; ``trigger_is`` as in a judged column; ``p_trigger`` chance that it will be met;
    ``waiting_h`` what the place costs more than the wanted one; ``standing`` what its sentence is made of.
    """

    bearing: str
    pump: str
    outage: str
    action: str
    crew_hours: float
    crew_hours_p90: float
    crew_hours_most: float
    shell_type: str
    shells_p90: int
    shell_from: str
    p_max_before_work: float
    p_max_if_deferred: float
    trigger_is: str
    trigger_um: float | None
    scrape_from_um: float | None
    p_trigger: float | None
    waiting_h: float
    stop_h: float
    standing: Standing

    @property
    def reason(self) -> str:
        """Why, in one sentence, lengths in um."""
        return self.reason_in("um")

    def reason_in(self, unit: str) -> str:
        """The same with its lengths in a unit, such as that of the machine's own book."""
        text = sentence(replace(self.standing, unit=unit))
        return f"{text} Outside an outage: the stop costs about {self.stop_h:.0f} h." if self.stop_h else text

    @property
    def replacement_expected(self) -> bool:
        """Whether more than 9 in 10 readings ask for a new shell."""
        return self.trigger_is == ALWAYS or (self.p_trigger or 0.0) > EXPECTED


@dataclass(frozen=True)
class Again:
    """A further opening to be expected of a pump at one outage, after the plan opened it at an earlier one.

    ``chance`` that it is opened there once more; ``hours`` the crew hours of it times that chance.
    """

    pump: str
    first: str
    at: str
    chance: float
    hours: float


@dataclass(frozen=True)
class Load:
    """One outage's crew hours: expected, and kept beside them so that 9 in 10 outages keep within; new shells
    likewise.
    """

    outage: str
    crew_hours: float
    used_hours: float
    expected_hours: float
    n_jobs: int
    new_shells: float = 0.0
    shells_p90: int = 0
    again: tuple[Again, ...] = ()

    @property
    def again_hours(self) -> float:
        """Hours of further openings that are to be expected by then."""
        return sum(one.hours for one in self.again)

    @property
    def likely_again(self) -> list[Again]:
        """Those worth a line of their own, the likeliest first."""
        return sorted((one for one in self.again if one.chance >= NAMED), key=lambda one: -one.chance)

    @property
    def within_hours(self) -> float:
        """Hours that are enough in 9 of 10 such outages."""
        return self.used_hours + self.expected_hours

    @property
    def over_hours(self) -> float:
        """Hours planned beyond those that are there."""
        return max(self.used_hours - self.crew_hours, 0.0)


@dataclass(frozen=True)
class Evaluation:
    """A plan's consequences. ``chance`` (B, T + 1) of having passed by each outage and after the horizon, if
    not opened.

    ``expected_passings`` before the pumps are opened, or after the horizon where they are not.
    """

    jobs: tuple[PlannedJob, ...]
    cost: float
    expected_passings: float
    n_above_accepted: int
    chance: FloatArray = field(compare=False)
    loads: tuple[Load, ...]
    months: tuple[MonthOfSpares, ...]
    shells: tuple[Taken, ...]
    not_fitting: tuple[NotFitting, ...]
    faults: tuple[str, ...]
    marked: tuple[str, ...]
    decide_now: tuple[tuple[str, str], ...] = ()  # bearing and sentence: run on or open
    opened: tuple[tuple[str, str], ...] = ()  # the same of what would stand there were its pump not open


def evaluate(jobs: tuple[Job, ...], inputs: Inputs, done: frozenset[str] = frozenset()) -> Evaluation:
    """Everything the page says of a plan; cheap enough to answer while a job is being moved.

    ``done``: bearings looked at since the inputs were gathered. What was told of them there holds no longer,
    so they count neither among the passings nor above the risk.
    """
    c = coefficients(inputs)
    room = Room(c, tuple(job for job in jobs if job.action != LEAVE))
    place, again = _places(room), list(_again(room))
    rows = np.arange(len(inputs.bearings))
    before = np.nan_to_num(c.past[rows, place]) if len(rows) else np.zeros(0)
    before[[i for i, b in enumerate(inputs.bearings) if b.name in done]] = 0.0
    # Nothing is put off by what is opened while its outage runs, however likely it has passed.
    begun = np.array([one.start_on <= inputs.as_of for one in inputs.outages] + [False], dtype=bool)
    above = (before > np.nan_to_num(c.risk, nan=1.0) + ENOUGH) & ~begun[place]
    return Evaluation(
        jobs=tuple(_lines(room)),
        cost=_cost(c, room),
        expected_passings=float(before.sum()),
        n_above_accepted=int(above.sum()),
        chance=np.nan_to_num(c.past),
        loads=tuple(_load(room, t, again) for t in range(len(inputs.outages))),
        months=tuple(by_month(inputs, room.stock, room.taken)),
        shells=tuple(room.taken),
        not_fitting=not_fitting(room, place, before, np.flatnonzero(above)),
        faults=tuple(_faults(room)),
        marked=tuple(_marked(jobs, inputs)),
        decide_now=tuple(_decide_now(inputs, is_open=False)),
        opened=tuple(_decide_now(inputs, is_open=True)),
    )


def _places(room: Room) -> np.ndarray:
    """(B,) the column at which each bearing is first looked at; T where not within the plan."""
    t = len(room.inputs.outages)
    place = np.full(len(room.inputs.bearings), t)
    for (_, at), bearings in room.groups.items():
        for i in bearings:
            place[i] = min(place[i], at)
    return place


def _cost(c: Coefficients, room: Room) -> float:
    """Crew hours from now on: each pump at its first opening of the plan, else after the horizon."""
    t = len(c.inputs.outages)
    first = np.full(len(c.inputs.pumps), t)
    for pump, at in room.groups:
        first[pump] = min(first[pump], at)
    return float(c.cost[np.arange(len(first)), first].sum())


def _lines(room: Room) -> Iterator[PlannedJob]:
    """The plan's lines, in time's order, a pump's together."""
    inputs, c = room.inputs, room.c
    for (pump, t), bearings in sorted(
        room.groups.items(), key=lambda one: (inputs.starts[one[0][1]], one[0])
    ):
        hours = _job_hours(room, pump, t, bearings)
        kinds = [inputs.bearings[i].shell_type for i in bearings]
        wanted = _wanted(room, pump, t)
        for i, kind in zip(bearings, kinds, strict=True):
            alike = np.array(
                [np.nan_to_num(c.new[k, t]) for k, own in zip(bearings, kinds, strict=True) if own == kind]
            )
            need = shells_within(alike) if kind else 0
            yield _line(room, i, t, hours, need, c.open_h[pump] / len(bearings), wanted)


def _job_hours(room: Room, pump: int, t: int, bearings: tuple[int, ...]) -> Spread:
    """Every outcome of a pump's bearings: closed up, scraped, renewed."""
    return _hours_of(room, float(room.c.open_h[pump]), t, bearings)


def _hours_of(room: Room, open_h: float, t: int, bearings: Sequence[int]) -> Spread:
    """The same of bearings of several pumps, opened in so many hours together; one of which nothing can be
    judged is measured and closed.
    """
    c = room.c
    new, scraped = (np.clip(np.nan_to_num(a[list(bearings), t]), 0.0, 1.0) for a in (c.new, c.scraped))
    scraped = np.minimum(scraped, 1.0 - new)
    chance = np.column_stack([1.0 - new - scraped, scraped, new])
    work = [room.inputs.bearings[i].hours for i in bearings]
    hours = np.array([[h.measure_h, h.measure_h + h.scrape_h, h.measure_h + h.replace_h] for h in work])
    return job_hours(open_h, hours, chance)


Wanted = tuple[int, str, float | None]


def _wanted(room: Room, pump: int, t: int) -> Wanted | None:
    """The earlier column a pump wants, what it was moved for, and what the later place costs; None where it
    wants this.
    """
    c, wanted = room.c, int(room.c.wanted[pump])
    extra: float | None = float(c.cost[pump, t] - c.cost[pump, wanted])
    if wanted >= t or (extra or 0.0) <= ENOUGH:
        return None
    if any(room.inputs.bearings[i].by_rule for i in room.inputs.members[room.inputs.pumps[pump].name]):
        extra = None  # opened by rule, whatever it costs: the figure that ranks its outages is no cost
    if pins(room.inputs).get(pump) == t:
        return wanted, "a pin", extra
    if room.inputs.frozen(wanted):
        return wanted, "a frozen scope", extra
    lack = room.lack(pump, wanted)
    return wanted, lack.moved_for if lack else "the plan as a whole", extra


def _line(
    room: Room, i: int, t: int, hours: Spread, shells: int, opening_h: float, wanted: Wanted | None
) -> PlannedJob:
    inputs, c = room.inputs, room.c
    b, outage = inputs.bearings[i], inputs.outages[t]
    column = column_at(b, outage, inputs.as_of)
    source = _source(room, b.name, t)
    stop = float(c.stop_h[c.pump[i]]) if outage.between else 0.0
    action = next(
        (job.action for job in room.jobs if job.bearing == b.name and job.outage == outage.name), OPEN
    )
    return PlannedJob(
        bearing=b.name,
        pump=b.pump,
        outage=outage.name,
        action=action,
        crew_hours=float(np.nan_to_num(c.hours[i, t]) + opening_h),
        crew_hours_p90=hours.within,
        crew_hours_most=hours.most,
        shell_type=b.shell_type if room.wants_shell(i, t) else "",
        shells_p90=shells,
        shell_from=source if room.wants_shell(i, t) else "",
        p_max_before_work=float(np.nan_to_num(c.past[i, t])),
        p_max_if_deferred=float(np.nan_to_num(c.past[i, _after(inputs, t)])),
        trigger_is=column.trigger_is,
        trigger_um=column.trigger_um,
        scrape_from_um=column.scrape_from_um,
        p_trigger=column.new,
        waiting_h=(wanted[2] or 0.0) if wanted else 0.0,
        stop_h=stop,
        standing=_standing(inputs, b, column, wanted),
    )


def _standing(inputs: Inputs, b: Bearing, column: Column, wanted: Wanted | None) -> Standing:
    at = inputs.outages[wanted[0]].start_on if wanted else None
    return opening_at(
        b.judged,
        column,
        (b.last_um, b.last_on),
        wanted_on=at,
        moved_for=wanted[1] if wanted else "",
        waiting_h=wanted[2] if wanted else None,
    )


def _after(inputs: Inputs, t: int) -> int:
    """The next outage that takes place after one; T after the last."""
    later = [
        s
        for s, o in enumerate(inputs.outages)
        if not o.between and not o.skipped and inputs.starts[s] > inputs.starts[t]
    ]
    return min(later, key=lambda s: inputs.starts[s], default=len(inputs.outages))


def _source(room: Room, bearing: str, t: int) -> str:
    """Where its shell comes from; the worst of its halves."""
    order = ("short", "order", "relined", "due back", "on hand")
    mine = [x.source for x in room.taken if x.bearing == bearing and x.outage == t]
    return min(mine, key=order.index, default="")


def _again(room: Room) -> Iterator[Again]:
    """The openings that are to be expected after the plan's own, by pump."""
    c, inputs = room.c, room.inputs
    for pump, t in sorted(room.groups):
        for s in np.flatnonzero(c.reopening[pump, t]):
            chance = float(c.reopening[pump, t, s])
            yield Again(
                inputs.pumps[pump].name,
                inputs.outages[t].name,
                inputs.outages[s].name,
                chance,
                chance * float(c.again_h[pump]),
            )


def _load(room: Room, t: int, again: Sequence[Again]) -> Load:
    c, outage = room.c, room.inputs.outages[t]
    here = [i for (_, at), bearings in room.groups.items() if at == t for i in bearings]
    new = np.nan_to_num(c.new[here, t]) if here else np.zeros(0)
    used, reserve = float(room.used[t]), float(room.reserve[t])
    if 0 < len(here) < FEW:  # exact for few, as a pump's own line is
        opened = sum(float(c.open_h[pump]) for pump, at in room.groups if at == t)
        reserve = max(_hours_of(room, opened, t, here).within - used, 0.0)
    return Load(
        outage.name,
        outage.crew_hours,
        used,
        reserve,
        len(here),
        float(new.sum()),
        shells_within(new) if len(new) else 0,
        tuple(one for one in again if one.at == outage.name),
    )


def _faults(room: Room) -> Iterator[str]:
    """What the plan breaks, in sentences."""
    inputs = room.inputs
    for t, outage in enumerate(inputs.outages):
        over = room.used[t] - outage.crew_hours
        if over > ENOUGH:
            yield (
                f"{outage.name}: {over:.0f} h short; work that is planned there takes {room.used[t]:.0f} h of"
                f" {outage.crew_hours:.0f} crew hours."
            )
    for (pump, t), _ in room.groups.items():
        name, outage = inputs.pumps[pump].name, inputs.outages[t]
        twin = room.twin_there(pump, t)
        if twin and name < twin:
            yield f"{outage.name}: {name} and its twin {twin} would both be open; one must run."
        if not room.c.takes[pump, t] and pins(inputs).get(pump) != t:
            why = "is skipped" if outage.skipped else f"does not include {name} or is closed to it"
            yield f"{name}: {outage.name} {why}."
        elif outage.skipped:
            yield f"{name}: {outage.name} is skipped."


def _marked(jobs: tuple[Job, ...], inputs: Inputs) -> Iterator[str]:
    """Changes to an outage whose scope is frozen: marked, not undone."""
    if inputs.accepted is None:
        return
    was, now = (
        {(j.bearing, j.outage) for j in plan if j.action != LEAVE} for plan in (inputs.accepted, jobs)
    )
    for t, outage in enumerate(inputs.outages):
        if not inputs.frozen(t):
            continue
        for bearing, _ in sorted(x for x in now - was if x[1] == outage.name):
            yield f"{outage.name}: opening {bearing} came in after the freeze day."
        for bearing, _ in sorted(x for x in was - now if x[1] == outage.name):
            yield f"{outage.name}: opening {bearing} was taken out after the freeze day."


def _decide_now(inputs: Inputs, *, is_open: bool) -> Iterator[tuple[str, str]]:
    """What is past its maximum today, or pays to open early: whose pump stands open, or is closed."""
    for b in inputs.bearings:
        word = b.judged.if_closed if is_open else b.judged.word
        if word == Word.DECIDE_NOW:
            yield b.name, sentence(standing_of(b.judged, b.last_um, b.last_on))
