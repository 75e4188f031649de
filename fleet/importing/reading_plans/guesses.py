"""Good guesses of a plan from headings and values: offered on the page, never applied unseen."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from fleet.importing.reading_plans.heading_words import (
    name_in_title,
    position_in,
    stage_word,
    tag_and_position,
    use_of,
    value_words,
    year_in_name,
)
from fleet.importing.reading_plans.layout import MOST_HEADING_ROWS, Grid, grid_of, headings_of
from fleet.importing.reading_plans.reading_plan import SKIPPED, WITH_TAG, ColumnPlan, Plan, letters
from fleet.importing.reading_plans.value_notation import read_value_cell, unit_in
from fleet.sheets.files import Tab
from fleet.units import Unreadable, parse_day

LOOKED_AT = 400
COMPARED = 100  # rows of each tab looked at to find the one with the most data
_DAYLIKE = re.compile(
    r"\d{4}(-\d{2}){0,2}|\d{1,2}[./ -](\d{1,2}|[A-Za-z]{3,9})[./ -]\d{2,4}|(\d{1,2}|[A-Za-z]{3,9})[./"
    r" -]\d{2,4}|.*\b(19|20)\d{2}\b.*"
)
FORMATS = (
    "DD/MM/YYYY",
    "MM/DD/YYYY",
    "DD.MM.YYYY",
    "DD-MM-YYYY",
    "DD/MM/YY",
    "MM/DD/YY",
    "DD.MM.YY",
    "D MON YYYY",
    "D-MON-YYYY",
    "D-MON-YY",
    "MON YYYY",
    "MONTH YYYY",
    "MON-YY",
    "MON YY",
    "MM/YYYY",
    "MM.YYYY",
    "YYYY/MM/DD",
    "YYYY/MM",
    "YYYY",
)


TOLD_BY_HEADING = frozenset(
    {
        "date",
        "run_hours",
        "starts",
        "remark",
        "entry_id",
        "job",
        "shell",
        "by",
        "checked_by",
        "method",
        "instrument",
    }
)


def guess(tabs: Sequence[Tab], known: Callable[[str], bool] = lambda name: False) -> Plan:
    """A plan that probably fits a workbook.

    Parameters
    ----------
    tabs : sequence of Tab
    known : callable
        whether the register has a pump of a name.

    Returns
    -------
    Plan
        with complaints where something must be declared: the basis and the unit, where no heading or cell
        names them.
    """
    grids = [grid_of(tab) for tab in tabs if tab.heading]
    if not grids:
        return Plan()
    shown = [
        grid for grid, tab in zip(grids, (t for t in tabs if t.heading), strict=True) if not tab.hidden
    ] or grids
    main = max(shown, key=lambda grid: sum(_is_data(grid, n) for n in grid.numbers[:COMPARED]))
    first, last = heading_rows(main)
    plan = Plan(columns=columns_under(main, first, last), first_heading=first, last_heading=last)
    plan = replace(plan, tabs_left=tuple(_other_tabs(grids, main, first, last)))
    plan = _with_pump(plan, main, grids, known)
    plan = _with_position(plan, main)
    plan = replace(plan, fill_down=tuple(_sparse(main, plan)), date_format=_date_format(main, plan))
    if not plan.of_use("date") and not any(one.date for one in plan.columns) and year_in_name(main.name):
        plan = replace(plan, date="tab")
    return _with_marks(plan, main)


def columns_under(grid: Grid, first: int, last: int) -> tuple[ColumnPlan, ...]:
    """What the columns probably hold, taken that their headings stand in these rows."""
    headings = headings_of(grid, first, last)
    return tuple(_settled(_column(grid, j, headings, last) for j in _first_table(grid, headings, last)))


def heading_rows(grid: Grid) -> tuple[int, int]:
    """The rows above the first row that holds data; the title above them is none of them."""
    data = next((n for n in grid.numbers[:60] if _is_data(grid, n)), None)
    if data is None:
        first = next((n for n in grid.numbers if _filled(grid, n)), 1)
        return first, first
    above: list[int] = []
    for number in reversed([n for n in grid.numbers if n < data]):
        n_filled = len(_filled(grid, number))
        if n_filled < 2 or len(above) == MOST_HEADING_ROWS - 1:
            break
        above.insert(0, number)
    while len(above) > 1 and _is_title(grid, above[0], above[1]):
        above.pop(0)
    return (above[0], above[-1]) if above else (max(data - 1, 1), max(data - 1, 1))


def _is_title(grid: Grid, number: int, below: int) -> bool:
    """A title spread over merged cells, or a line of `word: value`."""
    texts = {grid.text(number, j) for j in _filled(grid, number)}
    return len(texts) == 1 or any(text.endswith(":") for text in texts)


def _filled(grid: Grid, number: int) -> list[int]:
    return [j for j in range(grid.width) if grid.text(number, j)]


def _is_data(grid: Grid, number: int) -> bool:
    """A row with a figure and something that may be a date or a name beside it."""
    filled = _filled(grid, number)
    if len(filled) < 2 or grid.text(number, filled[0]).casefold().startswith(SKIPPED):
        return False
    figures = [j for j in filled if _is_figure(grid.text(number, j), grid.held(number, j))]
    years = [j for j in figures if re.fullmatch(r"(19|20)\d{2}", grid.text(number, j))]
    dates = [j for j in filled if grid.held(number, j) == 1 or _DAYLIKE.fullmatch(grid.text(number, j))]
    if len(years) > 1 and set(figures) == set(years):
        return False  # a heading of years as columns
    if len(dates) > 1 and set(figures) <= set(dates) and _figures_below(grid, number, dates):
        return False  # a heading of days as columns
    return bool(set(figures) - set(years)) or (bool(dates) and len(filled) > len(years))


def _figures_below(grid: Grid, number: int, columns: Sequence[int]) -> bool:
    """Whether the rows below hold figures, and no dates, in most of these columns."""
    below = [n for n in grid.numbers if n > number][:5]
    cells = [(text, grid.held(n, j)) for n in below for j in columns if (text := grid.text(n, j))]
    n_figures = sum(_is_figure(text, held) and not _DAYLIKE.fullmatch(text) for text, held in cells)
    return bool(cells) and n_figures > 0.6 * len(cells)


def day_in_heading(heading: str) -> str:
    """The day or month that a heading is, in ISO form; blank for none, and where day and month could be
    either.

    >>> day_in_heading("As found / 2014-03-09"), day_in_heading("Mar 2014"), day_in_heading(
    ...     "13.03.2014"
    ... ), day_in_heading("03/04/2014")
    ('2014-03-09', '2014-03', '2014-03-13', '')
    """
    text = heading.rpartition(" / ")[2].strip()
    if not re.search(r"\d", text) or re.fullmatch(r"\d+", text):
        return ""
    found: set[str] = set()
    for form in (None, *FORMATS):
        try:
            day = parse_day(text, form)
        except Unreadable:
            continue
        found.add(f"{day.first:%Y-%m-%d}" if day.precision == "day" else f"{day.first:%Y-%m}")
    return found.pop() if len(found) == 1 else ""


def _is_figure(text: str, held: int) -> bool:
    if held == 1:
        return False
    read = read_value_cell(text, held, two="range", words={})
    return isinstance(read, list)


def _first_table(grid: Grid, headings: list[str], last: int) -> list[int]:
    """All columns; a second table to the right of a column without anything is told by its heading coming
    again.
    """
    empty = [
        j
        for j in range(grid.width)
        if not headings[j] and not any(grid.text(n, j) for n in grid.numbers[:LOOKED_AT] if n > last)
    ]
    return [j for j in range(grid.width) if j not in empty]


def _column(grid: Grid, j: int, headings: list[str], last: int) -> ColumnPlan:
    heading = headings[j]
    cells = [
        (text, grid.held(n, j))
        for n in grid.numbers[:LOOKED_AT]
        if n > last and (text := grid.text(n, j)) and (n, j) not in grid.covered
    ]
    plan = ColumnPlan(j, heading=heading)
    beyond = any(
        not headings[i] and not grid.text(last + 1, i) and _blank(grid, i, last) for i in range(1, j)
    )
    if beyond:
        return plan
    said, use = value_words(heading), use_of(heading)
    if not cells:  # another tab may fill what stands blank here
        return replace(plan, use=use) if use in TOLD_BY_HEADING else plan
    if "date" not in said and (day := day_in_heading(heading)):
        said["date"] = day
    n_figures = sum(_is_figure(text, held) for text, held in cells)
    if said.get("date") and n_figures:
        return replace(plan, use="value", position=position_in(heading), **said)
    if use in TOLD_BY_HEADING:
        return replace(plan, use=use)
    if (n_figures >= 0.4 * len(cells) and use not in ("pump", "site", "position", "unit")) or (
        (position_in(heading) or said.get("stage")) and n_figures
    ):
        return replace(plan, use="value", position=position_in(heading), **said)
    return replace(plan, use=_told_by_cells(cells, use) or plan.use)


def _told_by_cells(cells: Sequence[tuple[str, int]], use: str) -> str:
    """What a column of words holds, by its cells and its heading's `use`; blank where neither tells."""
    texts = [text for text, _ in cells]
    if named := _named(texts, use):
        return named
    if use == "unit" or all(unit_in(text) for text in texts):
        return "unit"
    if use == "stage" or all(stage_word(text) for text in texts):
        return "stage"
    if use:
        return use
    if sum(held == 1 or bool(_DAYLIKE.fullmatch(text)) for text, held in cells) > 0.7 * len(cells):
        return "date"
    return "remark" if sum(len(text) for text in texts) > 12 * len(texts) else ""


