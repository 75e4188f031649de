"""The outages sheet: when each site's machines can be opened, with how many crew hours."""

import datetime as dt
import re
from collections.abc import Hashable, Iterable, Iterator
from decimal import Decimal
from typing import Any

from fleet.importing.columns import CLEAR, Column, day, identifier, number, text
from fleet.importing.directory import in_words
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context
from fleet.importing.options import Options
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.sheets_of_things import ThingLoader
from fleet.models import Outage, Recorded, Sheet, folded
from fleet.units import shown


def _hours(typed: str, options: Options) -> Decimal:
    return number(0, 10_000_000, "hours")(typed, options).quantize(Decimal("0.1"))


class OutagesLoader(ThingLoader):
    """One row per outage, known by its site and name; changed dates are a revision."""

    holds = Sheet.Holds.OUTAGES
    named_by = "name"
    when_cleared = {"crew_hours": None, "pumps": [], "scope_freeze_on": None}
    columns = (
        Column("site", identifier(80), required=True),
        Column("name", identifier(80), required=True),
        Column("start", day(whole_day=True), required=True, takes_dates=True),
        Column("end", day(whole_day=True), required=True, takes_dates=True),
        Column("crew_hours", _hours, clearable=True),
        Column("block", text(80), clearable=True),
        Column("pumps", text(4000), clearable=True),
        Column("scope_freeze", day(whole_day=True), clearable=True, takes_dates=True),
    )

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        yield from self.twice(parsed.rows)
        for row in parsed.rows:
            yield from _dates_in_order(row)
            yield from _pumps(row, context)

    def key_of(self, row: ParsedRow) -> Hashable:
        name = row.get("name")
        return (row.site, folded(name)) if row.site and name else None

    def known(self, context: Context) -> dict[Hashable, Recorded]:
        return {(outage.site_id, folded(outage.name)): outage for outage in Outage.objects.standing()}

    def said_of(self, row: ParsedRow) -> dict[str, Any]:
        said = {"start_on": row.values["start"].first, "end_on": row.values["end"].first}
        for column, field in (("crew_hours", "crew_hours"), ("block", "block"), ("_tags", "pumps")):
            if column in row.values:
                said[field] = row.values[column]
        freeze = row.get("scope_freeze")
        if freeze is not None:
            said["scope_freeze_on"] = freeze if freeze is CLEAR else freeze.first
        return said

    def make(self, row: ParsedRow, said: dict[str, Any]) -> Recorded:
        return Outage(site=row.values["_site"], name=row.values["name"], **said)


def _dates_in_order(row: ParsedRow) -> Iterator[Finding]:
    start, end, freeze = (_day_of(row, name) for name in ("start", "end", "scope_freeze"))
    if start and end and end < start:
        expected = f"a day on or after the start {shown(row.typed['start'])}"
        yield row.fault("end", expected, "the two dates may have changed places", "dates")
    if start and freeze and freeze > start:
        expected = f"a day before the start {shown(row.typed['start'])}"
        yield row.question("scope_freeze", expected, "check the year", "dates")


def _day_of(row: ParsedRow, column: str) -> dt.date | None:
    value = row.get(column)
    return None if value is None or value is CLEAR else value.first


def _pumps(row: ParsedRow, context: Context) -> Iterator[Finding]:
    """The cell's tags as the register has them; an unknown one is a question with the nearest."""
    given = row.get("pumps")
    if given is None or given is CLEAR:
        if given is CLEAR:
            row.values["_tags"] = CLEAR
        return
    site = row.get("_site")
    tags = []
    for tag in re.split(r"[;,|\n]", given):
        if not tag.strip() or site is None:
            continue
        places = context.directory.places_of(tag, site)
        if places:
            tags.append(places[0].tag)
            continue
        near = in_words(context.directory.nearest_tags(tag, site))
        remedy = f"perhaps {near} is meant" if near else "register the pump first"
        expected = f"pumps of {site.name} (parted by ;)"
        yield row.question("pumps", expected, remedy, "unknown_pump", shown(tag.strip()))
    row.values["_tags"] = list(dict.fromkeys(tags))
