"""The acts of a visit while the bearing is open: opened, measured, checked, scraped, seen, decided, closed.

Every act stores at once. An entry may bring the id that a device gave it; the same again stores nothing.
Lengths are um, diametral; `by` is the inner id of the person who records.
"""

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet import units
from fleet.ledger.writing import Fact, write
from fleet.measuring_methods import is_ranged
from fleet.models import Bearing, Place, Recorded
from inspections.forecasts.forecast_figures import Figures, figures_hash
from inspections.forecasts.provenance import relied
from inspections.models import (
    Attendance,
    Decision,
    Event,
    EventKind,
    Finding,
    NotMeasured,
    Reading,
    Visit,
)
from inspections.records.corrections import correct_reading, set_counting
from inspections.records.facts import EventFact
from inspections.records.openings import NotRecorded
from inspections.records.recording import (
    close_visit,
    open_visit,
    record_event,
    record_history,
    record_reading,
)
from inspections.story.uncertainty import beyond_strip
from inspections.visits.signatures import answered_or_asked, ask_once, asking, must_be_askable

MEASURED, RECORDED, CHECKED, SIGNED = "measured", "recorded", "checked", "signed"
NOTHING_FOUND = "nothing found"


NOT_YOURS = "Its id stands for another entry on the site. Type it in again from the bearing's record page."


class OtherContent(NotRecorded):
    """An id that is known already, with other content: a question, never an overwriting."""


def open_visit_of(place: Place, today: dt.date) -> Visit | None:
    """The open visit of a place; one left open for longer than an opening takes is not continued."""
    return Visit.objects.open_on(today).filter(place=place, closed_on__isnull=True).first()


@transaction.atomic
def begin(
    *,
    bearing: Bearing,
    on: dt.date,
    by: UUID,
    measured_by: UUID | None = None,
    why: str = "",
    outage: UUID | None = None,
    id: UUID | None = None,
    entered_at: dt.datetime | None = None,
    **more: Any,
) -> Visit:
    """Continue the open visit of the bearing's pump, or open one; who measures joins it.

    Parameters
    ----------
    on : date
        the site's own day.
    why, outage : str, UUID
        known from the plan where an outage runs; they only matter for a new visit.
    id : UUID, optional
        the id a device gave the visit it opened; a visit that stands open already takes its place.

    Returns
    -------
    Visit
    """
    visit = open_visit_of(bearing.place, on)
    if visit is None:
        visit = open_visit(
            place=bearing.place, on=on, by=by, why=why, outage_id=outage, id=id, entered_at=entered_at, **more
        )
    _attend(visit, [(measured_by or by, MEASURED), (by, RECORDED)], by)
    return visit


def attend(*, visit: Visit, person: UUID, part: str, by: UUID) -> None:
    """A person takes part in a visit; once per part."""
    _attend(visit, [(person, part)], by)


def _attend(visit: Visit, parts: Sequence[tuple[UUID, str]], by: UUID) -> None:
    there = set(Attendance.objects.standing().filter(visit=visit).values_list("person_id", "part"))
    rows = [
        Attendance(id=uuid.uuid4(), visit_id=visit.pk, person_id=person, part=part)
        for person, part in parts
        if (person, part) not in there
    ]
    if rows:
        write([Fact(_pump(visit), "attendance", row) for row in rows], by=by)


