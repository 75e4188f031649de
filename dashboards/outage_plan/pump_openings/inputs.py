"""What a plan is made from: outages, pumps, spares, what is judged of each bearing, and what people have
settled.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from inspections.forecasts.judgement.judgement_figures import Judgement, Why
from inspections.wear.arrays import USUAL_OUTAGE_DAYS, FloatArray
from inspections.wear.terms import DEFAULTS

LEAVE, OPEN, SCRAPE, REPLACE = "leave", "open", "scrape", "replace"
ACTIONS = (OPEN, SCRAPE, REPLACE)  # a plan says open; the others stand in plans accepted before it did
HALVES = ("lower", "upper")
NOT_COUNTED = 1e5  # crew hours from which an outage is taken to have stated none
SHELL_FROM = 0.1  # chance of a new shell from which one is had ready: 9 in 10 openings then have theirs


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
    agreed: bool = False  # between, and its pump's opening then is agreed by engineer and operations

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
    """Crew hours of the work on one bearing, without the opening of its pump."""

    measure_h: float = 2.0
    scrape_h: float = 8.0
    replace_h: float = 12.0


@dataclass(frozen=True)
class Bearing:
    """One bearing with what is judged of it; `last_um` its last reading (larger end) of `last_on`."""

    name: str
    pump: str
    judged: Judgement
    hours: Hours = Hours()
    shell_type: str = ""  # blank: its shells are not kept count of
    bore_um: float | None = None
    halves: tuple[str, ...] = HALVES
    shell_h: float = DEFAULTS["shell_h"]
    last_um: float | None = None
    last_on: dt.date | None = None

    @property
    def by_rule(self) -> bool:
        """Whether its pump is opened at the next outage whatever it costs: its readings do not follow steady
        wear.
        """
        return self.judged.why == Why.MISFIT

    @property
    def is_costed(self) -> bool:
        """Whether something can be decided by."""
        return any(column.cost_h is not None for column in self.judged.columns)


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
    """One bearing looked at in one outage; `leave` with a blank outage says that its pump must be left
    closed.
    """

    bearing: str
    action: str
    outage: str = ""


@dataclass(frozen=True)
class Settings:
    """The plant's words as numbers."""

    margin_days: float = 14.0  # between a shell's arrival and its outage
    bore_tolerance_um: float = 10.0  # common practice, no published source: a plant sets its own


@dataclass(frozen=True)
class Inputs:
    """Everything a plan rests on; outages in time's order, every pump with all its bearings."""

    as_of: dt.date
    bearings: tuple[Bearing, ...]
    outages: tuple[Outage, ...]
    pumps: tuple[Pump, ...]
    spares: tuple[Spare, ...] = ()
    # By shell type, or type and half ("SL-400 lower"), which rules; missing: what comes out is scrapped.
    relined_after_days: Mapping[str, float] = field(default_factory=dict)
    pinned: tuple[Job, ...] = ()
    refused: tuple[Job, ...] = ()  # a blank outage refuses all of them
    accepted: tuple[Job, ...] | None = None  # the accepted plan, which a frozen outage keeps
    settings: Settings = Settings()

    def __post_init__(self) -> None:
        """Refuse what no plan can be made from, all faults at once."""
        faults = list(faults_of(self))
        if faults:
            raise BadInputs(faults)

    @cached_property
    def starts(self) -> FloatArray:
        """(T,) days from the as-of day to each outage's start; 0 for one that runs: its work can be done
        today.
        """
        return np.array([max((o.start_on - self.as_of).days, 0) for o in self.outages], dtype=float)

    @cached_property
    def between(self) -> NDArray[np.bool_]:
        """(T,) which are no outages but days between two."""
        return np.array([o.between for o in self.outages], dtype=bool)

    @cached_property
    def end_day(self) -> float:
        """Days to the horizon's end: one usual interval after the last outage."""
        return float(self.starts[~self.between].max(initial=0.0)) + self.interval_days

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
        """Each pump's row."""
        return {p.name: i for i, p in enumerate(self.pumps)}

    @cached_property
    def members(self) -> dict[str, tuple[int, ...]]:
        """Each pump's bearings, by their rows."""
        found: dict[str, tuple[int, ...]] = {p.name: () for p in self.pumps}
        for i, b in enumerate(self.bearings):
            found[b.pump] = (*found[b.pump], i)
        return found

    def relined_after(self, shell_type: str, half: str) -> float | None:
        """Days after which a half that came out is back relined; None where it is scrapped."""
        whole = self.relined_after_days.get(shell_type)
        return self.relined_after_days.get(f"{shell_type} {half}", whole)

    def frozen(self, t: int) -> bool:
        """Whether the scope of an outage is frozen by an accepted plan: from its freeze day, at the latest
        its first day.
        """
        outage = self.outages[t]
        if self.accepted is None or outage.between:
            return False
        freeze = min(outage.scope_freeze_on or outage.start_on, outage.start_on)
        return freeze <= self.as_of


class BadInputs(ValueError):
    """The inputs contradict themselves; `reasons` has a sentence for each fault."""

    def __init__(self, reasons: list[str]) -> None:
        self.reasons = reasons
        super().__init__(" ".join(reasons))


def faults_of(inputs: Inputs) -> Iterator[str]:
    """A sentence for every fault."""
    for what, items in (("bearing", inputs.bearings), ("outage", inputs.outages), ("pump", inputs.pumps)):
        names = [x.name for x in items]
        for name in sorted({n for n in names if names.count(n) > 1} if len(set(names)) < len(names) else ()):
            yield f"The {what} {name} is listed twice: each has one row."
    pumps = {p.name for p in inputs.pumps}
    for b in inputs.bearings:
        if b.pump not in pumps:
            yield f"{b.name} sits on pump {b.pump}, which is not among the pumps."
    for o in inputs.outages:
        if o.end_on < o.start_on:
            yield f"{o.name} ends on {o.end_on}, before its start on {o.start_on}."
        if not (np.isfinite(o.crew_hours) and o.crew_hours >= 0):
            yield f"{o.name}: the crew hours are {o.crew_hours}; give a number of at least 0."
    yield from _job_faults(inputs)


def _job_faults(inputs: Inputs) -> Iterator[str]:
    bearings = {b.name for b in inputs.bearings}
    outages = {o.name for o in inputs.outages}
    for job in (*inputs.pinned, *inputs.refused):
        if job.bearing not in bearings:
            yield f"A job names the bearing {job.bearing}, which is not among the bearings."
        if job.outage and job.outage not in outages:
            yield f"A job of {job.bearing} names the outage {job.outage}, which is not among the outages."


def when(outage: str) -> str:
    """The name of an outage, or of days between two, as a time: "in spring 2027", "between spring and autumn
    2027".
    """
    return outage if outage.startswith(("between ", "before ", "outside ")) else f"in {outage}"
