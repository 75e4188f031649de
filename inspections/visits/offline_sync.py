"""What a device kept while it had no network: each entry stored once, whatever was sent twice or got no
answer.

The device gives every entry its own id, and the server keeps it as the row's own. The answer names the id and
the hash of the bytes that came: only then may the device let go of them. Every entry has a transaction of its
own.
"""

import logging
from dataclasses import dataclass
from typing import Any

from django.db import DatabaseError, IntegrityError, OperationalError, transaction

from fleet.ledger.refusals import sentence_of
from fleet.models import Account, Attachment
from inspections.models import ContactCheck, Event, Reading
from inspections.records.openings import NotRecorded
from inspections.visits import receipts
from inspections.visits.acts import NOT_YOURS, OtherContent
from inspections.visits.device_entry import UNREADABLE, DeviceEntry, NotYet, Sent
from inspections.visits.device_kinds import KINDS, MODELS, EntryKind, Said

STORED, ALREADY, REFUSED = "stored", "already", "refused"
MOST = 500  # entries in one call
BUSY = "The site was busy. The entry stays on the device and goes again by itself."
OWN_FAULT = (
    "The site could not take this entry by a fault of its own, which is noted for the administrator. "
    "The entry stays on the device: send it again later, or write it down."
)
_LOG = logging.getLogger(__name__)


@dataclass(frozen=True)
class Answer:
    """What became of one entry: its id as far as it could be read, the hash of its bytes, and why where it
    was refused.

    `later`: nothing is wrong with it; the device sends it again by itself.
    """

    id: str
    sha256: str
    state: str
    why: str = ""
    later: bool = False

    def as_json(self) -> dict[str, Any]:
        return vars(self)


def replay(sent: Sent, account: Account) -> Answer:
    """Store one entry of a device, or say why not; nothing is stored of a refused one.

    Parameters
    ----------
    sent : Sent
        the bytes of `id`, `kind`, `bearing`, `visit`, `author`, `entered_at` or `on`, `stage`, `station`,
        `quantity`, `again`, `measured_by` or `measured_by_name`, `checked_by`, `fields` (as the form would
        send them).
    account : Account
        who sends; entries of somebody else stay on the device.
    """
    entry: DeviceEntry | None = None
    try:
        entry = DeviceEntry(sent.body(), account, sent.photo)
        state = _replayed(sent, entry)
    except NotRecorded as fault:
        return _refused(sent, entry, str(fault), later=isinstance(fault, NotYet))
    except OperationalError:
        _LOG.exception("an entry of a device waits for the database")
        return _refused(sent, entry, BUSY, later=True)
    except DatabaseError as error:
        said = sentence_of(error)
        return _refused(sent, entry, f"{said[:1].upper()}{said[1:].rstrip('.')}.")
    except Exception:
        _LOG.exception("an entry of a device could not be stored")
        return _refused(sent, entry, OWN_FAULT)
    return Answer(str(entry.id), sent.sha256, state)


def _refused(sent: Sent, entry: DeviceEntry | None, why: str, later: bool = False) -> Answer:
    """The answer to a refused entry, and its receipt where it has a bearing that the
    account may record for.
    """
    try:
        pk = str(entry.id) if entry else ""
    except NotRecorded:
        pk = ""
    if entry is not None and pk and not later and str(entry.raw.get("author")) == str(entry.by):
        try:
            with transaction.atomic():
                receipts.note_refused(sent, entry, why)
        except NotRecorded:
            pass  # of no bearing that the account may record for: shown on the device alone
        except DatabaseError:
            _LOG.exception("a refused entry of a device has no receipt")
    return Answer(pk, sent.sha256, REFUSED, why, later)


def _replayed(sent: Sent, entry: DeviceEntry) -> str:
    """`stored` or `already`; twice tried where the same id is being stored by another request at the same
    moment.
    """
    if str(entry.raw.get("author")) != str(entry.by):
        raise NotRecorded("This was entered by somebody else; it waits on the device until they sign in.")
    if receipts.is_stored(sent, entry.id, entry.account):
        return ALREADY
    name = entry.raw.get("kind")
    if not isinstance(name, str) or name not in KINDS:
        raise NotRecorded(f"{UNREADABLE} Its kind is none of {', '.join(KINDS)}.")
    kind = KINDS[name]
    try:
        return _stored_once(sent, entry, kind)
    except IntegrityError:
        return _stored_once(sent, DeviceEntry(entry.raw, entry.account, entry.photo), kind)


def _stored_once(sent: Sent, entry: DeviceEntry, kind: EntryKind) -> str:
    _ = entry.bearing  # the right to record there comes before anything else is looked up
    with transaction.atomic():
        # One entry of an account at a time: what is looked up here cannot be stored by another tab a moment
        # later. Rows that point to the account are not held up by it.
        list(Account.objects.select_for_update(no_key=True).filter(pk=entry.account.pk).values_list("pk"))
        row = next(
            (row for model in MODELS if (row := model._base_manager.filter(pk=entry.id).first())), None
        )
        if row is None:
            kind.says(entry)  # everything is read before anything is written
            kind.store(entry)
        else:
            _must_be_the_same(row, entry, kind)
        receipts.note_stored(sent, entry)
    return STORED if row is None else ALREADY


def _must_be_the_same(row: Any, entry: DeviceEntry, kind: EntryKind) -> None:
    """A known id with the same content is known already; with other content it is a question for a person.

    Raises
    ------
    OtherContent
        naming what differs; to whoever did not record it, nothing is named.
    """
    if row.recorded_by != entry.by or _bearing_of(row) != str(entry.bearing.pk):
        raise OtherContent(NOT_YOURS)
    if not isinstance(row, kind.model):
        raise OtherContent(_conflict(["another kind of entry"], ""))
    there, here = kind.holds(row), kind.says(entry)
    different = [
        f"{name} {_shown(there, name)} there, {_shown(here, name)} here"
        for name in here
        if there[name] != here[name]
    ]
    if not _same_day(row, entry):
        different.append("another day")
    if isinstance(row, Reading) and not entry.is_measured_by(row.measured_by):
        different.append("another person who measured")
    if different:
        raise OtherContent(
            _conflict(different, f" {row.typed} {row.unit}," if isinstance(row, Reading) else "")
        )


def _shown(said: Said, name: str) -> str:
    return f"'{said[name][:60]}'" if said[name] else "none"


def _conflict(different: list[str], stored_as: str) -> str:
    return (
        f"This entry is stored already{f' as{stored_as}' if stored_as else ''} with other content:"
        f" {'; '.join(different)}. Nothing was changed. Mend what stands on the bearing's record page, then"
        " remove this one from the device."
    )[:600]


def _bearing_of(row: Any) -> str:
    if isinstance(row, Attachment):
        return row.chain.removeprefix("bearing:")
    return str(row.event.bearing_id if isinstance(row, ContactCheck) else row.bearing_id)


def _same_day(row: Any, entry: DeviceEntry) -> bool:
    """By the device's own claim where both have one, else by the day; a photo and a station left out keep
    none.
    """
    dated = row.event if isinstance(row, ContactCheck) else row
    if isinstance(row, Attachment):
        return True
    if entry.claimed and dated.entered_at:
        return bool(entry.claimed == dated.entered_at)
    return not isinstance(dated, Reading | Event) or dated.on == entry.claimed_day
