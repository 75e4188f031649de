"""The kinds of entry of a device: what each says, how it is stored by the same form and act as on the
screens, and what a stored row of it says, so that the two can be compared.
"""

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django import forms

from fleet.models import Attachment, Instrument, Recorded, folded
from inspections import contact
from inspections.models import ContactCheck, Event, EventKind, Finding, NotMeasured, Reading
from inspections.records.openings import NotRecorded
from inspections.visits import tapped_cells
from inspections.visits.acts import (
    as_recorded,
    could_not_measure,
    enter,
    event,
    see,
    seen_note,
)
from inspections.visits.contact_checks import check_contact
from inspections.visits.contact_facts import check_facts, criteria_for
from inspections.visits.damage_words import parts_said
from inspections.visits.device_entry import DeviceEntry, uuid_of
from inspections.visits.expectations import Before, before
from inspections.visits.forms import ContactForm, CouldNotForm, ReadingForm, WorkForm, read_cells
from inspections.visits.photos import allowed_at, caption, keep_photo
from inspections.visits.stations import Station

# Content by name, as words that two versions of an entry are compared by and told apart with.
Said = dict[str, str]


@dataclass(frozen=True)
class EntryKind:
    """One kind: the row it becomes, what an entry says, the act that stores it, and what
    a stored row says.
    """

    model: type[Recorded]
    says: Callable[[DeviceEntry], Said]
    store: Callable[[DeviceEntry], None]
    holds: Callable[[Any], Said]


def _filled(form: forms.Form) -> dict[str, Any]:
    """A form's fields, or its faults in one sentence each."""
    if not form.is_valid():
        raise NotRecorded(" ".join(str(fault) for faults in form.errors.values() for fault in faults))
    return form.cleaned_data


def _shared(entry: DeviceEntry) -> dict[str, Any]:
    """What every act takes: the visit it belongs to, the bearing, who, the device's id and claim."""
    visit, on = entry.visit(entry.measured_by())
    return {
        "visit": visit,
        "bearing": entry.bearing,
        "by": entry.by,
        "id": entry.id,
        "entered_at": entry.claimed,
        "on": on,
        "late": visit.closed_on is not None,
    }


# readings


def _reading(entry: DeviceEntry) -> dict[str, Any]:
    form = ReadingForm({"basis": "diametral"} | entry.form_data())
    _filled(form)
    return form.facts()


def _reading_said(
    *,
    value: str,
    unit: str,
    note: str,
    method: str,
    basis: str,
    gauge: str,
    conditions: Iterable[str],
    quantity: str,
    stage: str,
    station: str,
    checked_by: UUID | None,
) -> Said:
    """What a reading says, whether a device sent it or the record holds it: compared word for word."""
    return {
        "value": value,
        "unit": unit,
        "note": note,
        "method": method,
        "basis": basis,
        "gauge": gauge,
        "conditions": ", ".join(sorted(conditions)),
        "quantity": quantity,
        "stage": stage,
        "station": station,
        "checked by": str(checked_by or ""),
    }


def _reading_says(entry: DeviceEntry) -> Said:
    facts = _reading(entry)
    more = {name: facts[name] for name in ("method", "instrument")}
    typed, unit, more = as_recorded(facts["value"], facts["unit"], facts["less"], more)
    return _reading_said(
        value=typed.strip(),
        unit=unit,
        note=more.get("note", ""),
        method=facts["method"],
        basis=facts["basis"],
        gauge=folded(facts["instrument"]),
        conditions=facts["conditions"],
        quantity=entry.quantity,
        stage=entry.stage,
        station=entry.station.key,
        checked_by=entry.person("checked_by"),
    )


def _store_reading(entry: DeviceEntry) -> None:
    facts, measured_by = _reading(entry), entry.measured_by()
    shared = _shared(entry)
    enter(
        **shared,
        **facts,
        stage=entry.stage,
        quantity=entry.quantity,
        measured_by=measured_by,
        station="" if entry.station.key == "any" else entry.station.key,
        instead_of=entry.measured_before(shared["visit"]),
        checked_by=entry.person("checked_by"),
    )


def _reading_holds(row: Reading) -> Said:
    gauge = Instrument.objects.filter(pk=row.instrument_id).first() if row.instrument_id else None
    return _reading_said(
        value=row.typed,
        unit=row.unit,
        note=row.note,
        method=row.method,
        basis=row.basis,
        gauge=gauge.folded if gauge else "",
        conditions=row.conditions,
        quantity=row.quantity,
        stage=row.stage,
        station=Station(row.end, row.clock).key,
        checked_by=row.checked_by,
    )


