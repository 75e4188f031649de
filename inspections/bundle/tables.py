"""The bundle's tables: the story in words, readings, events, limits and people, each row naming its entry.

`readings.csv`, `events.csv` and `limits.csv` are made from the typed rows; the checker makes them anew from
the entries and compares every cell, so each column is a field of the entry, a name of one, or listed in the
checker as bound by hash.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from fleet.clock import today_in
from fleet.ledger.canonical import plain
from fleet.measuring_methods import Spread
from fleet.models import Bearing, Limit, Person, Recorded
from fleet.plant.calibration import doubts
from fleet.sheets.export import csv_bytes
from inspections.bundle.quoted_entries import Kept
from inspections.models import WHAT_WAS_DONE, Event, Reading, reading_columns
from inspections.story.audit_trail import LedgerStory
from inspections.story.uncertainty import spreads, uncertainty_of

STORY = (
    "day",
    "kind",
    "what",
    "who",
    "roles",
    "rights",
    "source",
    "recorded_at",
    "days_late",
    "changed",
    "replaces",
    "chain",
    "entry",
    "hash",
)
# What only ties a row to the rest of the record: the entry and the story say it.
TIES = ("bearing_id", "visit_id", "sheet_id", "sheet_row", "row_id", "order", "entered_at", "supersedes")
# What became of a row, by which entry; what it replaces and what replaces it, as a chain and an entry.
CHANGED = (
    "changed",
    "changed_on",
    "changed_by",
    "changed_because",
    "changed_entry",
    "replaces",
    "replaced_by",
)
RECORDED = ("recorded_by", "recorded_at", "chain", "entry")
READINGS = (
    *(column.removesuffix("_id") for column in reading_columns() if column not in TIES),
    "uncertainty_um",
    "gauge_doubt",
    *CHANGED,
    *RECORDED,
)
EVENTS = (
    "on",
    "last_on",
    "precision",
    "place",
    "whole_pump",
    *WHAT_WAS_DONE,
    "job",
    "done_by",
    "checked_by",
    "awaits_second",
    *CHANGED,
    *RECORDED,
)
LIMITS = (
    "use",
    "quantity",
    "value_um",
    "typed",
    "unit",
    "authority",
    "document",
    "from_on",
    "reason",
    *CHANGED,
    *RECORDED,
)
PEOPLE = ("id", "name", "employer")
WHO = ("measured_by", "checked_by", "done_by", "recorded_by")
NOT_KNOWN = "someone not known"


@dataclass
class Changes:
    """What the entries of whole chains say of each row: its place, and what changed or replaced it."""

    people: Mapping[UUID, Person]
    place: dict[str, str] = field(default_factory=dict)
    changed: dict[str, dict[str, Any]] = field(default_factory=dict)

    @classmethod
    def of(cls, entries: Iterable[Kept], people: Mapping[UUID, Person]) -> "Changes":
        """Read from entries in the order of their chains."""
        made = cls(people)
        for entry in entries:
            said = json.loads(entry.text)
            body, at = said["body"], f"{entry.chain} {entry.n}"
            for row, word, instead in _changes(said["kind"], body):
                made.changed[row] = {
                    "changed": word,
                    "changed_on": said["recorded_at"][:10],
                    "changed_by": name_of(people, UUID(said["by"])),
                    "changed_because": body.get("reason"),
                    "changed_entry": at,
                    "instead": instead,
                }
            if "of" not in body and body.get("id"):
                made.place.setdefault(body["id"], at)
        return made

    def cells(self, row: Recorded) -> dict[str, Any]:
        """What stands in the columns `CHANGED` and `RECORDED` of a row."""
        changed = self.changed.get(str(row.pk), {})
        replaces, instead = str(getattr(row, "supersedes", None) or ""), changed.get("instead") or ""
        return {name: changed.get(name) for name in CHANGED} | {
            "replaces": self.place.get(replaces, replaces),
            "replaced_by": self.place.get(instead, instead),
            "recorded_by": name_of(self.people, row.recorded_by),
            "recorded_at": plain(row.recorded_at),
            "entry": row.entry_n,
        }


def _changes(kind: str, body: Mapping[str, Any]) -> Iterator[tuple[str, str, str | None]]:
    """Of an entry, the rows it changes: which, how in a word, and what stands instead."""
    if kind == "withdrawal":
        word = "joined with another" if body.get("joined") else "moved" if body.get("moved") else "withdrawn"
        yield body["id"], word, body.get("instead")
    elif kind == "revision":
        yield body["id"], "corrected", None
    elif kind == "import_withdrawal":
        yield from ((row, "withdrawn with its import", None) for ids in body["kinds"].values() for row in ids)


def story_csv(told: LedgerStory) -> bytes:
    """Every entry of the story in plain words, the newest first; a corrected or withdrawn one says so."""
    rows = [
        (
            line.happened_on,
            line.kind_words,
            line.what,
            line.who,
            line.roles,
            line.rights,
            line.source or "typed in the site",
            plain(line.recorded_at),
            line.days_late,
            line.withdrawn,
            line.replaces,
            line.chain,
            line.n,
            line.hash,
        )
        for line in told.lines
    ]
    return csv_bytes(STORY, rows)


def readings_csv(bearing: Bearing, changes: Changes) -> bytes:
    """Every reading, withdrawn ones too, with the figure as typed and in um."""
    rows = list(Reading.objects.filter(bearing=bearing).select_related("instrument"))
    said, trust = doubts((row.instrument_id, row.on) for row in rows), spreads(today_in("UTC"))
    return _table(READINGS, rows, changes, lambda row: _of_reading(row, said, trust))


def _of_reading(
    row: Reading, said: Mapping[tuple[UUID, Any], str], trust: Mapping[str, Spread]
) -> dict[str, Any]:
    return {
        "uncertainty_um": uncertainty_of(row.method, row.value_um, trust),
        "instrument": row.instrument or "",
        "conditions": ", ".join(sorted(row.conditions)),
        "gauge_doubt": said.get((row.instrument_id, row.on), "") if row.instrument_id else "",
    }


def events_csv(bearing: Bearing, chains: Sequence[str], changes: Changes) -> bytes:
    """Every event of the bearing and of the machines that stood on its place, withdrawn ones too."""
    events = Event.objects.filter(chain__in=chains).select_related("place")
    rows = [row for row in events if row.bearing_id in (None, bearing.pk)]
    return _table(
        EVENTS, rows, changes, lambda row: {"place": row.place.tag, "whole_pump": row.bearing_id is None}
    )


def limits_csv(bearing: Bearing, changes: Changes) -> bytes:
    """Every limit that was set, with its authority and the day from which it holds."""
    return _table(LIMITS, list(Limit.objects.filter(bearing=bearing)), changes, lambda row: {})


def _table(headings: Sequence[str], rows: Sequence[Any], changes: Changes, of: Any) -> bytes:
    """Rows in the order of their day, then of their chain and entry; names of people instead of their ids."""
    day = "from_on" if "from_on" in headings else "on"
    ordered = sorted(rows, key=lambda row: (plain(getattr(row, day)) or "", row.chain, row.entry_n))
    cells = []
    for row in ordered:
        shown = changes.cells(row) | of(row)
        shown |= {
            who: name_of(changes.people, getattr(row, who))
            for who in WHO
            if who in headings and who not in shown
        }
        cells.append([shown[name] if name in shown else getattr(row, name) for name in headings])
    return csv_bytes(headings, cells)


def people_csv(people: Iterable[Person]) -> bytes:
    """Names beside the inner ids that entries hold; a name removed by law says so."""
    return csv_bytes(PEOPLE, [(person.pk, str(person), person.employer) for person in people])


def name_of(people: Mapping[UUID, Person], person: UUID | None) -> str:
    """A person's name; empty where nobody is named."""
    return "" if person is None else str(people.get(person, NOT_KNOWN))
