"""What a plan is made from: outages, bearings, spares, the plant's settings and the jobs already fixed."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from inspections.wear.arrays import USUAL_OUTAGE_DAYS

FloatArray = NDArray[np.float64]
LEAVE, OPEN, SCRAPE, REPLACE = "leave", "open", "scrape", "replace"
ACTIONS = (OPEN, SCRAPE, REPLACE)
HALVES = ("lower", "upper")


@dataclass(frozen=True)
class Outage:
    """A time window with crew hours; without pumps those of its block, without either every pump."""

    name: str
    start_on: dt.date
    end_on: dt.date
    crew_hours: float
    block: str = ""
    pumps: frozenset[str] = frozenset()
    scope_freeze_on: dt.date | None = None
    skipped: bool = False
    between: bool = False  # no outage: days between two, for pumps whose twin runs meanwhile

    def takes(self, pump: Pump) -> bool:
        """Whether a pump can be opened in this outage."""
        if self.skipped:
            return False
        if self.pumps:
            return pump.name in self.pumps
        return not self.block or self.block == pump.block

    def overlaps(self, other: Outage) -> bool:
        """Whether both are under way on some day."""
        return self.start_on <= other.end_on and other.start_on <= self.end_on


@dataclass(frozen=True)
class Pump:
    """A pump, its block and the twin that must run while it is open."""

    name: str
    block: str = ""
    twin: str = ""


@dataclass(frozen=True)
class Hours:
    """Crew hours of one class: opening is the pump's and shared, the rest is each bearing's."""

    open_h: float
    measure_h: float
    scrape_h: float
    replace_h: float


@dataclass(frozen=True)
class Opening:
    """What a reading in each of T outages is worth, computed before the plan (see `opening.py`)."""

    value: FloatArray  # (T,) expected saving by the better decision afterwards, without the opening's work
    chance: FloatArray  # (T,) chance of passing the maximum by the work decided then, or the horizon's end
    changes: FloatArray  # (T,) share of readings after which another decision would be taken
    follow_up: (
        FloatArray  # (T, T) chance that an opening in the first is followed by a new shell in the second
    )


@dataclass(frozen=True)
class Look:
    """What the one judgement of a bearing says of an outage.

    closed: its pump is left closed there, so nothing is planned; shell: at least 1 in 10 readings there ask for a new
    shell; words: what the crew does there, with the trigger.
    """

    closed: bool
    shell: bool
    words: str


@dataclass(frozen=True)
class Bearing:
    """One bearing; its chances lie on the inputs' common grid of days and count from the as-of day."""

    name: str
    pump: str
    consequence: float  # of passing the maximum
    chance_left: FloatArray  # (D,) passed the maximum by that day if left alone
    chance_new: FloatArray  # (D,) a new shell has passed it so many days after it was fitted
    hours: Hours
    shell_type: str = ""  # blank: its shells are not kept count of
    bore_um: float | None = None
    halves: tuple[str, ...] = HALVES
    shell_cost: float = 0.0
    life_days: float = 4000.0  # usual life of a new shell here
    opening: Opening | None = None
    scrape_owed: bool = False
    scrapeable: bool = True
    looks: Mapping[str, Look] = field(default_factory=dict)  # by outage; none: nothing was judged of it


@dataclass(frozen=True)
class Spare:
    """Shells of one type; `half` blank: whole sets; `bore_um` None: still to be bored, so fits any."""

    shell_type: str
    half: str = ""
    bore_um: float | None = None
    on_hand: int = 0
    due_back: tuple[tuple[dt.date, int], ...] = ()
    lead_time_days: float | None = None  # None: cannot be ordered
    may_order: int | None = None  # None: as many as wanted


@dataclass(frozen=True, order=True)
class Job:
    """One bearing's work in one outage; `leave` with a blank outage says that it must be left."""

    bearing: str
    action: str
    outage: str = ""


@dataclass(frozen=True)
class Settings:
    """The plant's words as numbers; costs in one unit of its choice, consequences in the same."""

    accepted_risk: float = 0.10
    hour_cost: float = 1.0
    again_factor: float = 1.0  # times the consequence, for every usual interval run past the maximum
    breach_factor: float = 5.0  # times the consequence, per unit of chance above the accepted risk
    owed_factor: float = 2.0  # times its work, for every outage that an owed scrape waits
    scrape_share: float = 0.0  # the plant's share of openings that end in scraping
    keep_from: float = 0.3  # an opening followed so often by a new shell keeps one, and its hours
    between_factor: float = (
        1.5  # times the hours, what an opening between outages costs: no crane and crew wait
    )
    margin_days: float = 14.0  # between a shell's arrival and its outage
    bore_tolerance_um: float = 10.0  # common practice, no published source: a plant sets its own
    horizon_on: dt.date | None = None


