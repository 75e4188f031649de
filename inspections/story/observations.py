"""From several readings to one observation: the ends' mean, the larger and smaller end, their taper. No
database.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, ClassVar
from uuid import UUID

from fleet.end_words import ENDS
from fleet.measuring_methods import is_reference

# Clock positions of the load's side and its opposite, seen from the coupling with 12 on top.
_LINE = {"bottom": (12, 6), "top": (12, 6), "left": (9, 3), "right": (9, 3)}
SERIES = ("clearance", "wall", "shaft_drop")


@dataclass(frozen=True, slots=True)
class Measurement:
    """A standing reading as recorded; lengths in um, a clearance diametral whatever its basis was."""

    id: UUID
    bearing: UUID
    visit: UUID
    on: dt.date
    last_on: dt.date
    precision: str
    order: int
    quantity: str
    basis: str
    end: str
    clock: int | None
    stage: str
    method: str
    typed: str
    unit: str
    value_um: float | None
    low_um: float | None
    high_um: float | None
    step_um: float | None
    repeat: int
    counts: bool
    not_for_wear: bool
    not_for_wear_because: str
    conditions: dict[str, Any]
    instrument: UUID | None
    measured_by: UUID | None
    note: str

    COLUMNS: ClassVar[tuple[str, ...]]
    """The columns of a reading that fill the fields, in their order."""
    LENGTHS: ClassVar[slice]

    @classmethod
    def of(cls, row: Sequence[Any]) -> "Measurement":
        """From the columns `COLUMNS`, decimals made floats."""
        lengths = (None if n is None else float(n) for n in row[cls.LENGTHS])
        return cls(*row[: cls.LENGTHS.start], *lengths, *row[cls.LENGTHS.stop :])

    @property
    def station(self) -> str:
        """The station as `in-12`, `in`, `12`, or nothing."""
        return "-".join(str(part) for part in (self.end, self.clock) if part)


_COLUMN_OF = {"id": "pk", "bearing": "bearing_id", "visit": "visit_id", "instrument": "instrument_id"}
Measurement.COLUMNS = tuple(_COLUMN_OF.get(field.name, field.name) for field in fields(Measurement))
_LENGTHS = [n for n, name in enumerate(Measurement.COLUMNS) if name.endswith("_um")]
Measurement.LENGTHS = slice(_LENGTHS[0], _LENGTHS[-1] + 1)


@dataclass(frozen=True, slots=True)
class Observation:
    """All counting readings of one visit, stage and method (a wall or drop: also of one station) as one.

    `value_um` is the mean of the ends, or None for an interval (`low_um`, `high_um`; None: open). The larger
    end is the mean plus half the taper. `derived`: bore minus journal. Lengths in um.
    """

    series: str
    on: dt.date
    last_on: dt.date
    precision: str
    visit: UUID
    order: int
    stage: str
    method: str
    value_um: float | None
    low_um: float | None
    high_um: float | None
    larger_um: float | None
    smaller_um: float | None
    taper_um: float | None
    larger_end: str
    step_um: float | None
    station: str
    not_for_wear: bool
    because: str
    conditions: dict[str, Any]
    derived: bool
    typed: str
    readings: tuple[UUID, ...]
    instrument: UUID | None = None
    """The gauge they were all taken with; None where none is named, or several are."""

    @property
    def is_interval(self) -> bool:
        """Whether only bounds were seen."""
        return self.value_um is None


def opposite_of_load(load_side: str) -> tuple[int, int]:
    """The two clock positions between which the load acts."""
    return _LINE.get(load_side, _LINE["bottom"])


def is_vertical(clock: int | None, load_side: str) -> bool:
    """Whether a station lies on the line of the load: only that feeds the clearance series."""
    return clock is None or clock in opposite_of_load(load_side)


def observations(measured: Iterable[Measurement], load_side: str) -> list[Observation]:
    """The observations of one bearing, in no order."""
    groups: dict[tuple, list[Measurement]] = defaultdict(list)
    diameters: dict[tuple[UUID, str], list[Measurement]] = defaultdict(list)
    for one in measured:
        if not one.counts:
            continue
        if one.quantity in ("bore", "journal"):
            diameters[one.visit, one.quantity].append(one)
        elif one.quantity in SERIES and (one.quantity != "clearance" or is_vertical(one.clock, load_side)):
            station = "" if one.quantity == "clearance" else one.station
            groups[one.visit, one.stage, one.method, one.quantity, station, one.not_for_wear].append(one)
    found = [_observation(some) for some in groups.values()]
    direct = {(o.visit, o.stage) for o in found if o.series == "clearance" and is_reference(o.method)}
    for (visit, quantity), bores in diameters.items():
        if quantity == "bore":
            journals = diameters.get((visit, "journal"), [])
            found += [
                o for o in _bores_minus_journals(bores, journals, load_side) if (visit, o.stage) not in direct
            ]
    return found


def _observation(some: Sequence[Measurement], derived: bool = False) -> Observation:
    first = min(some, key=lambda one: (one.on, one.order))
    mean, low, high = _mean_of_ends(some)
    ends = {
        end: mean_of
        for end in ENDS
        if (mean_of := _mean_of_ends([m for m in some if m.end == end])[0]) is not None
    }
    taper = abs(ends["in"] - ends["out"]) if len(ends) == 2 and mean is not None else None
    half = (taper or 0.0) / 2
    steps = [m.step_um for m in some if m.step_um is not None]
    conditions: dict[str, Any] = {}
    for one in some:
        conditions.update(one.conditions)
    return Observation(
        first.quantity if not derived else "clearance",
        first.on,
        max(m.last_on for m in some),
        first.precision,
        first.visit,
        first.order,
        first.stage,
        first.method,
        mean,
        low,
        high,
        None if mean is None else mean + half,
        None if mean is None else mean - half,
        taper,
        max(ends, key=lambda end: ends[end]) if taper else "",
        max(steps, default=None),
        first.station if len(some) == 1 or first.quantity != "clearance" else "",
        first.not_for_wear,
        first.not_for_wear_because,
        conditions,
        derived,
        ", ".join(f"{m.typed} {m.unit}" for m in some),
        tuple(m.id for m in some),
        first.instrument if len({m.instrument for m in some}) == 1 else None,
    )


def _mean_of_ends(some: Sequence[Measurement]) -> tuple[float | None, float | None, float | None]:
    """Mean of the ends' means as a value, or as bounds as soon as one reading is an interval."""
    by_end: dict[str, list[Measurement]] = defaultdict(list)
    for one in some:
        by_end[one.end].append(one)
    if not by_end:
        return None, None, None
    if all(one.value_um is not None for one in some):
        return _mean([_mean([m.value_um for m in end]) for end in by_end.values()]), None, None
    lows, highs = [], []
    for end in by_end.values():
        lows.append(_mean([m.low_um if m.value_um is None else m.value_um for m in end]))
        highs.append(_mean([m.high_um if m.value_um is None else m.value_um for m in end]))
    return None, _mean(lows), _mean(highs)


