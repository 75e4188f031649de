"""A stored sheet given back: beside each of its rows what became of it."""

from collections import defaultdict
from collections.abc import Iterator

from fleet.importing.findings import Finding
from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.importing.parsed_rows import ParsedRow
from fleet.importing.reading_plans.cell_fates import READ, REMARK
from fleet.importing.reading_plans.reading_plan import letters, plan_of
from fleet.models import SetAside, Sheet
from fleet.sheets.files import MOST_ROWS_OF_PAGE

Place = tuple[str, int]


def what_became(sheet: Sheet) -> list[Finding]:
    """One remark for each row of a history: how much of it stands in the record, what waits and why, what was
    left out.

    Told by reading the kept file again as it was read then, so that it holds for today's record.
    """
    plan = plan_of(sheet.plan.body) if sheet.plan else None
    options = Options(
        site=sheet.options.get("site", ""),
        date_format=sheet.options.get("date_format", ""),
        decimal_comma=sheet.options.get("decimal") == "comma",
        set_aside="-",
        most_rows=MOST_ROWS_OF_PAGE,
    )
    result = import_file(
        bytes(sheet.file.data),
        sheet.name,
        holds=sheet.holds,
        by=sheet.recorded_by,
        options=options,
        plan=plan,
        only_look=True,
    )
    said: dict[Place, list[str]] = defaultdict(list)
    for place, words in (*_there(result), *_waiting(result), *_left(result)):
        said[place].append(words)
    return [
        Finding("became", "; ".join(dict.fromkeys(words)), "", "", number, "", tab)
        for (tab, number), words in sorted(said.items())
    ]


def _place(row: ParsedRow) -> Place:
    return (row.source.tab if row.source else row.tab), row.sheet_row


def _there(result: Result) -> Iterator[tuple[Place, str]]:
    for some, words in ((result.there, "in the record"), (result.rows, "not in the record")):
        counts: dict[Place, int] = defaultdict(int)
        for row in some:
            counts[_place(row)] += 1
        for place, n in counts.items():
            yield place, f"{n} {words}" if result.applied else words


def _waiting(result: Result) -> Iterator[tuple[Place, str]]:
    waits = SetAside.objects.in_bulk([pk for _, pk in result.waits])
    for row, pk in result.waits:
        yield _place(row), f"set aside ({waits[pk].reason}): {waits[pk].question}"


def _left(result: Result) -> Iterator[tuple[Place, str]]:
    left: dict[tuple[Place, str], list[str]] = defaultdict(list)
    for (tab, number, column), fate in result.applied.fates.items() if result.applied else ():
        if fate not in (READ, REMARK):
            left[(tab, number), fate].append(letters(column))
    for (place, fate), columns in left.items():
        yield place, f"left out: {', '.join(columns)} ({fate})"
