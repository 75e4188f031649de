"""A sheet's rows as values, with every fault of every cell found in one pass."""

import hashlib
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from uuid import UUID

from fleet.importing.answers import TYPED, Answers, kept_words
from fleet.importing.columns import CLEAR, Column, canonical_text
from fleet.importing.findings import Finding, Misfit, of_cell, of_file
from fleet.importing.options import Options
from fleet.importing.reading_plans.made_rows import Made
from fleet.importing.reading_plans.reading_plan import letters
from fleet.sheets.files import Row, Tab
from fleet.units import Unreadable, shown


@dataclass(frozen=True, slots=True)
class Source:
    """Where a row that a plan made stands in the sheet, and in which of its columns each cell of the
    template.
    """

    tab: str
    row: int
    columns: dict[str, str]


@dataclass(slots=True)
class ParsedRow:
    """One row that is not blank.

    `values` holds what could be read, by column; a blank cell and one at fault are missing (`faulty` names
    the latter). `typed` holds the texts. A loader's `resolve` sets `site`, `bearing` and, in `content`,
    whatever stands for the same thing under several spellings; `already` is set when the row is known from
    before.
    """

    number: int
    values: dict[str, Any]
    typed: dict[str, str]
    content: dict[str, str]
    cells: Row
    faulty: set[str] = field(default_factory=set)
    tab: str = ""
    site: UUID | None = None
    bearing: UUID | None = None
    key: str = ""
    digest: str = ""
    already: bool = False
    source: Source | None = None
    known_as: str = ""

    @property
    def sheet_row(self) -> int:
        """The sheet's own number of the row it comes from."""
        return self.source.row if self.source else self.number

    @property
    def ident(self) -> str:
        """By what an answer about this row knows it again: its words, wherever they stand."""
        if not self.known_as:  # once, before an answer changes the row
            words = sorted((name, text) for name, text in self.typed.items() if name != "entry_id")
            self.known_as = hashlib.sha256(repr(words).encode("utf-8", "replace")).hexdigest()[:16]
        return self.known_as

    def get(self, column: str, otherwise: Any = None) -> Any:
        """The value of a column, or `otherwise` where it is blank or at fault."""
        return self.values.get(column, otherwise)

    def fault(self, column: str, expected: str, remedy: str, code: str, found: str | None = None) -> Finding:
        """A fault of this row; `found` where it is not simply the cell's text."""
        said = shown(self.typed.get(column, "")) if found is None else found
        return Finding(code, said, expected, remedy, self.number, column, self.tab)

    def question(
        self, column: str, expected: str, remedy: str, code: str, found: str | None = None
    ) -> Finding:
        """A question about this row: it can be read, and does not fit."""
        said = shown(self.typed.get(column, "")) if found is None else found
        return Finding(code, said, expected, remedy, self.number, column, self.tab, is_question=True)


@dataclass
class Parsed:
    """A whole sheet: its rows in order, how many were blank, and what is wrong or worth a remark."""

    rows: list[ParsedRow] = field(default_factory=list)
    n_seen: int = 0
    n_blank: int = 0
    faults: list[Finding] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    headings: list[str] = field(default_factory=list)
    present: frozenset[str] = frozenset()
    waiting: list[tuple[ParsedRow, Finding]] = field(default_factory=list)
    n_added: int = 0
    _top: int = 0
    _added: dict[int, ParsedRow] = field(default_factory=dict)  # by row, the last that was added behind it

    def added(self, row: ParsedRow, **said: Any) -> ParsedRow:
        """A further row after `row` and those added to it before, with its shared cells and these values;
        what a remark or an answer tells.
        """
        shared = ("site", "pump", "position", "date", "visit", "why", "outage", "job", "by")
        values = {name: row.values[name] for name in shared if name in row.values} | said
        typed = {name: row.typed[name] for name in shared if name in row.typed}
        typed |= {name: str(value) for name, value in said.items()}
        content = {name: row.content[name] for name in shared if name in row.content}
        content |= {name: canonical_text(value) for name, value in said.items()}
        source = row.source or Source("", row.number, {})
        if not self._top:
            self._top = max((one.number for one in (*self.rows, *(w for w, _ in self.waiting))), default=1)
        self.n_added += 1
        self._top += 1
        number = self._top
        new = ParsedRow(number, values, typed, content, row.cells, tab=row.tab, site=row.site, source=source)
        before = self._added.get(row.number, row)
        at = next(i for i, one in enumerate(self.rows) if one is before)
        self.rows.insert(at + 1, new)
        self._added[row.number] = new
        return new

    def words_of(self, row: ParsedRow) -> dict[str, str]:
        """A row word for word: every filled cell by its heading, columns nobody reads included."""
        return {
            self.headings[j] or f"column {j + 1}": cell
            for j, cell in enumerate(row.cells.cells)
            if cell.strip()
        }


