"""Facts into typed rows: order and stage settled, persons and instruments found or made, radial readings
doubled.
"""

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal
from functools import lru_cache
from typing import Any
from uuid import UUID

from django.db.models import Max

from fleet.ledger.writing import Fact
from fleet.models import ShellHalf, Site, folded
from fleet.plant.gauge_register import instruments_named
from fleet.plant.people import persons_named
from fleet.plant.second_person import sites_wanting
from fleet.units import SHOWN_UNIT, from_um
from inspections.models import (
    BOUNDS_UM,
    WORK,
    Event,
    EventKind,
    MeterEntry,
    Quantity,
    Reading,
    reading_columns,
)
from inspections.records.entry_bodies import new_row
from inspections.records.facts import EventFact, Happened, MeterFact, ReadingFact
from inspections.records.openings import Machines, NotRecorded, Openings

_NEW_SHELL = (EventKind.SHELL_CHANGE, EventKind.REBABBITT)
_folded = lru_cache(maxsize=5000)(folded)


def settle_order_and_stage(facts: Sequence[Happened], openings: Openings) -> list[Happened]:
    """Put facts of a stored visit after what it holds; fill in blank stages. Returns the facts that joined a
    stored visit.
    """
    old = {pk for pk, opening in openings.used.items() if opening.stored}
    old |= {f.visit_id for f in facts if f.visit_id and f.visit_id not in openings.used}
    joined = [fact for fact in facts if fact.visit_id in old]
    if joined:
        last: dict[UUID, int] = {}
        for model in (Reading, Event):
            tops = (
                model._base_manager.filter(visit_id__in=old)
                .values_list("visit_id")
                .annotate(top=Max("order"))
            )
            for visit, top in tops:
                last[visit] = max(last.get(visit, 0), top + 1)
        for fact in joined:
            fact.order += last.get(fact.visit_id, 0)  # type: ignore[arg-type]
    works = _first_works(facts, old)
    for fact in facts:
        if isinstance(fact, ReadingFact) and not fact.stage:
            when = [
                works[key] for key in ((fact.visit_id, fact.bearing), (fact.visit_id, None)) if key in works
            ]
            fact.stage = "as_left" if when and min(when) < (fact.on, fact.order) else "as_found"
    return joined


def _first_works(
    facts: Sequence[Happened], old: set[UUID]
) -> dict[tuple[UUID | None, UUID | None], tuple[dt.date, int]]:
    """Day and order of the first work of each visit, by bearing (None: of the whole pump)."""
    works: dict[tuple[UUID | None, UUID | None], tuple[dt.date, int]] = {}
    found = [
        (f.visit_id, f.bearing, f.on, f.order) for f in facts if isinstance(f, EventFact) and f.kind in WORK
    ]
    if old:
        stored = Event.objects.standing().filter(visit_id__in=old, kind__in=WORK)
        found += stored.values_list("visit_id", "bearing_id", "on", "order")
    for visit, bearing, on, order in found:
        key = (visit, bearing)
        works[key] = min(works.get(key, (on, order)), (on, order))
    return works


def people_of(facts: Sequence[Happened], by: UUID, act: UUID) -> dict[str, UUID]:
    """Persons by their folded names, unknown ones made: a name is enough for who measured."""
    names = {
        name
        for fact in facts
        for name in (getattr(fact, column, None) for column in ("measured_by", "done_by", "checked_by"))
        if isinstance(name, str)
    }
    return {name: person.pk for name, person in persons_named(names, by=by, act=act).items()} if names else {}


def instruments_of(facts: Sequence[Happened], by: UUID, act: UUID) -> dict[str, UUID]:
    """Instruments by their folded labels, unknown ones made."""
    labels: dict[str, str] = {}
    for fact in facts:
        if isinstance(fact, ReadingFact) and fact.instrument:
            labels.setdefault(fact.instrument, fact.method)
    if not labels:
        return {}
    return {name: row.pk for name, row in instruments_named(labels, by=by, act=act).items()}


def _from_sheet(fact: Happened, common: dict[str, Any]) -> dict[str, Any]:
    return {
        "on": fact.on,
        "last_on": fact.to,
        "precision": fact.precision,
        "order": fact.order,
        "note": fact.note,
        "job": fact.job,
        "sheet_row": fact.sheet_row,
        "row_id": fact.row_id,
        "sheet_id": common["sheet_id"],
        "entered_at": fact.entered_at,
    }


def _person(given: UUID | str | None, people: dict[str, UUID]) -> UUID | None:
    return people.get(_folded(given)) if isinstance(given, str) else given


def reading_row(
    fact: ReadingFact, people: dict[str, Any], instruments: dict[str, Any], common: dict[str, Any]
) -> Fact:
    """The entry of a reading; a radial clearance is doubled here and only here."""
    assert fact.visit_id is not None  # assigned before rows are made
    double = 2 if fact.basis == "radial" and fact.quantity == Quantity.CLEARANCE else 1
    value, low, high = (None if n is None else n * double for n in (fact.value_um, fact.low_um, fact.high_um))
    for number in (value, low, high):
        _within_bounds(fact.quantity, number, fact)
    settled = {
        "bearing_id": fact.bearing,
        "instrument_id": instruments.get(_folded(fact.instrument)) if fact.instrument else None,
        "step_um": None if fact.step_um is None else fact.step_um * double,
        "value_um": value,
        "low_um": low,
        "high_um": high,
        "measured_by": _person(fact.measured_by, people),
        "checked_by": _person(fact.checked_by, people),
        **_from_sheet(fact, common),
    }
    values = {
        column: settled[column] if column in settled else getattr(fact, column)
        for column in reading_columns()
    }
    return new_row(f"bearing:{fact.bearing}", "reading", values, fact.id)


