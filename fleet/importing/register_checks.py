"""What must hold in a register as a whole: units, bounds, and rows that speak of the same thing."""

from collections.abc import Iterable, Iterator
from decimal import Decimal

from fleet.importing.columns import CLEAR
from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from fleet.importing.register_columns import BOUNDS_UM, CLEARANCES, OF_THE_PUMP
from fleet.per_mille import CLEARANCE, LIMIT, part_of
from fleet.units import canonical_unit, from_um, shown, to_um

_PAIRS = (("new_clearance_min", "new_clearance_max"), ("in_service_min", "in_service_max"))


def lengths_um(row: ParsedRow) -> Iterator[Finding]:
    """Turn the row's lengths into um, clearances into diametral ones; what cannot be is a fault."""
    given = [name for name in BOUNDS_UM if name in row.values and row.values[name] is not CLEAR]
    if not given or "unit" in row.faulty:
        return
    unit = row.get("unit")
    if unit is None:
        yield row.fault(
            "unit", "the unit of the row's lengths (mm, um, mil, thou, in)", "fill it in", "missing_unit"
        )
        return
    radial = row.get("basis") == "radial"
    for name in given:
        low, high = BOUNDS_UM[name]
        value = to_um(row.values[name], unit)
        if radial and name in CLEARANCES:
            value *= 2
        if low <= value <= high:
            row.values[name] = value
            continue
        del row.values[name]
        row.faulty.add(name)
        found = f"{shown(row.typed[name])} {unit}{' radial' if radial and name in CLEARANCES else ''}"
        expected = f"{from_um(Decimal(low), unit)} to {from_um(Decimal(high), unit)} {canonical_unit(unit)}"
        yield row.fault(name, expected, "check the unit of this row", "bounds", found)


def limits_in_order(row: ParsedRow) -> Iterator[Finding]:
    """A least above its most is a fault; clearances that do not fit the journal at all are a question."""
    for least, most in _PAIRS:
        low, high = row.get(least), row.get(most)
        if isinstance(low, Decimal) and isinstance(high, Decimal) and low > high:
            expected = f"at least as much as {least} {shown(row.typed[least])}"
            yield row.fault(most, expected, "the two may have changed places", "limits")
    yield from _beside_the_journal(row)


def _beside_the_journal(row: ParsedRow) -> Iterator[Finding]:
    """Clearances and limits that their journal hardly has."""
    journal = row.get("journal_diameter")
    if not isinstance(journal, Decimal):
        return
    for name in (
        "new_clearance_min",
        "new_clearance_max",
        "in_service_min",
        "in_service_max",
        "replace_limit",
    ):
        value = row.get(name)
        if not isinstance(value, Decimal):
            continue
        of = CLEARANCE if name.startswith("new") else LIMIT
        low, high = of.of(journal)
        # A least may be as small as it likes; a wide fitting range is asked about once, at its least.
        too_low = value < low and not name.endswith("min")
        too_high = value > high and name != "new_clearance_max"
        if too_low or too_high:
            found = f"{shown(row.typed[name])} ({part_of(value, journal)} per mille of the journal)"
            remedy = "check the unit, and radial against diametral"
            yield row.question(name, f"{of.words} of the journal", remedy, "per_mille", found)


def twice(rows: Iterable[ParsedRow]) -> Iterator[Finding]:
    """One row per position: the same position with other content is a fault."""
    first: dict[tuple[str, str, str], ParsedRow] = {}
    for row in rows:
        key = tuple(
            " ".join(str(row.get(name, "")).split()).casefold() for name in ("site", "pump", "position")
        )
        if not key[1] or not key[2]:
            continue
        before = first.setdefault(key, row)  # type: ignore[arg-type]
        if before is not row and before.content != row.content:
            expected = f"each position of a pump once (row {before.number} has it)"
            yield row.fault("position", expected, "keep one of the two rows", "twice")


def disagreeing(groups: Iterable[list[ParsedRow]]) -> Iterator[Finding]:
    """What speaks of the pump must be the same in all its rows, or stand in one of them only."""
    for rows in groups:
        if len(rows) < 2:
            continue
        for name in OF_THE_PUMP:
            first = next((row for row in rows if name in row.values), None)
            if first is None:
                continue
            for row in rows:
                if name in row.values and row.content[name] != first.content[name]:
                    expected = f"{shown(first.typed[name])} as in row {first.number} of the same pump"
                    yield row.question(name, expected, "make the pump's rows agree", "pump_disagrees")


def zones_agree(rows: Iterable[ParsedRow]) -> Iterator[Finding]:
    """A site has one time zone."""
    first: dict[str, ParsedRow] = {}
    for row in rows:
        if "time_zone" not in row.values:
            continue
        before = first.setdefault(str(row.get("site", "")).casefold(), row)
        if before.values["time_zone"] != row.values["time_zone"]:
            expected = f"{shown(before.typed['time_zone'])} as in row {before.number} of the same site"
            yield row.fault("time_zone", expected, "give the site one time zone", "time_zone")


def shells_once(rows: Iterable[ParsedRow]) -> Iterator[Finding]:
    """A shell lies in one position."""
    first: dict[tuple[str, str], ParsedRow] = {}
    for row in rows:
        serial = row.get("shell")
        if not isinstance(serial, str):
            continue
        before = first.setdefault((str(row.get("site", "")).casefold(), serial), row)
        if (before.get("pump"), before.get("position")) != (row.get("pump"), row.get("position")):
            expected = f"a serial that lies in one position (row {before.number} has it too)"
            yield row.question(
                "shell", expected, "check both serials; leave the cell blank if unknown", "shell_twice"
            )
