"""What each event of a history needs on its row, and what may not stand there."""

from collections.abc import Iterator

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from fleet.measuring_methods import quantity_measured
from fleet.units import Measured
from inspections.importing.lines import in_um
from inspections.importing.template import HOURS, METER_RESET, PERCENT, READING
from inspections.models import BOUNDS_UM, EventKind, Quantity

# Work and checks of one bearing; everything else may be of the whole pump.
OF_ONE_BEARING = frozenset(
    {READING, EventKind.SCRAPE, EventKind.SHELL_CHANGE, EventKind.REBABBITT, EventKind.CONTACT_CHECK}
)
TOLD_IN_THE_NOTE = frozenset({EventKind.OPENED, EventKind.FOUND, EventKind.NOTE})


def needs(row: ParsedRow) -> Iterator[Finding]:
    """The faults of one row that can only be seen from several of its cells."""
    event = row.get("event")
    if event is None:
        return
    if event in OF_ONE_BEARING and "position" not in row.typed:
        yield _missing(row, "position", "name the bearing position")
    if event == READING:
        yield from _reading(row)
    elif event == EventKind.CONTACT_CHECK:
        yield from _contact(row)
    elif "value" in row.typed:
        yield row.fault(
            "value",
            f"no value on a row of the event '{event}'",
            "give the measurement a 'reading' row of its own",
            "stray",
        )
    if event in (HOURS, METER_RESET) and "run_hours" not in row.typed:
        yield _missing(row, "run_hours", "give the meter's hours")
    if event in TOLD_IN_THE_NOTE and "note" not in row.typed and "note" not in row.values:
        yield _missing(row, "note", "say in the note what was seen")


def _missing(row: ParsedRow, column: str, remedy: str) -> Finding:
    return row.fault(column, "a filled cell", f"{remedy}, or leave out the row", "missing")


def _reading(row: ParsedRow) -> Iterator[Finding]:
    if "value" not in row.typed:
        yield _missing(row, "value", "give the measured value")
    if "unit" not in row.typed:
        yield _missing(row, "unit", "give the unit (mm, um, mil, thou, in)")
    unit = row.get("unit")
    if unit == PERCENT:
        yield row.fault("unit", "a unit of length (mm, um, mil, thou, in)", "a reading is a length", "unit")
    elif unit and "value" in row.values and not row.faulty & {"quantity", "method"}:
        quantity = row.get("quantity") or quantity_measured(row.get("method", ""))
        yield from _bounds(row, in_um(row.values["value"], unit), quantity)


def _bounds(row: ParsedRow, um: Measured, quantity: str) -> Iterator[Finding]:
    """Each number of the cell within what its quantity can be, a radial clearance as the diametral one it
    stands for.
    """
    low, high = BOUNDS_UM[quantity]
    double = 2 if quantity == Quantity.CLEARANCE and row.get("basis") == "radial" else 1
    numbers = [n * double for n in (um.value, um.low, um.high) if n is not None]
    if any(not low <= n <= high for n in numbers):
        span = f"{low / 1000:g} to {high / 1000:g} mm".replace("-", "\u2212")
        name = Quantity(quantity).label
        remedy = f"{numbers[0]:f} µm is meant so; check the value and its unit"
        yield row.fault("value", f"a {name} from {span}", remedy, "bounds")
        row.faulty.add("value")  # nothing further is asked about it


def _contact(row: ParsedRow) -> Iterator[Finding]:
    if "value" not in row.values:
        return
    measured: Measured = row.values["value"]
    if row.get("unit") != PERCENT and "unit" not in row.faulty:
        yield row.fault("unit", "the unit %", "a contact is a per cent of the length", "unit")
    elif measured.value is None or not 0 <= measured.value <= 100:
        yield row.fault("value", "a per cent from 0 to 100", "check the cell", "bounds")
