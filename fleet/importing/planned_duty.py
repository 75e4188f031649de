"""The sheet of planned duty: how many hours a day a pump is meant to run, and how many starts, by period."""

import datetime as dt
from collections.abc import Hashable, Iterable, Iterator
from decimal import Decimal
from typing import Any

from fleet.importing.columns import CLEAR, Column, day, identifier, number
from fleet.importing.directory import in_words
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context
from fleet.importing.options import Options
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.sheets_of_things import ThingLoader, resolve_sites
from fleet.models import PlannedDuty, Recorded, Sheet
from fleet.units import shown


def _hours(typed: str, options: Options) -> Decimal:
    return number(0, 24, "hours a day")(typed, options).quantize(Decimal("0.01"))


def _starts(typed: str, options: Options) -> Decimal:
    return number(0, 1000, "starts a day")(typed, options).quantize(Decimal("0.001"))


class PlannedDutyLoader(ThingLoader):
    """One row per pump and first day; a blank `until` lasts to the pump's next period."""

    holds = Sheet.Holds.PLANNED_DUTY
    named_by = "from"
    when_cleared = {"until_on": None, "starts_per_day": None}
    columns = (
        Column("site", identifier(80), required=True),
        Column("pump", identifier(80), required=True),
        Column("from", day(whole_day=True), required=True, takes_dates=True),
        Column("until", day(whole_day=True), clearable=True, takes_dates=True),
        Column("hours_per_day", _hours, required=True),
        Column("starts_per_day", _starts, clearable=True),
    )

    def resolve(self, parsed: Parsed, context: Context) -> Iterator[Finding]:
        yield from resolve_sites(parsed.rows, context)
        for row in parsed.rows:
            tag, site = row.get("pump"), row.get("_site")
            if not tag or site is None:
                continue
            places = context.directory.places_of(tag, site)
            if places:
                row.values["_place"] = places[0]
                continue
            near = in_words(context.directory.nearest_tags(tag, site))
            remedy = f"perhaps {near} is meant" if near else "register the pump first"
            yield row.question("pump", f"a pump of {site.name}", remedy, "unknown_pump", shown(tag))

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        yield from self.twice(parsed.rows)
        for row in parsed.rows:
            first, last = _day_of(row, "from"), _day_of(row, "until")
            if first and last and last < first:
                expected = f"a day on or after {shown(row.typed['from'])}"
                yield row.fault("until", expected, "the two days may have changed places", "dates")

    def key_of(self, row: ParsedRow) -> Hashable:
        place, first = row.get("_place"), _day_of(row, "from")
        return (place.id, first) if place and first else None

    def known(self, context: Context) -> dict[Hashable, Recorded]:
        return {(one.place_id, one.from_on): one for one in PlannedDuty.objects.standing()}

    def said_of(self, row: ParsedRow) -> dict[str, Any]:
        said: dict[str, Any] = {
            name: row.values[name] for name in ("hours_per_day", "starts_per_day") if name in row.values
        }
        last = row.get("until")
        if last is not None:
            said["until_on"] = last if last is CLEAR else last.first
        return said

    def make(self, row: ParsedRow, said: dict[str, Any]) -> Recorded:
        return PlannedDuty(place=row.values["_place"], from_on=row.values["from"].first, **said)


def _day_of(row: ParsedRow, column: str) -> dt.date | None:
    value = row.get(column)
    return None if value is None or value is CLEAR else value.first
