"""A plan or its inputs changed by hand: moved, pinned, refused; an outage slipped, shortened or skipped."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.special import ndtr, ndtri

from dashboards.outage_plan.bearing_jobs.evaluate import Evaluation
from dashboards.outage_plan.bearing_jobs.inputs import LEAVE, FloatArray, Inputs, Job, Outage, refuses, when
from dashboards.outage_plan.bearing_jobs.opening import N_LEVEL, Outlook


def move(plan: tuple[Job, ...], job: Job) -> tuple[Job, ...]:
    """The plan with this job in place of whatever the bearing had; `leave` takes it out."""
    rest = [x for x in plan if x.bearing != job.bearing]
    return tuple(sorted([*rest, job] if job.action != LEAVE else rest))


def pin(inputs: Inputs, job: Job) -> Inputs:
    """The inputs with this job fixed, in place of an earlier pin of the bearing."""
    rest = tuple(x for x in inputs.pinned if x.bearing != job.bearing)
    return replace(inputs, pinned=(*rest, job))


def refuse(inputs: Inputs, job: Job) -> Inputs:
    """The inputs with this job refused; a blank action or outage refuses all of them."""
    return replace(inputs, refused=(*inputs.refused, job))


def slip(inputs: Inputs, outage: str, days: int) -> Inputs:
    """The inputs with an outage that comes so many days later; the chances follow its new day."""
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


def found_worse(inputs: Inputs, bearing: str, chance_left: FloatArray) -> Inputs:
    """The inputs with a bearing's new chances; what a further reading was worth no longer holds."""
    made = tuple(
        replace(b, chance_left=np.asarray(chance_left, float), opening=None) if b.name == bearing else b
        for b in inputs.bearings
    )
    return replace(inputs, bearings=made)


def if_it_read(inputs: Inputs, outlook: Outlook, bearing: str, found_um: float) -> FloatArray:
    """(D,) chance of passing the maximum had the bearing been read at so many um on the as-of day.

    The level is the reading with its error; the rate is taken as it was believed before, log-normal through its
    1 in 10, even and 9 in 10 values. A what-if for the plan: the reading itself, once recorded, moves the rate too.
    """
    i = inputs.bearing_at[bearing]
    z = ndtri((np.arange(N_LEVEL) + 0.5) / N_LEVEL)
    room = outlook.limit_um[i] - (found_um + outlook.reading_sd_um[i] * z)
    slow, even, fast = np.maximum(outlook.rate_um_per_kh[i], 1e-3)
    spread = max(float(np.log(fast / slow)) / (2 * float(ndtri(0.9))), 1e-3)
    kh = np.asarray(inputs.days, float) * outlook.hours_per_day[i] / 1000.0
    needed = np.log(np.maximum(room[:, None], 1e-9) / np.maximum(kh, 1e-9))
    passed = np.where(room[:, None] <= 0, 1.0, ndtr((np.log(even) - needed) / spread))
    return np.asarray(passed.mean(axis=0))


Change = Mapping[str, Any]
"""One change as it is kept: `what`, and what that needs (bearing, action, outage, days, hours, um)."""
OF_JOBS = ("pin", "move", "refuse")
OF_OUTAGES = ("slip", "shorten", "skip")


def changed(inputs: Inputs, outlook: Outlook | None, changes: Sequence[Change]) -> Inputs:
    """The inputs after all changes in their order; what names a bearing or outage no longer there is left out."""
    for said in changes:
        what, bearing, outage = said["what"], said.get("bearing", ""), said.get("outage", "")
        if what in OF_OUTAGES and outage in inputs.outage_at:
            inputs = _outage_changed(inputs, said)
        if bearing not in inputs.bearing_at or (outage and outage not in inputs.outage_at):
            continue
        if what == "pin":
            job = Job(bearing, said["action"], outage)
            inputs = pin(
                replace(inputs, refused=tuple(x for x in inputs.refused if not refuses(x, job))), job
            )
        elif what == "refuse":
            no = Job(bearing, said.get("action", ""), outage)
            kept = tuple(x for x in inputs.pinned if not refuses(no, x))
            inputs = refuse(replace(inputs, pinned=kept), no)
        elif what == "worse" and outlook is not None:
            inputs = found_worse(inputs, bearing, if_it_read(inputs, outlook, bearing, float(said["um"])))
    return inputs


def _outage_changed(inputs: Inputs, said: Change) -> Inputs:
    if said["what"] == "slip":
        return slip(inputs, said["outage"], int(said["days"]))
    if said["what"] == "shorten":
        return shorten(inputs, said["outage"], float(said["hours"]))
    return skip(inputs, said["outage"])


def replayed(jobs: tuple[Job, ...], changes: Sequence[Change], inputs: Inputs) -> tuple[Job, ...]:
    """The jobs after all changes in their order: moved, pinned, refused; nothing is planned anew."""
    plan = tuple(job for job in jobs if job.bearing in inputs.bearing_at and job.outage in inputs.outage_at)
    for said in changes:
        if said["what"] not in OF_JOBS or said["bearing"] not in inputs.bearing_at:
            continue
        job = Job(said["bearing"], said.get("action", ""), said.get("outage", ""))
        if job.outage and job.outage not in inputs.outage_at:
            continue
        if said["what"] == "refuse":
            plan = tuple(x for x in plan if not refuses(job, x))
        else:
            plan = move(plan, job)
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