_BEARING = re.compile(r"(?i)brg|bearing|pos|lager")


def _named(texts: Sequence[str], use: str) -> str:
    """Whether a column names positions, or pumps each with its position behind it."""
    parts = [tag_and_position(text) for text in texts]
    if all(position for _, position in parts) and (
        use != "position" or all(re.search(r"\d", tag) and not _BEARING.match(tag) for tag, _ in parts)
    ):
        return "pump"
    return "position" if use == "position" or all(position_in(text) for text in texts) else ""


def _blank(grid: Grid, j: int, last: int) -> bool:
    return not any(grid.text(n, j) for n in grid.numbers[:LOOKED_AT] if n > last)


def _settled(columns: Iterable[ColumnPlan]) -> Iterable[ColumnPlan]:
    """A use that only one column can have goes to the first."""
    seen: set[str] = set()
    for one in columns:
        taken = one.use in seen and one.use not in ("value", "remark", "leave")
        seen.add(one.use)
        yield replace(one, use="leave") if taken else one


def _other_tabs(grids: Sequence[Grid], main: Grid, first: int, last: int) -> Iterable[str]:
    wanted = [h.casefold() for h in headings_of(main, first, last) if h]
    for grid in grids:
        if grid is main:
            continue
        own_first, own_last = heading_rows(grid)
        own = [h.casefold() for h in headings_of(grid, own_first, own_last) if h]
        if not wanted or len(set(own) & set(wanted)) < 0.6 * len(set(wanted)):
            yield grid.name


