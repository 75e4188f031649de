"""Interim checks of what is put off: each a note in the bearing's story, and the day on which the next is
due.
"""

import datetime as dt
from collections.abc import Iterable
from uuid import UUID

from fleet.models import Bearing
from fleet.plant.acts import Refused
from inspections.models import Event, EventKind
from inspections.records.recording import record_event

BEGINS = "Interim check: "
LONGEST_VALUE = 200


def last_checks(bearings: Iterable[UUID]) -> dict[UUID, dt.date]:
    """By bearing, the day of its last interim check; one query."""
    rows = Event.objects.standing().filter(
        bearing__in=list(bearings), kind=EventKind.NOTE, note__startswith=BEGINS
    )
    days: dict[UUID, dt.date] = {}
    for bearing, on in rows.values_list("bearing_id", "on"):
        if bearing is not None:
            days[bearing] = max(on, days.get(bearing, on))
    return days


def record_check(*, bearing: Bearing, on: dt.date | None, value: str, today: dt.date, by: UUID) -> Event:
    """Record an interim check: what was read, as it was read.

    Raises
    ------
    Refused
        without a value that holds a digit, for one that is too long, and for a day ahead.
    """
    words, faults = " ".join(value.split()), []
    if not any(letter.isdigit() for letter in words):
        faults.append("Say what was read, with its unit, such as 'bearing metal 88 °C'.")
    if len(words) > LONGEST_VALUE:
        faults.append(f"What was read: at most {LONGEST_VALUE} characters.")
    if on is None or on > today:
        faults.append(f"Give the day of the check, {today} at the latest.")
    if faults or on is None:
        raise Refused(" ".join(faults))
    return record_event(kind=EventKind.NOTE, bearing=bearing, on=on, by=by, note=f"{BEGINS}{words}")
