"""Run hours and starts of one tab: their thousands marks told by each column's own pattern, asked where both
fit.
"""

from collections.abc import Iterable

from fleet.grouping_marks import DECIMAL, GROUPING, Unclear, marks_of, plain
from fleet.importing.answers import Answers
from fleet.importing.reading_plans.layout import Grid
from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan
from fleet.importing.reading_plans.value_notation import Odd

_CHOSEN = {"thousands": GROUPING, "decimal": DECIMAL}


class CountCells:
    """Reads the cells of the columns that count: run hours, starts.

    last: the row of the last heading; what is typed below it shows what a mark is.
    """

    def __init__(self, plan: Plan, grid: Grid, last: int, answers: Answers) -> None:
        self.plan, self.grid, self.last, self.answers = plan, grid, last, answers
        self.marks: dict[int, dict[str, str]] = {}
        values = [marks_of(self._typed(one)) for one in plan.of_use("value")]
        self.decimals = {mark for some in values for mark, kind in some.items() if kind == DECIMAL}

    def read(self, number: int, column: ColumnPlan) -> str | Odd:
        """A cell's number as the template takes it; a question where a mark may part
        thousands or decimals.
        """
        text = self.grid.text(number, column.column)
        if self.grid.held(number, column.column):
            return text  # the workbook holds a number: its mark is the decimal one
        marks = self._marks(column)
        read = plain(text, marks)
        if isinstance(read, Unclear):
            said = self.answers.of("grouping_mark", read.mark)
            if said is None or said[0] not in _CHOSEN:
                return Odd("grouping_mark", read.mark)
            read = plain(text, marks | {read.mark: _CHOSEN[said[0]]})
        assert isinstance(read, str)
        return read.replace(".", ",") if self.plan.decimal_comma else read

    def _marks(self, column: ColumnPlan) -> dict[str, str]:
        known = self.marks.get(column.column)
        if known is None:
            known = self.marks[column.column] = marks_of(self._typed(column), self.decimals)
        return known

    def _typed(self, column: ColumnPlan) -> Iterable[str]:
        j = column.column
        return (self.grid.text(n, j) for n in self.grid.numbers if n > self.last and not self.grid.held(n, j))
