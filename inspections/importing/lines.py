"""A history's rows made ready to be compared: numbers in um and hours, their order, and their visits."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from itertools import pairwise
from uuid import UUID

from fleet.importing.parsed_rows import ParsedRow
from fleet.measuring_methods import NOT_NAMED, Spread, quantity_measured
from fleet.units import Measured, step_um, to_um
from inspections.models import WORK
from inspections.records.facts import read_station
from inspections.story.observations import is_vertical


@lru_cache(maxsize=50_000)
def number_um(number: Decimal, unit: str) -> Decimal:
    """A length in um, remembered: sheets repeat themselves."""
    return to_um(number, unit)


@lru_cache(maxsize=50_000)
def in_um(value: Measured, unit: str) -> Measured:
    """A measured cell in um, remembered."""
    return value.each(lambda number: number_um(number, unit))


@lru_cache(maxsize=50_000)
def typed_step_um(typed: str, unit: str, decimal_comma: bool) -> Decimal:
    """The step a cell was typed with, remembered."""
    return step_um(typed, unit, decimal_comma=decimal_comma)


@lru_cache(maxsize=5_000)
def station_of(typed: str) -> tuple[str, int | None] | None:
    """End and clock of a typed station, remembered."""
    return read_station(typed)


@dataclass(slots=True)
class Line:
    """One reading or work of a bearing, from the sheet or (without `row`) from the record. Lengths in um,
    diametral.
    """

    bearing: UUID
    visit: object
    day: int
    phase: int  # 0 as found, 1 work, 2 as left
    order: int
    kind: str  # "reading" or the kind of work
    quantity: str = ""
    value: float | None = None
    low: float | None = None
    high: float | None = None
    method: str = ""
    station: str = ""
    end: str = ""
    unit: str = ""
    typed: str = ""
    basis: str = ""
    step: float = 0.0
    vertical: bool = False
    half: str = ""
    row_id: str = ""
    stored_id: UUID | None = None
    row: ParsedRow | None = None
    sd: float = NOT_NAMED.sd_um  # standard uncertainty of one reading by its method

    @property
    def middle(self) -> float | None:
        """The value, or an interval's middle where both ends are known."""
        if self.value is not None:
            return self.value
        return (self.low + self.high) / 2 if self.low is not None and self.high is not None else None

    @property
    def is_new(self) -> bool:
        """Whether the sheet brings it; what is stored is not asked about."""
        return self.row is not None and not self.row.already


def given_order(rows: Sequence[ParsedRow]) -> dict[int, int]:
    """Row number to place in the given order: file order, turned round where the sheet runs newest first."""
    days = [(row.values["date"].first, row.number) for row in rows if "date" in row.values]
    ups = sum(a[0] < b[0] for a, b in pairwise(days))
    downs = sum(a[0] > b[0] for a, b in pairwise(days))
    numbers = [row.number for row in rows]
    if downs > ups:
        numbers.reverse()
    return {number: place for place, number in enumerate(numbers)}


def visit_key(row: ParsedRow, place: UUID) -> tuple:
    """What parts the visits of one file: the plant's label, else the day."""
    label = row.get("visit")
    day = row.values["date"]
    return (place, label) if label else (place, day.first, day.last)


def line_of(
    row: ParsedRow,
    *,
    bearing: UUID,
    place: UUID,
    order: int,
    load_side: str,
    decimal_comma: bool,
    spreads: Mapping[str, Spread],
) -> Line | None:
    """A row as a line, or None for what no comparison needs or what is at fault;
    `spreads`: those in force.
    """
    event = row.get("event")
    if (
        row.faulty & {"value", "unit", "date", "event", "stage", "quantity", "basis"}
        or "date" not in row.values
    ):
        return None
    day, visit = row.values["date"].first.toordinal(), visit_key(row, place)
    if event in WORK:
        return Line(bearing, visit, day, 1, order, event, half=row.get("half", ""), row=row)
    if event != "reading" or "value" not in row.values or row.get("unit", "%") == "%":
        return None
    method = row.get("method", "")
    quantity = row.get("quantity") or quantity_measured(method)
    end, clock = station_of(row.get("station", "")) or ("", None)
    basis = row.get("basis", "diametral")
    double = 2.0 if basis == "radial" and quantity == "clearance" else 1.0
    um = in_um(row.values["value"], row.values["unit"])
    value, low, high = (None if n is None else float(n) * double for n in (um.value, um.low, um.high))
    stage = row.get("stage")
    typed = row.typed["value"]
    comma = decimal_comma and "," in typed
    return Line(
        bearing,
        visit,
        day,
        {"as_found": 0, "as_left": 2}.get(stage or "", -1),
        order,
        event,
        quantity,
        value,
        low,
        high,
        method,
        row.get("station", "").strip().lower(),
        end,
        row.values["unit"],
        typed,
        basis,
        float(typed_step_um(typed, row.values["unit"], comma)) * double,
        quantity == "clearance" and is_vertical(clock, load_side),
        row=row,
        sd=spreads.get(method, NOT_NAMED).sd_um,
    )


def settle_phases(lines: Sequence[Line], whole_pump: dict[object, int]) -> None:
    """Blank stages of one bearing: as left after the first work of the visit, as found before it.

    `whole_pump`: visit to the order of the first work of the whole pump in it.
    """
    first = dict(whole_pump)
    for line in lines:
        if line.phase == 1:
            first[line.visit] = min(line.order, first.get(line.visit, line.order))
    for line in lines:
        if line.phase < 0:
            line.phase = 2 if line.visit in first and first[line.visit] < line.order else 0