def _with_pump(plan: Plan, main: Grid, grids: Sequence[Grid], known: Callable[[str], bool]) -> Plan:
    if plan.of_use("pump"):
        return plan
    read = [grid for grid in grids if grid.name not in plan.tabs_left]
    if main.name and sum(known(grid.name.strip()) for grid in read) * 2 >= len(read):
        return replace(plan, pump="tab")
    for number in [n for n in main.numbers if n < plan.first_heading]:
        for j in _filled(main, number):
            if known(name_in_title(main.text(number, j))):
                return replace(plan, pump=f"cell {letters(j)}{number}")
    by_names = [
        one
        for one in plan.columns
        if one.use in ("leave", "remark") and _share(main, one.column, plan.last_heading, known) > 0.5
    ]
    if by_names:
        j = by_names[0].column
        return replace(
            plan, columns=tuple(replace(one, use="pump") if one.column == j else one for one in plan.columns)
        )
    return replace(plan, pump="tab" if main.name and len(read) > 1 else "")


def _share(grid: Grid, j: int, last: int, known: Callable[[str], bool]) -> float:
    texts = [grid.text(n, j) for n in grid.numbers[:LOOKED_AT] if n > last and grid.text(n, j)]
    return sum(known(text) for text in texts) / len(texts) if texts else 0.0


