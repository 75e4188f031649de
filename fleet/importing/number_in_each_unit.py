"""What a number of a sheet would be in each unit, and radial or diametral, on its own bearing's journal and
limit.
"""

import datetime as dt
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fleet.importing.directory import Directory
from fleet.importing.reading_plans.cell_fates import Applied
from fleet.importing.reading_plans.made_rows import Made
from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan
from fleet.importing.reading_plans.value_notation import number_of
from fleet.models import Bearing, BearingFacts, Limit, LimitUse
from fleet.per_mille import CLEARANCE, part_of
from fleet.unit_words import HUNDREDTHS
from fleet.units import show_um, to_um

UNITS_SHOWN = ("mm", HUNDREDTHS, "um", "thou", "in")
BASES_SHOWN = ("diametral", "radial")
MOST_EXAMPLES = 1
_DEAREST = 10_000_000  # um; no number of a clearance is shown beyond it


@dataclass(frozen=True)
class Ground:
    """Journal and in-service maximum of a bearing in um, where the register has them."""

    journal_um: Decimal | None = None
    most_um: Decimal | None = None


@dataclass(frozen=True)
class ReadAs:
    """One number in one unit: what it is as diametral and as radial, each in words."""

    unit: str
    words: tuple[str, ...]


@dataclass(frozen=True)
class Example:
    """One number of the sheet, where it stands, and what it would be. `bases`: the columns of the table."""

    typed: str
    where: str
    bases: tuple[str, ...]
    rows: tuple[ReadAs, ...]


def examples(plan: Plan, applied: Applied, directory: Directory, today: dt.date) -> list[Example]:
    """The first number whose unit or basis the sheet says nowhere, read in every way that is open; one of a
    bearing.
    """
    columns = {one.column: one for one in plan.columns}
    found: dict[tuple[str, str], Example] = {}
    for made in applied.made:
        key = (made.cells.get("pump", ""), made.cells.get("position", ""))
        if key in found or len(found) == MOST_EXAMPLES:
            continue
        column = columns.get(made.columns.get("value", -1))
        if column is not None and (one := _example(made, column, plan, _ground(directory, *key, today))):
            found[key] = one
    return list(found.values())


def _example(made: Made, column: ColumnPlan, plan: Plan, ground: Ground) -> Example | None:
    if made.cells.get("event") != "reading" or column.quantity not in ("", "clearance"):
        return None
    number = number_of(made.cells.get("value", ""))
    unit, basis = made.cells.get("unit", ""), column.basis or plan.basis
    if number is None or not 0 < number < _DEAREST or (unit and basis):
        return None
    units: Sequence[str] = (unit,) if unit else UNITS_SHOWN
    bases = (basis,) if basis else BASES_SHOWN
    rows = tuple(ReadAs(one, tuple(told(number, one, way, ground) for way in bases)) for one in units)
    where = " ".join(text for name in ("pump", "position") if (text := made.cells.get(name)))
    return Example(made.cells["value"], where or f"row {made.row}", bases, rows)


def told(number: Decimal, unit: str, basis: str, ground: Ground) -> str:
    """One reading in words, against the in-service maximum and the journal.

    Examples
    --------
    >>> told(Decimal(23), "1/100 mm", "diametral", Ground(Decimal(100_000), Decimal(300)))
    '0.230 mm: inside the limit of 0.300 mm; 2.30 per mille of the journal'
    >>> told(Decimal(23), "thou", "diametral", Ground(Decimal(100_000), Decimal(300)))
    '0.584 mm: over the limit of 0.300 mm; 5.84 per mille of the journal, outside 0.5 to 4 per mille'
    """
    um = (number * 10 if unit == HUNDREDTHS else to_um(number, unit)) * (2 if basis == "radial" else 1)
    words = []
    if ground.most_um is not None:
        side = "inside" if um <= ground.most_um else "over"
        words.append(f"{side} the limit of {show_um(ground.most_um, 'mm')}")
    if ground.journal_um is not None:
        outside = "" if CLEARANCE.holds(um, ground.journal_um) else f", outside {CLEARANCE.words}"
        words.append(f"{part_of(um, ground.journal_um)} per mille of the journal{outside}")
    return f"{show_um(um, 'mm')}: {'; '.join(words) or 'no limit and no journal are known'}"


def _ground(directory: Directory, pump: str, position: str, today: dt.date) -> Ground:
    """What the register says of a bearing; nothing where the names lead to none, or to several."""
    places = directory.places_of(pump) if pump else []
    if len(places) != 1 or not position:
        return Ground()
    bearing = directory.bearing(places[0], position) or directory.spelt_position(position, places[0])
    return _of_bearing(bearing, today) if bearing else Ground()


def _of_bearing(bearing: Bearing, today: dt.date) -> Ground:
    facts: Any = BearingFacts.objects.filter(bearing=bearing).holding_on(today, "bearing_id").get(bearing.pk)
    use = LimitUse.IN_SERVICE_MAX
    limits = _held(Limit.objects.filter(bearing=bearing, use=use), today)
    if not limits and facts and facts.wear_class_id:
        limits = _held(Limit.objects.filter(wear_class=facts.wear_class_id, use=use), today)
    return Ground(facts.journal_diameter_um if facts else None, limits[0].value_um if limits else None)


def _held(rows: Any, today: dt.date) -> list[Limit]:
    held: Iterable[Limit] = rows.holding_on(today, "use").values()
    return list(held)
