"""Two records of one thing: one stands, the other is superseded and names it; both stay to be read."""

import json
from typing import Any
from uuid import UUID

from django.db import transaction
from django.db.models import Q, QuerySet

from fleet.ledger.writing import Fact, write
from fleet.models import Entry
from inspections.models import Event, MeterEntry, Reading
from inspections.records.openings import NotRecorded

Row = Reading | Event | MeterEntry
KINDS: dict[type, str] = {Reading: "reading", Event: "event", MeterEntry: "meter"}
OFFERED = 40  # the records nearest in time


def others(row: Row) -> list[Row]:
    """Standing records of the same sort at the same place that `row` may be one thing with, nearest in time
    first.
    """
    rows: QuerySet[Any] = type(row).objects.standing().exclude(pk=row.pk)
    if isinstance(row, Reading):
        rows = rows.filter(bearing=row.bearing_id, quantity=row.quantity)
    elif isinstance(row, Event):
        # Work told of the whole pump and of one of its bearings may be one piece of work.
        rows = (
            rows.filter(kind=row.kind, chain=row.chain)
            if row.bearing_id is None
            else rows.filter(
                Q(bearing=row.bearing_id) | Q(bearing__isnull=True, place=row.place_id), kind=row.kind
            )
        )
    else:
        rows = rows.filter(chain=row.chain)
    return sorted(rows, key=lambda one: abs((one.on - row.on).days))[:OFFERED]


def joined_with(row: Row) -> UUID | None:
    """The record that stands in place of one that was joined to it; None where it was not."""
    if row.withdrawn_by is None:
        return None
    for text in Entry.objects.filter(thing=row.pk, act=row.withdrawn_by).values_list("text", flat=True):
        body = json.loads(text)["body"]
        if body.get("joined"):
            return UUID(body["instead"])
    return None


def join(*, row: Row, standing: Row, by: UUID, reason: str) -> bool:
    """Supersede `row` by `standing`, which records the same thing; one withdrawal that names it.

    Parameters
    ----------
    row, standing : Reading, Event or MeterEntry
        both of one sort; of a reading, one bearing and quantity; of an event, one kind.
    reason : str
        why they are one.

    Returns
    -------
    bool
        False where the two were joined so already: nothing is stored twice.

    Raises
    ------
    NotRecorded
        without a reason; for one record twice, one withdrawn, or two that cannot be one thing.
    """
    if not reason.strip():
        raise NotRecorded("A reason is needed: say in a few words why the two are one.")
    if row.pk == standing.pk:
        raise NotRecorded("These are one record already; choose another one.")
    with transaction.atomic():
        # Both are held, in the order of their ids, so that two who join them crosswise cannot lose both.
        held = {
            one.pk: one
            for one in (
                type(row)
                ._base_manager.select_for_update()
                .filter(pk__in=(row.pk, standing.pk))
                .order_by("pk")
            )
        }
        if len(held) < 2:
            raise NotRecorded(
                "The two are not of one sort; a reading is joined with a reading, work with work."
            )
        if joined_with(held[row.pk]) == standing.pk:
            return False
        if held[row.pk].withdrawn_by or held[standing.pk].withdrawn_by:
            raise NotRecorded("One of the two has been withdrawn already; look at what stands now.")
        if standing.pk not in {one.pk for one in others(row)}:
            raise NotRecorded("The two are not of one bearing and one sort, so they cannot be one thing.")
        body = {
            "of": KINDS[type(row)],
            "id": row.pk,
            "reason": reason.strip(),
            "instead": standing.pk,
            "joined": True,
        }
        write([Fact(row.chain, "withdrawal", body=body)], by=by)
    row.refresh_from_db()
    return True
