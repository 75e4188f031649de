"""A plan as the fields of a page, and back: what each column holds, in the words of the page."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from fleet.importing.reading_plans.cell_fates import Applied
from fleet.importing.reading_plans.guesses import columns_under
from fleet.importing.reading_plans.layout import Grid, find_headings, grid_of, headings_of
from fleet.importing.reading_plans.reading_plan import (
    MEANINGS,
    QUANTITIES,
    UNITS,
    USES,
    WITH_TAG,
    ColumnPlan,
    Plan,
    cell_of,
    letters,
)
from fleet.measuring_methods import METHODS, or_none
from fleet.sheets.files import Tab
from fleet.units import BadDateFormat, day_patterns

SHOWN_VALUES = 3
Choices = Sequence[tuple[str, str]]

USE_CHOICES: Choices = tuple(USES.items())
STAGES: Choices = (("", "as the visit tells"), ("as_found", "as found"), ("as_left", "as left"))
ENDS: Choices = (("", "not known"), ("in", "pump side"), ("out", "away from it"), ("mid", "middle"))
TWO: Choices = (
    ("", "asked about"),
    ("ends", "the two ends"),
    ("range", "it lies between"),
    ("repeat", "two measurements"),
)
BASES: Choices = (("diametral", "diametral"), ("radial", "radial"))
BASIS_CHOICES: Choices = (("", "of the sheet"), *BASES)
CLOCKS: Choices = (("", "vertical"), *((str(n), f"{n} o'clock") for n in range(1, 13)))
QUANTITY_CHOICES: Choices = (("", "clearance"), *((q, q.replace("_", " ")) for q in QUANTITIES[1:]))
method_choices = or_none("not known")
UNIT_CHOICES: Choices = (("", "of the sheet"), *((u, u) for u in UNITS))
DETAILS = ("position", "stage", "end", "clock", "quantity", "method", "unit", "two", "basis")


@dataclass(frozen=True)
class Select:
    """One select of the page."""

    name: str
    label: str
    chosen: str
    choices: Choices


@dataclass
class ColumnFields:
    """One column as the page shows it."""

    column: int
    letters: str
    heading: str
    values: list[str]
    use: Select
    position: str = ""
    details: list[Select] = field(default_factory=list)
    date: str = ""


@dataclass(frozen=True)
class OddWord:
    """A word met in value columns, how often, and what the plan takes it for."""

    word: str
    n: int
    select: Select


def main_grid(plan: Plan, tabs: Sequence[Tab]) -> Grid | None:
    """The first tab that has the plan's headings, else the first with anything in it."""
    grids = [grid_of(tab) for tab in tabs if tab.heading and tab.name not in plan.tabs_left]
    return next((grid for grid in grids if find_headings(grid, plan)), grids[0] if grids else None)


def column_fields(plan: Plan, grid: Grid) -> list[ColumnFields]:
    """Every column that holds anything, with its selects; details only where it holds values."""
    headings = headings_of(grid, plan.first_heading, plan.last_heading)
    planned = {one.column: one for one in plan.columns}
    below = [n for n in grid.numbers if n > plan.last_heading]
    shown = []
    for j in range(grid.width):
        values = list(dict.fromkeys(t for n in below[:200] if (t := grid.text(n, j))))[:SHOWN_VALUES]
        if not values and not headings[j]:
            continue
        one = planned.get(j, ColumnPlan(j, heading=headings[j]))
        use = Select(f"c{j}-use", f"Column {letters(j)} holds", one.use, USE_CHOICES)
        made = ColumnFields(j, letters(j), headings[j], values, use, date=one.date)
        if one.use == "value":
            made.position = one.position
            made.details = [
                Select(f"c{j}-stage", "stage", one.stage, STAGES),
                Select(f"c{j}-end", "end", one.end, ENDS),
                Select(f"c{j}-unit", "unit", one.unit, UNIT_CHOICES),
                Select(f"c{j}-method", "method", one.method, method_choices()),
                Select(f"c{j}-quantity", "quantity", one.quantity, QUANTITY_CHOICES),
                Select(f"c{j}-clock", "clock", one.clock, CLOCKS),
                Select(f"c{j}-two", "two values in a cell", one.two, TWO),
                Select(f"c{j}-basis", "basis", one.basis, BASIS_CHOICES),
            ]
        shown.append(made)
    return shown


