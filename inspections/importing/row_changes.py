"""What answers do to rows one by one: a cell set, a value typed anew, another work, months for days."""

from calendar import monthrange
from collections.abc import Sequence

from fleet.importing.answers import kept_words
from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import ParsedRow
from fleet.units import Day, NotANumber, parse_measured
from inspections.importing.lines import Line
from inspections.models import EventKind


def another_work(choice: str, rows: Sequence[ParsedRow]) -> bool:
    """The work that was done instead; for none the words stay as a note."""
    for row in rows:
        _ = row.ident
        if choice == "nothing":
            said = str(row.values["event"]).replace("_", " ")
            row.values["note"] = row.get("note") or f"the sheet says '{said}'; no such work was done"
        row.values["event"] = EventKind.NOTE if choice == "nothing" else choice
    return bool(rows)


def typed_value(value: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """The value as somebody typed it, what the sheet said kept in the row's remark; what is no number changes
    nothing.
    """
    try:
        measured = parse_measured(value, decimal_comma=context.options.decimal_comma)
    except NotANumber:
        return True  # checked again, and so asked about again
    for row in rows:
        _ = row.ident
        row.values["note"] = kept_words(row.typed["value"], row.get("note", ""))
        row.values["value"], row.typed["value"] = measured, value.strip()
    return bool(rows)


def set_cell(rows: Sequence[ParsedRow], name: str, value: object) -> bool:
    """One cell of all rows."""
    for row in rows:
        row.values[name] = value
    return True


def months_only(rows: Sequence[ParsedRow]) -> bool:
    """Days that stand for their months."""
    for row in rows:
        first = row.values["date"].first
        row.values["date"] = Day(first, first.replace(day=monthrange(first.year, first.month)[1]), "month")
    return True


def meets_stored(choice: str, rows: Sequence[ParsedRow], context: Context) -> bool:
    """What a row that the record holds with another value does: nothing, stand beside it, or correct it."""
    for row in rows:
        other: Line = row.values["_stored"]
        if choice == "same":
            context.memory.setdefault("ignored", set()).add(row.number)
        elif choice == "second":
            row.values["_second"] = True
        elif choice == "correct":
            row.values["_corrects"] = other.stored_id
    return choice == "same"