# stations left out


def _could_not_says(entry: DeviceEntry) -> Said:
    facts = _filled(CouldNotForm(entry.form_data()))
    return {
        "reason": facts["because"],
        "note": facts["note"],
        "quantity": entry.quantity,
        "stage": entry.stage,
        "station": entry.station.key,
    }


def _store_could_not(entry: DeviceEntry) -> None:
    facts = _filled(CouldNotForm(entry.form_data()))
    shared = _shared(entry)
    del shared["on"]
    could_not_measure(
        **shared,
        stage=entry.stage,
        because=facts["because"],
        end=entry.station.end,
        clock=entry.station.clock,
        note=facts["note"],
        quantity=entry.quantity,
    )


def _could_not_holds(row: NotMeasured) -> Said:
    return {
        "reason": row.because,
        "note": row.note,
        "quantity": row.quantity,
        "stage": row.stage,
        "station": Station(row.end, row.clock).key,
    }


# prints


def _print(entry: DeviceEntry) -> tuple[dict[str, Any], ContactForm, str, list[list[int]]]:
    form = ContactForm(entry.form_data())
    facts, drawn = _filled(form), entry.text("drawn", 40)
    if drawn and drawn not in contact.NAMES:
        raise NotRecorded(f"'{drawn}' is no drawn shell; drawn are {', '.join(contact.NAMES)}.")
    cells = read_cells(entry.text("cells", 2000)) or (contact.named(drawn).tolist() if drawn else [])
    return facts, form, drawn, cells


def _print_says(entry: DeviceEntry) -> Said:
    facts, form, drawn, cells = _print(entry)
    how = form.facts()
    return _print_words(
        cells,
        drawn,
        how["half"],
        how["in_place"],
        how["bedded_by_hand"],
        how["first_end"],
        how["film"],
        how["first_side"],
        facts["match_mark"],
        how["worn_arc_deg"],
        how["turned_deg"],
    )


def _print_words(
    cells: Any,
    drawn: str,
    half: str,
    in_place: bool | None,
    bedded: bool | None,
    first_end: str,
    film: str,
    first_side: str,
    match_mark: str,
    worn_arc: Any,
    turned: Any,
) -> Said:
    return {
        "cells": "/".join("".join(".+#"[mark] for mark in line) for line in cells),
        "shell": drawn,
        "half": half or "lower",
        "in place": str(in_place),
        "bedded": str(bedded),
        "left": first_end,
        "dye": film,
        "upper edge": first_side,
        "match mark": match_mark,
        "worn arc": f"{float(worn_arc):g}" if worn_arc not in (None, "") else "",
        "turned": f"{float(turned):g}" if turned not in (None, "") else "",
    }


def _store_print(entry: DeviceEntry) -> None:
    """A print, read with the plant's criteria and what the record knows, as the page reads it."""
    facts, form, drawn, cells = _print(entry)
    shared = _shared(entry)
    visit, bearing, on = shared["visit"], shared["bearing"], shared["on"]
    known = before(bearing, visit.opened_on)
    if entry.text("check", 40):
        _store_tapped(entry, cells, known, shared)
        return
    check_contact(
        **shared,
        cells=cells,
        drawn=drawn,
        match_mark=facts["match_mark"],
        facts=check_facts(form.facts(), known, visit, bearing, shared["entered_at"]),
        criteria=criteria_for(bearing.place.site_id, on),
    )


def _store_tapped(entry: DeviceEntry, cells: Any, known: Before, shared: dict[str, Any]) -> None:
    """Cells tapped on a print that is stored, or waits on the same device: they take its place, unless more
    was tapped since.

    What was scraped when the print was left (`leave`, `scrape_id`) comes after it.
    """
    taps = entry.text("taps", 8)
    draft = tapped_cells.tap(
        check=uuid_of(entry.text("check", 40), "check"),
        by=shared["by"],
        visit=shared["visit"].pk,
        bearing=shared["bearing"].pk,
        cells=cells,
        fields=entry.form_data(),
        taps=int(taps) if taps.isascii() and taps.isdigit() else None,
    )
    where = {name: shared[name] for name in ("visit", "bearing", "on", "id", "entered_at", "late")}
    tapped_cells.keep(draft, known=known, **where)
    if entry.text("leave", 10) == "scraped":
        scrape = uuid_of(entry.text("scrape_id", 40), "scrape_id")
        event(**shared | {"id": scrape}, kind=EventKind.SCRAPE)


