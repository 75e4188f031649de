"""What a device kept while it had no network: each entry stored once, whatever was sent twice or got no answer.

The device gives every entry its own id, and the server keeps it as the row's own; so an entry that comes again is known.
"""

import datetime as dt
from collections.abc import Mapping
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from fleet import registering
from fleet.access import may
from fleet.clock import today_at
from fleet.models import Account, Attachment, Bearing
from inspections import contact, visits
from inspections.conditions import conditions_of
from inspections.contact_facts import clearance_now, criteria_for, facts_for
from inspections.expecting import before, station
from inspections.finding_bearings import visible
from inspections.forms.record import ContactForm, WorkForm, read_cells
from inspections.models import ContactCheck, Event, EventKind, NotMeasured, Quantity, Reading, Stage, Visit
from inspections.photos import allowed_at, keep_photo
from inspections.seen_words import parts_said
from inspections.visiting import NotRecorded

STORED, ALREADY, REFUSED = "stored", "already", "refused"
_ROWS = {
    "reading": Reading, "could_not": NotMeasured, "scrape": Event, "opened": Event, "found": Event, "work": Event,
    "contact": ContactCheck, "photo": Attachment,
}  # fmt: skip
MOST = 500  # entries in one call


def replay(entry: Any, account: Account, photo: bytes | None = None) -> tuple[str, str]:
    """Store one entry of a device.

    Parameters
    ----------
    entry : mapping
        `id`, `kind`, `bearing`, `visit`, `author`, `entered_at`, `stage`, `station`, `fields` (as the form would send them).
    account : Account
        who sends; entries of somebody else stay on the device.
    photo : bytes, optional
        the picture of an entry of the kind `photo`, which comes by itself, after the figures.

    Returns
    -------
    (state, why)
        `stored`, `already`, or `refused` with a sentence; nothing is stored of a refused one.
    """
    try:
        pk, bearing, kind = UUID(str(entry["id"])), _bearing(entry, account), str(entry["kind"])
        if kind not in _ROWS:
            raise NotRecorded(f"'{kind}' is no kind of entry; kinds are {', '.join(_ROWS)}.")
        if str(entry.get("author")) != str(account.person_id):
            raise NotRecorded("This was entered by somebody else; it waits on the device until they sign in.")
        if _ROWS[kind]._base_manager.filter(pk=pk).exists():  # type: ignore[attr-defined]
            _stored(pk, kind, entry, bearing, account, photo)  # says so where the content differs
            return ALREADY, ""
        with transaction.atomic():
            _stored(pk, kind, entry, bearing, account, photo)
    except IntegrityError:
        return ALREADY, ""
    except NotRecorded as fault:
        return REFUSED, str(fault)
    except (KeyError, TypeError, ValueError, AttributeError):
        return REFUSED, "The entry cannot be read. Type it in again from the bearing's record page."
    return STORED, ""


def _bearing(entry: Mapping[str, Any], account: Account) -> Bearing:
    found = visible(account).filter(pk=UUID(str(entry["bearing"]))).first()
    if found is None or not may(account, "record", found.place.site):
        raise NotRecorded("This bearing is not one that you may record for.")
    return found


def _stored(
    pk: UUID,
    kind: str,
    entry: Mapping[str, Any],
    bearing: Bearing,
    account: Account,
    photo: bytes | None = None,
) -> None:
    """One entry by its kind, by the same acts as the pages use."""
    instant, on = _when(entry, bearing)
    by, fields = account.person_id, entry.get("fields") or {}
    visit = _visit(entry, bearing, on, by, instant)
    where = station(str(entry.get("station") or "any"))
    stage = str(entry.get("stage") or Stage.AS_FOUND)
    if stage not in Stage.values:
        raise NotRecorded(f"'{stage}' is no stage; stages are as_found and as_left.")
    shared: dict[str, Any] = {"visit": visit, "bearing": bearing, "by": by, "id": pk, "entered_at": instant}
    if kind == "reading":
        visits.enter(
            **shared, on=on, value=_text(fields, "value"), unit=_text(fields, "unit"), stage=stage, quantity=_quantity(entry),
            station="" if where.key == "any" else where.key, method=_text(fields, "method"),
            basis=_text(fields, "basis") or "diametral", less=_text(fields, "less"), instead_of=_earlier(entry),
            instrument=_text(fields, "instrument_other").strip() or _text(fields, "instrument"),
            conditions=conditions_of(fields.get("exceptions") or []), measured_by=_measured_by(entry, by),
            checked_by=UUID(str(entry["checked_by"])) if entry.get("checked_by") else None,
        )  # fmt: skip
    elif kind == "could_not":
        visits.could_not_measure(
            **shared,
            stage=stage,
            because=_text(fields, "because"),
            end=where.end,
            clock=where.clock,
            note=_text(fields, "note"),
            quantity=_quantity(entry),
        )
    elif kind == "contact":
        _check(fields, shared, on)
    elif kind == "photo":
        _keep(pk, entry, photo, shared, on)
    elif kind == "work":
        _work(fields, shared, on)
    elif kind == "found":
        parts = parts_said(lambda name: list(fields.get(name) or []), lambda name: _text(fields, name))
        visits.see(**shared, on=on, parts={} if "nothing" in fields else parts, note=_text(fields, "note"))
    else:
        chosen = EventKind.SCRAPE if kind == "scrape" else EventKind.OPENED
        visits.event(**shared, on=on, kind=chosen, note=_text(fields, "note")[:300])