def parse(tab: Tab, columns: Sequence[Column], options: Options) -> Parsed:
    """Read a tab's rows by its headings.

    Parameters
    ----------
    tab : Tab
        as `fleet.sheets.files.read_sheet` gives it.
    columns : sequence of Column
        the template; column order in the sheet is free, columns that are not required may be missing.

    Returns
    -------
    Parsed
        nothing is raised for what the file holds: every fault is in `faults`.
    """
    parsed = Parsed(n_seen=len(tab.rows), headings=_padded(tab))
    where = _places(tab, columns, parsed)
    parsed.present = frozenset(where)
    if parsed.faults:
        return parsed
    _parse_rows(tab, [(where[one.name], one) for one in columns if one.name in where], options, parsed)
    for row in tab.rows_beyond_heading():
        parsed.faults.append(_beyond(row, tab))
    if tab.hidden_rows:
        parsed.remarks.append(
            f"{len(tab.hidden_rows)} rows are hidden in the workbook; they are read like the others"
        )
    if not parsed.rows and not parsed.faults:
        parsed.faults.append(of_file("no row below the headings holds anything", "fill the sheet", "empty"))
    return parsed


def parse_made(
    made: Sequence[Made], columns: Sequence[Column], options: Options, answers: Answers | None = None
) -> Parsed:
    """Rows that a reading plan made, read as rows of the template; those with a question wait and are not
    checked.

    What a cell of the plant's own layout does not let be read is a question, not a fault: nobody can mend a
    sheet of long ago, but it can be set aside.
    """
    parsed = _parse_made(made, columns, options)
    typed = list(_typed(made, parsed, answers or Answers()))
    if not typed:
        return parsed
    made = list(made)
    for i, mended in typed:
        made[i] = mended
    return _parse_made(made, columns, options)


def _typed(made: Sequence[Made], parsed: Parsed, answers: Answers) -> Iterator[tuple[int, Made]]:
    """Rows whose unreadable cell somebody has typed as it should be, what it said kept beside it."""
    for row, question in parsed.waiting:
        said = answers.of(question.code, question.about, row.ident)
        if said is None or said[0] != TYPED.word or question.column not in row.typed:
            continue
        one = made[row.number - 2]
        text, column = one.cells[question.column], question.column
        cells = one.cells | {
            column: said[1],
            "note": kept_words(text, one.cells.get("note", ""), "" if column == "value" else column),
        }
        yield (
            row.number - 2,
            replace(one, cells=cells, held={n: h for n, h in one.held.items() if n != column}),
        )


def _parse_made(made: Sequence[Made], columns: Sequence[Column], options: Options) -> Parsed:
    """One pass of `parse_made`."""
    names = [one.name for one in columns if any(one.name in row.cells for row in made)]
    where = {name: j for j, name in enumerate(names)}
    rows = []
    for i, one in enumerate(made):
        cells = [one.cells.get(name, "") for name in names]
        dates = frozenset(where[n] for n, held in one.held.items() if held == 1 and n in where)
        figures = frozenset(where[n] for n, held in one.held.items() if held == 2 and n in where)
        rows.append(Row(i + 2, cells, dates, figures))
    parsed = parse(Tab("", names, rows), [replace(one, required=False) for one in columns], options)
    required = [one.name for one in columns if one.required]
    asked: dict[int, list[Finding]] = defaultdict(list)
    for fault in parsed.faults:
        if fault.number is not None:
            asked[fault.number].append(replace(fault, is_question=True))
    parsed.faults = [fault for fault in parsed.faults if fault.number is None and fault.code != "empty"]
    standing = []
    for row, one in zip(parsed.rows, made, strict=True):
        row.source = Source(one.tab, one.row, {name: letters(j) for name, j in one.columns.items()})
        lacking = [name for name in required if name not in row.typed]
        if one.question:
            parsed.waiting.append((row, replace(one.question, number=row.number)))
        elif row.number in asked:
            parsed.waiting += [(row, question) for question in asked[row.number][:1]]
        elif lacking:
            remedy = "say in the plan where it stands, or set the row aside"
            parsed.waiting.append((row, row.question(lacking[0], f"the {lacking[0]}", remedy, "missing")))
        else:
            standing.append(row)
    parsed.rows = standing
    return parsed


