"""A tab as a grid: merged cells filled, heading rows of several levels joined into one heading a column."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from fleet.importing.reading_plans.reading_plan import Plan, heading_text
from fleet.sheets.files import Row, Tab

MOST_HEADING_ROWS = 4
SEARCHED = 40


@dataclass
class Grid:
    """A tab's rows by their own number, with the cells that merged areas cover filled from their corner.

    `covered` holds (row, column) of the cells that were filled so.
    """

    name: str
    rows: dict[int, Row] = field(default_factory=dict)
    covered: set[tuple[int, int]] = field(default_factory=set)
    width: int = 0
    _texts: dict[int, list[str]] = field(default_factory=dict)

    @property
    def numbers(self) -> list[int]:
        return sorted(self.rows)

    def text(self, number: int, column: int) -> str:
        """A cell's text without white space around it; blank beyond the sheet."""
        texts = self._texts.get(number)
        if texts is None:
            row = self.rows.get(number)
            texts = self._texts[number] = [cell.strip() for cell in row.cells] if row else []
        return texts[column] if 0 <= column < len(texts) else ""

    def texts(self, number: int) -> list[str]:
        """A row's texts without white space around them."""
        self.text(number, 0)
        return self._texts[number]

    def held(self, number: int, column: int) -> int:
        """1 for a date of the workbook, 2 for a number, 0 for text."""
        row = self.rows.get(number)
        if row is None:
            return 0
        return 1 if column in row.date_columns else 2 if column in row.number_columns else 0


def grid_of(tab: Tab) -> Grid:
    """A tab's cells, merged areas filled."""
    grid = Grid(tab.name, {row.number: row for row in tab.all_rows()})
    grid.width = max((len(row.cells) for row in grid.rows.values()), default=0)
    for top, left, bottom, right in tab.merged:
        corner = grid.text(top, left)
        if not corner or (bottom - top + 1) * (right - left + 1) > 100_000:
            continue
        held = grid.held(top, left)
        for number in range(top, bottom + 1):
            if number in grid.rows:
                _fill(grid, number, range(left, right + 1), (top, left), corner, held)
    return grid


def _fill(grid: Grid, number: int, columns: range, corner: tuple[int, int], text: str, held: int) -> None:
    row = grid.rows[number]
    cells = list(row.cells) + [""] * max(0, columns.stop - len(row.cells))
    filled = [c for c in columns if (number, c) != corner and not cells[c].strip()]
    if not filled:
        return
    for column in filled:
        cells[column] = text
        grid.covered.add((number, column))
    dates = row.date_columns | frozenset(filled) if held == 1 else row.date_columns
    numbers = row.number_columns | frozenset(filled) if held == 2 else row.number_columns
    grid.rows[number] = Row(number, cells, dates, numbers)
    grid._texts.pop(number, None)
    grid.width = max(grid.width, len(cells))


def headings_of(grid: Grid, first: int, last: int) -> list[str]:
    """One heading a column; an upper row's text reaches right until the next, as far as something stands
    below it.
    """
    levels: list[list[str]] = []
    for number in range(first, last + 1):
        texts = [grid.text(number, j) for j in range(grid.width)]
        if number < last:
            below = [any(grid.text(n, j) for n in range(number + 1, last + 1)) for j in range(grid.width)]
            texts = _reaching(texts, below)
        levels.append(texts)
    joined = []
    for j in range(grid.width):
        parts: list[str] = []
        for level in levels:
            text = " ".join(level[j].split())
            if text and (not parts or parts[-1].casefold() != text.casefold()):
                parts.append(text)
        joined.append(" / ".join(parts))
    return joined


def _reaching(texts: Sequence[str], below: Sequence[bool]) -> list[str]:
    out, last = [], ""
    for text, filled in zip(texts, below, strict=True):
        last = text or (last if filled else "")
        out.append(text or last)
    return out


def find_headings(grid: Grid, plan: Plan) -> tuple[int, int] | None:
    """Where a tab has the plan's headings: at the plan's rows, or as near to them as they are found; None:
    nowhere.
    """
    height = plan.last_heading - plan.first_heading
    wanted = {one.column: heading_text(one.heading) for one in plan.columns if one.heading}
    tops = sorted((n for n in grid.numbers[:SEARCHED]), key=lambda n: (abs(n - plan.first_heading), n))
    for top in tops:
        have = headings_of(grid, top, top + height)
        if all(j < len(have) and heading_text(have[j]) == text for j, text in wanted.items()):
            return top, top + height
    return None
