"""What a sheet would add to each bearing, beside what is there, in numbers to be drawn; the bearing to be
looked at first comes first.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from statistics import median
from uuid import UUID

from fleet.importing.directory import Directory
from fleet.importing.parsed_rows import ParsedRow
from fleet.measuring_methods import Spread
from fleet.models import Limit
from fleet.models.recorded import IN_ORDER
from fleet.per_mille import CLEARANCE
from inspections.importing import stored_facts
from inspections.importing.clearances import Facts
from inspections.importing.drawn_meters import DrawnMeter, drawn_meters
from inspections.importing.lines import Line, given_order, line_of, settle_phases
from inspections.models import EventKind

MANY_WORKS_A_READING = (
    1.5  # more works than readings by so much: perhaps words were taken for work; judgement
)
FALL_SD = 2.0
SWAP_ODDS = (
    2.5  # natural logarithm of odds: 12 to 1 that two ends were changed about; judgement, no published source
)
NEW_METAL = frozenset({EventKind.SHELL_CHANGE, EventKind.REBABBITT})
NEW_SPREAD_UM = 20.0  # how far new clearances of one pump lie apart; judgement, no published source
OF_ONE_PUMP = 1.3  # a pump's own readings lie closer together than a fleet's; judgement, no published source
LEAST_BESIDE = 4  # readings of a pump, fewer tell nothing of what is usual there; judgement
OTHER_END = "unlike the other end of its pump"
TWICE = math.log(2.0)
LOOKED_AT = (
    0.8  # of one doubling or halving: what a person is asked to look at; judgement, no published source
)


@dataclass
class DrawnBearing:
    """One bearing: what is there and what would be added, as lines in order of time; lengths in um,
    diametral.

    `rank` is higher the sooner a person should look; `reasons` say why in words.
    """

    bearing: UUID
    tag: str
    position: str
    lines: list[Line]
    rows: list[ParsedRow]
    limits: dict[str, float] = field(default_factory=dict)
    rank: float = 0.0
    reasons: list[str] = field(default_factory=list)

    @property
    def readings(self) -> list[Line]:
        """Clearances, in order."""
        return [
            one
            for one in self.lines
            if one.kind == "reading" and one.quantity == "clearance" and one.middle is not None
        ]

    @property
    def works(self) -> list[Line]:
        return [one for one in self.lines if one.kind != "reading"]

    @property
    def n_new(self) -> int:
        return sum(one.is_new for one in self.lines if one.kind == "reading")

    @property
    def n_there(self) -> int:
        return sum(not one.is_new for one in self.lines if one.kind == "reading")

    @property
    def measures(self) -> str:
        """In which units and on which basis the new values are typed."""
        new = [one for one in self.lines if one.is_new and one.kind == "reading"]
        units = " and ".join(dict.fromkeys(one.unit for one in new))
        bases = " and ".join(
            dict.fromkeys(one.basis or "diametral" for one in new if one.quantity == "clearance")
        )
        return ", ".join(part for part in (units and f"in {units}", bases) if part)

    @property
    def span_um(self) -> tuple[float, float] | None:
        """The least and the most of the new clearances, in um; None where there are none."""
        of_clearance = (one for one in self.lines if one.is_new and one.quantity == "clearance")
        values = [one.middle for one in of_clearance if one.middle is not None]
        return (min(values), max(values)) if values else None


def drawn_bearings(
    rows: Sequence[ParsedRow],
    directory: Directory,
    spreads: Mapping[str, Spread],
    *,
    decimal_comma: bool = False,
) -> list[DrawnBearing | DrawnMeter]:
    """Every bearing and hour meter the rows touch, the one to be looked at first before the others.

    Parameters
    ----------
    rows : sequence of ParsedRow
        that would be stored, their pumps and positions found.
    spreads : mapping
        standard uncertainty by method, those in force.

    Returns
    -------
    list of DrawnBearing and DrawnMeter
    """
    places = {row.number: UUID(row.content["pump"]) for row in rows if row.site and "pump" in row.content}
    bearings = {row.bearing for row in rows if row.bearing}
    facts = stored_facts.facts_of(bearings)
    place_of = {row.bearing: places[row.number] for row in rows if row.bearing and row.number in places}
    lines, whole = _lines(rows, places, bearings, facts, spreads, decimal_comma)
    of_bearing: dict[UUID, list[ParsedRow]] = defaultdict(list)
    for row in rows:
        if row.bearing:
            of_bearing[row.bearing].append(row)
    limits = _limits(bearings)
    made = []
    for bearing, place in place_of.items():
        settle_phases(lines[bearing], {})
        some = sorted(
            [*lines[bearing], *whole.get(place, ())], key=lambda one: (one.day, one.phase, one.order)
        )
        known = directory.place(place)
        tag = known.tag if known else ""
        own = of_bearing[bearing]
        made.append(DrawnBearing(bearing, tag, directory.name_of(bearing), some, own, limits[bearing]))
    _judge(made, facts, place_of)
    meters = drawn_meters(rows, places, directory, _first_days(made, whole, place_of))
    return sorted([*made, *meters], key=lambda drawn: (-drawn.rank, drawn.tag, drawn.position))


def _first_days(
    made: Sequence[DrawnBearing], whole: Mapping[UUID, Sequence[Line]], place_of: Mapping[UUID, UUID]
) -> dict[UUID, int]:
    """Place to the first day of which a reading or a work is known."""
    days: dict[UUID, int] = {}
    for place, lines in [*((place_of[drawn.bearing], drawn.lines) for drawn in made), *whole.items()]:
        for line in lines:
            days[place] = min(line.day, days.get(place, line.day))
    return days


def _lines(
    rows: Sequence[ParsedRow],
    places: Mapping[int, UUID],
    bearings: set[UUID],
    facts: Mapping[UUID, Facts],
    spreads: Mapping[str, Spread],
    decimal_comma: bool,
) -> tuple[dict[UUID, list[Line]], dict[UUID, list[Line]]]:
    """Lines of the sheet and of the record by bearing, and works of whole pumps by place."""
    order = given_order(rows)
    lines: dict[UUID, list[Line]] = defaultdict(list)
    whole: dict[UUID, list[Line]] = defaultdict(list)
    for row in rows:
        if row.number not in places:
            continue
        place, side = places[row.number], facts[row.bearing].load_side if row.bearing else "bottom"
        line = line_of(
            row,
            bearing=row.bearing or place,
            place=place,
            order=order[row.number],
            load_side=side,
            decimal_comma=decimal_comma,
            spreads=spreads,
        )
        if line is not None:
            (lines[row.bearing] if row.bearing else whole[place]).append(line)
    for line in stored_facts.lines_of(bearings, set(places.values()), facts, spreads):
        (lines if line.bearing in bearings else whole)[line.bearing].append(line)
    return lines, whole


def _limits(bearings: set[UUID]) -> dict[UUID, dict[str, float]]:
    """Clearance limits of their own, by use, as they were set last."""
    found: dict[UUID, dict[str, float]] = defaultdict(dict)
    rows = Limit.objects.standing().filter(bearing__in=list(bearings), quantity="clearance")
    for bearing, use, um in rows.order_by(*IN_ORDER).values_list("bearing_id", "use", "value_um"):
        if bearing and um is not None:
            found[bearing][use] = float(um)
    return found


# which comes first -----------------------------------------------------------------------------------------


def _judge(made: Sequence[DrawnBearing], facts: Mapping[UUID, Facts], place_of: Mapping[UUID, UUID]) -> None:
    """Rank every bearing by the worst that can be said of what would be added."""
    of_pump: dict[UUID, list[DrawnBearing]] = defaultdict(list)
    for one in made:
        of_pump[place_of[one.bearing]].append(one)
    middles = {one.bearing: _typical(one, new=True) for one in made}
    everywhere = [value for value in middles.values() if value]
    fleet = median(everywhere) if everywhere else None
    for one in made:
        said = [*_out_of_range(one, facts[one.bearing]), *_steps(one), *_many_works(one)]
        said += _unlike(middles[one.bearing], fleet, "unlike the other bearings of the sheet")
        said += _unlike(middles[one.bearing], _typical(one, new=False), "unlike what the record holds of it")
        others = [other for other in of_pump[place_of[one.bearing]] if other is not one]
        for other in others:
            said += _unlike(middles[one.bearing], middles[other.bearing], OTHER_END)
            said += _first_apart(one, other)
        said += _alone(one, others)
        if len(others) == 1:
            said += _swapped(one, others[0])
        one.rank = max((rank for rank, _ in said), default=0.0)
        one.reasons = list(
            dict.fromkeys(words for rank, words in sorted(said, reverse=True) if rank >= LOOKED_AT)
        )


def _typical(one: DrawnBearing, *, new: bool) -> float | None:
    values = [line.middle for line in one.readings if line.is_new == new and line.middle]
    return median(values) if values else None


def _unlike(value: float | None, other: float | None, words: str) -> Iterator[tuple[float, str]]:
    """How often one must be doubled or halved to give the other."""
    if value and other and value > 0 and other > 0:
        yield abs(math.log(value / other)) / TWICE, words


def _first_apart(one: DrawnBearing, other: DrawnBearing) -> Iterator[tuple[float, str]]:
    """The ends in the first visit that measured both: later works at one of them hide a factor from their
    medians.
    """
    mine, its = _as_found(one), _as_found(other)
    day = min(set(mine) & set(its), default=None)
    if day is not None and any(line.is_new for line in mine[day]):
        yield from _unlike(_end_value(mine[day]), _end_value(its[day]), OTHER_END)


def _out_of_range(one: DrawnBearing, facts: Facts) -> Iterator[tuple[float, str]]:
    """Values no journal has, or far beyond the bearing's own limits; the further out the higher."""
    values = [line.middle for line in one.readings if line.is_new and line.middle]
    bounds = []
    if facts.journal_um:
        least, most = (facts.journal_um * float(part) / 1000 for part in (CLEARANCE.least, CLEARANCE.most))
        bounds.append((least, most, f"outside {CLEARANCE.words} of the journal"))
    most_in_service = one.limits.get("in_service_max") or one.limits.get("replace")
    if most_in_service:
        bounds.append(
            (one.limits.get("fitting_min", 0.0) / 2, most_in_service, "over the limit, or far under it")
        )
    for least, most, words in bounds:
        for value in values:
            over = value / most if value > most else least / value if value < least else 0.0
            if over:
                yield 2.0 + math.log(over) / TWICE, words