def _print_holds(row: ContactCheck) -> Said:
    pattern, how = row.pattern, row.conditions
    return _print_words(
        pattern.get("cells", []),
        pattern.get("drawn", ""),
        row.half,
        row.in_place,
        row.bedded_by_hand,
        pattern.get("first_end", "out"),
        how.get("film", ""),
        how.get("first_side", ""),
        pattern.get("match_mark", ""),
        row.worn.get("arc_deg"),
        how.get("turned_deg"),
    )


# work, openings, findings


def _work_says(entry: DeviceEntry) -> Said:
    facts = _filled(WorkForm(entry.form_data()))
    return {"event": facts["kind"]} | {name: facts[name] for name in ("half", "shell", "reason", "note")}


def _store_work(entry: DeviceEntry) -> None:
    facts = _filled(WorkForm(entry.form_data()))
    more = {name: facts[name] for name in ("kind", "half", "shell", "reason", "note")}
    event(**_shared(entry), **more, done_by=entry.by)


def _event_holds(row: Event) -> Said:
    return {"event": row.kind, "half": row.half, "shell": row.shell, "reason": row.reason, "note": row.note}


def _plain_event(kind: EventKind) -> EntryKind:
    """A scrape, or an opening without a measurement: a note alone."""

    def says(entry: DeviceEntry) -> Said:
        return {"event": str(kind), "half": "", "shell": "", "reason": "", "note": entry.text("note", 300)}

    def store(entry: DeviceEntry) -> None:
        event(**_shared(entry), kind=kind, note=entry.text("note", 300))

    return EntryKind(Event, says, store, _event_holds)


def _seen(entry: DeviceEntry) -> dict[str, dict[str, Any]]:
    if "nothing" in entry.fields:
        return {}
    parts = parts_said(entry.texts, lambda name: entry.text(name, 80 if name.startswith("where") else 300))
    parts = {part: one for part, one in parts.items() if one["words"] or one["note"]}
    if not parts:
        raise NotRecorded("Tick what was seen, write a word, or tap Nothing found.")
    return parts


def _seen_words(parts: Any) -> str:
    return "; ".join(
        f"{part}: {', '.join(words)} {where} {note}".strip() for part, words, where, note in sorted(parts)
    )


def _seen_says(entry: DeviceEntry) -> Said:
    parts = _seen(entry)
    found = [(part, one["words"], one["where"], one["note"]) for part, one in parts.items()]
    return {
        "event": "found",
        "note": seen_note(parts, entry.text("note", 300)),
        "found": _seen_words(found),
    }


def _store_seen(entry: DeviceEntry) -> None:
    see(**_shared(entry), parts=_seen(entry), note=entry.text("note", 300))


def _seen_holds(row: Event) -> Said:
    rows = Finding._base_manager.filter(event=row).values_list("part", "words", "where", "note")
    return {"event": row.kind, "note": row.note, "found": _seen_words(rows)}


# photos


def _picture(entry: DeviceEntry) -> bytes:
    if entry.photo is None:
        raise NotRecorded("The photo itself did not come. Take it again.")
    return entry.photo


def _caption(entry: DeviceEntry) -> str:
    return caption(entry.text("moment", 20), entry.text("note", 300))


def _photo_says(entry: DeviceEntry) -> Said:
    return {"picture": hashlib.sha256(_picture(entry)).hexdigest()[:12], "note": _caption(entry)}


def _store_photo(entry: DeviceEntry) -> None:
    if not allowed_at(entry.bearing.place.site, entry.claimed_day):
        raise NotRecorded("Photos are not allowed at this site. Remove it from the device.")
    visit, _ = entry.visit(entry.measured_by())
    keep_photo(
        visit=visit,
        bearing=entry.bearing,
        data=_picture(entry),
        by=entry.by,
        id=entry.id,
        name=entry.word("name", 200) or "photo",
        note=_caption(entry),
        late=visit.closed_on is not None,
    )


def _photo_holds(row: Attachment) -> Said:
    return {"picture": row.file_id[:12], "note": row.note}


KINDS: dict[str, EntryKind] = {
    "reading": EntryKind(Reading, _reading_says, _store_reading, _reading_holds),
    "could_not": EntryKind(NotMeasured, _could_not_says, _store_could_not, _could_not_holds),
    "scrape": _plain_event(EventKind.SCRAPE),
    "opened": _plain_event(EventKind.OPENED),
    "found": EntryKind(Event, _seen_says, _store_seen, _seen_holds),
    "work": EntryKind(Event, _work_says, _store_work, _event_holds),
    "contact": EntryKind(ContactCheck, _print_says, _store_print, _print_holds),
    "photo": EntryKind(Attachment, _photo_says, _store_photo, _photo_holds),
}
MODELS = tuple({one.model for one in KINDS.values()})
