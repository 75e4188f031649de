"""What is handed to `recording`: plain facts of one reading, event or meter entry, before machine and visit
are known.
"""

import datetime as dt
import re
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any
from uuid import UUID

from fleet.end_words import END_CODES

_STATION = re.compile(rf"(?:({'|'.join(END_CODES)})(?:-(1[0-2]|[1-9]))?|(1[0-2]|[1-9]))")


@dataclass(slots=True, kw_only=True)
class Happened:
    """What every fact has. `order` is the given order among the facts of one call; `visit` the plant's own
    name of it.
    """

    place: UUID
    on: dt.date
    last_on: dt.date | None = None
    precision: str = "day"
    order: int = 0
    visit: str = ""
    visit_id: UUID | None = None
    why: str = ""
    outage: str = ""
    job: str = ""
    note: str = ""
    sheet_row: int | None = None
    row_id: str = ""
    entered_at: dt.datetime | None = None
    id: UUID | None = None
    """The id a device gave the entry, so that what it sends again is known; empty: one is made."""

    @property
    def to(self) -> dt.date:
        """The last day it may have been."""
        return self.last_on or self.on


@dataclass(slots=True, kw_only=True)
class ReadingFact(Happened):
    """A measured value, or an interval, in um on its own basis (`radial` is doubled when it is recorded)."""

    bearing: UUID
    typed: str
    unit: str
    value_um: Decimal | None = None
    low_um: Decimal | None = None
    high_um: Decimal | None = None
    step_um: Decimal | None = None
    quantity: str = "clearance"
    basis: str = "diametral"
    end: str = ""
    clock: int | None = None
    stage: str = ""
    method: str = ""
    instrument: str = ""
    repeat: int = 1
    counts: bool = True
    not_for_wear: bool = False
    not_for_wear_because: str = ""
    conditions: dict[str, Any] = field(default_factory=dict)
    measured_by: UUID | str | None = None
    checked_by: UUID | str | None = None
    supersedes: UUID | None = None


@dataclass(slots=True, kw_only=True)
class EventFact(Happened):
    """Something done or seen; `bearing` None: of the whole pump."""

    kind: str
    bearing: UUID | None = None
    half: str = ""
    shell: str = ""
    reason: str = ""
    outcome: str = ""
    contact_percent: Decimal | None = None
    done_by: UUID | str | None = None
    checked_by: UUID | str | None = None
    supersedes: UUID | None = None
    awaits_second: bool | None = None


@dataclass(slots=True, kw_only=True)
class MeterFact(Happened):
    """The hour meter on a day; `beside` where it only stood on the row of something else."""

    hours: Decimal
    reset: bool = False
    hours_before: Decimal | None = None
    starts: int | None = None
    beside: bool = False


def read_station(text: str) -> tuple[str, int | None] | None:
    """End and clock of a station (`in-12`, `out`, `6`, blank); None for a word that is no station.

    >>> read_station("in-12"), read_station(""), read_station("DE top")
    (('in', 12), ('', None), None)
    """
    bare = text.strip().lower()
    if not bare:
        return "", None
    found = _STATION.fullmatch(bare)
    if found is None:
        return None
    clock = found[2] or found[3]
    return found[1] or "", int(clock) if clock else None
