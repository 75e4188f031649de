"""A plan applied to a workbook: rows of the history template, questions about cells, and the fate of every
cell.
"""

import itertools
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field

from fleet.importing.answers import Answers
from fleet.importing.findings import Finding, of_file
from fleet.importing.reading_plans.heading_words import (
    name_in_title,
    stage_word,
    tag_and_position,
    year_in_name,
)
from fleet.importing.reading_plans.layout import Grid, find_headings, grid_of, headings_of
from fleet.importing.reading_plans.made_rows import Made, copy_of, each_once
from fleet.importing.reading_plans.meter_cells import CountCells
from fleet.importing.reading_plans.reading_plan import WITH_TAG, ColumnPlan, Plan, cell_of, letters
from fleet.importing.reading_plans.sheet_days import Days
from fleet.importing.reading_plans.units_beside_table import says
from fleet.importing.reading_plans.value_columns import ValueCells
from fleet.importing.reading_plans.value_notation import Odd, Part, in_hundredths
from fleet.importing.reading_plans.year_columns import with_new_years
from fleet.sheets.files import Tab
from fleet.unit_words import HUNDREDTHS
from fleet.units import shown

# Columns of the template that a whole row of the sheet shares.
SHARED = ("site", "outage", "job", "by", "checked_by", "instrument", "shell")
OF_READINGS = frozenset({"by", "checked_by", "instrument"})
READ, REMARK, LEFT = "read", "remark", "left"


@dataclass
class Applied:
    """What a plan makes of a workbook.

    `fates` holds for every cell that is not blank (tab, row, column from 0) what became of it: `read`,
    `remark`, or why it was left out.
    """

    made: list[Made] = field(default_factory=list)
    faults: list[Finding] = field(default_factory=list)
    fates: dict[tuple[str, int, int], str] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    n_rows: int = 0
    n_left: int = 0
    words: Counter[str] = field(default_factory=Counter)

    def left(self) -> list[tuple[str, int]]:
        """Why cells were left out, and how many, the most first."""
        counts = Counter(fate for fate in self.fates.values() if fate not in (READ, REMARK))
        return counts.most_common()


def apply(plan: Plan, tabs: Sequence[Tab], answers: Answers | None = None) -> Applied:
    """Read a workbook by a plan.

    Parameters
    ----------
    plan : Plan
        without complaints.
    tabs : sequence of Tab
        all tabs, hidden ones included.
    answers : Answers, optional
        to the questions about cells (`two_values`, `odd_word`, `season`, ...).

    Returns
    -------
    Applied
        nothing is raised for what the sheet holds.
    """
    out = Applied()
    given = answers or Answers()
    for tab in tabs:
        grid = grid_of(tab)
        if tab.name in plan.tabs_left:
            _leave_tab(grid, out, "a tab that the plan leaves out")
            continue
        rows = find_headings(grid, plan)
        if rows is None:
            _leave_tab(grid, out, "a tab without the plan's headings")
            if any(not row.is_blank for row in grid.rows.values()):
                out.remarks.append(f"tab {shown(tab.name)} is left out: it has not the headings of the plan")
            continue
        _TabReader(plan, grid, rows, given, out).run()
    if not out.made and not out.faults:
        sentence = "no tab has the headings of the plan, or nothing stands below them"
        out.faults.append(of_file(sentence, "make the plan anew over this file", "plan"))
    return out


def _leave_tab(grid: Grid, out: Applied, why: str) -> None:
    for number in grid.numbers:
        _leave_row(grid, number, out, why)


def _leave_row(grid: Grid, number: int, out: Applied, why: str) -> None:
    for j in range(grid.width):
        if grid.text(number, j) and (number, j) not in grid.covered:
            out.fates.setdefault((grid.name, number, j), why)