def heading_key(heading: str) -> str:
    """A heading as it is compared: small letters, spaces and hyphens as underscores."""
    return "_".join(heading.casefold().replace("-", " ").replace("_", " ").split())


def _padded(tab: Tab) -> list[str]:
    width = max((len(row.cells) for row in tab.rows), default=0)
    return tab.heading + [""] * (width - len(tab.heading))


def _places(tab: Tab, columns: Sequence[Column], parsed: Parsed) -> dict[str, int]:
    """Where each known column stands; unknown ones are a remark, missing and doubled ones faults."""
    known = {one.name for one in columns}
    where: dict[str, int] = {}
    unknown = []
    for j, heading in enumerate(tab.heading):
        name = heading_key(heading)
        if name in where:
            parsed.faults.append(of_file(f"two columns are headed '{name}'", "keep one of them", "heading"))
        elif name in known:
            where[name] = j
        elif name:
            unknown.append(heading)
    if unknown:
        listed = ", ".join(shown(heading) for heading in unknown)
        parsed.remarks.append(f"columns that are not read: {listed}")
    for one in columns:
        if one.required and one.name not in where:
            found = ", ".join(heading for heading in tab.heading if heading)[:200]
            sentence = f"the column '{one.name}' is missing (found: {found})"
            parsed.faults.append(of_file(sentence, "add it, or take the template's headings", "heading"))
    return where


def _parse_rows(tab: Tab, columns: list[tuple[int, Column]], options: Options, parsed: Parsed) -> None:
    """Row by row, each distinct text of a column read only once."""
    from_workbook = options.for_workbook_cells()
    # Text and how the workbook holds it -> value and canonical text, or the error to show.
    caches: list[dict[tuple[str, int], Any]] = [{} for _ in columns]
    required = [one.name for _, one in columns if one.required]
    plan = [(j, one, one.name, cache) for (j, one), cache in zip(columns, caches, strict=True)]
    for row in tab.rows:
        cells = row.cells
        if row.is_blank:
            parsed.n_blank += 1
            continue
        values: dict[str, Any] = {}
        typed: dict[str, str] = {}
        content: dict[str, str] = {}
        out = ParsedRow(row.number, values, typed, content, row)
        for j, one, name, cache in plan:
            text = cells[j].strip() if j < len(cells) else ""
            if not text:
                continue
            held = 1 if j in row.date_columns else 2 if j in row.number_columns else 0
            said = cache.get((text, held))
            if said is None:
                said = cache[(text, held)] = _read(one, text, held, from_workbook if held else options)
            typed[name] = text
            if isinstance(said, Unreadable):
                out.faulty.add(name)
                parsed.faults.append(of_cell(said, row.number, name, out.tab))
            else:
                values[name], content[name] = said
        for name in required:
            if name not in typed:
                parsed.faults.append(
                    out.fault(name, "a filled cell", "fill it in, or leave out the row", "missing")
                )
        parsed.rows.append(out)


def _read(column: Column, text: str, held: int, options: Options) -> Any:
    """Value and canonical text of a cell, or the error."""
    if text == "-" and column.clearable:
        return CLEAR, "-"
    if held == 1 and not column.takes_dates:
        remedy = (
            "the spreadsheet may have taken 3-4 or 3/4 for a date: format the column as text and type it"
            " again"
        )
        return Misfit(text, "no date in this column", remedy, "date_in_value")
    try:
        value = column.read(text, options)
    except Unreadable as error:
        return error
    return value, canonical_text(value)


def _beyond(row: Row, tab: Tab) -> Finding:
    """A filled cell without a heading above it."""
    headless = [
        j
        for j, cell in enumerate(row.cells)
        if cell.strip() and not (j < len(tab.heading) and tab.heading[j])
    ]
    j = headless[0]
    remedy = "give the column a heading, or put text that holds the separator in quotes"
    return Finding(
        "beyond", shown(row.cells[j]), "a heading above every filled cell", remedy, row.number, letters(j)
    )
