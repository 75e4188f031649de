"""Every act that adds to a bearing's history: check, ledger entries, typed rows, one transaction.

All acts take keyword-only facts and `by`, the inner id of the person who records. Lengths are um, diametral
for a clearance; days are the site's own days.
"""

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet import units
from fleet.bulk import without_collecting
from fleet.ledger.writing import Fact, write
from fleet.measuring_methods import quantity_measured
from fleet.models import Bearing, Place, Sheet
from inspections.models import (
    WHOLE_PUMP,
    Event,
    MeterEntry,
    Reading,
    Visit,
)
from inspections.records.amendments import _not_ahead, _revise
from inspections.records.facts import EventFact, Happened, MeterFact, ReadingFact, read_station
from inspections.records.facts_to_rows import (
    await_second_person,
    event_row,
    instruments_of,
    meter_rows,
    people_of,
    reading_row,
    settle_order_and_stage,
    shell_facts,
)
from inspections.records.openings import Machines, NotRecorded, Openings


@dataclass
class Stored:
    """What an act has stored, for whoever started it."""

    act: UUID
    readings: list[UUID] = field(default_factory=list)
    events: list[UUID] = field(default_factory=list)
    meter: list[UUID] = field(default_factory=list)
    joined: list[Happened] = field(default_factory=list)
    """Facts that joined a visit stored before."""


# the bulk act --------------------------------------------------------------------------------------------


def record_history(
    facts: Sequence[Happened], *, by: UUID, sheet: Sheet | UUID | None = None, act: UUID | None = None
) -> Stored:
    """Record many facts of any bearings as one act: visits found or made, stages and machines settled, one
    `write`.

    Parameters
    ----------
    facts : sequence of ReadingFact, EventFact, MeterFact
        in their given order (`order`); lengths in um on each reading's own basis. They are changed: visit and
        stage are filled in.
    by : UUID
        the person who records.
    sheet : Sheet or UUID, optional
        where they come from; visits made for them are closed ones.
    act : UUID, optional
        the act they belong to, where more is written in it.

    Returns
    -------
    Stored

    Raises
    ------
    NotRecorded
        where a place holds no machine, or a value lies outside what its quantity can be; nothing is stored
        then.
    """
    sheet_id = getattr(sheet, "pk", sheet)
    stored = Stored(act or uuid.uuid4())
    for fact in facts:
        if isinstance(fact, EventFact) and fact.kind in WHOLE_PUMP:
            fact.bearing = None
    with without_collecting(), transaction.atomic():
        machines = Machines(facts)
        openings = Openings(machines, facts)
        openings.assign(facts)
        stored.joined = settle_order_and_stage(facts, openings)
        await_second_person(facts, machines)
        people = people_of(facts, by, stored.act)
        instruments = instruments_of(facts, by, stored.act)
        common = {"sheet_id": sheet_id}
        readings = [reading_row(f, people, instruments, common) for f in facts if isinstance(f, ReadingFact)]
        events = [event_row(f, machines, people, common) for f in facts if isinstance(f, EventFact)]
        meter = meter_rows(facts, machines, common)
        visits = openings.rows(closed=sheet_id is not None)
        shells = shell_facts(facts, machines)
        write([*machines.new, *visits, *readings, *events, *meter, *shells], by=by, act=stored.act)
    stored.readings, stored.events, stored.meter = _ids(readings), _ids(events), _ids(meter)
    return stored


def _ids(facts: Sequence[Fact]) -> list[UUID]:
    return [fact.body["id"] for fact in facts if fact.body]


# single acts ---------------------------------------------------------------------------------------------


