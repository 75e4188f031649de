"""A plan or its inputs changed by hand: moved, pinned, refused; an outage slipped, shortened or skipped."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace

import numpy as np

from .evaluate import Evaluation
from .inputs import LEAVE, FloatArray, Inputs, Job, Outage


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
    return _with(inputs, replace(o, start_on=o.start_on + by, end_on=o.end_on + by))


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
    was = {j.bearing: f"{j.action} in {j.outage}" for j in first.jobs}
    now = {j.bearing: f"{j.action} in {j.outage}" for j in second.jobs}
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
        moved, second.cost - first.cost, second.expected_passings - first.expected_passings,
        second.n_above_accepted - first.n_above_accepted, hours, shells,
    )  # fmt: skip