def enter(
    *,
    visit: Visit,
    bearing: Bearing,
    on: dt.date,
    value: str,
    unit: str,
    by: UUID,
    id: UUID | None = None,
    instead_of: Reading | None = None,
    less: str = "",
    late: bool = False,
    **facts: Any,
) -> Reading:
    """Record one reading of a visit as typed.

    Parameters
    ----------
    value : str
        as typed, a decimal comma allowed; a unit behind the number wins over `unit`.
    instead_of : Reading, optional
        an earlier measurement at the same station; both stay, this one counts.
    less : str
        what the gauge shows beside the quantity, in the reading's unit (a ball's diameter, a constant);
        it is taken off, and both numbers stand in the note.
    id : UUID, optional
        the entry's own id; known already with the same content, the stored reading is returned.
    late : bool
        a device began it in the visit before that was closed.

    Raises
    ------
    NotRecorded
        for a value that cannot be, or a visit that is closed.
    OtherContent
        where the id is known with another value.
    """
    if known := _entered_before(id, bearing, value, by):
        return known
    must_be_open(visit, late)
    bare, unit, facts = as_recorded(value, unit, less, facts)
    with transaction.atomic():
        repeat = 1 if instead_of is None else instead_of.repeat + 1
        reading = record_reading(
            bearing=bearing,
            on=on,
            value=bare,
            unit=unit,
            by=by,
            visit=visit,
            id=id,
            repeat=repeat,
            decimal_comma="," in bare,
            **facts,
        )
        if instead_of is not None and instead_of.counts:
            set_counting(reading=instead_of, by=by, reason="measured again", counts=False)
        if checker := facts.get("checked_by"):
            ask_once(visit=visit, person=checker, by=by, claimed=facts.get("entered_at") is not None)
    return reading


def _entered_before(id: UUID | None, bearing: Bearing, value: str, by: UUID) -> Reading | None:
    """The reading that this id stands for already; with another value or bearing it is refused."""
    known: Reading | None = known_row(Reading, id, by)
    if known is None or value.strip() in known.note:
        return known
    if (known.typed, known.bearing_id) != (_parted(value)[0], bearing.pk):
        raise OtherContent(
            f"This entry is stored already as {known.typed} {known.unit}; correct that one instead."
        )
    return known


def as_recorded(value: str, unit: str, less: str, facts: dict[str, Any]) -> tuple[str, str, dict[str, Any]]:
    """The number, unit and further facts that a reading is recorded with, of what was typed.

    Raises
    ------
    NotRecorded
        for a number or unit that cannot be read.
    """
    bare, own_unit = _parted(value)
    unit = own_unit or unit
    bare, facts = _less(bare, unit, less, facts)
    bare, facts = _within_strip(bare, unit, facts)
    return bare, unit, facts


def mend(*, reading: Reading, value: str, unit: str, by: UUID, reason: str = "typed wrong") -> Reading:
    """Put a slip right in one act until the visit closes; both versions are kept.

    Raises
    ------
    NotRecorded
        once the visit is closed, or by somebody who neither measured nor recorded it.
    """
    must_be_open(reading.visit)
    if by not in (reading.recorded_by, reading.measured_by):
        raise NotRecorded(
            "Only who measured or recorded a value mends it here. Ask them, or let the engineer correct it"
            " with a reason."
        )
    bare, own_unit = _parted(value)
    return correct_reading(
        reading=reading, by=by, reason=reason, value=bare, unit=own_unit or unit, decimal_comma="," in bare
    )


def could_not_measure(
    *,
    visit: Visit,
    bearing: Bearing,
    stage: str,
    because: str,
    by: UUID,
    end: str = "",
    clock: int | None = None,
    note: str = "",
    quantity: str = "clearance",
    id: UUID | None = None,
    entered_at: dt.datetime | None = None,
    late: bool = False,
) -> NotMeasured:
    """A station that could not be measured, and why."""
    if known := known_or_open(NotMeasured, id, by, visit, late):
        return known
    if because not in NotMeasured.Because.values:
        raise NotRecorded(f"Say why: {', '.join(str(label) for label in NotMeasured.Because.labels)}.")
    row = NotMeasured(
        id=id or uuid.uuid4(),
        visit_id=visit.pk,
        bearing_id=bearing.pk,
        stage=stage,
        end=end,
        clock=clock,
        because=because,
        note=note[:300],
        quantity=quantity,
        entered_at=entered_at,
    )
    write([Fact(f"bearing:{bearing.pk}", "not_measured", row)], by=by)
    return NotMeasured.objects.get(pk=row.pk)


