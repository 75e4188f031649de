"""What answers about remarks make of them: a note becomes the work it tells of, or the
work stands beside it.
"""

from collections.abc import Sequence

from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.models import folded
from inspections.importing.lines import visit_key
from inspections.importing.remarks import DOUBTFUL_WORD, WORDS_FOR
from inspections.models import EventKind


def of_remark(
    code: str, about: str, choice: str, rows: Sequence[ParsedRow], parsed: Parsed, context: Context
) -> bool:
    """A work that remarks tell of, or nothing."""
    kind, _, position = about.partition("|")
    if code == DOUBTFUL_WORD:
        return choice in WORDS_FOR and _work_done(choice, about, rows, parsed, context)
    return choice == "yes" and _work_done(kind, position, rows, parsed, context)


def _work_done(kind: str, position: str, rows: Sequence[ParsedRow], parsed: Parsed, context: Context) -> bool:
    """The work that remarks tell of, at the one bearing asked about; blank: of the whole pump."""
    placed = context.memory["places"]
    done = {
        (visit_key(row, placed[row.number]), folded(row.get("position", "")))
        for row in parsed.rows
        if row.get("event") == kind and row.number in placed and "date" in row.values
    }
    for row in rows:
        key = (visit_key(row, placed[row.number]), folded(position))
        if key not in done:
            done.add(key)
            _tell(kind, row, position, parsed)
    return True


def _tell(kind: str, row: ParsedRow, position: str, parsed: Parsed) -> None:
    """A note that stands alone becomes the work; beside something else the work is a row of its own."""
    if row.get("event") == EventKind.NOTE:
        _ = row.ident
        row.values["event"] = kind
        row.values["_told"] = not row.get("position")
        if position:
            row.values["position"] = row.typed["position"] = position
        return
    new = parsed.added(row, event=kind, note=row.values["note"])
    new.values["_from_remark"] = True  # its words are the other row's, and tell of nothing twice
    if position:
        new.values["position"] = new.typed["position"] = new.content["position"] = position
    else:
        new.values.pop("position", None)