@dataclass(frozen=True)
class Inputs:
    """Everything a plan rests on. `days` (D,) rises from 0 and reaches past the last outage."""

    as_of: dt.date
    days: FloatArray
    bearings: tuple[Bearing, ...]
    outages: tuple[Outage, ...]
    pumps: tuple[Pump, ...]
    spares: tuple[Spare, ...] = ()
    # By shell type, or type and half ("SL-400 lower"), which rules; missing: what comes out is scrapped.
    relined_after_days: Mapping[str, float] = field(default_factory=dict)
    pinned: tuple[Job, ...] = ()
    refused: tuple[Job, ...] = ()  # a blank action or outage refuses all of them
    accepted: tuple[Job, ...] | None = None  # the accepted plan, which a frozen outage keeps
    settings: Settings = Settings()

    def __post_init__(self) -> None:
        """Refuse what no plan can be made from, all faults at once."""
        faults = list(faults_of(self))
        if faults:
            raise BadInputs(faults)

    @cached_property
    def starts(self) -> FloatArray:
        """(T,) days from the as-of day to each outage's start; 0 for one that runs: its work can be done today."""
        return np.array([max((o.start_on - self.as_of).days, 0) for o in self.outages], dtype=float)

    @cached_property
    def between(self) -> NDArray[np.bool_]:
        """(T,) which are no outages but days between two."""
        return np.array([o.between for o in self.outages], dtype=bool)

    @cached_property
    def end_day(self) -> float:
        """The horizon's end: stated, or one usual interval after the last outage."""
        if self.settings.horizon_on:
            return float((self.settings.horizon_on - self.as_of).days)
        last = float(self.starts[~self.between].max(initial=0.0))
        return last + self.interval_days

    @cached_property
    def interval_days(self) -> float:
        """Days between two outages, as a rule."""
        gaps = np.diff(np.unique(self.starts[~self.between]))
        return float(np.median(gaps)) if len(gaps) else USUAL_OUTAGE_DAYS

    @cached_property
    def bearing_at(self) -> dict[str, int]:
        """Each bearing's row."""
        return {b.name: i for i, b in enumerate(self.bearings)}

    @cached_property
    def outage_at(self) -> dict[str, int]:
        """Each outage's column."""
        return {o.name: t for t, o in enumerate(self.outages)}

    @cached_property
    def pump_at(self) -> dict[str, int]:
        """Each pump's number."""
        return {p.name: i for i, p in enumerate(self.pumps)}

    def relined_after(self, shell_type: str, half: str) -> float | None:
        """Days after which a half that came out is back relined; None where it is scrapped."""
        whole = self.relined_after_days.get(shell_type)
        return self.relined_after_days.get(f"{shell_type} {half}", whole)

    def frozen(self, t: int) -> bool:
        """Whether the scope of an outage is frozen by an accepted plan: from its freeze day, at the latest its first day."""
        outage = self.outages[t]
        if self.accepted is None or outage.between:
            return False
        freeze = min(outage.scope_freeze_on or outage.start_on, outage.start_on)
        return freeze <= self.as_of


def even_consequence(
    *, shell_cost: float, life_days: float, interval_days: float, accepted_risk: float
) -> float:
    """The consequence at which money and accepted risk agree, for plants that state none in money.

    Waiting one outage saves that share of a shell's life; at the accepted risk the passing it may bring is
    worth as much.
    """
    return shell_cost * interval_days / life_days / accepted_risk


class BadInputs(ValueError):
    """The inputs contradict themselves; `reasons` has a sentence for each fault."""

    def __init__(self, reasons: list[str]) -> None:
        self.reasons = reasons
        super().__init__(" ".join(reasons))


def faults_of(inputs: Inputs) -> Iterator[str]:
    """A sentence for every fault."""
    days = np.asarray(inputs.days)
    if len(days) < 2 or days[0] != 0 or np.any(np.diff(days) <= 0):
        yield "The grid of days must start at 0 and rise: at least two days."
    for what, items in (("bearing", inputs.bearings), ("outage", inputs.outages), ("pump", inputs.pumps)):
        names = [x.name for x in items]
        for name in sorted({n for n in names if names.count(n) > 1} if len(set(names)) < len(names) else ()):
            yield f"The {what} {name} is listed twice: each has one row."
    pumps = {p.name for p in inputs.pumps}
    for b in inputs.bearings:
        if b.pump not in pumps:
            yield f"{b.name} sits on pump {b.pump}, which is not among the pumps."
        if len(b.chance_left) != len(days) or len(b.chance_new) != len(days):
            yield f"{b.name}: its chances have not one value for each of the {len(days)} days of the grid."
        if not (np.isfinite(b.consequence) and b.consequence >= 0):
            yield f"{b.name}: the consequence is {b.consequence}; give a number of at least 0."
    for o in inputs.outages:
        if o.end_on < o.start_on:
            yield f"{o.name} ends on {o.end_on}, before its start on {o.start_on}."
        if not (np.isfinite(o.crew_hours) and o.crew_hours >= 0):
            yield f"{o.name}: the crew hours are {o.crew_hours}; give a number of at least 0."
    yield from _job_faults(inputs)


def _job_faults(inputs: Inputs) -> Iterator[str]:
    bearings = {b.name for b in inputs.bearings}
    outages = {o.name for o in inputs.outages}
    once: dict[str, Job] = {}
    for job in (*inputs.pinned, *inputs.refused):
        if job.bearing not in bearings:
            yield f"A job names the bearing {job.bearing}, which is not among the bearings."
        if job.outage and job.outage not in outages:
            yield f"A job of {job.bearing} names the outage {job.outage}, which is not among the outages."
    for job in inputs.pinned:
        other = once.setdefault(job.bearing, job)
        if other != job:
            yield (
                f"{job.bearing} is pinned twice ({said(other)}; {said(job)}): a plan holds one job per bearing."
            )
        if any(refuses(no, job) for no in inputs.refused):
            yield f"{job.bearing}: {said(job)} is both pinned and refused: take one of them back."


def refuses(no: Job, job: Job) -> bool:
    """Whether a refusal covers a job."""
    return no.bearing == job.bearing and no.action in ("", job.action) and no.outage in ("", job.outage)


def said(job: Job) -> str:
    """A job in words."""
    return f"{job.action} {when(job.outage)}" if job.outage else job.action


def when(outage: str) -> str:
    """The name of an outage, or of days between two, as a time: "in spring 2027", "between spring and autumn 2027"."""
    return outage if outage.startswith(("between ", "before ")) else f"in {outage}"
