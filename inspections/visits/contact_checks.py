"""A print kept as data with what it was read as, numbered by round; a mend keeps both versions."""

import datetime as dt
import uuid
from collections.abc import Sequence
from dataclasses import replace
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.ledger.writing import Fact, write
from fleet.models import Bearing
from inspections import contact
from inspections.contact.check import Check
from inspections.contact.reader import PrintReading, read_print
from inspections.models import ContactCheck, Event, EventKind, Visit
from inspections.records.facts import EventFact
from inspections.records.openings import NotRecorded
from inspections.records.recording import record_history
from inspections.visits import print_words
from inspections.visits.acts import known_or_open, takes_back
from inspections.visits.contact_facts import earlier_prints
from inspections.visits.contact_rounds import round_number, rounds_of


def check_contact(
    *,
    visit: Visit,
    bearing: Bearing,
    on: dt.date,
    cells: Sequence[Sequence[int]],
    facts: Check,
    criteria: contact.Criteria,
    by: UUID,
    drawn: str = "",
    match_mark: str = "",
    instead_of: ContactCheck | None = None,
    note: str = "",
    id: UUID | None = None,
    entered_at: dt.datetime | None = None,
    late: bool = False,
) -> ContactCheck:
    """Keep a print as data with what it was read as, its reasons and whose criteria; numbered by round.

    Parameters
    ----------
    cells : rows around by columns along
        0 none, 1 light, 2 heavy.
    match_mark : str
        the corner of the picture at which the shell's match mark lies: `top left`, ...; empty: not said.
    instead_of : ContactCheck, optional
        a check of this visit whose cells or facts are mended; both stay.

    Raises
    ------
    NotRecorded
        for a print that is none, or a closed visit.
    """
    if known := known_or_open(ContactCheck, id, by, visit, late):
        return known
    try:
        rounds, half = rounds_of(visit, bearing), facts.half or "lower"
        reading = read_print(cells, facts, criteria, earlier_prints(rounds, half, instead_of, entered_at))
    except contact.PatternError as fault:
        raise NotRecorded(str(fault)) from None
    events = Event.objects.standing().filter(visit=visit, bearing=bearing)
    event = _event(visit, bearing, on, facts.half, reading, note)
    event = replace(event, done_by=by, entered_at=entered_at)
    row = ContactCheck(
        id=id or uuid.uuid4(),
        round=instead_of.round if instead_of else round_number(rounds, events),
        half=facts.half,
        in_place=facts.in_place,
        bedded_by_hand=facts.bedded_by_hand,
        supersedes=instead_of.pk if instead_of else None,
        pattern=_pattern(cells, facts, drawn, match_mark),
        worn={"arc_deg": f"{facts.worn_arc_deg:g}"} if facts.worn_arc_deg is not None else {},
        conditions=_conditions(facts, reading, criteria),
    )
    _store(bearing, event, row, instead_of, by)
    return ContactCheck.objects.select_related("event").get(pk=row.pk)


def _event(
    visit: Visit, bearing: Bearing, on: dt.date, half: str, reading: PrintReading, note: str
) -> EventFact:
    """The event of the bearing's history that stands for a print read so."""
    return EventFact(
        place=bearing.place_id,
        bearing=bearing.pk,
        on=on,
        kind=str(EventKind.CONTACT_CHECK),
        visit_id=visit.pk,
        half=half,
        outcome=reading.outcome or "",
        note=note,
        contact_percent=Decimal(str(round(100 * reading.coverage, 1))) if reading.outcome else None,
    )


@transaction.atomic
def _store(
    bearing: Bearing, event: EventFact, row: ContactCheck, instead_of: ContactCheck | None, by: UUID
) -> None:
    """One act: what is mended taken back, the event, and the check that belongs to it."""
    act = uuid.uuid4()
    if instead_of is not None:
        old = [
            takes_back(instead_of, "contact_check", "cells mended"),
            takes_back(instead_of.event, "event", "cells mended"),
        ]
        write(old, by=by, act=act)
        event = replace(event, supersedes=instead_of.event_id)
    row.event_id = record_history([event], by=by, act=act).events[0]
    write([Fact(f"bearing:{bearing.pk}", "contact_check", row)], by=by, act=act)


def _pattern(cells: Sequence[Sequence[int]], facts: Check, drawn: str, match_mark: str) -> dict[str, Any]:
    """The marks as they lay, and what tells which way round they were drawn."""
    pattern = {
        "cells": [list(map(int, line)) for line in cells],
        "drawn": drawn,
        "first_end": facts.first_end,
    }
    return pattern | ({"match_mark": match_mark} if match_mark else {})


def _conditions(facts: Check, reading: PrintReading, criteria: contact.Criteria) -> dict[str, Any]:
    """How it was taken and what it was read as; figures as text, as the ledger wants them."""
    taken = {
        "film": facts.film,
        "seat": facts.seat,
        "turned_deg": facts.turned_deg,
        "clearance_um": facts.clearance_um,
        "clearance_sd_um": facts.clearance_sd_um,
        "measured_twice": facts.measured_twice or None,
        "state": facts.state,
        "gained_um": facts.gained_um,
        "scrapeable": facts.scrapeable,
        "load_side": facts.load_side,
        "first_side": facts.first_side,
    }
    return {
        name: f"{value:g}" if isinstance(value, float) else value
        for name, value in (taken | print_words.kept(reading, criteria)).items()
        if value not in (None, "", [])
    }
