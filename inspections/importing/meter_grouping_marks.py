"""Run hours and starts of a sheet whose mark may part thousands: asked about."""

from collections.abc import Iterator, Sequence

from fleet.grouping_marks import Unclear, marks_of, plain
from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from inspections.importing.alike import ask_alike

COUNTED = ("run_hours", "run_hours_before", "starts")


def unclear_marks(rows: Sequence[ParsedRow]) -> Iterator[Finding]:
    """Counts of a sheet in the template's columns that could be read both ways; a plan has told its own."""
    for name in COUNTED:
        of_template = [row for row in rows if name in row.values and not row.source and not row.already]
        marks = marks_of(row.typed[name] for row in of_template)
        unclear: dict[str, list[ParsedRow]] = {}
        for row in of_template if marks else ():
            if isinstance(read := plain(row.typed[name], marks), Unclear):
                unclear.setdefault(read.mark, []).append(row)
        for mark, some in unclear.items():
            remedy = "say whether the mark parts thousands or is the decimal mark"
            yield from ask_alike(
                some, name, "a number without marks between thousands", remedy, "grouping_mark", about=mark
            )
