"""The number cells of one tab under a plan: what a cell says, in which unit, and what
must be asked about it.
"""

from collections import Counter
from decimal import Decimal

from fleet.importing.answers import TYPED, Answers, kept_words
from fleet.importing.reading_plans.layout import Grid
from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan
from fleet.importing.reading_plans.units_beside_table import TabSays
from fleet.importing.reading_plans.value_notation import (
    Odd,
    Part,
    folded_word,
    from_date,
    number_of,
    read_value_cell,
    size_of,
    size_of_unit,
    unit_in,
)
from fleet.unit_words import same_unit


class ValueCells:
    """Reads the cells of a tab's value columns.

    words: counted up for every word met in place of a number.
    last: the row of the last heading; numbers below it tell whether a column is of one size.
    says: what the tab's title and notes name; where the plan says otherwise one asks.
    """

    def __init__(
        self, plan: Plan, grid: Grid, last: int, answers: Answers, words: Counter[str], says: TabSays
    ) -> None:
        self.says = says
        self.plan, self.grid, self.last, self.answers, self.words = plan, grid, last, answers, words
        self.sizes: dict[int, str] = {}

    def unit(self, column: ColumnPlan, part: Part, typed: str) -> tuple[str, Odd | None]:
        """The unit of a number: the cell's, the row's as `typed`, the column's, the plan's; another size is
        asked about.
        """
        if part.unit:
            return part.unit, None
        if typed:
            return unit_in(typed) or typed, None
        if not column.unit and self.plan.unit and (odd := self._beside_title(self.plan.unit)):
            said = self.answers.of(odd.code, odd.about)
            if not said or said[0] != "as_planned":
                return (said[1], None) if said and said[0] == "unit" else (self.plan.unit, odd)
        unit = column.unit or self.plan.unit
        size = size_of(part.text) if column.quantity in ("", "clearance") else ""
        if size and unit and size != size_of_unit(unit) and self._mixed(column):
            said = self.answers.of("size", size)
            if said and said[0] == "unit":
                return said[1], None
            if not said or said[0] != "as_planned":
                return unit, Odd("size", size)
        return unit, None

    def _beside_title(self, unit: str) -> Odd | None:
        """What is asked where the tab's own words name other units than the plan."""
        units = self.says.units
        if not units or any(same_unit(unit, one) for one in units):
            return None
        return Odd("unit_in_title", " or ".join(units))

    def basis(self, column: ColumnPlan) -> tuple[str, Odd | None]:
        """Radial or diametral as the column or the plan has it, blank for what is no clearance; another word
        beside the table is asked about.
        """
        if column.quantity not in ("", "clearance"):
            return "", None
        if column.basis or not self.plan.basis or self.plan.basis in self.says.bases or not self.says.bases:
            return column.basis or self.plan.basis, None
        odd = Odd("basis_in_title", self.says.bases[0])
        said = self.answers.of(odd.code, odd.about)
        return (said[0], None) if said and said[0] in ("radial", "diametral") else (self.plan.basis, odd)

    def _mixed(self, column: ColumnPlan) -> bool:
        """Whether the bare numbers of a column are of sizes that lie more than ten times apart."""
        known = self.sizes.get(column.column)
        if known is None:
            numbers: list[Decimal] = []
            for n in self.grid.numbers:
                text = self.grid.text(n, column.column)
                read = (
                    read_value_cell(text, self.grid.held(n, column.column), two="range", words={})
                    if text and n > self.last
                    else ""
                )
                if isinstance(read, list) and not read[0].unit and size_of(read[0].text):
                    number = number_of(read[0].text.lstrip("<>").partition("-")[0])
                    numbers += [] if number is None else [number]
            known = "mixed" if numbers and max(numbers) > 12 * min(numbers) else "alike"
            self.sizes[column.column] = known
        return known == "mixed"

    def parts(self, number: int, column: ColumnPlan, text: str) -> list[Part] | Odd | str:
        """Numbers of a cell, a choice for its word (`leave`, `opened`, `remark`), or what must be asked."""
        words = {**self.plan.words, **column.words} if column.words else self.plan.words
        held = self.grid.held(number, column.column)
        read = read_value_cell(text, held, two=column.two, words=words)
        if isinstance(read, Odd) and read.code == "two_values" and (column.unit or self.plan.unit) == "in":
            inches = read_value_cell(
                f'{text}"', held, two=column.two, words=words
            )  # 1/128: no two whole inches
            read = inches if isinstance(inches, list) else read
        if not isinstance(read, Odd):
            if isinstance(read, str):
                self.words[folded_word(text)] += 1
            return read
        if read.code == "odd_word":
            self.words[read.about] += 1
        said = self.answers.of(read.code, read.about, text)
        if said is None or said[0] == "aside":
            return read
        return self._answered(read, *said, text, column, words)

    def _answered(
        self, odd: Odd, choice: str, value: str, text: str, column: ColumnPlan, words: dict[str, str]
    ) -> list[Part] | Odd | str:
        if choice == TYPED.word:
            read = read_value_cell(value, 0, two=column.two, words=words)
            return (
                [Part(p.text, p.unit, p.end, kept_words(text)) for p in read]
                if isinstance(read, list)
                else odd
            )
        if odd.code == "two_values":
            return read_value_cell(text, 0, two=choice, words=words)
        if odd.code == "marked_number" and choice == "number":
            read = read_value_cell(odd.mark, 0, two="", words={})
            return [Part(p.text, p.unit, p.end, text) for p in read] if isinstance(read, list) else odd
        if odd.code == "swallowed_date" and choice in ("day_month", "month_day"):
            typed = from_date(text, choice)
            two = column.two or (self.answers.of("two_values", "-") or ("range", ""))[0]
            return read_value_cell(typed, 0, two=two, words=words)
        return choice if choice in ("opened", "leave", "remark") else odd
