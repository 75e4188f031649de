"""Why a bearing stays above the accepted risk, and what would make it fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboards.outage_plan.pump_openings.coefficients import pins, refusals
from dashboards.outage_plan.pump_openings.inputs import when
from dashboards.outage_plan.pump_openings.room import Room
from fleet.formatting import day
from inspections.wear.arrays import FloatArray, IntArray


@dataclass(frozen=True)
class NotFitting:
    """A bearing above the accepted risk: how far, why, and what would make it fit."""

    bearing: str
    chance: float
    by: str
    cause: str  # already, no_outage, refused, pinned, frozen, no_shell, no_hours, twin, fits
    reason: str
    remedy: str


def not_fitting(room: Room, place: IntArray, before: FloatArray, rows: IntArray) -> tuple[NotFitting, ...]:
    """Why each bearing above the accepted risk is there, from what its outages in time
    lack; the worst first.
    """
    inputs, found = room.inputs, []
    for i in map(int, rows):
        at = int(place[i])
        by = inputs.outages[at].name if at < len(inputs.outages) else "the end of the plan"
        cause = _cause(room, i, at)
        found.append(NotFitting(inputs.bearings[i].name, float(before[i]), by, *cause))
    return tuple(sorted(found, key=lambda one: -one.chance))


Cause = tuple[str, str, str]


def _cause(room: Room, i: int, at: int) -> Cause:
    c, inputs = room.c, room.inputs
    pump = int(c.pump[i])
    name, taking = inputs.pumps[pump].name, np.flatnonzero(c.takes[pump])
    if not len(taking):
        return "no_outage", f"no outage of the plan takes {name}", f"put {name} into an outage"
    in_time = [int(t) for t in taking if np.nan_to_num(c.past[i, t]) <= c.risk[i]]
    first_at = int(taking[0])
    if not in_time and at == first_at:
        first = inputs.outages[first_at]
        return (
            "already",
            (
                f"it is above it before {first.name} of {day(first.start_on, 'month')}, its first chance to"
                " be opened"
            ),
            "open it before, or run on with checks",
        )
    in_time = in_time or [first_at]
    pin = pins(inputs).get(pump)
    if pin is not None:
        where = (
            f"to be opened {when(inputs.outages[pin].name)}"
            if pin < len(inputs.outages)
            else "to be left closed"
        )
        return "pinned", f"it is pinned {where}", "take the pin back"
    refused = refusals(inputs)[pump]
    if all(refused[t] for t in in_time):
        names = _listed([inputs.outages[t].name for t in in_time])
        return "refused", f"opening it is refused {when(names)}", "take the refusal back"
    frozen = [t for t in in_time if inputs.frozen(t)]
    if frozen and len(frozen) == len([t for t in in_time if not refused[t]]):
        names = _listed([inputs.outages[t].name for t in frozen])
        return "frozen", f"the scope of {names} is frozen without it", "pin it there in spite of the freeze"
    return _lacking(room, pump, [t for t in in_time if not refused[t]])


def _lacking(room: Room, pump: int, in_time: list[int]) -> Cause:
    """What the last outage in time lacks for it."""
    inputs = room.inputs
    t = in_time[-1]
    lack = room.lack(pump, t)
    if lack is None:
        return "fits", f"it was moved from where it fits, {when(inputs.outages[t].name)}", "plan anew"
    return lack.cause, lack.reason, lack.remedy


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
