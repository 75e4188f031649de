"""The spares sheet: shells in store or coming back, by type, half and bore."""

from collections.abc import Hashable, Iterable, Iterator
from typing import Any

from fleet.importing.columns import CLEAR, Column, day, identifier, number, one_of, unit, whole, yes_or_no
from fleet.importing.findings import Finding
from fleet.importing.loaders import Context
from fleet.importing.parsed_rows import Parsed, ParsedRow
from fleet.importing.sheets_of_things import ThingLoader
from fleet.models import Half, Recorded, Sheet, Spare, folded
from fleet.units import shown, to_um

_LEAST_BORE_UM, _MOST_BORE_UM = 1_000, 2_000_000
_HALVES = {word: word for word in Half.values} | {"both": "", "pair": ""}


class SparesLoader(ThingLoader):
    """One row per site, shell type, half and bore; what is on hand or due again is a revision."""

    holds = Sheet.Holds.SPARES
    named_by = "shell_type"
    when_cleared = {"on_hand": 0, "due_back_on": None, "lead_time_days": None, "relined_after_days": None}
    columns = (
        Column("site", identifier(80), required=True),
        Column("shell_type", identifier(80), required=True),
        Column("half", one_of(_HALVES, "a half (blank: pairs)")),
        Column("bore", number(0, 10**9)),
        Column("unit", unit),
        Column("bored", yes_or_no),
        Column("on_hand", whole(0, 100_000, "shells"), clearable=True),
        Column("due_back", day(whole_day=True), clearable=True, takes_dates=True),
        Column("lead_time_days", whole(0, 10_000, "days"), clearable=True),
        Column("relined_after_days", whole(1, 10_000, "days"), clearable=True),
    )

    def check(self, parsed: Parsed, context: Context) -> Iterable[Finding]:
        for row in parsed.rows:
            yield from _bore_um(row)
        yield from self.twice(parsed.rows)

    def key_of(self, row: ParsedRow) -> Hashable:
        shell_type = row.get("shell_type")
        if not row.site or not shell_type:
            return None
        return (
            row.site,
            folded(shell_type),
            row.get("half", ""),
            row.get("_bore_um"),
            row.get("bored", True),
        )

    def known(self, context: Context) -> dict[Hashable, Recorded]:
        return {
            (one.site_id, folded(one.shell_type), one.half, one.bore_um, one.bored): one
            for one in Spare.objects.standing()
        }

    def said_of(self, row: ParsedRow) -> dict[str, Any]:
        said: dict[str, Any] = {
            name: row.values[name]
            for name in ("on_hand", "lead_time_days", "relined_after_days")
            if name in row.values
        }
        due = row.get("due_back")
        if due is not None:
            said["due_back_on"] = due if due is CLEAR else due.first
        return said

    def make(self, row: ParsedRow, said: dict[str, Any]) -> Recorded:
        return Spare(
            site=row.values["_site"],
            shell_type=row.values["shell_type"],
            half=row.get("half", ""),
            bore_um=row.get("_bore_um"),
            bored=row.get("bored", True),
            **said,
        )


def _bore_um(row: ParsedRow) -> Iterator[Finding]:
    bore, of = row.get("bore"), row.get("unit")
    if bore is None or "unit" in row.faulty:
        return
    if of is None:
        yield row.fault("unit", "the unit of the bore (mm, um, mil, thou, in)", "fill it in", "missing_unit")
        return
    um = to_um(bore, of)
    if _LEAST_BORE_UM <= um <= _MOST_BORE_UM:
        row.values["_bore_um"] = um
    else:
        found = f"{shown(row.typed['bore'])} {of}"
        yield row.fault("bore", "a bore of 1 mm to 2 m", "check the unit", "bounds", found)