def _steps(one: DrawnBearing) -> Iterator[tuple[float, str]]:
    """Jumps and falls between one reading and the next of one life and end."""
    by_end: dict[str, list[Line]] = defaultdict(list)
    for line in one.lines:
        if line.kind != "reading":
            for some in by_end.values():
                some.append(line)
        elif line.quantity == "clearance" and line.middle:
            by_end[line.end].append(line)
    for some in by_end.values():
        for before, after in pairwise(some):
            if before.kind != "reading" or after.kind != "reading" or not (before.is_new or after.is_new):
                continue
            first, second = before.middle or 0.0, after.middle or 0.0
            if first > 0 and second > 0:
                sd = math.hypot(before.sd, after.sd)
                ratio = abs(math.log(second / first)) / TWICE
                if second < first - FALL_SD * sd:
                    yield 1.0 + ratio, "falls without work"
                elif second > first + FALL_SD * sd:
                    yield ratio, "jumps"


def _swapped(one: DrawnBearing, other: DrawnBearing) -> Iterator[tuple[float, str]]:
    """Visits whose two ends fit the visits beside them better the other way round."""
    mine, its = _as_found(one), _as_found(other)
    days = sorted(set(mine) & set(its))
    for i, day in enumerate(days):
        if not any(line.is_new for line in (*mine[day], *its[day])):
            continue
        odds = _swap_odds(day, [days[k] for k in (i - 1, i + 1) if 0 <= k < len(days)], one, other)
        if i:
            odds = max(odds, _odds_after_work(days[i - 1], day, one, other))
            odds = max(odds, _odds_after_work(days[i - 1], day, other, one))
        if odds >= SWAP_ODDS:
            yield 1.0 + min(odds / 4.0, 2.0), "its two ends look changed about in one visit"


