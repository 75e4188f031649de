"""Readings corrected, taken back, set apart from wear, or said to count: each an act with a reason; both
versions stay.
"""

import uuid
from dataclasses import replace
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet import units
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Recorded
from inspections.models import (
    Reading,
)
from inspections.records.amendments import _kind_of, _must_stand, _not_ahead, _reason, _revise
from inspections.records.facts import ReadingFact
from inspections.records.facts_to_rows import instruments_of, people_of, reading_row
from inspections.records.openings import NotRecorded

# mending -------------------------------------------------------------------------------------------------

_KEPT = (
    "basis",
    "end",
    "clock",
    "stage",
    "method",
    "repeat",
    "counts",
    "not_for_wear",
    "not_for_wear_because",
    "conditions",
    "measured_by",
    "checked_by",
    "precision",
    "order",
    "job",
    "note",
    "last_on",
    "visit_id",
)


def correct_reading(
    *,
    reading: Reading,
    by: UUID,
    reason: str,
    value: str | None = None,
    unit: str | None = None,
    bearing: Bearing | None = None,
    decimal_comma: bool = False,
    **changes: Any,
) -> Reading:
    """Withdraw a reading and record what it should have been, as one act; the new one names the old.

    Parameters
    ----------
    value, unit : str, optional
        as they should have been typed; else as they were.
    bearing : Bearing, optional
        of the same pump, where it was entered at the wrong one.
    **changes
        other fields of `ReadingFact` (stage, method, end, clock, basis, on, note, ...).

    Raises
    ------
    NotRecorded
        without a reason, for a reading withdrawn already, or a value that cannot be.
    """
    reason = _reason(reason)
    typed = reading.typed if value is None else value.strip()
    fact = _as_typed(reading, bearing, typed, unit or reading.unit, decimal_comma or "," in typed)
    if "on" in changes:
        _not_ahead(reading.bearing.place, changes["on"])
        changes.setdefault("last_on", changes["on"])
    act = uuid.uuid4()
    with transaction.atomic():
        _must_stand(reading)
        fact = replace(fact, **changes)
        named = people_of([fact], by, act), instruments_of([fact], by, act)
        new = reading_row(fact, *named, {"sheet_id": reading.sheet_id})
        assert new.body is not None
        if reading.instrument_id and not fact.instrument:
            new.body["instrument_id"] = reading.instrument_id
        takes_back = {"of": "reading", "id": reading.pk, "reason": reason, "instead": new.body["id"]}
        write([Fact(reading.chain, "withdrawal", body=takes_back), new], by=by, act=act)
    return Reading.objects.get(pk=new.body["id"])


def _as_typed(
    reading: Reading, bearing: Bearing | None, typed: str, unit: str, decimal_comma: bool
) -> ReadingFact:
    """The fact that a reading would be with this value and unit, at this bearing of the same pump."""
    if bearing is not None and bearing.place_id != reading.bearing.place_id:
        raise NotRecorded(
            "This bearing belongs to another pump. Withdraw the reading here and enter it there."
        )
    unit = units.canonical_unit(unit)
    try:
        um = units.parse_measured(typed, decimal_comma=decimal_comma).to_um(unit)
        step = units.step_um(typed, unit, decimal_comma=decimal_comma)
    except units.Unreadable as fault:
        raise NotRecorded(str(fault)) from None
    return ReadingFact(
        place=reading.bearing.place_id,
        bearing=(bearing or reading.bearing).pk,
        on=reading.on,
        typed=typed,
        unit=unit,
        value_um=um.value,
        low_um=um.low,
        high_um=um.high,
        step_um=step,
        quantity=reading.quantity,
        supersedes=reading.pk,
        **{name: getattr(reading, name) for name in _KEPT},
    )


def withdraw(*, row: Recorded, by: UUID, reason: str) -> None:
    """Withdraw one reading, event or meter entry; the row and its entry stay, marked."""
    body = {"of": _kind_of(row), "id": row.pk, "reason": _reason(reason)}
    with transaction.atomic():
        _must_stand(row)
        write([Fact(row.chain, "withdrawal", body=body)], by=by)


def set_not_for_wear(*, reading: Reading, by: UUID, reason: str, apart: bool = True) -> None:
    """Set a reading apart from the wear series, or (`apart=False`) back into it; it stays on the page either
    way.
    """
    words = _reason(reason)
    _revise(
        reading,
        {"not_for_wear": apart, "not_for_wear_because": words[:300] if apart else ""},
        by=by,
        reason=words,
    )


def set_counting(*, reading: Reading, by: UUID, reason: str, counts: bool) -> None:
    """Say whether a repeated reading counts."""
    _revise(reading, {"counts": counts}, by=by, reason=_reason(reason))
