"""What every later change of a row stands on: the row still stands, a reason is given, the change is an entry
of its own.
"""

import datetime as dt
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet import clock
from fleet.ledger import kinds
from fleet.ledger.writing import Fact, write
from fleet.models import Place, Recorded
from inspections.records.openings import NotRecorded


def _revise(row: Recorded, values: dict[str, Any], *, by: UUID, reason: str) -> None:
    body = {"of": _kind_of(row), "id": row.pk, "set": values, "reason": reason}
    with transaction.atomic():
        _must_stand(row)
        write([Fact(row.chain, "revision", body=body)], by=by)
    row.refresh_from_db()


def _kind_of(row: Recorded) -> str:
    for known in kinds.all_kinds():
        if known.model is type(row):
            return known.name
    raise NotRecorded(f"A {type(row).__name__} is no part of a bearing's history.")


def _must_stand(row: Recorded) -> None:
    """Refuse what was withdrawn, also by somebody else a moment ago: the row is held until the transaction
    ends.
    """
    held = type(row)._base_manager.select_for_update().filter(pk=row.pk)
    if held.values_list("withdrawn_by", flat=True).first():
        raise NotRecorded("This has been withdrawn already; look at what was recorded instead of it.")


def _reason(words: str) -> str:
    if not words.strip():
        raise NotRecorded("A reason is needed: say in a few words why the record changes.")
    return words.strip()


def _not_ahead(place: Place, on: dt.date) -> None:
    today = clock.today_at(place.site)
    if on > today:
        raise NotRecorded(f"{on} lies ahead; at {place.site} it is {today} today. Check the day.")
