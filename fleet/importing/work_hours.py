"""The sheet of crew hours: what opening, measuring, scraping and replacing take, for a class or for all."""

from collections.abc import Hashable, Iterable, Iterator
from decimal import Decimal
from typing import Any

from fleet.importing.columns import Column, identifier, number
from fleet.importing.directory import in_words, nearest
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context
from fleet.importing.options import Options
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.sheets_of_things import ThingLoader
from fleet.models import Recorded, Sheet, WearClass, WorkHours, folded

HOURS = ("open_hours", "measure_hours", "scrape_hours", "replace_hours")


def _hours(typed: str, options: Options) -> Decimal:
    return number(0, 10_000, "hours")(typed, options).quantize(Decimal("0.1"))


class WorkHoursLoader(ThingLoader):
    """One row per class; a blank class stands for all."""

    holds = Sheet.Holds.WORK_HOURS
    named_by = "class"
    of_sites = False
    columns = (
        Column("class", identifier(80)),
        *(Column(name, _hours, required=True) for name in HOURS),
    )

    def resolve(self, parsed: Parsed, context: Context) -> Iterator[Finding]:
        """The class of each row; one that no bearing has is a question."""
        classes = {one.folded: one for one in WearClass.objects.standing()}
        for row in parsed.rows:
            name = row.get("class")
            if not name:
                continue
            row.values["_class"] = classes.get(folded(name))
            if row.values["_class"] is None:
                near = in_words(nearest(name, (one.name for one in classes.values())))
                remedy = f"perhaps {near} is meant" if near else "register bearings of this class first"
                yield row.question("class", "a class of the register", remedy, "unknown_class")

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        return self.twice(parsed.rows)

    def key_of(self, row: ParsedRow) -> Hashable:
        if "class" not in row.typed:
            return ("all",)
        found = row.get("_class")
        return found.id if found else None

    def known(self, context: Context) -> dict[Hashable, Recorded]:
        return {one.wear_class_id or ("all",): one for one in WorkHours.objects.standing()}

    def said_of(self, row: ParsedRow) -> dict[str, Any]:
        return {name: row.values[name] for name in HOURS}

    def make(self, row: ParsedRow, said: dict[str, Any]) -> Recorded:
        return WorkHours(wear_class=row.get("_class"), **said)