def _with_position(plan: Plan, grid: Grid) -> Plan:
    if plan.of_use("position") or all(one.position for one in plan.of_use("value")):
        return plan
    if _behind_tags(grid, plan):
        return replace(plan, position=WITH_TAG)
    for number in [n for n in grid.numbers if n < plan.first_heading]:
        for j in _filled(grid, number):
            if position := position_in(grid.text(number, j)):
                return replace(plan, position=f"= {position}")
    return replace(plan, position=f"= {found}") if (found := position_in(grid.name)) else plan


def _behind_tags(grid: Grid, plan: Plan) -> bool:
    """Whether most of the pumps' names have a position written behind them."""
    if plan.pump != "column" or any(one.position for one in plan.of_use("value")):
        return False
    tags = [
        grid.text(n, one.column)
        for one in plan.of_use("pump")
        for n in grid.numbers[:LOOKED_AT]
        if n > plan.last_heading
    ]
    filled = [tag for tag in tags if tag]
    return bool(filled) and sum(bool(tag_and_position(tag)[1]) for tag in filled) > 0.6 * len(filled)


def _sparse(grid: Grid, plan: Plan) -> Iterable[int]:
    """Names and dates that stand only in the first of several rows."""
    rows = [n for n in grid.numbers[:LOOKED_AT] if n > plan.last_heading and _is_data(grid, n)]
    for one in plan.columns:
        if one.use in ("pump", "position", "site", "date", "outage") and rows:
            blank = [n for n in rows if not grid.text(n, one.column)]
            if blank and grid.text(rows[0], one.column) and len(blank) > 0.1 * len(rows):
                yield one.column


def _date_format(grid: Grid, plan: Plan) -> str:
    """The fewest usual formats that read every typed date; blank where day and month could be either."""
    dates = plan.of_use("date")
    if not dates:
        return ""
    texts = {
        grid.text(n, dates[0].column)
        for n in grid.numbers[:LOOKED_AT]
        if n > plan.last_heading and grid.text(n, dates[0].column) and grid.held(n, dates[0].column) == 0
    }
    texts = {
        t
        for t in texts
        if not _reads(t, None) and not re.search(r"spring|summer|autumn|fall|winter", t, re.I)
    }
    chosen: list[str] = []
    while texts:
        reads = {one: {t for t in texts if _reads(t, one)} for one in FORMATS}
        best = max(FORMATS, key=lambda one: len(reads[one]))
        if not reads[best]:
            break
        if "DD/MM" in best and len(reads[best.replace("DD/MM", "MM/DD")]) == len(reads[best]):
            return "|".join(chosen)  # either way round: the user must say
        chosen.append(best)
        texts -= reads[best]
    return "|".join(chosen)


def _reads(text: str, date_format: str | None) -> bool:
    try:
        parse_day(text, date_format)
    except Unreadable:
        return False
    return True


def _with_marks(plan: Plan, grid: Grid) -> Plan:
    """Which decimal mark typed numbers have; the unit is never told from their size."""
    n_commas = n_points = 0
    for one in plan.of_use("value"):
        for n in grid.numbers[:LOOKED_AT]:
            text = grid.text(n, one.column)
            if text and n > plan.last_heading and grid.held(n, one.column) == 0 and _is_figure(text, 0):
                n_commas += "," in text
                n_points += "." in text
    return replace(plan, decimal_comma=n_commas > n_points)