def odd_words(plan: Plan, applied: Applied) -> list[OddWord]:
    """Words met in value columns, the most frequent first, and what the plan takes each for."""
    choices: Choices = (("", "asked about"), *((word, said) for word, said in MEANINGS.items()))
    return [
        OddWord(word, n, Select(f"w-{word}", f"'{word}' stands for", plan.words.get(word, ""), choices))
        for word, n in applied.words.most_common(40)
    ]


def plan_from(
    data: Mapping[str, str], tabs_left: Sequence[str], base: Plan, tabs: Sequence[Tab]
) -> tuple[Plan, list[str]]:
    """The plan that a posted page describes, and complaints about fields that cannot be read."""
    complaints: list[str] = []
    first = _whole(data.get("first_heading", ""), base.first_heading)
    last = _whole(data.get("last_heading", ""), base.last_heading)
    plan = replace(base, first_heading=first, last_heading=last, tabs_left=tuple(tabs_left))
    chosen: dict[str, Any] = {}
    for name, allowed in (("unit", UNITS), ("basis", ("diametral", "radial")), ("method", METHODS)):
        value = data.get(name, "")
        chosen[name] = value if value in allowed else ""
    unit, _, basis = data.get("take", "").partition("|")  # what a cell beside the table says, taken over
    chosen |= {"unit": unit} if unit in UNITS else {}
    chosen |= {"basis": basis} if basis in dict(BASES) else {}
    plan = replace(
        plan, decimal_comma=data.get("decimal") == "comma", date_format=data.get("date_format", "").strip()
    )
    if plan.date_format:
        try:
            day_patterns(plan.date_format)
        except BadDateFormat as error:
            complaints.append(f"{error}.")
            plan = replace(plan, date_format="")
    for name in ("pump", "position", "site"):
        chosen[name], complaint = _where(name, data)
        complaints += [complaint] if complaint else []
    plan = replace(plan, **chosen)
    grid = main_grid(plan, tabs)
    if grid is None:
        return plan, ["No tab is read. Tick one."]
    headings = headings_of(grid, first, last)
    if (first, last) != (base.first_heading, base.last_heading):
        data = _without_untouched(data, base)
        base = replace(base, columns=columns_under(grid, first, last))
    plan = replace(plan, columns=tuple(_column(j, headings, data, base) for j in range(grid.width)))
    words = dict(plan.words)
    for key, value in data.items():
        if key.startswith("w-") and value in ("", *MEANINGS):
            words.pop(key[2:], None)
            words |= {key[2:]: value} if value else {}
    return replace(plan, words=words, fill_down=_filled(data, plan, base)), complaints


def _without_untouched(data: Mapping[str, str], base: Plan) -> dict[str, str]:
    """The posted fields without those of columns that stand as they were shown: their guess is made anew."""
    shown = {
        f"c{one.column}-{name}": getattr(one, name) for one in base.columns for name in ("use", *DETAILS)
    }
    return {
        name: value
        for name, value in data.items()
        if not re.match(r"c\d+-", name) or shown.get(name, "leave" if name.endswith("-use") else "") != value
    }


def _filled(data: Mapping[str, str], plan: Plan, base: Plan) -> tuple[int, ...]:
    if "fills" not in data:
        return base.fill_down
    names = ("pump", "position", "site", "date", "outage")
    return tuple(one.column for one in plan.columns if one.use in names) if data["fills"] == "yes" else ()


