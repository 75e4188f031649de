"""What is put right in one tap until the visit closes: which of two readings counts, and a work tapped by
mistake.
"""

from uuid import UUID

from django.db import transaction

from inspections.models import Event, EventKind, Reading
from inspections.records.corrections import set_counting, withdraw
from inspections.records.openings import NotRecorded
from inspections.visits.acts import must_be_open

# What is mended on a page of its own: a print cell by cell.
NOT_TAKEN_BACK = (EventKind.CONTACT_CHECK,)


def choose(*, reading: Reading, by: UUID) -> None:
    """Say which of the readings of one station counts: this one; the others stay in the record.

    Raises
    ------
    NotRecorded
        where no other reading of its station counts.
    """
    same = ("visit_id", "bearing_id", "stage", "quantity", "end", "clock")
    rows = Reading.objects.standing().filter(**{name: getattr(reading, name) for name in same}, counts=True)
    others = [row for row in rows if row.pk != reading.pk]
    if not others or not reading.counts:
        raise NotRecorded("It was settled already which of the readings of this station counts.")
    with transaction.atomic():
        for row in others:
            reason = f"{reading.typed} {reading.unit} of the same station counts instead"
            set_counting(reading=row, by=by, reason=reason, counts=False)


def take_back(*, event: Event, by: UUID) -> None:
    """Take back a work, a scrape or what was seen, tapped by mistake; it stays in the record as taken back.

    Raises
    ------
    NotRecorded
        once the visit is closed, by somebody who neither did nor recorded it, or for a print.
    """
    if event.visit is not None:
        must_be_open(event.visit)
    if event.kind in NOT_TAKEN_BACK:
        raise NotRecorded("A print is mended on its own page, cell by cell.")
    if by not in (event.recorded_by, event.done_by):
        raise NotRecorded(
            "Only who did or recorded it takes it back here. Ask them, or let the engineer correct it with a"
            " reason."
        )
    withdraw(row=event, by=by, reason="tapped by mistake")
