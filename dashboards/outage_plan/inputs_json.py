"""A plan's inputs as JSON and back: what a proposal was made from, kept beside it so that a change needs no
forecast.
"""

from __future__ import annotations

import datetime as dt
from typing import Any

from dashboards.outage_plan.pump_openings.inputs import (
    Bearing,
    Hours,
    Inputs,
    Job,
    Outage,
    Pump,
    Settings,
    Spare,
)
from inspections.forecasts.judgement.judgement_figures import Judgement

FORMAT = 2  # 1 planned jobs by bearing; nothing reads it any more
_PLAIN = ("name", "pump", "shell_type", "bore_um", "shell_h", "last_um")


def to_json(inputs: Inputs) -> dict[str, Any]:
    """The inputs as plain JSON. Pins, refusals and the accepted plan are not in it: they are kept as changes
    and as the record.
    """
    s = inputs.settings
    return {
        "format": FORMAT,
        "as_of": inputs.as_of.isoformat(),
        "bearings": [_bearing(b) for b in inputs.bearings],
        "outages": [
            [
                o.name,
                o.start_on.isoformat(),
                o.end_on.isoformat(),
                o.crew_hours,
                o.block,
                sorted(o.pumps),
                o.scope_freeze_on.isoformat() if o.scope_freeze_on else None,
                o.between,
                o.agreed,
            ]
            for o in inputs.outages
        ],
        "pumps": [[p.name, p.block, p.twin] for p in inputs.pumps],
        "spares": [
            [
                x.shell_type,
                x.half,
                x.bore_um,
                x.on_hand,
                [[d.isoformat(), n] for d, n in x.due_back],
                x.lead_time_days,
                x.may_order,
            ]
            for x in inputs.spares
        ],
        "relined_after_days": dict(inputs.relined_after_days),
        "settings": [s.margin_days, s.bore_tolerance_um],
    }


def _bearing(b: Bearing) -> dict[str, Any]:
    return {name: getattr(b, name) for name in _PLAIN} | {
        "halves": list(b.halves),
        "hours": [b.hours.measure_h, b.hours.scrape_h, b.hours.replace_h],
        "last_on": b.last_on.isoformat() if b.last_on else None,
        "judged": b.judged.to_json(),
    }


def from_json(kept: dict[str, Any]) -> Inputs | None:
    """The inputs that were kept; None where an earlier version kept them in another form."""
    judged = (
        [Judgement.from_json(b["judged"]) for b in kept["bearings"]] if kept.get("format") == FORMAT else []
    )
    if kept.get("format") != FORMAT or any(one is None for one in judged):
        return None
    day = dt.date.fromisoformat
    return Inputs(
        as_of=day(kept["as_of"]),
        bearings=tuple(_read_bearing(b, one) for b, one in zip(kept["bearings"], judged, strict=True) if one),
        outages=tuple(
            Outage(
                name,
                day(start),
                day(end),
                crew,
                block,
                frozenset(pumps),
                day(freeze) if freeze else None,
                between=between,
                agreed=agreed,
            )
            for name, start, end, crew, block, pumps, freeze, between, agreed in kept["outages"]
        ),
        pumps=tuple(Pump(*p) for p in kept["pumps"]),
        spares=tuple(
            Spare(kind, half, bore, n, tuple((day(d), k) for d, k in due), lead, may)
            for kind, half, bore, n, due, lead, may in kept["spares"]
        ),
        relined_after_days=kept["relined_after_days"],
        settings=Settings(*kept["settings"]),
    )


def _read_bearing(kept: dict[str, Any], judged: Judgement) -> Bearing:
    return Bearing(
        **{name: kept[name] for name in _PLAIN},
        judged=judged,
        hours=Hours(*kept["hours"]),
        halves=tuple(kept["halves"]),
        last_on=dt.date.fromisoformat(kept["last_on"]) if kept["last_on"] else None,
    )


def jobs_to_json(jobs: tuple[Job, ...]) -> list[list[str]]:
    """Jobs as lists of bearing, action, outage."""
    return [[job.bearing, job.action, job.outage] for job in jobs]


def jobs_from_json(kept: list[list[str]]) -> tuple[Job, ...]:
    """And back."""
    return tuple(sorted(Job(*one) for one in kept))