def event(
    *,
    visit: Visit,
    bearing: Bearing,
    kind: str,
    on: dt.date,
    by: UUID,
    id: UUID | None = None,
    late: bool = False,
    **facts: Any,
) -> Event:
    """Something done or seen in a visit: a scrape, a new shell, opened and not measured, ..."""
    if known := known_or_open(Event, id, by, visit, late):
        return known
    if kind == EventKind.OPENED and not str(facts.get("note", "")).strip():
        raise NotRecorded("Say in a few words why it was opened and not measured.")
    return record_event(kind=kind, bearing=bearing, on=on, by=by, visit=visit, id=id, **facts)


# what was seen, decided, closed ----------------------------------------------------------------------------


def see(
    *,
    visit: Visit,
    bearing: Bearing,
    on: dt.date,
    by: UUID,
    parts: Mapping[str, Mapping[str, Any]],
    note: str = "",
    id: UUID | None = None,
    entered_at: dt.datetime | None = None,
    late: bool = False,
) -> Event:
    """What was seen: {"journal": {"words": [...], "where": "", "note": ""}}; no part: nothing found."""
    if known := known_or_open(Event, id, by, visit, late):
        return known
    said = {part: one for part, one in parts.items() if one.get("words") or one.get("note")}
    with transaction.atomic():
        act = uuid.uuid4()
        fact = EventFact(
            place=bearing.place_id,
            bearing=bearing.pk,
            on=on,
            kind=str(EventKind.FOUND),
            visit_id=visit.pk,
            note=seen_note(said, note),
            id=id,
            entered_at=entered_at,
            done_by=by,
        )
        done = record_history([fact], by=by, act=act).events[0]
        rows = [
            Finding(
                id=uuid.uuid4(),
                event_id=done,
                part=part[:20],
                words=list(one.get("words", ())),
                where=str(one.get("where", ""))[:80],
                note=str(one.get("note", ""))[:500],
            )
            for part, one in said.items()
        ]
        write([Fact(f"bearing:{bearing.pk}", "finding", row) for row in rows], by=by, act=act)
    return Event.objects.get(pk=done)


def seen_note(parts: Mapping[str, Mapping[str, Any]], note: str = "") -> str:
    """What was seen in one line: "journal: scored; seals: worn", or "nothing found"."""
    words = "; ".join(
        f"{part}: {', '.join(one.get('words', ())) or one['note']}"
        for part, one in parts.items()
        if one.get("words") or one.get("note")
    )
    return "; ".join(part for part in (words or NOTHING_FOUND, note) if part)


def decide(
    *,
    bearing: Bearing,
    on: dt.date,
    advised: str,
    decided: str,
    why: str,
    by: UUID,
    figures: Figures,
    role: str = "",
    outage: UUID | None = None,
) -> Decision:
    """What was advised and decided, by whom and why, and the figures of the day that it relied on.

    Parameters
    ----------
    figures : Figures
        of this bearing as forecast on the day; the entry keeps them, so that one that differs can be named.

    Raises
    ------
    NotRecorded
        for a decision other than advised without a reason.
    """
    if decided != advised and not why.strip():
        raise NotRecorded("This is not what is advised. Say in a few words why it is decided so.")
    row = Decision(
        id=uuid.uuid4(),
        bearing_id=bearing.pk,
        outage_id=outage,
        on=on,
        advised=advised[:10],
        decided=decided[:20],
        why=why.strip()[:500],
        owner_role=role[:16],
        forecast_hash=figures_hash(figures),
    )
    chain = f"bearing:{bearing.pk}"
    body = relied(figures, on, decision=row.pk)
    write([Fact(chain, "decision", row), Fact(chain, "forecast_relied_on", body=body)], by=by)
    return Decision.objects.get(pk=row.pk)


