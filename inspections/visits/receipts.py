"""Receipts of what devices sent: kept beside the record, and what was refused shown until somebody settles
it.
"""

from uuid import UUID

from fleet.access import may
from fleet.clock import now
from fleet.models import Account, Bearing, Place
from inspections.models import DeviceReceipt, Stage
from inspections.records.openings import NotRecorded
from inspections.visits.device_entry import DeviceEntry, Sent
from inspections.visits.stations import Station

MOST_OPEN = 500  # refused entries of one account that are kept for showing
SENT_AGAIN, STORED_LATER = "sent again with other content", "stored later"
_WHAT = {
    "reading": "Reading",
    "could_not": "Not measured",
    "scrape": "Scraped",
    "opened": "Opened, nothing measured",
    "found": "What was seen",
    "work": "Work done",
    "contact": "Contact print",
    "photo": "Photo",
}


def is_stored(sent: Sent, entry: UUID, account: Account) -> bool:
    """Whether these very bytes of this account are in the record already."""
    return DeviceReceipt.objects.filter(
        account=account, entry=entry, sha256=sent.sha256, outcome=DeviceReceipt.Outcome.STORED
    ).exists()


def note_stored(sent: Sent, entry: DeviceEntry) -> None:
    """The receipt of an entry that is in the record; what was refused of it before is settled by that."""
    DeviceReceipt.objects.update_or_create(
        account=entry.account,
        entry=entry.id,
        sha256=sent.sha256,
        defaults={
            "outcome": DeviceReceipt.Outcome.STORED,
            "why": "",
            "words": "",
            "bearing": entry.bearing,
            "at": now(),
        },
    )
    _open_of(entry.account, entry.id).update(
        settled_at=now(), settled_by=entry.account.person_id, settled_how=STORED_LATER
    )


def note_refused(sent: Sent, entry: DeviceEntry, why: str) -> None:
    """Keep a refusal to be shown at the pump's page, once per content; of a bearing that the account may
    record for.
    """
    rows = _open_of(entry.account, entry.id)
    rows.exclude(sha256=sent.sha256).update(
        settled_at=now(), settled_by=entry.account.person_id, settled_how=SENT_AGAIN
    )
    if _open_of(entry.account).count() >= MOST_OPEN:
        return
    DeviceReceipt.objects.get_or_create(
        account=entry.account,
        entry=entry.id,
        sha256=sent.sha256,
        defaults={
            "outcome": DeviceReceipt.Outcome.REFUSED,
            "why": why[:600],
            "words": words_of(entry)[:300],
            "bearing": entry.bearing,
            "at": now(),
        },
    )


def _open_of(account: Account, entry: UUID | None = None):
    rows = DeviceReceipt.objects.filter(
        account=account, outcome=DeviceReceipt.Outcome.REFUSED, settled_at=None
    )
    return rows if entry is None else rows.filter(entry=entry)


def words_of(entry: DeviceEntry) -> str:
    """ "Reading 1O5 mm, as found, pump end": what was entered and where, as far as it can be read."""
    kind = str(entry.raw.get("kind"))
    fields = entry.raw.get("fields")
    fields = fields if isinstance(fields, dict) else {}
    typed = (
        " ".join(str(fields.get(name, ""))[:40] for name in ("value", "unit")).strip()
        if kind == "reading"
        else ""
    )
    parts = [f"{_WHAT.get(kind, 'Entry')} {typed}".strip()]
    if kind in ("reading", "could_not"):
        parts.append(dict(Stage.choices).get(str(entry.raw.get("stage")), ""))  # type: ignore[call-overload]
        parts.append(_where(entry))
    return ", ".join(part for part in parts if part)


def _where(entry: DeviceEntry) -> str:
    try:
        return "" if entry.station == Station("", None) else entry.station.words
    except NotRecorded:
        return ""


def unsettled_at(place: Place) -> list[DeviceReceipt]:
    """What devices sent for the bearings of a pump and was refused, the oldest first."""
    rows = DeviceReceipt.objects.filter(
        bearing__place=place, outcome=DeviceReceipt.Outcome.REFUSED, settled_at=None
    )
    return list(rows.select_related("account__person", "bearing").order_by("at", "pk"))


def settle(receipt: int, *, how: str, account: Account) -> Bearing:
    """Say what became of a refused entry; it is shown no more. Answers with its bearing.

    Raises
    ------
    NotRecorded
        for one that is none, is settled already, or stands at a site where the account may not record.
    """
    row = (
        DeviceReceipt.objects.filter(pk=receipt, outcome=DeviceReceipt.Outcome.REFUSED)
        .select_related("bearing__place__site")
        .first()
    )
    if row is None or row.bearing is None or not may(account, "record", row.bearing.place.site):
        raise NotRecorded("No entry of a device waits here under this name.")
    if not how.strip():
        raise NotRecorded("Say in a few words what became of it.")
    DeviceReceipt.objects.filter(pk=receipt, settled_at=None).update(
        settled_at=now(), settled_by=account.person_id, settled_how=how.strip()[:120]
    )
    return row.bearing
