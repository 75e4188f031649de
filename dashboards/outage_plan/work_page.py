"""The work list of one outage: its pumps with what is looked for at each bearing, to print, tick and sign."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any

from django.utils.safestring import SafeString

from dashboards.outage_plan.following import Followed, FollowedOutage, follow
from dashboards.outage_plan.job_states import JobState
from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.pump_openings.above import NotFitting
from dashboards.outage_plan.pump_openings.evaluate import Evaluation, PlannedJob
from dashboards.outage_plan.pump_openings.inputs import Inputs
from dashboards.outage_plan.stacked import stack
from fleet.clock import today_at
from fleet.models import Bearing
from fleet.web.bearing_addresses import bearing_address
from inspections.forecasts.current_forecasts import current, parameters, standing_run
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.wear_inputs import Known, inputs
from inspections.visits.machine_book import book_unit


@dataclass(frozen=True)
class Line:
    """One bearing to be looked at; `target` the clearance it is fitted to, in um from and to."""

    job: PlannedJob
    bearing: Bearing
    figures: Figures
    over: NotFitting | None
    state: JobState | None
    strip: SafeString | None
    record: str
    target: tuple[float, float] | None
    expected: tuple[float, float] | None  # um, 1 in 10 to 9 in 10, on the outage's first day
    unit: str  # of the machine's own book, in which the line is printed

    @property
    def reason(self) -> str:
        """Why it is looked at, in that unit."""
        return self.job.reason_in(self.unit)

    @property
    def because(self) -> str:
        """What its state rests on, in that unit."""
        return self.state.because_in(self.unit) if self.state else ""


@dataclass(frozen=True)
class Settled:
    """A job that is not to be worked any more, and what the record says of it."""

    name: str
    word: str
    because: str


@dataclass(frozen=True)
class PumpLines:
    """A pump with its lines and what its opening takes."""

    pump: str
    lines: tuple[Line, ...]
    hours: float
    hours_p90: float
    hours_most: float


def work(made: Proposal, outage_name: str) -> dict[str, Any] | None:
    """The work list of one outage; None where nothing is planned there."""
    found = made.evaluation
    jobs = [job for job in found.jobs if job.outage == outage_name] if found else []
    today = today_at(made.site)
    own = next((one for one in follow(made.site, today) if one.outage.name == outage_name), None)
    if not jobs and own is not None:
        return _nothing_left(made, own)
    if not jobs or made.inputs is None or found is None:
        return None
    t = made.inputs.outage_at[outage_name]
    outage, load = made.inputs.outages[t], found.loads[t]
    lines, axis = _lines(made, jobs, own)
    shells = Counter((x.family, x.source) for x in found.shells if x.outage == t)
    return {
        "site": made.site,
        "outage": outage,
        "pumps": _by_pump(lines),
        "n_jobs": len(lines),
        "axis": axis,
        "today": made.as_of,
        "is_stale": made.is_stale,
        "load": load,
        "marked": found.marked,
        "waiting": _waiting(found, made.inputs, t, {line.job.bearing for line in lines}),
        "shells": [(family, source, n) for (family, source), n in sorted(shells.items())],
        "settled": _settled(own, made.as_of) if own else [],
        "moved": own.moved if own else "",
    }


def _lines(
    made: Proposal, jobs: list[PlannedJob], own: FollowedOutage | None
) -> tuple[list[Line], SafeString | None]:
    """Each job's line, and the axis that their drawings share."""
    rows = Bearing.objects.standing().select_related("place__site").at_sites([made.site]).in_order()
    bearings = {f"{one.place.tag} {one.name}": one for one in rows}
    jobs = [job for job in jobs if job.bearing in bearings]
    chosen = [bearings[job.bearing] for job in jobs]
    figures = current(chosen, made.as_of)
    _, codes, _ = parameters(made.as_of, standing_run())
    known = inputs(chosen, made.as_of, codes).known
    units = {job.bearing: book_unit(one) or "um" for job, one in zip(jobs, known, strict=True)}
    drawn = stack(made, units)
    start = made.inputs.outages[made.inputs.outage_at[jobs[0].outage]].start_on if made.inputs else made.as_of
    above = {one.bearing: one for one in made.evaluation.not_fitting} if made.evaluation else {}
    states = {one.name: one.state for one in own.jobs} if own else {}
    lines = [
        Line(
            job,
            bearing,
            figures[bearing.pk],
            above.get(job.bearing),
            states.get(job.bearing),
            drawn.strips.get(job.bearing),
            bearing_address(bearing, "record"),
            _target(one),
            drawn.expected(job.bearing, max(start, made.as_of)),
            units[job.bearing],
        )
        for job, bearing, one in zip(jobs, chosen, known, strict=True)
    ]
    return lines, drawn.axis


def _settled(own: FollowedOutage, as_of: dt.date) -> list[Settled]:
    return _in_book_units([one for one in own.jobs if one.state.is_settled], as_of)


def _in_book_units(jobs: Sequence[Followed], as_of: dt.date) -> list[Settled]:
    """Each job's state, what was measured in the unit of its machine's own book."""
    if not jobs:
        return []
    _, codes, _ = parameters(as_of, standing_run())
    known = inputs([one.bearing for one in jobs], as_of, codes).known
    return [
        Settled(one.name, one.state.word, one.state.because_in(book_unit(its) or "um"))
        for one, its in zip(jobs, known, strict=True)
    ]


def _target(one: Known) -> tuple[float, float] | None:
    """The clearance new metal is fitted to, um; None where the plant has not stated both ends."""
    low, high = one.limit_um("fitting_min"), one.limit_um("fitting_max")
    return (low, high) if isfinite(low) and isfinite(high) else None


def _by_pump(lines: list[Line]) -> list[PumpLines]:
    pumps: dict[str, list[Line]] = {}
    for line in lines:
        pumps.setdefault(line.job.pump, []).append(line)
    return [
        PumpLines(
            pump,
            tuple(mine),
            sum(line.job.crew_hours for line in mine),
            mine[0].job.crew_hours_p90,
            mine[0].job.crew_hours_most,
        )
        for pump, mine in pumps.items()
    ]


def _waiting(found: Evaluation, given: Inputs, t: int, here: set[str]) -> list[NotFitting]:
    """What is above the risk with no opening planned, or a later one, concerns who stands
    at the open pumps.
    """
    return [
        one
        for one in found.not_fitting
        if one.bearing not in here
        and (one.by not in given.outage_at or given.starts[given.outage_at[one.by]] > given.starts[t])
    ]


def _nothing_left(made: Proposal, own: FollowedOutage) -> dict[str, Any]:
    """The work list of an outage in which this plan has no job left: how each accepted one stands."""
    return {
        "site": made.site,
        "outage": own.outage,
        "pumps": [],
        "n_jobs": 0,
        "today": made.as_of,
        "settled": _in_book_units(own.jobs, made.as_of),
        "moved": own.moved,
    }