def _mean(numbers: Sequence[float | None]) -> float | None:
    """The mean; of a bound that is open at one place, open."""
    known = [n for n in numbers if n is not None]
    return sum(known) / len(known) if known and len(known) == len(numbers) else None


def _bores_minus_journals(
    bores: Sequence[Measurement], journals: Sequence[Measurement], load_side: str
) -> list[Observation]:
    """Bore minus journal of one visit, by stage, end and method of the bore; a journal measured once serves
    both stages.
    """
    found = []
    groups: dict[tuple[str, str, bool], list[Measurement]] = defaultdict(list)
    for bore in bores:
        if is_vertical(bore.clock, load_side):
            groups[bore.stage, bore.method, bore.not_for_wear].append(bore)
    for (stage, _, _), some in groups.items():
        pairs = [pair for bore in some if (pair := _minus(bore, _journals_for(bore, stage, journals)))]
        if pairs:
            found.append(_observation(pairs, derived=True))
    return found


def _journals_for(bore: Measurement, stage: str, journals: Sequence[Measurement]) -> list[Measurement]:
    """The journal readings that fit a bore best: of its stage if there are any, of its
    end if there are any.
    """
    known = [one for one in journals if one.value_um is not None and not one.not_for_wear]
    of_stage = [one for one in known if one.stage == stage] or known
    return [one for one in of_stage if one.end == bore.end] or of_stage


def _minus(bore: Measurement, journals: Sequence[Measurement]) -> Measurement | None:
    diameter = _mean([one.value_um for one in journals])
    if diameter is None or bore.value_um is None or bore.value_um < diameter:
        return None
    return replace(bore, value_um=bore.value_um - diameter)