def _check(fields: Mapping[str, Any], shared: dict[str, Any], on: dt.date) -> None:
    """A print, read with the plant's criteria and what the record knows, as the page reads it."""
    form = ContactForm(dict(fields))
    if not form.is_valid():
        raise NotRecorded(" ".join(str(fault) for faults in form.errors.values() for fault in faults))
    drawn, bearing, visit = _text(fields, "drawn"), shared["bearing"], shared["visit"]
    cells = read_cells(_text(fields, "cells")) or (
        contact.named(drawn).tolist() if drawn in contact.NAMES else []
    )
    known = before(bearing, visit.opened_on)
    rows = Reading.objects.standing().filter(visit=visit, bearing=bearing).order_by("on", "order", "entry_n")
    visits.check_contact(
        **shared, on=on, cells=cells, drawn=drawn, match_mark=form.cleaned_data["match_mark"],
        facts=facts_for(form.facts(), known, clearance_now(rows, known)),
        criteria=criteria_for(bearing.place.site_id, on),
    )  # fmt: skip


def _work(fields: Mapping[str, Any], shared: dict[str, Any], on: dt.date) -> None:
    form = WorkForm(dict(fields))
    if not form.is_valid():
        raise NotRecorded(" ".join(str(fault) for faults in form.errors.values() for fault in faults))
    said = form.cleaned_data
    visits.event(
        **shared, on=on, kind=said["kind"], half=said["half"], shell=said["shell"], reason=said["reason"],
        note=said["note"], done_by=shared["by"],
    )  # fmt: skip


def _keep(
    pk: UUID, entry: Mapping[str, Any], photo: bytes | None, shared: dict[str, Any], on: dt.date
) -> None:
    if not allowed_at(shared["bearing"].place.site, on):
        raise NotRecorded("Photos are not allowed at this site. Remove it from the device.")
    if photo is None:
        raise NotRecorded("The photo itself did not come. Take it again.")
    fields = entry.get("fields") or {}
    keep_photo(
        visit=shared["visit"], bearing=shared["bearing"], data=photo, by=shared["by"], id=pk,
        name=str(entry.get("name") or "photo"), note=_text(fields, "note"),
    )  # fmt: skip


def _quantity(entry: Mapping[str, Any]) -> str:
    name = str(entry.get("quantity") or "clearance")
    if name not in Quantity.values:
        raise NotRecorded(f"'{name}' is no quantity; quantities are {', '.join(Quantity.values)}.")
    return name


def _visit(
    entry: Mapping[str, Any], bearing: Bearing, on: dt.date, by: UUID, instant: dt.datetime | None
) -> Visit:
    """The visit an entry belongs to: the one it names, the one that stands open, or a new one under the device's id."""
    pk = UUID(str(entry["visit"]))
    known = Visit.objects.standing().filter(pk=pk).first()
    if known is not None:
        if known.place_id != bearing.place_id:
            raise NotRecorded("The visit it names is of another pump.")
        return known
    return visits.begin(
        bearing=bearing, on=on, by=by, measured_by=_measured_by(entry, by), id=pk, entered_at=instant
    )


def _measured_by(entry: Mapping[str, Any], by: UUID) -> UUID:
    """Who measured: by id, or (typed on the device) by name."""
    if typed := str(entry.get("measured_by_name") or "").strip():
        return registering.person_named(typed[:120], by=by).pk
    return UUID(str(entry.get("measured_by") or by))


def _earlier(entry: Mapping[str, Any]) -> Reading | None:
    if not entry.get("again"):
        return None
    return Reading.objects.standing().filter(pk=UUID(str(entry["again"]))).first()


def _when(entry: Mapping[str, Any], bearing: Bearing) -> tuple[dt.datetime | None, dt.date]:
    """The instant a device claims, and the site's own day of it; a day ahead of the site's is taken as today.

    A sheet's own day (`on`) goes before the day of typing.
    """
    today = today_at(bearing.place.site)
    if entry.get("on"):
        return None, min(dt.date.fromisoformat(str(entry["on"])), today)
    try:
        instant = dt.datetime.fromisoformat(str(entry.get("entered_at")))
    except ValueError:
        return None, today
    if instant.tzinfo is None:
        instant = instant.replace(tzinfo=dt.UTC)
    return instant, min(instant.astimezone(ZoneInfo(bearing.place.site.time_zone)).date(), today)


def _text(fields: Mapping[str, Any], name: str) -> str:
    value = fields.get(name, "")
    return str(value[0] if isinstance(value, list) and value else value or "")
