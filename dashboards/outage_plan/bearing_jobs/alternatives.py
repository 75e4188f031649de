"""What else could be done with one bearing: every work in every outage, what it needs and what it does to the risk."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboards.outage_plan.bearing_jobs.above import Room
from dashboards.outage_plan.bearing_jobs.changes import move
from dashboards.outage_plan.bearing_jobs.inputs import ACTIONS, LEAVE, OPEN, REPLACE, SCRAPE, Inputs, Job
from dashboards.outage_plan.bearing_jobs.laid import as_arrays, chances
from dashboards.outage_plan.bearing_jobs.layout import Layout, lay_out
from dashboards.outage_plan.bearing_jobs.stock import families, hand_out


@dataclass(frozen=True)
class Alternative:
    """One possible job of a bearing beside the rest of the plan; `lacking` is blank where it fits."""

    job: Job
    chance_before: float  # of having passed the maximum before the work; left alone: by the plan's end
    chance_end: float  # of passing at all by the plan's end
    needs_hours: float
    free_hours: float
    lacking: str = ""
    remedy: str = ""


def alternatives(plan: tuple[Job, ...], inputs: Inputs, bearing: str) -> tuple[Alternative, ...]:
    """Leaving the bearing alone, then each work in each outage that takes its pump, as the rest of the plan stands."""
    layout, i = lay_out(inputs), inputs.bearing_at[bearing]
    rest = move(plan, Job(bearing, LEAVE))
    at, stock = as_arrays(rest, layout), families(inputs)
    news = [(int(k), int(at.outage[k])) for k in np.flatnonzero(at.action == ACTIONS.index(REPLACE))]
    news += [(int(k), int(at.kept[k])) for k in np.flatnonzero(at.kept >= 0)]
    room = Room(at, stock, hand_out(inputs, stock, news))
    end = float(layout.chance_end[i])
    found = [Alternative(Job(bearing, LEAVE), end, end, 0.0, 0.0)]
    for t in map(int, np.flatnonzero(layout.eligible[i])):
        for action in _worth_naming(inputs, i):
            found.append(_one(layout, room, rest, Job(bearing, action, inputs.outages[t].name), i, t))
    return tuple(found)


def _worth_naming(inputs: Inputs, i: int) -> tuple[str, ...]:
    """A scrape only where one is owed: it is never planned for a clearance."""
    b = inputs.bearings[i]
    return (REPLACE, OPEN, SCRAPE) if b.scrape_owed and b.scrapeable else (REPLACE, OPEN)


def _one(layout: Layout, room: Room, rest: tuple[Job, ...], job: Job, i: int, t: int) -> Alternative:
    free = layout.inputs.outages[t].crew_hours - room.at.used[t] - room.at.expected[t]
    _, lacking, remedy = room.lack(i, t, job.action) or ("", "", "")
    after = chances(as_arrays(move(rest, job), layout))[i, -1]
    return Alternative(
        job,
        float(layout.chance[i, t]),
        float(after),
        room.needs(i, t, job.action),
        max(float(free), 0.0),
        lacking,
        remedy,
    )