def close(
    *,
    visit: Visit,
    on: dt.date,
    by: UUID,
    missing: Sequence[NotMeasured],
    checked_by: UUID | None,
    needed: Sequence[str] = (),
    closings: Sequence[Fact] = (),
) -> None:
    """Close a visit: what was not measured and why, the signature of who closes it, who is asked for a second
    one, the day.

    Parameters
    ----------
    missing : sequence of NotMeasured
        rows not yet stored, each with its reason.
    needed : sequence of str
        the signatures the plant asks for: `checked` wants a second person to be asked.
    closings : sequence of Fact
        each bearing's closing: the word, what was decided, the closing list.

    Raises
    ------
    NotRecorded
        where the plant asks for a second person and none is named, or whoever is named could not sign.
    """
    must_be_open(visit)
    if CHECKED in needed and checked_by is None:
        raise NotRecorded(
            "This plant asks that a second person checks the record. Choose who is asked for it."
        )
    asked = []
    if checked_by is not None:
        must_be_askable(visit, checked_by, by)
        asked = [] if answered_or_asked(visit, checked_by) else [asking(visit, checked_by)]
    signed = Attendance(id=uuid.uuid4(), visit_id=visit.pk, person_id=by, part=SIGNED)
    with transaction.atomic():
        act = uuid.uuid4()
        write(
            [Fact(f"bearing:{row.bearing_id}", "not_measured", row) for row in missing]
            + [Fact(_pump(visit), "attendance", signed), *asked]
            + list(closings),
            by=by,
            act=act,
        )
        close_visit(visit=visit, on=max(on, visit.opened_on), by=by)


def must_be_open(visit: Visit, late: bool = False) -> None:
    """Refuse what belongs into a closed visit, but `late` what a device began in it before."""
    if visit.closed_on is not None and not late:
        raise NotRecorded(
            f"This visit was closed on {visit.closed_on}. Open a new one, or let the engineer correct the"
            " record."
        )


def known_row(model: type[Recorded], pk: UUID | None, by: UUID) -> Any:
    """The row of an id that is stored already; nothing is told of somebody else's."""
    row = model._base_manager.filter(pk=pk).first() if pk else None
    if row is not None and row.recorded_by != by:
        raise OtherContent(NOT_YOURS)
    return row


def known_or_open(model: type[Recorded], pk: UUID | None, by: UUID, visit: Visit, late: bool) -> Any:
    """The row of an id that is stored already; where there is none, its visit must be open."""
    row = known_row(model, pk, by)
    if row is None:
        must_be_open(visit, late)
    return row


def _parted(value: str) -> tuple[str, str | None]:
    try:
        return units.split_unit(value)
    except units.Unreadable as fault:
        raise NotRecorded(str(fault)) from None


def _less(value: str, unit: str, less: str, facts: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """A reading with what is to be taken off taken off; what was typed stands in the note."""
    if not less.strip():
        return value, facts
    try:
        typed, off = (units.parse_number(text, decimal_comma="," in text) for text in (value, less.strip()))
    except units.Unreadable as fault:
        raise NotRecorded(f"Only a plain number can have something taken off: {fault}") from None
    note = f"typed {value} {unit}, {less.strip()} {unit} taken off"
    return f"{typed - off:f}", facts | {"note": note}


def _within_strip(value: str, unit: str, facts: dict[str, Any]) -> tuple[str, dict[str, Any]]:
    """A value beyond its strip's range, as the bound it is; what was typed stands in the note."""
    if not is_ranged(facts.get("method", "")) or not facts.get("instrument"):
        return value, facts
    try:
        um = units.to_um(units.parse_number(value, decimal_comma="," in value), unit)
    except units.Unreadable:
        return value, facts  # an interval already, or told as a fault where it is recorded
    bound = beyond_strip(float(um), str(facts["instrument"]))
    if bound is None:
        return value, facts
    sign, end = bound
    note = f"typed {value} {unit}, beyond the range of strip {facts['instrument']}"
    return f"{sign}{units.from_um(end, unit, 4 if unit in ('mm', 'in') else 1)}", facts | {"note": note}


def _pump(visit: Visit) -> str:
    return f"pump:{visit.machine_id}"


def takes_back(row: Recorded, kind: str, reason: str) -> Fact:
    return Fact(row.chain, "withdrawal", body={"of": kind, "id": row.pk, "reason": reason})
