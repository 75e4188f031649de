"""A reading plan: how a layout of the plant's own becomes rows of the history template. Data only; knows no
Django.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, fields, replace
from typing import Any

from xlsxwriter.utility import xl_cell_to_rowcol, xl_col_to_name

FORMAT = 1
WITH_TAG = "with the tag"  # where a position stands that is written behind its pump's name, in the same cell

# What a column may hold, and how it is called. The first three are no part of a row of the template.
USES: dict[str, str] = {
    "leave": "leave it out",
    "value": "a measured value",
    "remark": "remarks",
    "site": "the site",
    "pump": "the pump",
    "position": "the bearing position",
    "date": "the date",
    "run_hours": "run hours",
    "starts": "starts",
    "unit": "the unit of the row",
    "method": "the method of the row",
    "stage": "as found or as left",
    "station": "the station",
    "outage": "the outage",
    "job": "the job number",
    "by": "who measured",
    "checked_by": "who checked",
    "instrument": "the instrument",
    "shell": "the shell's number",
    "entry_id": "the sheet's own id",
}
QUANTITIES = ("clearance", "side_gap", "end_float", "bore", "journal", "wall", "shaft_drop", "housing_fit")
UNITS = ("mm", "um", "mil", "thou", "in", "1/100 mm")
# What a cell that is no number may stand for in a column of values.
MEANINGS: dict[str, str] = {
    "opened": "opened, nothing measured",
    "leave": "nothing",
    "remark": "a remark",
}
# Odd cells that mean the same everywhere; common practice, no published source. A plan may say otherwise.
USUAL_WORDS: dict[str, str] = {
    "ok": "opened",
    "o.k.": "opened",
    "good": "opened",
    "within limits": "opened",
    "n/m": "opened",
    "not measured": "opened",
    "nm": "opened",
    "not taken": "opened",
    "-": "leave",
    "--": "leave",
    "—": "leave",
    "–": "leave",
    "n/a": "leave",
    "na": "leave",
    "?": "leave",
    "x": "leave",
    "nil": "leave",
}
SKIPPED = (
    "total",
    "totals",
    "sum",
    "mean",
    "average",
    "avg",
    "min",
    "max",
    "limit",
    "limits",
    "prepared by",
    "checked by",
    "legend",
    "note:",
    "notes:",
    "printed",
    "page",
    "end of sheet",
    "new clearance",
)


@dataclass(frozen=True)
class ColumnPlan:
    """What one column holds.

    Parameters
    ----------
    column : int
        from 0.
    use : str
        a key of `USES`.
    heading : str
        the heading it had when the plan was made, several rows joined by ` / `; a sheet whose heading differs
        is not read.
    position, quantity, end, clock, stage, method, unit, basis : str
        of a value; blank: as the row, the plan or the template has it.
    date : str
        of a value whose heading stands for the day (years as columns).
    two : str
        what two values in one cell are: `ends`, `range`; blank: asked about.
    words : dict
        what this column's odd cells stand for, before the plan's own.
    """

    column: int
    use: str = "leave"
    heading: str = ""
    position: str = ""
    quantity: str = ""
    end: str = ""
    clock: str = ""
    stage: str = ""
    method: str = ""
    unit: str = ""
    basis: str = ""
    date: str = ""
    two: str = ""
    words: dict[str, str] = field(default_factory=dict)

    @property
    def station(self) -> str:
        """End and clock as the template writes them."""
        return "-".join(part for part in (self.end, self.clock) if part)


@dataclass(frozen=True)
class Plan:
    """A whole plan.

    Parameters
    ----------
    first_heading, last_heading : int
        the sheet's own numbers of the heading rows.
    pump, position, site : str
        where it stands: `column`, `tab` (its name), `cell B1`, or `= P-101` (the same for all); blank:
        nowhere. A position may also stand `with the tag`: `K1 DE`.
    date : str
        `tab` where no column holds the date and the year stands in the tab's name.
    tabs_left : tuple of str
        tabs that are not read.
    fill_down : tuple of int
        columns whose blank cells stand for the cell above (merged cells always do).
    skip : tuple of str
        rows that begin with one of these words are left out.
    words : dict
        what odd cells stand for, in all value columns.
    unit, method, basis, date_format : str
        for the whole file; the column and the cell win.
    """

    columns: tuple[ColumnPlan, ...] = ()
    first_heading: int = 1
    last_heading: int = 1
    pump: str = "column"
    position: str = ""
    site: str = ""
    date: str = ""
    tabs_left: tuple[str, ...] = ()
    fill_down: tuple[int, ...] = ()
    skip: tuple[str, ...] = SKIPPED
    words: dict[str, str] = field(default_factory=lambda: dict(USUAL_WORDS))
    unit: str = ""
    method: str = ""
    basis: str = ""
    date_format: str = ""
    decimal_comma: bool = False

    def of_use(self, use: str) -> list[ColumnPlan]:
        """The columns of one use."""
        return [one for one in self.columns if one.use == use]

    def body(self) -> dict[str, Any]:
        """The plan as JSON, only what differs from the defaults."""
        said: dict[str, Any] = {"format": FORMAT}
        plain = Plan()
        for one in fields(self):
            value = getattr(self, one.name)
            if one.name != "columns" and value != getattr(plain, one.name):
                said[one.name] = list(value) if isinstance(value, tuple) else value
        said["columns"] = [
            {name: value for name, value in asdict(one).items() if value not in ("", {}) or name == "column"}
            for one in self.columns
        ]
        return said

    def complaints(self) -> list[str]:
        """Why the plan cannot serve yet, each in a sentence that says what to do."""
        return list(_complaints(self))


def plan_of(body: Mapping[str, Any]) -> Plan:
    """The plan a body describes; unknown words in it are refused.

    Raises
    ------
    ValueError
        in one sentence.

    Examples
    --------
    >>> plan_of(Plan(unit="mm", columns=(ColumnPlan(0, "date"),)).body()).unit
    'mm'
    """
    if body.get("format") != FORMAT:
        raise ValueError(f"the plan has the format {body.get('format')!r}; this version reads {FORMAT}")
    known = {one.name for one in fields(Plan)}
    strange = set(body) - known - {"format"}
    if strange:
        raise ValueError(f"the plan says {', '.join(sorted(strange))}, which no plan has")
    said: dict[str, Any] = {
        name: tuple(v) if isinstance(v, list) else v for name, v in body.items() if name in known
    }
    said["columns"] = tuple(_column_of(one) for one in body.get("columns", ()))
    return Plan(**said)


def _column_of(body: Mapping[str, Any]) -> ColumnPlan:
    strange = set(body) - {one.name for one in fields(ColumnPlan)}
    if strange or "column" not in body:
        raise ValueError(f"a column of the plan says {', '.join(sorted(strange)) or 'not which it is'}")
    if body.get("use", "leave") not in USES:
        raise ValueError(f"a column of the plan is used as '{body['use']}'; known are {', '.join(USES)}")
    return ColumnPlan(**body)


def _complaints(plan: Plan) -> Iterable[str]:
    values = plan.of_use("value")
    if not values and not plan.of_use("run_hours") and not plan.of_use("remark"):
        yield "No column holds a measured value, run hours or remarks. Say of at least one what it holds."
    if not (plan.of_use("date") or plan.date) and any(not one.date for one in values):
        yield "No column holds the date. Say which one does, or give the year columns their years."
    if plan.pump == "column" and not plan.of_use("pump"):
        yield "No column holds the pump. Say which one does, or where else the pump is named."
    if plan.pump == "":
        yield "Say where the pump is named."
    for use in ("date", "pump", "position", "site", "run_hours", "unit", "method", "stage", "entry_id"):
        if len(plan.of_use(use)) > 1:
            yield f"Two columns hold {USES[use]}. Leave one of them out."
    lacking = [one for one in values if not (one.unit or plan.unit or plan.of_use("unit"))]
    if lacking:
        yield f"{_named(lacking)}: say in which unit the numbers are. It is never told from their size."
    if not (plan.position or plan.of_use("position")):
        nowhere = [one for one in values if not one.position]
        if nowhere:
            yield f"{_named(nowhere)}: say at which bearing position."
    of_clearance = [one for one in values if one.quantity in ("", "clearance")]
    if of_clearance and not plan.basis and any(not one.basis for one in of_clearance):
        yield "Say whether the clearances are diametral or radial. It is never assumed."
    if plan.last_heading < plan.first_heading:
        yield "The last heading row stands above the first. Check the two numbers."


def _named(columns: list[ColumnPlan]) -> str:
    names = [letters(one.column) for one in columns]
    shown = ", ".join(names[:6]) + (" and more" if len(names) > 6 else "")
    return f"Column{'s' if len(names) > 1 else ''} {shown}"


def letters(j: int) -> str:
    """A column's letters in a spreadsheet, from 0: A, B, ... Z, AA."""
    return str(xl_col_to_name(j))


def cell_of(text: str) -> tuple[int, int] | None:
    """Row from 1 and column from 0 of a cell such as `B1`; None for what is none."""
    found = re.fullmatch(r"([A-Za-z]{1,3})([1-9][0-9]{0,6})", text.strip())
    if found is None:
        return None
    row, column = xl_cell_to_rowcol(found[0].upper())
    return row + 1, column


def heading_text(heading: str) -> str:
    """A heading as it is compared."""
    return " ".join(heading.casefold().split())


def with_columns(plan: Plan, columns: Iterable[ColumnPlan]) -> Plan:
    """The plan with other columns."""
    return replace(plan, columns=tuple(columns))
