"""The user's own sheet given back with one more column: what was found in each row."""

from collections import defaultdict
from collections.abc import Iterable

from fleet.importing.findings import Finding
from fleet.sheets.export import workbook_bytes
from fleet.sheets.files import MOST_ROWS_OF_PAGE, read_sheet

HEADING = "remarks of the import"


def marked_workbook(data: bytes, name: str, findings: Iterable[Finding]) -> bytes:
    """A workbook of the sheet's tabs, cells as text, with what was found beside each row (of the file: above
    all).

    Parameters
    ----------
    findings : iterable of Finding
        with the places of the sheet itself.

    Raises
    ------
    SheetFault
        for a sheet that cannot be read, or of more rows than a page reads.
    """
    said: dict[tuple[str, int], list[str]] = defaultdict(list)
    of_file = []
    tabs = read_sheet(data, name, most_rows=MOST_ROWS_OF_PAGE).tabs
    only = tabs[0].name if len(tabs) == 1 or not any(one.tab for one in findings) else ""
    for one in findings:
        if one.number is None:
            of_file.append(one.sentence)
            continue
        words = f"{one.column}: {one.sentence}" if one.column else one.sentence
        for number in one.touched:
            said[one.tab or only, number].append(words)
    sheets = []
    for tab in tabs:
        rows = tab.all_rows()
        width = max((len(row.cells) for row in rows), default=0)
        first = rows[0].number if rows else 1
        lines: list[list[str]] = [[] for _ in range(first - 1)]
        for row in rows:
            cells = list(row.cells) + [""] * (width - len(row.cells))
            remark = "; ".join(dict.fromkeys(said.get((tab.name, row.number), [])))
            if row.number == first:
                remark = "; ".join([HEADING, *of_file, remark]).rstrip("; ")
            while len(lines) < row.number - 1:
                lines.append([])
            lines.append([*cells, remark])
        sheets.append((tab.name or "sheet", lines))
    return workbook_bytes(sheets)
