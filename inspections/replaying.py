"""What a device kept while it had no network: each entry stored once, whatever was sent twice or got no answer.

The device gives every entry its own id, and the server keeps it as the row's own; so an entry that comes again is known.
"""

import datetime as dt
from collections.abc import Mapping
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from django.db import IntegrityError, transaction

from fleet.access import may
from fleet.clock import today_at
from fleet.models import Account, Bearing
from inspections import contact, visits
from inspections.conditions import conditions_of
from inspections.expecting import station
from inspections.finding_bearings import visible
from inspections.forms.record import ContactForm, read_cells
from inspections.models import ContactCheck, Event, EventKind, NotMeasured, Reading, Stage, Visit
from inspections.seen_words import parts_said
from inspections.visiting import NotRecorded

STORED, ALREADY, REFUSED = "stored", "already", "refused"
_ROWS = {
    "reading": Reading, "could_not": NotMeasured, "scrape": Event, "opened": Event, "found": Event, "contact": ContactCheck,
}  # fmt: skip
MOST = 500  # entries in one call


def replay(entry: Any, account: Account) -> tuple[str, str]:
    """Store one entry of a device.

    Parameters
    ----------
    entry : mapping
        `id`, `kind`, `bearing`, `visit`, `author`, `entered_at`, `stage`, `station`, `fields` (as the form would send them).
    account : Account
        who sends; entries of somebody else stay on the device.

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
            _stored(pk, kind, entry, bearing, account)  # says so where the content differs
            return ALREADY, ""
        with transaction.atomic():
            _stored(pk, kind, entry, bearing, account)
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


def _stored(pk: UUID, kind: str, entry: Mapping[str, Any], bearing: Bearing, account: Account) -> None:
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
            **shared, on=on, value=_text(fields, "value"), unit=_text(fields, "unit"), stage=stage, quantity="clearance",
            station="" if where.key == "any" else where.key, method=_text(fields, "method"),
            basis=_text(fields, "basis") or "diametral", instrument=_text(fields, "instrument"), instead_of=_earlier(entry),
            conditions=conditions_of(fields.get("exceptions") or []), measured_by=_measured_by(entry, by),
        )  # fmt: skip
    elif kind == "could_not":
        visits.could_not_measure(
            **shared,
            stage=stage,
            because=_text(fields, "because"),
            end=where.end,
            clock=where.clock,
            note=_text(fields, "note"),
        )
    elif kind == "contact":
        _check(fields, shared, on)
    elif kind == "found":
        parts = parts_said(lambda name: list(fields.get(name) or []), lambda name: _text(fields, name))
        visits.see(**shared, on=on, parts={} if "nothing" in fields else parts, note=_text(fields, "note"))
    else:
        chosen = EventKind.SCRAPE if kind == "scrape" else EventKind.OPENED
        visits.event(**shared, on=on, kind=chosen, note=_text(fields, "note")[:300])


def _check(fields: Mapping[str, Any], shared: dict[str, Any], on: dt.date) -> None:
    form = ContactForm(dict(fields))
    if not form.is_valid():
        raise NotRecorded(" ".join(str(fault) for faults in form.errors.values() for fault in faults))
    drawn = _text(fields, "drawn")
    cells = read_cells(_text(fields, "cells")) or (
        contact.named(drawn).tolist() if drawn in contact.NAMES else []
    )
    visits.check_contact(
        **shared,
        on=on,
        cells=cells,
        drawn=drawn,
        facts=contact.Facts(**form.facts()),
        criteria=contact.Criteria(),
    )


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
    return UUID(str(entry.get("measured_by") or by))


def _earlier(entry: Mapping[str, Any]) -> Reading | None:
    if not entry.get("again"):
        return None
    return Reading.objects.standing().filter(pk=UUID(str(entry["again"]))).first()


def _when(entry: Mapping[str, Any], bearing: Bearing) -> tuple[dt.datetime | None, dt.date]:
    """The instant a device claims, and the site's own day of it; a day ahead of the site's is taken as today."""
    today = today_at(bearing.place.site)
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
