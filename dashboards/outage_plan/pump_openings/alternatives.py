"""When else a bearing's pump could be opened: every outage that takes it, what that needs and what it does to
the risk.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboards.outage_plan.pump_openings.changes import opened
from dashboards.outage_plan.pump_openings.coefficients import coefficients
from dashboards.outage_plan.pump_openings.inputs import LEAVE, OPEN, Inputs, Job
from dashboards.outage_plan.pump_openings.room import Room


@dataclass(frozen=True)
class Alternative:
    """One possible opening beside the rest of the plan; `lacking` is blank where it fits."""

    job: Job
    chance_before: float  # of having passed the maximum before it; left closed: by the plan's end
    waiting_h: float  # what it costs more than the cheapest
    needs_hours: float
    free_hours: float
    lacking: str = ""
    remedy: str = ""


def alternatives(plan: tuple[Job, ...], inputs: Inputs, bearing: str) -> tuple[Alternative, ...]:
    """Leaving the pump closed, then each outage that takes it, as the rest of the plan stands."""
    c, i = coefficients(inputs), inputs.bearing_at[bearing]
    pump, rest = int(c.pump[i]), opened(plan, Job(bearing, LEAVE), inputs)
    room = Room(c, rest)
    cost = c.cost[pump]
    least = float(np.min(cost[np.append(c.takes[pump], True)]))
    past = np.nan_to_num(c.past[i])
    found = [Alternative(Job(bearing, LEAVE), float(past[-1]), float(cost[-1]) - least, 0.0, 0.0)]
    for t in map(int, np.flatnonzero(c.takes[pump])):
        outage = inputs.outages[t]
        lack = room.lack(pump, t)
        found.append(
            Alternative(
                Job(bearing, OPEN, outage.name),
                float(past[t]),
                float(cost[t]) - least,
                float(c.job_hours[pump, t]),
                max(float(outage.crew_hours - room.used[t] - room.reserve[t]), 0.0),
                lack.reason if lack else "",
                lack.remedy if lack else "",
            )
        )
    return tuple(found)