def _column(j: int, headings: Sequence[str], data: Mapping[str, str], base: Plan) -> ColumnPlan:
    before = next((one for one in base.columns if one.column == j), ColumnPlan(j))
    use = data.get(f"c{j}-use", before.use)
    if use not in USES:
        use = "leave"
    heading = headings[j] if j < len(headings) else ""
    if use != "value":
        return ColumnPlan(j, use, heading)
    said = {name: str(data.get(f"c{j}-{name}", getattr(before, name))).strip()[:40] for name in DETAILS}
    allowed = {
        "stage": STAGES,
        "end": ENDS,
        "clock": CLOCKS,
        "quantity": QUANTITY_CHOICES,
        "method": method_choices(),
        "unit": UNIT_CHOICES,
        "two": TWO,
        "basis": BASIS_CHOICES,
    }
    for name, choices in allowed.items():
        if said[name] not in dict(choices):
            said[name] = ""
    return ColumnPlan(j, "value", heading, date=before.date, words=before.words, **said)


def _where(name: str, data: Mapping[str, str]) -> tuple[str, str]:
    """Where a name stands, and what is wrong with it."""
    where, text = data.get(name, ""), data.get(f"{name}-text", "").strip()[:80]
    if where == "cell":
        if cell_of(text) is None:
            return "", f"'{text}' is no cell for the {name}. Write it as B1."
        return f"cell {text.upper()}", ""
    if where == "same":
        return (f"= {text}", "") if text else ("", f"Give the {name} that all rows are of.")
    if where == WITH_TAG and name == "position":
        return WITH_TAG, ""
    return (where if where in ("", "column", "tab") else ""), ""


def where_fields(plan: Plan, name: str) -> tuple[str, str]:
    """Choice and text of where a name stands."""
    where = getattr(plan, name)
    if where.startswith("="):
        return "same", where[1:].strip()
    if where.startswith("cell"):
        return "cell", where[4:].strip()
    if not where and plan.of_use(name):
        return "column", ""
    return where, ""


def _whole(text: str, otherwise: int) -> int:
    return int(text) if text.isascii() and text.isdigit() and 0 < int(text) < 1000 else otherwise


@dataclass(frozen=True)
class Preview:
    """What rows become, in a few figures."""

    n_rows: int
    n_readings: int
    n_events: int
    n_hours: int
    n_questions: int
    n_cells: int
    left: list[tuple[str, int]]
    rows: list[dict[str, str]]


PREVIEWED = 14


def placed_words(stage: str, station: str) -> str:
    """Stage and station as people say them.

    >>> placed_words("as_found", "in"), placed_words("", "out-6"), placed_words("as_left", "")
    ('as found, pump side', "away from the pump, 6 o'clock", 'as left')
    """
    end, _, clock = station.partition("-")
    if end.isdigit():
        end, clock = "", end
    place = {"in": "pump side", "out": "away from the pump", "mid": "middle"}.get(end, end)
    hour = f"{clock} o'clock" if clock else ""
    return ", ".join(part for part in (stage.replace("_", " "), place, hour) if part)


def preview(applied: Applied) -> Preview:
    """The first rows a plan makes, and counts of all."""
    kinds = [one.cells["event"] for one in applied.made]
    n_readings, n_hours = kinds.count("reading"), kinds.count("hours")
    rows = [
        one.cells
        | {
            "tab": one.tab,
            "row": str(one.row),
            "asked": one.question.sentence if one.question else "",
            "event": one.cells["event"].replace("_", " "),
            "stage": placed_words(one.cells.get("stage", ""), one.cells.get("station", "")),
        }
        for one in applied.made[:PREVIEWED]
    ]
    return Preview(
        applied.n_rows,
        n_readings,
        len(kinds) - n_readings - n_hours,
        n_hours,
        sum(one.question is not None for one in applied.made),
        len(applied.fates),
        applied.left(),
        rows,
    )