class _TabReader:
    """Row by row through one tab."""

    def __init__(self, plan: Plan, grid: Grid, rows: tuple[int, int], answers: Answers, out: Applied) -> None:
        self.grid, self.answers, self.out = grid, answers, out
        self.first, self.last = rows
        self.plan = with_new_years(plan, headings_of(grid, *rows))
        self.values, self.remarks = self.plan.of_use("value"), self.plan.of_use("remark")
        self.one = {
            use: found[0]
            for use in (
                "site",
                "pump",
                "position",
                "date",
                "run_hours",
                "starts",
                "unit",
                "method",
                "stage",
                "station",
                "entry_id",
                "outage",
                "job",
                "by",
                "checked_by",
                "instrument",
                "shell",
            )
            if (found := self.plan.of_use(use))
        }
        self.days = Days(plan.date_format, answers)
        self.use_of = {one.column: one.use for one in self.plan.columns}
        self.used = [one.column for one in self.plan.columns if one.use != "leave"]
        self.figures = [one.column for one in (*self.values, *self.plan.of_use("run_hours"))]
        self.heads = [
            [text.casefold() for text in grid.texts(n) if text]
            for n in range(self.first, self.last + 1)
            if n in grid.rows
        ]
        self.above: dict[int, tuple[str, int, int]] = {}
        self.skipped = frozenset(self.plan.skip)
        self.skipped_starts = tuple(word + mark for word in self.plan.skip for mark in (" ", ":"))
        self.fixed: dict[int, dict[str, str]] = {}
        self.kept: dict[str, tuple[dict[str, str], dict[str, int], dict[str, int]]] = {}
        self.counts = CountCells(self.plan, grid, self.last, answers)
        self.cells = ValueCells(
            self.plan, grid, self.last, answers, out.words, says(grid, self.plan, self.first, self.last)
        )

    def run(self) -> None:
        """Headings and what stands above them are left out by name; the rows below are
        read in order of time.
        """
        below = [n for n in self.grid.numbers if n > self.last]
        for number in self.grid.numbers:
            if number <= self.last:
                why = "a heading" if number >= self.first else "above the headings"
                _leave_row(self.grid, number, self.out, why)
        made: list[list[Made]] = []
        for number in below:
            if not self.grid.rows[number].is_blank:
                self.out.n_rows += 1
                made.append(self._row(number))
                if not made[-1]:
                    self.out.n_left += 1
        if self._newest_first(below):
            made.reverse()
        self.out.made += [one for some in made for one in some]

    def _newest_first(self, numbers: Sequence[int]) -> bool:
        if "date" not in self.one:
            return False
        column = self.one["date"].column
        days = [
            day
            for n in numbers
            if (day := self.days.first_of(self.grid.text(n, column), self.grid.held(n, column)))
        ]
        ups = sum(a < b for a, b in itertools.pairwise(days))
        return sum(a > b for a, b in itertools.pairwise(days)) > ups

    # one row

    def _row(self, number: int) -> list[Made]:
        skipped = self._skipped(number)
        if skipped:
            _leave_row(self.grid, number, self.out, skipped)
            return []
        shared = self._shared(number)
        made = [one for column in self.values for one in self._value(number, column, shared)]
        made += self._hours(number, shared)
        made += self._notes(number, shared)
        made = each_once(made)
        used = {j for one in made for j in one.columns.values()}
        used |= {j for one in made for j in shared.columns.values()} if made else set()
        for j, text in enumerate(self.grid.texts(number)):
            if not text or (number, j) in self.grid.covered:
                continue
            why = READ if j in used else self._why_left(j, bool(made))
            self.out.fates.setdefault((self.grid.name, number, j), why)
        return made

    def _why_left(self, j: int, made: bool) -> str:
        use = self.use_of.get(j, "")
        if use in ("", "leave"):
            return "a column that the plan leaves out"
        return "nothing it could belong to" if not made else "said by nothing in its row"

    def _skipped(self, number: int) -> str:
        row = self.grid.texts(number)
        texts = [text for text in row if text]
        first = texts[0].casefold()
        if first in self.skipped or first.startswith(self.skipped_starts):
            return f"a row that begins with {shown(texts[0])}"
        if [text.casefold() for text in texts] in self.heads:
            return "the headings again"
        width = len(row)
        if not any(j < width and row[j] for j in self.used):
            return "a row with nothing in the columns of the plan"
        dated = "date" not in self.one or self._cell(number, self.one["date"].column)[0]
        if not dated and not any(self.grid.text(number, j) for j in self.figures):
            return "a row without a date and without figures"
        return ""

    def _cell(self, number: int, column: int) -> tuple[str, int, int]:
        """Text, how it is held and the row it stands in, filled down where the plan says so."""
        text = self.grid.text(number, column)
        if text:
            found = (text, self.grid.held(number, column), number)
            if column in self.plan.fill_down:
                self.above[column] = found
            return found
        return self.above.get(column, ("", 0, number)) if column in self.plan.fill_down else ("", 0, number)

    def _shared(self, number: int) -> Made:
        """What all rows made of this one have: pump, position, day, site, and who."""
        shared = Made({}, {}, self.grid.name, number, {})
        self.kept.clear()
        for use in ("pump", "position", "site"):
            self._put_where(shared, use, number)
        for use in SHARED:
            if use != "site" and use in self.one:
                self._put(shared, use, number, self.one[use].column)
        if self.plan.position == WITH_TAG and "pump" in shared.cells:
            shared.cells["pump"], position = tag_and_position(shared.cells["pump"])
            if position:
                shared.cells["position"] = position
        if "date" in self.one:
            self._put(shared, "date", number, self.one["date"].column)
            self._dated(shared)
        elif self.plan.date and (year := year_in_name(self.grid.name)):
            shared.cells["date"], shared.held["date"] = year, 1
        if "entry_id" in self.one:
            self._put(shared, "entry_id", number, self.one["entry_id"].column)
        return shared

    def _put(self, made: Made, use: str, number: int, column: int) -> None:
        text, held, _ = self._cell(number, column)
        if text:
            made.cells[use], made.held[use], made.columns[use] = text, held, column

    def _put_where(self, made: Made, use: str, number: int) -> None:
        where = getattr(self.plan, use)
        if where == "column" or (use in self.one and not where):
            if use in self.one:
                self._put(made, use, number, self.one[use].column)
        elif where == "tab":
            made.cells[use] = self.grid.name.strip()
        elif where.startswith("="):
            made.cells[use] = where[1:].strip()
        elif where.startswith("cell"):
            at = cell_of(where[4:])
            if at:
                made.cells[use] = name_in_title(self.grid.text(*at))
                if self.grid.text(*at):
                    self.out.fates[self.grid.name, *at] = READ

    def _dated(self, made: Made) -> None:
        """The day as the template takes it; a season stays in words in the outage."""
        text, held = made.cells.get("date", ""), made.held.get("date", 0)
        if not text:
            return
        day = self.days.read(text, held)
        if isinstance(day, str):
            made.cells["date"], made.held["date"] = day, 1
            if ".." in day or (day != text and re.search("[a-z]{5}", text, re.IGNORECASE) and len(day) == 4):
                made.cells.setdefault("outage", text)
        elif isinstance(day, Odd):
            made.question = self._asked(made.row, made.columns["date"], day, text)

    # what a row becomes

    def _value(self, number: int, column: ColumnPlan, shared: Made) -> list[Made]:
        text = self.grid.text(number, column.column)
        if not text or ((number, column.column) in self.grid.covered and not column.date):
            return []
        read = self.cells.parts(number, column, text)
        if read == "leave":
            self.out.fates[self.grid.name, number, column.column] = "a word that stands for nothing"
            return []
        if read in ("opened", "remark"):
            word = self._row_of(
                shared, number, column, {"event": "opened" if read == "opened" else "note", "note": text}
            )
            word.columns["note"] = column.column
            return [word]
        base = self._reading(number, column, shared)
        if isinstance(read, Odd):
            base.cells["value"], base.columns["value"] = text, column.column
            base.question = base.question or self._asked(number, column.column, read, text)
            return [base]
        assert not isinstance(read, str)
        if len(read) == 1:
            return [self._part(base, column, read[0], number)]
        return [self._part(copy_of(base), column, part, number) for part in read]

    def _row_of(self, shared: Made, number: int, column: ColumnPlan | None, cells: dict[str, str]) -> Made:
        """A made row with the shared cells that its event may have."""
        event = cells["event"]
        kept = self.kept.get(event)  # the same for all rows of one event made of this row
        if kept is None:
            keep = {
                name: text
                for name, text in shared.cells.items()
                if (event == "reading" or name not in OF_READINGS)
                and not (name == "shell" and event != "shell_change")
                and not (name == "position" and event == "hours")
                and name != "entry_id"
            }
            held = {name: how for name, how in shared.held.items() if name in keep}
            columns = {name: j for name, j in shared.columns.items() if name in keep}
            kept = self.kept[event] = (keep, held, columns)
        made = Made(kept[0] | cells, kept[1].copy(), self.grid.name, number, kept[2].copy(), shared.question)
        if column is not None:
            if column.position:
                made.cells["position"] = column.position
            if column.date:
                made.cells["date"], made.held["date"] = column.date, 1
        return made

    def _reading(self, number: int, column: ColumnPlan, shared: Made) -> Made:
        cells = self.fixed.get(column.column)
        if cells is None:
            cells = self.fixed[column.column] = self._of_column(column)
        made = self._row_of(shared, number, column, cells)
        for use in ("method", "stage", "station"):
            if use in self.one and use not in cells:
                self._put(made, use, number, self.one[use].column)
                if use == "stage" and (stage := stage_word(made.cells.get("stage", ""))):
                    made.cells["stage"] = stage
        if "entry_id" in shared.cells and len(self.values) == 1:
            made.cells["entry_id"] = shared.cells["entry_id"]
        return made

    def _of_column(self, column: ColumnPlan) -> dict[str, str]:
        """What the plan says of every reading of a column."""
        said = {
            "event": "reading",
            "quantity": column.quantity,
            "stage": stage_word(column.stage) or column.stage,
            "basis": self.cells.basis(column)[0],
            "method": column.method or self.plan.method,
            "station": column.station,
        }
        return {name: text for name, text in said.items() if text}

    def _part(self, made: Made, column: ColumnPlan, part: Part, number: int) -> Made:
        """The reading's row with one number of its cell."""
        made.columns["value"] = column.column
        made.cells["value"] = part.text
        held = self.grid.held(number, column.column)
        if held == 2:
            made.held["value"] = 2
        typed = self._cell(number, self.one["unit"].column)[0] if "unit" in self.one else ""
        if typed and not part.unit:
            made.columns["unit"] = self.one["unit"].column
        if part.end:
            made.cells["station"] = "-".join(p for p in (part.end, column.clock) if p)
        if part.note:
            made.cells["note"] = part.note
        unit, odd = self.cells.unit(column, part, typed)
        odd = odd or self.cells.basis(column)[1]
        if odd and not made.question:
            made.question = self._asked(number, column.column, odd, part.text)
        if unit == HUNDREDTHS:
            made.cells["value"] = in_hundredths(part.text)
            unit = "mm"
        if unit:
            made.cells["unit"] = unit
        return made

    def _hours(self, number: int, shared: Made) -> list[Made]:
        if "run_hours" not in self.one:
            return []
        column = self.one["run_hours"].column
        text = self.grid.text(number, column)
        if not text or (number, column) in self.grid.covered:
            return []
        words = {**self.plan.words, "?": "leave", "unknown": "leave", "not known": "leave", "n/k": "leave"}
        if words.get(text.casefold()) in ("leave", "opened"):
            self.out.fates[self.grid.name, number, column] = "a word that stands for nothing"
            return []
        made = self._row_of(shared, number, None, {"event": "hours", "run_hours": text})
        self._count(made, "run_hours")
        made.held["run_hours"] = self.grid.held(number, column)
        made.columns["run_hours"] = column
        if "starts" in self.one:
            self._put(made, "starts", number, self.one["starts"].column)
            if "starts" in made.cells:
                self._count(made, "starts")
        if "outage" in made.cells and "outage" not in made.columns:
            made.cells.pop("outage")
        return [made]

    def _count(self, made: Made, use: str) -> None:
        """Run hours or starts without the marks that part their thousands."""
        read = self.counts.read(made.row, self.one[use])
        if isinstance(read, Odd):
            made.question = made.question or self._asked(
                made.row, self.one[use].column, read, made.cells[use]
            )
        elif read:
            made.cells[use] = read

    def _notes(self, number: int, shared: Made) -> list[Made]:
        made = []
        for column in self.remarks:
            text = self.grid.text(number, column.column)
            if not text or (number, column.column) in self.grid.covered:
                continue
            note = self._row_of(shared, number, column, {"event": "note", "note": text})
            note.columns["note"] = column.column
            self.out.fates[self.grid.name, number, column.column] = REMARK
            made.append(note)
        return made

    def _asked(self, number: int, column: int, odd: Odd, text: str) -> Finding:
        expected, remedy = QUESTIONS[odd.code]
        heading = headings_of(self.grid, self.first, self.last)[column]
        name = f"{letters(column)}" + (f" ({heading})" if heading else "")
        return Finding(
            odd.code,
            shown(text),
            expected,
            remedy,
            number,
            name,
            self.grid.name,
            is_question=True,
            about=odd.about,
        )


QUESTIONS = {
    "two_values": ("one number", "say what the two are: the two ends, a range, or two measurements"),
    "swallowed_date": (
        "a number, and the workbook holds a date",
        (
            "the spreadsheet probably took a fraction or a range such as 3-4 for a date; say which way round"
            " it was typed"
        ),
    ),
    "odd_word": ("a number", "say what the word stands for"),
    "marked_number": ("a plain number", "say whether the number may be read and the mark kept as a remark"),
    "season": ("a day, a month or a year", "say which months such a season is"),
    "grouping_mark": ("a number", "say whether the mark parts thousands or is the decimal mark"),
    "unit_in_title": (
        "the unit that stands beside the table",
        "the plan says another: say in which unit the numbers are",
    ),
    "basis_in_title": (
        "what stands beside the table",
        "the plan says otherwise: say whether the clearances are radial or diametral",
    ),
    "size": ("numbers of one size in a column", "say in which unit numbers of this size are"),
}
