"""A plan or its inputs changed by hand: a pump moved, pinned or refused; an outage slipped, shortened or
skipped.
"""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from dashboards.outage_plan.pump_openings.inputs import LEAVE, OPEN, Inputs, Job, Outage, when
from inspections.forecasts.judgement.judgement_figures import Judgement

if TYPE_CHECKING:
    from dashboards.outage_plan.pump_openings.evaluate import Evaluation

Change = Mapping[str, Any]
"""One change as it is kept: `what`, and what that needs (bearing, action, outage, days, hours, um)."""
OF_JOBS = ("pin", "move", "refuse")
OF_OUTAGES = ("slip", "shorten", "skip")


def _pump(inputs: Inputs, bearing: str) -> str:
    return inputs.bearings[inputs.bearing_at[bearing]].pump


def _same_pump(inputs: Inputs, first: str, second: str) -> bool:
    return _pump(inputs, first) == _pump(inputs, second)


def opened(plan: tuple[Job, ...], job: Job, inputs: Inputs) -> tuple[Job, ...]:
    """The plan with the job's pump opened there and all its bearings looked at; `leave`
    takes the pump out.
    """
    rest = [x for x in plan if not _same_pump(inputs, x.bearing, job.bearing)]
    if job.action == LEAVE or not job.outage:
        return tuple(sorted(rest))
    members = (inputs.bearings[i].name for i in inputs.members[_pump(inputs, job.bearing)])
    return tuple(sorted([*rest, *(Job(name, OPEN, job.outage) for name in members)]))


def pin(inputs: Inputs, job: Job) -> Inputs:
    """The inputs with the job's pump fixed there, in place of an earlier pin or a refusal of it."""
    kept = tuple(x for x in inputs.pinned if not _same_pump(inputs, x.bearing, job.bearing))
    refused = tuple(
        x
        for x in inputs.refused
        if not (_same_pump(inputs, x.bearing, job.bearing) and x.outage in ("", job.outage) and job.outage)
    )
    return replace(inputs, pinned=(*kept, job), refused=refused)


def refuse(inputs: Inputs, no: Job) -> Inputs:
    """The inputs with an opening refused; a blank outage refuses all of them. A pin that it covers is taken
    back.
    """
    kept = tuple(x for x in inputs.pinned if not _covers(inputs, no, x))
    return replace(inputs, pinned=kept, refused=(*inputs.refused, no))


def _covers(inputs: Inputs, no: Job, job: Job) -> bool:
    return bool(job.outage) and _same_pump(inputs, no.bearing, job.bearing) and no.outage in ("", job.outage)


def slip(inputs: Inputs, outage: str, days: int) -> Inputs:
    """The inputs with an outage that comes so many days later; chances and costs follow its new day."""
    by = dt.timedelta(days=days)
    o = inputs.outages[inputs.outage_at[outage]]
    freeze = o.scope_freeze_on + by if o.scope_freeze_on else None
    return _with(inputs, replace(o, start_on=o.start_on + by, end_on=o.end_on + by, scope_freeze_on=freeze))


def shorten(inputs: Inputs, outage: str, crew_hours: float) -> Inputs:
    """The inputs with other crew hours in an outage."""
    return _with(inputs, replace(inputs.outages[inputs.outage_at[outage]], crew_hours=crew_hours))


def skip(inputs: Inputs, outage: str) -> Inputs:
    """The inputs with an outage that does not happen."""
    return _with(inputs, replace(inputs.outages[inputs.outage_at[outage]], skipped=True))


def changed(
    inputs: Inputs, changes: Sequence[Change], supposed: Mapping[str, Judgement] | None = None
) -> Inputs:
    """The inputs after all changes in their order; what names a bearing or outage no longer there is left
    out.

    `supposed`: by bearing, what would be judged of it under the what-if readings among the changes.
    """
    if supposed:
        rows = (replace(b, judged=supposed.get(b.name, b.judged)) for b in inputs.bearings)
        inputs = replace(inputs, bearings=tuple(rows))
    for change in changes:
        what, bearing, outage = change["what"], change.get("bearing", ""), change.get("outage", "")
        if what in OF_OUTAGES and outage in inputs.outage_at:
            inputs = _outage_changed(inputs, change)
        if bearing not in inputs.bearing_at or (outage and outage not in inputs.outage_at):
            continue
        if what == "pin":
            inputs = pin(inputs, _job(change))
        elif what == "refuse":
            inputs = refuse(inputs, Job(bearing, OPEN, outage))
    return inputs


def _job(change: Change) -> Job:
    """Plans by bearing asked for a shell or a scrape: the pump is opened, and the reading decides."""
    action = LEAVE if change.get("action") == LEAVE else OPEN
    return Job(change["bearing"], action, change.get("outage", ""))


def _outage_changed(inputs: Inputs, change: Change) -> Inputs:
    if change["what"] == "slip":
        return slip(inputs, change["outage"], int(change["days"]))
    if change["what"] == "shorten":
        return shorten(inputs, change["outage"], float(change["hours"]))
    return skip(inputs, change["outage"])


def replayed(jobs: tuple[Job, ...], changes: Sequence[Change], inputs: Inputs) -> tuple[Job, ...]:
    """The jobs after all changes in their order: moved, pinned, refused; nothing is planned anew."""
    plan = tuple(job for job in jobs if job.bearing in inputs.bearing_at and job.outage in inputs.outage_at)
    for change in changes:
        if change["what"] not in OF_JOBS or change["bearing"] not in inputs.bearing_at:
            continue
        job = _job(change)
        if job.outage and job.outage not in inputs.outage_at:
            continue
        if change["what"] == "refuse":
            plan = tuple(x for x in plan if not _covers(inputs, job, x))
        else:
            plan = opened(plan, job, inputs)
    return plan


def _with(inputs: Inputs, outage: Outage) -> Inputs:
    return replace(inputs, outages=tuple(outage if o.name == outage.name else o for o in inputs.outages))


@dataclass(frozen=True)
class Difference:
    """What a second plan does otherwise than a first."""

    moved: tuple[tuple[str, str, str], ...]  # bearing, the first's work, the second's
    cost: float
    expected_passings: float
    n_above_accepted: int
    hours: dict[str, float]  # by outage
    shells: dict[str, int]  # by half shell type


def compare(first: Evaluation, second: Evaluation) -> Difference:
    """The second plan minus the first."""
    was = {j.bearing: f"{j.action} {when(j.outage)}" for j in first.jobs}
    now = {j.bearing: f"{j.action} {when(j.outage)}" for j in second.jobs}
    moved = tuple(
        (b, was.get(b, LEAVE), now.get(b, LEAVE))
        for b in sorted(was.keys() | now.keys())
        if was.get(b) != now.get(b)
    )
    hours = {b.outage: b.used_hours for b in second.loads}
    for a in first.loads:
        hours[a.outage] = hours.get(a.outage, 0.0) - a.used_hours
    shells: dict[str, int] = {}
    for sign, plan in ((1, second), (-1, first)):
        for x in plan.shells:
            shells[x.family] = shells.get(x.family, 0) + sign
    return Difference(
        moved,
        second.cost - first.cost,
        second.expected_passings - first.expected_passings,
        second.n_above_accepted - first.n_above_accepted,
        hours,
        shells,
    )