def record_reading(
    *,
    bearing: Bearing,
    on: dt.date,
    value: str,
    unit: str,
    by: UUID,
    visit: Visit | None = None,
    quantity: str = "",
    station: str = "",
    stage: str = "",
    method: str = "",
    decimal_comma: bool = False,
    **facts: Any,
) -> Reading:
    """Record one reading as typed: `value` may be a number, a bound (`>0.006`) or an interval
    (`0.003-0.004`).

    Parameters
    ----------
    value, unit : str
        as typed; read strictly (`fleet.units`), kept beside the um.
    **facts
        further fields of `ReadingFact` (basis, instrument, repeat, counts, note, measured_by, ...).

    Raises
    ------
    NotRecorded
        for a value, unit, station, or day that cannot be.
    """
    try:
        typed = units.parse_measured(value, decimal_comma=decimal_comma)
        um, step = typed.to_um(unit), units.step_um(value, unit, decimal_comma=decimal_comma)
    except units.Unreadable as fault:
        raise NotRecorded(str(fault)) from None
    where = read_station(station)
    if where is None:
        raise NotRecorded(
            f"'{station}' is no station; write end and clock as in-12, out-6, mid, or leave it blank."
        )
    fact = ReadingFact(
        place=bearing.place_id,
        bearing=bearing.pk,
        on=on,
        typed=value.strip(),
        unit=units.canonical_unit(unit),
        value_um=um.value,
        low_um=um.low,
        high_um=um.high,
        step_um=step,
        quantity=quantity or quantity_measured(method),
        end=where[0],
        clock=where[1],
        stage=stage,
        method=method,
        visit_id=visit.pk if visit else None,
        **facts,
    )
    _not_ahead(bearing.place, on)
    return Reading.objects.get(pk=record_history([fact], by=by).readings[0])


def record_event(
    *,
    kind: str,
    on: dt.date,
    by: UUID,
    bearing: Bearing | None = None,
    place: Place | None = None,
    visit: Visit | None = None,
    **facts: Any,
) -> Event:
    """Record one event of a bearing, or (with `place` alone) of the whole pump; further fields as in
    `EventFact`.
    """
    where = bearing.place if bearing else place
    if where is None:
        raise NotRecorded("An event needs the bearing or the pump it happened at.")
    _not_ahead(where, on)
    fact = EventFact(
        place=where.pk,
        bearing=bearing.pk if bearing else None,
        on=on,
        kind=kind,
        visit_id=visit.pk if visit else None,
        **facts,
    )
    return Event.objects.get(pk=record_history([fact], by=by).events[0])


def record_meter(*, place: Place, on: dt.date, hours: Decimal | int, by: UUID, **facts: Any) -> MeterEntry:
    """Record the hour meter of the machine that stood on a place that day; further fields
    as in `MeterFact`.
    """
    _not_ahead(place, on)
    fact = MeterFact(place=place.pk, on=on, hours=Decimal(hours), **facts)
    return MeterEntry.objects.get(pk=record_history([fact], by=by).meter[0])


def open_visit(
    *,
    place: Place,
    on: dt.date,
    by: UUID,
    why: str = "",
    label: str = "",
    job: str = "",
    id: UUID | None = None,
    **more: Any,
) -> Visit:
    """Open a visit of the machine that stands on a place that day; it stays open until it is closed.

    `more` may name `outage`, `outage_words`, `procedure`, `revision`, `entered_at`.
    """
    _not_ahead(place, on)
    machine = Machines([Happened(place=place.pk, on=on)]).on(place.pk, on)
    row = Visit(
        id=id or uuid.uuid4(),
        place_id=place.pk,
        machine_id=machine,
        opened_on=on,
        last_on=on,
        why=why,
        label=label,
        job=job,
        **more,
    )
    write([Fact(f"pump:{machine}", "visit", row)], by=by)
    return Visit.objects.get(pk=row.pk)


def close_visit(*, visit: Visit, on: dt.date, by: UUID, reason: str = "work done") -> None:
    """Close a visit on a day."""
    if on < visit.opened_on:
        raise NotRecorded(f"A visit opened on {visit.opened_on} cannot be closed on {on}; check the day.")
    _revise(visit, {"closed_on": on}, by=by, reason=reason)
