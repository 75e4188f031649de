"""A plan's inputs as JSON and back: what a proposal was made from, kept beside it so that a change needs no forecast."""

from __future__ import annotations

import datetime as dt
from typing import Any

import numpy as np

from dashboards.outage_plan.bearing_jobs.inputs import (
    Bearing,
    FloatArray,
    Hours,
    Inputs,
    Job,
    Look,
    Opening,
    Outage,
    Pump,
    Settings,
    Spare,
)
from dashboards.outage_plan.bearing_jobs.opening import Outlook

DIGITS = 6  # of a chance: a millionth is far below what any forecast knows


def to_json(inputs: Inputs, outlook: Outlook | None = None) -> dict[str, Any]:
    """The inputs, and what the next reading could show, as plain JSON; an unknown chance is null.

    Pins, refusals and the accepted plan are not in it: they are kept as changes and as the record.
    """
    s = inputs.settings
    return {
        "as_of": inputs.as_of.isoformat(),
        "days": _numbers(inputs.days),
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
        "settings": {name: getattr(s, name) for name in _SETTINGS},
        "horizon_on": s.horizon_on.isoformat() if s.horizon_on else None,
        "outlook": {name: _numbers(getattr(outlook, name)) for name in _OUTLOOK} if outlook else None,
    }


_SETTINGS = (
    "accepted_risk",
    "hour_cost",
    "again_factor",
    "breach_factor",
    "owed_factor",
    "scrape_share",
    "keep_from",
    "between_factor",
    "margin_days",
    "bore_tolerance_um",
)
_OUTLOOK = ("clearance_um", "rate_um_per_kh", "hours_per_day", "limit_um", "reading_sd_um")
_PLAIN = (
    "name",
    "pump",
    "consequence",
    "shell_type",
    "bore_um",
    "shell_cost",
    "life_days",
    "scrape_owed",
    "scrapeable",
)
_OPENING = ("value", "chance", "changes", "follow_up")


def _numbers(values: FloatArray) -> list[Any]:
    rounded = np.round(np.asarray(values, float), DIGITS)
    return np.where(np.isfinite(rounded), rounded, None).tolist()  # type: ignore[call-overload, no-any-return]


def _bearing(b: Bearing) -> dict[str, Any]:
    opening = {name: _numbers(getattr(b.opening, name)) for name in _OPENING} if b.opening else None
    h = b.hours
    return {name: getattr(b, name) for name in _PLAIN} | {
        "left": _numbers(b.chance_left),
        "new": _numbers(b.chance_new),
        "halves": list(b.halves),
        "hours": [h.open_h, h.measure_h, h.scrape_h, h.replace_h],
        "opening": opening,
        "looks": {name: [look.closed, look.shell, look.words] for name, look in b.looks.items()},
    }


def from_json(kept: dict[str, Any]) -> tuple[Inputs, Outlook | None]:
    """The inputs and the outlook that were kept."""
    day = dt.date.fromisoformat
    horizon = kept["horizon_on"]
    inputs = Inputs(
        as_of=day(kept["as_of"]),
        days=_array(kept["days"]),
        bearings=tuple(_read_bearing(b) for b in kept["bearings"]),
        outages=tuple(
            Outage(
                name,
                day(start),
                day(end),
                crew,
                block,
                frozenset(pumps),
                day(freeze) if freeze else None,
                between=any(more),
            )
            for name, start, end, crew, block, pumps, freeze, *more in kept["outages"]
        ),
        pumps=tuple(Pump(*p) for p in kept["pumps"]),
        spares=tuple(
            Spare(kind, half, bore, n, tuple((day(d), k) for d, k in due), lead, may)
            for kind, half, bore, n, due, lead, may in kept["spares"]
        ),
        relined_after_days=kept["relined_after_days"],
        settings=Settings(**kept["settings"], horizon_on=day(horizon) if horizon else None),
    )
    look = kept["outlook"]
    return inputs, Outlook(**{name: _array(look[name]) for name in _OUTLOOK}) if look else None


def _array(values: list[Any]) -> FloatArray:
    return np.array(values, dtype=float)


def _read_bearing(said: dict[str, Any]) -> Bearing:
    opening = said["opening"]
    return Bearing(
        **{name: said[name] for name in _PLAIN},
        chance_left=_array(said["left"]),
        chance_new=_array(said["new"]),
        halves=tuple(said["halves"]),
        hours=Hours(*said["hours"]),
        opening=Opening(**{name: _array(opening[name]) for name in _OPENING}) if opening else None,
        looks={name: Look(*look) for name, look in said.get("looks", {}).items()},
    )


def jobs_to_json(jobs: tuple[Job, ...]) -> list[list[str]]:
    """Jobs as lists of bearing, action, outage."""
    return [[job.bearing, job.action, job.outage] for job in jobs]


def jobs_from_json(kept: list[list[str]]) -> tuple[Job, ...]:
    """And back."""
    return tuple(sorted(Job(*one) for one in kept))
