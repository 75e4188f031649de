"""Gauges and their calibration: what was checked when, until when it holds, and what was found wrong."""

import datetime as dt
import hashlib
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from fleet import clock
from fleet.formatting import plain_day
from fleet.ledger.writing import Fact, write
from fleet.models import Attachment, Calibration, Instrument, StoredFile
from fleet.models.recorded import IN_ORDER
from fleet.plant.acts import PLANT, Refused, fact_of

MOST_BYTES = 12_000_000
MOST_OFF_UM = (
    1000  # um that a gauge may have read too much or too little (common practice, no published source)
)
# What a certificate may be, by its first bytes.
CERTIFICATES = {b"%PDF-": "application/pdf", b"\xff\xd8\xff": "image/jpeg", b"\x89PNG\r\n\x1a\n": "image/png"}


@dataclass(frozen=True)
class Certificate:
    """The paper of a calibration as it came."""

    name: str
    data: bytes


def calibrate(
    *,
    instrument: Instrument,
    on: dt.date,
    by: UUID,
    due_on: dt.date | None = None,
    found_fit: bool = True,
    note: str = "",
    read_over_um: Decimal | None = None,
    certificate: Certificate | None = None,
    id: UUID | None = None,
) -> Calibration:
    """Record that a gauge was checked on a day: fit until `due_on`, or found wrong.

    Parameters
    ----------
    read_over_um : Decimal, optional
        what it read too much when it was checked, before it was set, um; below 0: too little.
    id : UUID, optional
        the form's own id; sent twice it stores once.

    Raises
    ------
    Refused
        for a day ahead, a due day before it, an error no gauge has, or a certificate that is none.
    """
    if id and (known := Calibration.objects.filter(pk=id).first()):
        return known
    if on > clock.today_in("UTC") + dt.timedelta(days=1):
        raise Refused(f"{on} lies ahead. Give the day on which the gauge was checked.")
    if due_on is not None and due_on <= on:
        raise Refused(f"The next check, {due_on}, must come after this one, {on}.")
    if not found_fit and not note.strip():
        raise Refused("Say in a few words what was found wrong with the gauge.")
    if read_over_um is not None and not abs(read_over_um) <= MOST_OFF_UM:
        raise Refused(
            f"An error of {read_over_um} um is more than any gauge in use has. At most {MOST_OFF_UM} um"
            " either way: give the difference from the reference, not the reading."
        )
    row = Calibration(
        id=id or uuid.uuid4(),
        instrument=instrument,
        on=on,
        due_on=due_on if found_fit else None,
        found_fit=found_fit,
        note=note.strip()[:500],
        read_over_um=read_over_um,
    )
    facts = [fact_of(row)]
    with transaction.atomic():
        if certificate is not None:
            facts.append(_kept(certificate, row))
        write(facts, by=by)
    return Calibration.objects.get(pk=row.pk)


def _kept(certificate: Certificate, about: Calibration) -> Fact:
    if not certificate.data.startswith(tuple(CERTIFICATES)):
        raise Refused("The certificate is no PDF, JPEG or PNG. Send it as one of these, or leave it out.")
    if len(certificate.data) > MOST_BYTES:
        raise Refused(f"The certificate has {len(certificate.data) // 1_000_000} MB; at most 12 MB are kept.")
    digest = hashlib.sha256(certificate.data).hexdigest()
    StoredFile.objects.get_or_create(
        sha256=digest, defaults={"size": len(certificate.data), "data": certificate.data}
    )
    row = Attachment(
        id=uuid.uuid4(), file_id=digest, name=certificate.name[-200:] or "certificate", about=about.pk
    )
    return Fact(PLANT, "attachment", row=row)


def content_type_of(data: bytes) -> str:
    """What a kept certificate is, by its first bytes."""
    return next(
        (kind for start, kind in CERTIFICATES.items() if data.startswith(start)), "application/octet-stream"
    )


def calibrations(instruments: Iterable[Instrument] | None = None) -> dict[UUID, list[Calibration]]:
    """The standing calibrations of gauges (None: of all), by gauge, the earliest first."""
    rows = Calibration.objects.standing().order_by("on", *IN_ORDER)
    if instruments is not None:
        rows = rows.filter(instrument__in=[one.pk for one in instruments])
    found: dict[UUID, list[Calibration]] = {}
    for row in rows:
        found.setdefault(row.instrument_id, []).append(row)
    return found


def doubt_on(known: Iterable[Calibration], on: dt.date) -> str:
    """What speaks against a gauge on a day, in words; nothing where it was fit and in time.

    Parameters
    ----------
    known : calibrations of one gauge, the earliest first.

    Returns
    -------
    str
        empty, "not calibrated by then", "calibration overdue since ...", or "found wrong ...". A gauge found
        wrong later casts its doubt back to its last good check (ISO 9001:2015, 7.1.5.2).
    """
    rows = list(known)
    before = [row for row in rows if row.on <= on]
    wrong = next((row for row in rows if row.on > on), None)
    if before and not before[-1].found_fit:
        return f"found wrong {plain_day(before[-1].on)}"
    if wrong is not None and not wrong.found_fit:
        return f"found wrong {plain_day(wrong.on)}"
    if not before:
        return "not calibrated by then"
    due = before[-1].due_on
    return f"calibration overdue since {plain_day(due)}" if due is not None and due < on else ""


def in_doubt(known: Iterable[Calibration], wrong: Calibration) -> tuple[dt.date | None, dt.date]:
    """From the last good check before (None: from the beginning) until the day a gauge was found wrong."""
    good = [row.on for row in known if row.found_fit and row.on < wrong.on]
    return (good[-1] if good else None), wrong.on


def doubts(readings: Iterable[tuple[UUID | None, dt.date]]) -> Mapping[tuple[UUID, dt.date], str]:
    """For (gauge, day) pairs of readings: what speaks against the gauge on that day, where something does.

    A plant that records no calibrations at all is told nothing: there every reading would carry the same
    words.
    """
    wanted = {(gauge, on) for gauge, on in readings if gauge is not None}
    known = calibrations() if wanted else {}
    if not known:
        return {}
    said = {(gauge, on): doubt_on(known.get(gauge, []), on) for gauge, on in wanted}
    return {key: words for key, words in said.items() if words}
