"""What the record holds already of the bearings and pumps in a sheet: a fixed number of queries, whatever its
length.
"""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.db.models import Q

from fleet.measuring_methods import METHODS, NOT_NAMED, Spread
from fleet.models import BearingFacts, Installation, Limit, LimitUse, PlaceFacts
from fleet.models.recorded import IN_ORDER
from inspections.importing.clearances import Facts
from inspections.importing.lines import Line
from inspections.importing.meters import FEWEST_HOURS_A_YEAR, YEAR, Hours
from inspections.models import WORK, Event, MeterEntry, Reading
from inspections.story.observations import is_vertical

MANY = 5000


def _among(column: str, keys: Collection[UUID]) -> Q:
    """A filter for some keys; for very many none: sorting them out here is cheaper."""
    return Q(**{f"{column}__in": list(keys)}) if len(keys) <= MANY else Q()


def facts_of(bearings: Collection[UUID]) -> dict[UUID, Facts]:
    """Load side, journal and fitting range of bearings, as they hold last."""
    rows = BearingFacts.objects.standing().filter(_among("bearing_id", bearings))
    known: dict[UUID, tuple] = {}
    for row in rows.order_by("from_on", *IN_ORDER).values_list(
        "bearing_id", "load_side", "journal_diameter_um", "from_on"
    ):
        if row[0] not in known or row[3] is not None or known[row[0]][3] is None:
            known[row[0]] = row
    fitting: dict[UUID, dict[str, float]] = defaultdict(dict)
    uses = (LimitUse.FITTING_MIN, LimitUse.FITTING_MAX)
    limits = Limit.objects.standing().filter(
        _among("bearing_id", bearings), use__in=uses, quantity="clearance"
    )
    for bearing, use, um in limits.order_by(*IN_ORDER).values_list("bearing_id", "use", "value_um"):
        if bearing and um is not None:
            fitting[bearing][use] = float(um)
    found = {}
    for bearing in bearings:
        side, journal = known[bearing][1:3] if bearing in known else ("bottom", None)
        ends = fitting.get(bearing, {})
        both = (ends[uses[0]], ends[uses[1]]) if len(ends) == 2 and ends[uses[0]] > 0 else None
        found[bearing] = Facts(side, None if journal is None else float(journal), both)
    return found


def lines_of(
    bearings: Collection[UUID],
    places: Collection[UUID],
    facts: Mapping[UUID, Facts],
    spreads: Mapping[str, Spread],
) -> Iterator[Line]:
    """The standing readings and works of bearings; works of the whole pump come once for each of its bearings
    asked for.
    """
    asked = set(bearings)
    readings = Reading.objects.standing().filter(_among("bearing_id", bearings), counts=True)
    for row in readings.values_list(*_READ, named=True).iterator(chunk_size=5000):
        if row.bearing_id in asked:
            yield _reading_line(row, facts[row.bearing_id].load_side, spreads)
    yield from _works(asked, places)


_READ = (
    "id",
    "row_id",
    "bearing_id",
    "visit_id",
    "on",
    "stage",
    "order",
    "quantity",
    "value_um",
    "low_um",
    "high_um",
    "method",
    "end",
    "clock",
    "unit",
    "typed",
    "basis",
    "step_um",
)


def _reading_line(row: Any, load_side: str, spreads: Mapping[str, Spread]) -> Line:
    return Line(
        row.bearing_id,
        row.visit_id,
        row.on.toordinal(),
        0 if row.stage == "as_found" else 2,
        row.order,
        "reading",
        row.quantity,
        _number(row.value_um),
        _number(row.low_um),
        _number(row.high_um),
        row.method,
        "-".join(str(part) for part in (row.end, row.clock) if part),
        row.end,
        row.unit,
        row.typed,
        row.basis,
        float(row.step_um or 0),
        row.quantity == "clearance" and is_vertical(row.clock, load_side),
        row_id=row.row_id,
        stored_id=row.id,
        sd=spreads.get(row.method, NOT_NAMED).sd_um,
    )


def _number(um: Decimal | None) -> float | None:
    return None if um is None else float(um)


def _works(asked: set[UUID], places: Collection[UUID]) -> Iterator[Line]:
    rows = Event.objects.standing().filter(_among("place_id", places), kind__in=WORK)
    for place, bearing, visit, on, order, kind, half in rows.values_list(
        "place_id", "bearing_id", "visit_id", "on", "order", "kind", "half"
    ):
        if bearing in asked:
            yield Line(bearing, visit, on.toordinal(), 1, order, kind, half=half)
        elif bearing is None and place in places:
            yield Line(place, visit, on.toordinal(), 1, order, kind)


def hours_of(places: Collection[UUID]) -> Iterator[Hours]:
    """The standing meter entries of places."""
    rows = MeterEntry.objects.standing().filter(_among("place_id", places))
    for place, on, last, hours, reset, before in rows.values_list(
        "place_id", "on", "last_on", "hours", "reset", "hours_before"
    ):
        if place in places:
            known = None if before is None else float(before)
            yield Hours(place, on.toordinal(), last.toordinal(), float(hours), reset, known)


def pump_changes(places: Collection[UUID]) -> dict[UUID, list[int]]:
    """Days on which another pump was set down."""
    found: dict[UUID, list[int]] = defaultdict(list)
    rows = Installation.objects.standing().filter(_among("place_id", places), from_on__isnull=False)
    for place, day in rows.values_list("place_id", "from_on"):
        found[place].append(day.toordinal())
    return found


def standing_by(places: Collection[UUID]) -> set[UUID]:
    """Places whose own duty, as it holds last, gives fewer hours a year than a meter in service."""
    rows = PlaceFacts.objects.standing().filter(_among("place_id", places), duty_hours_per_day__isnull=False)
    duty = dict(rows.order_by("from_on", *IN_ORDER).values_list("place_id", "duty_hours_per_day"))
    return {place for place, hours in duty.items() if float(hours) * YEAR < FEWEST_HOURS_A_YEAR}


def known_methods() -> set[str]:
    """The methods of the template and those the plant has used before."""
    used = Reading.objects.order_by().values_list("method", flat=True).distinct()
    return set(METHODS) | set(used)