def _within_bounds(quantity: str, number: Decimal | None, fact: ReadingFact) -> None:
    low, high = BOUNDS_UM[quantity]
    if number is None or low <= number <= high:
        return
    doubled = ", doubled because it is radial," if fact.basis == "radial" else ""
    ends = " and ".join(_plain(Decimal(end), fact.unit) for end in (low, high))
    raise NotRecorded(
        f"{fact.typed} {SHOWN_UNIT.get(fact.unit, fact.unit)}{doubled} cannot be: a"
        f" {Quantity(quantity).label.lower()} lies between {ends} {SHOWN_UNIT.get(fact.unit, fact.unit)}."
        " Check the value and its unit."
    )


def _plain(um: Decimal, unit: str) -> str:
    """A bound in a unit, without zeros that say nothing: 10, 0.3937."""
    text = from_um(um, unit)
    return text.rstrip("0").rstrip(".") if "." in text else text


def event_row(fact: EventFact, machines: Machines, people: dict[str, Any], common: dict[str, Any]) -> Fact:
    """The entry of an event, on its bearing's chain or, of the whole pump, on the machine's."""
    values = {
        "place_id": fact.place,
        "bearing_id": fact.bearing,
        "visit_id": fact.visit_id,
        "kind": fact.kind,
        "half": fact.half,
        "shell": fact.shell,
        "reason": fact.reason,
        "outcome": fact.outcome,
        "contact_percent": fact.contact_percent,
        "done_by": _person(fact.done_by, people),
        "checked_by": _person(fact.checked_by, people),
        "supersedes": fact.supersedes,
        "awaits_second": fact.awaits_second,
        **_from_sheet(fact, common),
    }
    chain = f"bearing:{fact.bearing}" if fact.bearing else f"pump:{machines.on(fact.place, fact.on)}"
    return new_row(chain, "event", values, fact.id)


def meter_rows(facts: Sequence[Happened], machines: Machines, common: dict[str, Any]) -> list[Fact]:
    """Meter entries; what only stood beside something else counts once per machine and day, and not beside an
    entry proper.
    """
    given = [fact for fact in facts if isinstance(fact, MeterFact)]
    if not given:
        return []
    stored = MeterEntry.objects.standing().filter(
        on__gte=min(f.on for f in given), on__lte=max(f.on for f in given)
    )
    taken = set(stored.values_list("machine_id", "on")) if any(f.beside for f in given) else set()
    rows = []
    for fact in sorted(given, key=lambda f: f.beside):
        machine = machines.on(fact.place, fact.on)
        if fact.beside and (machine, fact.on) in taken:
            continue
        taken.add((machine, fact.on))
        values = {
            "machine_id": machine,
            "place_id": fact.place,
            "hours": fact.hours,
            "reset": fact.reset,
            "hours_before": fact.hours_before,
            "starts": fact.starts,
            **_from_sheet(fact, common),
        }
        rows.append(new_row(f"pump:{machine}", "meter", values))
    return rows


def await_second_person(facts: Sequence[Happened], machines: Machines) -> None:
    """Mark new shells and new metal of sites that want a second person: stored, and not yet confirmed.

    Our reading of "a shell change wants a second person": it is a fact that happened, so nothing holds it
    back; its own entry says that it waits, whatever the plant chooses later, and the second person's entry
    names it.
    """
    new = [f for f in facts if isinstance(f, EventFact) and f.bearing and f.kind in _NEW_SHELL]
    if not new:
        return
    sites = Site.objects.filter(pk__in={machines.site[fact.place] for fact in new})
    wanting = sites_wanting(sites)
    for fact in new:
        if machines.site[fact.place] in wanting:
            fact.awaits_second = True


def shell_facts(facts: Sequence[Happened], machines: Machines) -> list[Fact]:
    """Which halves lie in a position from the day of a shell change on; a rebabbitt without serial fits
    nothing new.
    """
    given = [
        f
        for f in facts
        if isinstance(f, EventFact)
        and f.bearing
        and f.kind in _NEW_SHELL
        and (f.shell or f.kind == EventKind.SHELL_CHANGE)
    ]
    serials = {fact.shell for fact in given if fact.shell}
    known = (
        {
            (site, serial, half): pk
            for site, serial, half, pk in (
                ShellHalf.objects.standing()
                .filter(serial__in=list(serials))
                .values_list("site_id", "serial", "half", "pk")
            )
        }
        if serials
        else {}
    )
    made: list[Fact] = []
    fitted: list[Fact] = []
    for fact in given:
        assert fact.bearing is not None
        for half in (fact.half,) if fact.half else ("lower", "upper"):
            key = (machines.site[fact.place], fact.shell, half)
            if fact.shell and key not in known:
                values = {"site_id": key[0], "serial": fact.shell, "half": half}
                known[key] = uuid.uuid4()
                # A shell travels between positions, so it stands on no bearing's chain.
                made.append(new_row("plant", "shell_half", values, known[key]))
            fitting = {
                "bearing_id": fact.bearing,
                "half": half,
                "shell_id": known.get(key) if fact.shell else None,
                "from_on": fact.on,
                "precision": fact.precision,
            }
            fitted.append(new_row(f"bearing:{fact.bearing}", "shell_fitting", fitting))
    return made + fitted
