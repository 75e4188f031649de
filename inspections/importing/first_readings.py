"""A record that begins at new clearance: whether the shell was new then, which the sheet does not say.

Where it was, wear is counted from that day; else the shell's age has to be believed from the clearance.
"""

import math
from collections.abc import Collection, Iterator, Mapping, Sequence
from uuid import UUID

from fleet.importing.answers import Choice
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import Parsed, ParsedRow
from inspections.importing.alike import ask_alike
from inspections.importing.clearances import Facts, in_order
from inspections.importing.lines import Line, visit_key
from inspections.importing.template import READING
from inspections.models import EventKind

FIRST_NEAR_NEW = "first_near_new"
LEAD = "Where the shell was new then, its wear is counted from that day, and dates are told more surely."
CHOICES = (
    Choice("new", "new metal went in then: the shell's life begins with this reading"),
    Choice("right", "the shell had run before, or nobody knows"),
)
AS_FITTED = "as_left"
TOLD = "new metal at the first reading: said when the sheet was brought"


def first_near_new(
    lines: Mapping[UUID, Sequence[Line]], facts: Mapping[UUID, Facts], works: Collection[Line]
) -> Iterator[Finding]:
    """The question about the first readings of records that begin at new clearance, for sheets of the plant's
    own layout: a row of the template says new metal by its event. `lines` and `facts` are those of
    `clearances.check_values`; bearings of `works` are asked about already and left alone.
    """
    asked_about = {work.bearing for work in works}
    some = [
        row
        for bearing, own in lines.items()
        if bearing not in asked_about and (row := _begins_new(in_order(own), facts.get(bearing, Facts())))
    ]
    expected = (
        "whether its shell was new then: the clearance is that of a new one, and nothing before it is told"
    )
    yield from ask_alike(some, "value", expected, "say whether new metal went in then", FIRST_NEAR_NEW)


def _begins_new(lines: Sequence[Line], facts: Facts) -> ParsedRow | None:
    """The row of a bearing's first reading where its record begins at new clearance and goes on."""
    if not lines or facts.fitting is None:
        return None
    first = [line for line in lines if line.visit == lines[0].visit]
    read = [line for line in first if line.vertical and line.middle is not None]
    if not read or len(first) > len([line for line in first if line.kind == READING]):
        return None  # work was done at that visit: what it was is known
    row, day = read[0].row, read[0].day
    goes_on = any(line.kind == READING and line.day > day for line in lines)
    if row is None or row.already or row.source is None or row.get("stage") == "as_found" or not goes_on:
        return None
    middle = sum(line.middle or 0.0 for line in read) / len(read)
    sd = min(math.hypot(line.sd, line.step * 0.29) for line in read)
    low, high = facts.fitting
    return row if low - sd <= middle <= high + sd else None


def fitted_then(rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """New metal before each of these readings: an event of its own, and the visit's readings are as left."""
    placed = context.memory["places"]
    for row in rows:
        visit = visit_key(row, placed[row.number])
        for other in parsed.rows:
            if (
                other.bearing == row.bearing
                and other.get("event") == READING
                and "date" in other.values
                and visit_key(other, placed[other.number]) == visit
            ):
                _ = other.ident
                other.values.setdefault("stage", AS_FITTED)
        new = parsed.added(row, event=EventKind.SHELL_CHANGE, note=TOLD)
        new.values["_from_remark"] = True
    return bool(rows)