def _swap_odds(day: int, near: Sequence[int], one: DrawnBearing, other: DrawnBearing) -> float:
    """Log odds for a swap: -2 d m / v, d the difference of the ends, m its mean at the visits beside it with
    no work between.

    v is the variance of d - m, um^2 (normal readings; own derivation).
    """
    works = {line.day for line in (*one.works, *other.works)}
    beside = [at for at in near if not any(min(at, day) <= work < max(at, day) for work in works)]
    if not beside:
        return 0.0
    mine, its = _as_found(one), _as_found(other)
    apart = {at: _end_value(mine[at]) - _end_value(its[at]) for at in (day, *beside)}
    mean = sum(apart[at] for at in beside) / len(beside)
    variance = (mine[day][0].sd ** 2 + its[day][0].sd ** 2) * (1 + 1 / len(beside))
    return -2.0 * apart[day] * mean / variance


def _odds_after_work(before: int, day: int, worked: DrawnBearing, other: DrawnBearing) -> float:
    """Log odds for a swap at the visit after one end was worked on and the other was not: which of the two
    kept its wear.

    The clearance of new metal is taken for the least that the pump has shown (normal readings; own
    derivation).
    """
    works = [{line.kind for line in some.works if before <= line.day < day} for some in (worked, other)]
    if not works[0] or works[1]:
        return 0.0
    mine, its = _as_found(worked), _as_found(other)
    fresh = min(_end_value(some) for found in (mine, its) for at, some in found.items() if at <= before)
    worn, got, kept = _end_value(its[before]), _end_value(mine[day]), _end_value(its[day])
    sd = its[day][0].sd
    of_worn = ((kept - worn) ** 2 - (got - worn) ** 2) / (4 * sd**2)
    if not works[0] & NEW_METAL:
        return of_worn
    of_fresh = ((got - fresh) ** 2 - (kept - fresh) ** 2) / (2 * (sd**2 + NEW_SPREAD_UM**2))
    return of_worn + of_fresh


