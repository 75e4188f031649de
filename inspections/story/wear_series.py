"""What feeds the wear beside the clearance: shell wall and shaft drop, the lining left, and readings that
look copied.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import log, pi, sqrt
from uuid import UUID

from fleet.measuring_methods import NOT_NAMED, Spread
from inspections.story.effect_of_work import NEW_LIFE, RATE_BREAK, STEP, Happening
from inspections.story.observations import Observation

# The side the load rests on, seen from the coupling with 12 on top: there the crown wears.
CROWN = {"bottom": 6, "top": 12, "left": 9, "right": 3}
LEAST_COPIED = 3  # as found equal to the last as left so often, and always, may look copied
BY_CHANCE = 1e-3  # and so seldom by chance, given the gauge and the step it is read to
UNKNOWN_STEP_UM = 1.0


def feeds_wear(entry: Observation, load_side: str) -> bool:
    """Whether an observation says something of the vertical wear: the clearance, the crown's wall, the
    shaft's drop.
    """
    if entry.not_for_wear:
        return False
    if entry.series == "clearance":
        return True
    if entry.value_um is None:
        return False
    return entry.series == "shaft_drop" or _clock(entry.station) in (None, CROWN.get(load_side, 6))


def _clock(station: str) -> int | None:
    last = station.rpartition("-")[2]
    return int(last) if last.isdigit() else None


@dataclass
class Zeros:
    """The zero of each wall or drop series: that shell's and station's first value."""

    numbers: dict[tuple[str, str], int]
    first: dict[tuple[str, str], float]

    @classmethod
    def none(cls) -> "Zeros":
        return cls({}, {})

    def renew(self) -> None:
        """Another shell: the next value of each series is its zero."""
        self.first.clear()

    def fall(self, entry: Observation) -> tuple[int, float]:
        """The number of an observation's series, and by how much it shows wear since its zero, um."""
        key = (entry.series, entry.station)
        number = self.numbers.setdefault(key, len(self.numbers))
        value = float(entry.value_um or 0.0)
        grown = value - self.first.setdefault(key, value)
        return number, -grown if entry.series == "wall" else grown


@dataclass(frozen=True)
class Lining:
    """What was left of the lining above its least when the wall was last measured, and the scrapes since."""

    left_um: float
    seen: Observation
    n_scrapes: int


def lining_left(
    entries: Sequence[Observation | Happening],
    load_side: str,
    *,
    wall_new: float | None,
    lining_new: float | None,
    lining_min: float | None,
) -> Lining | None:
    """The lining left of the shell that lies there; None where its new lining, its least or its wall is not
    known.

    Without a new wall in the register the reading as left with new metal stands for it.
    """
    if lining_new is None or lining_min is None:
        return None
    born: UUID | None = None
    new: dict[str, float] = {}
    last: dict[str, Observation] = {}
    scrapes = 0
    for entry in entries:
        if isinstance(entry, Happening):
            if entry.effect == NEW_LIFE:
                born, scrapes = entry.visit, 0
                new, last = {}, {}
            scrapes += entry.effect == STEP
        elif entry.series == "wall" and feeds_wear(entry, load_side):
            if born is not None and entry.visit == born:
                new.setdefault(entry.station, float(entry.value_um or 0.0))
            if last and next(iter(last.values())).visit != entry.visit:
                last = {}
            last[entry.station], scrapes = entry, 0
    worn = []
    for station, seen in last.items():
        begun = wall_new if wall_new is not None else new.get(station)
        if begun is not None:
            worn.append((begun - float(seen.value_um or 0.0), seen))
    if not worn:
        return None
    most, seen = max(worn, key=lambda pair: pair[0])
    return Lining(lining_new - most - lining_min, seen, scrapes)


def because_bad(why: str) -> float | None:
    """1 where a visit was made because something seemed wrong, 0 where it was not, None where nobody wrote
    why.
    """
    return {"condition": 1.0, "breakdown": 1.0, "planned": 0.0, "opportunity": 0.0}.get(why)


def copied(entries: Iterable[Observation | Happening], spreads: Mapping[str, Spread]) -> list[Observation]:
    """The as-found readings that look copied from the as-left before them; none unless all do, too often for
    chance.
    """
    pairs = list(_pairs(entries))
    same = [found for left, found in pairs if abs((found.value_um or 0) - (left.value_um or 0)) < 0.5]
    if len(same) < LEAST_COPIED or len(same) < len(pairs):
        return []
    odds = sum(log(_same_by_chance(found, spreads)) for found in same)
    return same if odds < log(BY_CHANCE) else []


def _pairs(entries: Iterable[Observation | Happening]) -> Iterator[tuple[Observation, Observation]]:
    """As left and the as found after it, with nothing done between."""
    last: Observation | None = None
    for entry in entries:
        if isinstance(entry, Happening):
            if entry.effect != RATE_BREAK:
                last = None
            continue
        if entry.series != "clearance" or entry.value_um is None or entry.not_for_wear:
            continue
        if last is not None and last.stage == "as_left" and entry.stage == "as_found":
            yield last, entry
        last = entry


def _same_by_chance(found: Observation, spreads: Mapping[str, Spread]) -> float:
    """Chance that two readings of one clearance fall on the same step of the gauge: step / (2 sqrt(pi) sd),
    at most 0.9.
    """
    sd = spreads.get(found.method, NOT_NAMED).sd_um
    return min(max(found.step_um or UNKNOWN_STEP_UM, 0.1) / (2.0 * sqrt(pi) * sd), 0.9)


def known_um(value: object) -> float | None:
    """A length of the record as a float."""
    return None if value is None else float(value)  # type: ignore[arg-type]
