"""Years as column headings: a year added to the sheet later is read as the year before it."""

from collections.abc import Sequence
from dataclasses import replace

from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan


def with_new_years(plan: Plan, headings: Sequence[str]) -> Plan:
    """A year added to years as columns is read as the year before it."""
    years = [one for one in plan.columns if one.use == "value" and one.date]
    known = {one.column for one in plan.columns if one.use != "leave"}
    if not years or any(one.heading.strip() != one.date for one in years):
        return plan
    last = years[-1]
    new = [
        ColumnPlan(
            j,
            "value",
            text,
            last.position,
            last.quantity,
            last.end,
            last.clock,
            last.stage,
            last.method,
            last.unit,
            last.basis,
            text,
            last.two,
            last.words,
        )
        for j, text in enumerate(headings)
        if j not in known and j > last.column and len(text) == 4 and text.isdigit() and text > last.date
    ]
    columns = [one for one in plan.columns if one.column not in {n.column for n in new}]
    return replace(plan, columns=(*columns, *new)) if new else plan