def _alone(one: DrawnBearing, others: Sequence[DrawnBearing]) -> Iterator[tuple[float, str]]:
    """A new value far under, or far over, every other of its pump."""
    values = sorted(
        (line.middle, line.is_new and some is one)
        for some in (one, *others)
        for line in some.readings
        if line.middle and line.middle > 0
    )
    if len(values) < LEAST_BESIDE:
        return
    for (value, is_own), (beside, _) in ((values[0], values[1]), (values[-1], values[-2])):
        if is_own:
            yield (
                OF_ONE_PUMP * abs(math.log(value / beside)) / TWICE,
                "one value stands alone, far from the rest of its pump",
            )


def _as_found(one: DrawnBearing) -> dict[int, list[Line]]:
    """Day to the readings before any work of that day."""
    found: dict[int, list[Line]] = defaultdict(list)
    for line in one.readings:
        if line.phase == 0:
            found[line.day].append(line)
    return found


def _end_value(some: Sequence[Line]) -> float:
    """The mean of one visit's readings of a bearing, um."""
    return sum(line.middle or 0.0 for line in some) / len(some)


def _many_works(one: DrawnBearing) -> Iterator[tuple[float, str]]:
    n_works = sum(line.is_new for line in one.works)
    n_readings = max(1, len({(line.day, line.phase) for line in one.readings}))
    if n_works > MANY_WORKS_A_READING * n_readings:
        yield n_works / n_readings, "more works than readings"
