"""What the answers about run hours and starts do to their rows."""

from collections import defaultdict
from collections.abc import Sequence
from decimal import Decimal
from uuid import UUID

from fleet.grouping_marks import GROUPING, plain
from fleet.importing.answers import question_key
from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import Parsed, ParsedRow
from inspections.importing.meter_grouping_marks import COUNTED
from inspections.importing.meters import SLACK_HOURS, check_meters, hours_in
from inspections.importing.stored_facts import hours_of, pump_changes, standing_by
from inspections.importing.template import HOURS, METER_RESET


def drop_hours(code: str, rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """Hours typed wrong are left out; a row that holds nothing else is set aside with that reason.

    An answer for all alike goes on to what comes to light once these are gone.
    """
    placed, spread = context.memory["places"], context.memory.setdefault("spread", {})
    places = {placed[row.number] for row in rows if row.number in placed}
    stored, changed = list(hours_of(places)), pump_changes(places)
    by_number = {row.number: row for row in parsed.rows}
    gone = list(rows)
    while gone:
        for row in gone:
            row.values.pop("run_hours", None)
            if row.get("event") == HOURS:
                context.memory.setdefault("dropped", {})[row.number] = "run hours typed wrong"
        there = [
            one
            for row in parsed.rows
            if placed.get(row.number) in places and (one := hours_in(row, placed[row.number]))
        ]
        gone = []
        for found in check_meters([*there, *stored], changed, standing_by(places)):
            row = by_number[found.number or 0]
            said = context.answers.of(found.code, "", "a row nobody has seen yet")
            if said and said[0] == "drop" and "run_hours" in row.values:
                spread.setdefault(question_key(found.code, ""), set()).add(row.ident)
                gone.append(row)
    return True


def reset(rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """The entry after which a meter of these pumps fell is the first of another meter."""
    placed = context.memory["places"]
    places = {placed.get(row.number) for row in rows}
    by_place: dict[UUID, list[ParsedRow]] = defaultdict(list)
    for row in parsed.rows:
        if "run_hours" in row.values and "date" in row.values and placed.get(row.number) in places:
            by_place[placed[row.number]].append(row)
    changed = False
    for some in by_place.values():
        last: Decimal | None = None
        for row in sorted(some, key=lambda r: r.values["date"].first):
            hours = row.values["run_hours"]
            if last is not None and hours < last - Decimal(SLACK_HOURS) and row.get("event") != METER_RESET:
                if row.get("event") == HOURS:
                    row.values["event"] = METER_RESET
                else:
                    new = parsed.added(row, event=METER_RESET, run_hours=hours)
                    new.values.pop("position", None)
                    row.values.pop("run_hours")
                changed = True
            last = hours
    return changed


def without_marks(rows: Sequence[ParsedRow], mark: str) -> bool:
    """Every count of these rows with the mark taken for one of thousands; True: check again."""
    for row in rows:
        for name in COUNTED:
            typed = row.typed.get(name, "")
            if (
                mark in typed
                and name in row.values
                and isinstance(read := plain(typed, {mark: GROUPING}), str)
            ):
                row.values[name] = type(row.values[name])(Decimal(read))
    return True


def thousandfold(rows: Sequence[ParsedRow]) -> bool:
    """Run hours that were read a thousand times too small; True: check again."""
    for row in rows:
        for name in ("run_hours", "run_hours_before"):
            if name in row.values:
                row.values[name] *= 1000
    return True
