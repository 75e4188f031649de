"""The bundle's tables: the story in words, the readings, the limits and the people, each row naming its entry."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from fleet.models import Bearing, Limit, Person
from fleet.models.recorded import IN_ORDER
from fleet.plant.calibration import doubts
from fleet.sheets.export import csv_bytes
from inspections.models import Reading, reading_columns
from inspections.story.audit_trail import LedgerStory

STORY = (
    "day",
    "kind",
    "what",
    "who",
    "source",
    "recorded_at",
    "days_late",
    "changed",
    "chain",
    "entry",
    "hash",
)
# What only ties a reading's row to the rest of the record: the entry and the story say it.
TIES = ("bearing_id", "visit_id", "sheet_id", "sheet_row", "row_id", "order", "entered_at", "supersedes")
# Beside what a reading says: what came of it, who, when, and its entry.
BESIDE = ("gauge_doubt", "changed", "recorded_by", "recorded_at", "chain", "entry")
READINGS = (
    *(column.removesuffix("_id") for column in reading_columns() if column not in TIES),
    *BESIDE,
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
    "changed",
    "recorded_at",
    "chain",
    "entry",
)
PEOPLE = ("id", "name", "employer")


def story_csv(told: LedgerStory) -> bytes:
    """Every entry of the story in plain words, the newest first; a corrected or withdrawn one says so."""
    rows = [
        (
            line.happened_on,
            line.kind_words,
            line.what,
            line.who,
            line.source or "typed in the site",
            _instant(line.recorded_at),
            line.days_late,
            line.withdrawn,
            line.chain,
            line.n,
            line.hash,
        )
        for line in told.lines
    ]
    return csv_bytes(STORY, rows)


def readings_csv(bearing: Bearing, told: LedgerStory, people: Mapping[UUID, Person]) -> bytes:
    """Every reading, withdrawn ones too, with the figure as typed and in um."""
    changed = {line.thing: line.withdrawn for line in told.lines}
    rows = Reading.objects.filter(bearing=bearing).select_related("instrument").order_by("on", *IN_ORDER)
    said = doubts((one.instrument_id, one.on) for one in rows)
    return csv_bytes(
        READINGS, [_reading_cells(one, _doubt(said, one), changed.get(one.pk, ""), people) for one in rows]
    )


def _reading_cells(
    reading: Reading, doubt: Any, changed: str, people: Mapping[UUID, Person]
) -> tuple[Any, ...]:
    """One reading's row under `READINGS`."""
    shown = {
        "instrument": reading.instrument or "",
        "conditions": ", ".join(sorted(reading.conditions)),
        "gauge_doubt": doubt,
        "changed": changed,
        "recorded_at": _instant(reading.recorded_at),
        "entry": reading.entry_n,
    } | {who: _name(people, getattr(reading, who)) for who in ("measured_by", "checked_by", "recorded_by")}
    return tuple(shown[name] if name in shown else getattr(reading, name) for name in READINGS)


def limits_csv(bearing: Bearing, told: LedgerStory) -> bytes:
    """Every limit that was set, with its authority and the day from which it holds."""
    changed = {line.thing: line.withdrawn for line in told.lines}
    rows = Limit.objects.filter(bearing=bearing).order_by("from_on", *IN_ORDER)
    return csv_bytes(
        LIMITS,
        [
            (
                one.use,
                one.quantity,
                one.value_um,
                one.typed,
                one.unit,
                one.get_authority_display(),
                one.document,
                one.from_on,
                changed.get(one.pk, ""),
                _instant(one.recorded_at),
                one.chain,
                one.entry_n,
            )
            for one in rows
        ],
    )


def people_csv(people: Iterable[Person]) -> bytes:
    """Names beside the inner ids that entries hold; a name removed by law says so."""
    return csv_bytes(PEOPLE, [(person.pk, str(person), person.employer) for person in people])


def _doubt(said: Mapping[tuple[UUID, Any], str], one: Reading) -> str:
    return said.get((one.instrument_id, one.on), "") if one.instrument_id else ""


def _name(people: Mapping[UUID, Person], person: UUID | None) -> str:
    return "" if person is None else str(people.get(person, "someone not known"))


def _instant(instant: Any) -> str:
    return instant.isoformat(timespec="seconds").replace("+00:00", "Z")
