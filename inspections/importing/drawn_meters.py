"""What a sheet would add to each pump's hour meter, beside what is there, and how far it lies from what a
meter gives.
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
from inspections.importing import stored_facts
from inspections.importing.meters import FEWEST_HOURS_A_YEAR, YEAR, Hours, hours_in, runs_of

METER = "run hours"  # how a meter is named among the positions of its pump
# Pumps of one works differ in duty, and stand by; a meter is named where it differs by more than twice this.
# Judgement, no published source.
OF_DUTY = 2.0
LEAST_DAYS = 180  # between two entries, fewer tell nothing of the hours a year
MOST_HOURS = 60 * YEAR * 24  # of a pump's life: sixty years without a stop; judgement, no published source
TWICE = math.log(2.0)


@dataclass
class DrawnMeter:
    """The hour meter of one pump: what is there and what would be added, in order of time.

    `runs` are stretches of one meter, parted where it was set back or another pump was set down. `rank` is
    higher the sooner a person should look; `reasons` say why in words.
    """

    place: UUID
    tag: str
    hours: list[Hours]
    runs: list[list[Hours]]
    rows: list[ParsedRow]
    rank: float = 0.0
    reasons: list[str] = field(default_factory=list)
    position: str = METER

    @property
    def n_new(self) -> int:
        return sum(one.row is not None for one in self.hours)

    @property
    def n_there(self) -> int:
        return len(self.hours) - self.n_new

    @property
    def last(self) -> Hours:
        return self.hours[-1]

    def run_since_first(self) -> Iterator[tuple[Hours, float]]:
        """Every entry with the hours run since the first one; what a meter ran around its change is not
        known.
        """
        before = 0.0
        for run in self.runs:
            yield from ((entry, before + entry.hours - run[0].hours) for entry in run)
            before += run[-1].hours - run[0].hours

    @property
    def a_year(self) -> float | None:
        """Hours a year over all stretches; None where none lasts long enough."""
        known = [(run[-1].hours - run[0].hours, run[-1].day - run[0].day) for run in self.runs]
        days = sum(d for _, d in known)
        return sum(h for h, _ in known) / days * YEAR if days >= LEAST_DAYS else None


def drawn_meters(
    rows: Sequence[ParsedRow],
    places: Mapping[int, UUID],
    directory: Directory,
    first_days: Mapping[UUID, int],
) -> list[DrawnMeter]:
    """The meter of every pump of which the rows tell hours.

    Parameters
    ----------
    rows : sequence of ParsedRow
        that would be stored.
    places : mapping
        row number to its pump's place.
    first_days : mapping
        place to the first day on which anything is known of it, as an ordinal.
    """
    of_place: dict[UUID, list[ParsedRow]] = defaultdict(list)
    for row in rows:
        if row.number in places and "run_hours" in row.values and "date" in row.values:
            of_place[places[row.number]].append(row)
    stored: dict[UUID, list[Hours]] = defaultdict(list)
    for entry in stored_facts.hours_of(set(of_place)):
        stored[entry.place].append(entry)
    changed = stored_facts.pump_changes(set(of_place))
    made = []
    for place, own in of_place.items():
        entries = [*filter(None, (hours_in(row, place) for row in own)), *stored[place]]
        known = directory.place(place)
        made.append(
            DrawnMeter(
                place,
                known.tag if known else "",
                sorted(entries, key=lambda entry: (entry.day, entry.hours)),
                list(runs_of(entries, changed.get(place, ()))),
                own,
            )
        )
    usual = [rate for meter in made if (rate := meter.a_year)]
    standing = stored_facts.standing_by(set(of_place))
    for meter in made:
        _judge(meter, median(usual) if len(usual) > 1 else None, first_days.get(meter.place), standing)
    return made


def _judge(meter: DrawnMeter, usual: float | None, first_day: int | None, standing: set[UUID]) -> None:
    """Rank a meter by the worst that can be said of it."""
    told = [*_steps(meter)]
    if meter.place not in standing:
        if usual and (rate := meter.a_year):
            told += _apart(rate, usual, "its hours a year are unlike the other pumps'")
        told += _too_few(meter, first_day)
    told += [
        (2.0 + math.log(entry.hours / MOST_HOURS) / TWICE, "more hours than sixty years have")
        for entry in meter.hours
        if entry.row is not None and entry.hours > MOST_HOURS
    ]
    meter.rank = max((rank for rank, _ in told), default=0.0)
    meter.reasons = list(dict.fromkeys(words for _, words in sorted(told, reverse=True)))


def _apart(rate: float, usual: float, words: str) -> Iterator[tuple[float, str]]:
    """Doublings beyond those that duty explains."""
    beyond = abs(math.log(max(rate, 1e-9) / usual)) / TWICE - OF_DUTY
    if beyond > 0:
        yield 1.0 + min(beyond, 9.0), words


def _steps(meter: DrawnMeter) -> Iterator[tuple[float, str]]:
    """One stretch between two entries that gives far more, or far fewer, hours a year than the stretch
    before.
    """
    for run in meter.runs:
        rates = [
            (
                (after.hours - before.hours) / (after.day - before.day) * YEAR,
                (before.row or after.row) is not None,
            )
            for before, after in pairwise(run)
            if after.day - before.day >= LEAST_DAYS
        ]
        for (first, is_new), (second, too) in pairwise(rates):
            if first > 0 and second > 0 and (is_new or too):
                yield from _apart(second, first, "its hours a year change all at once")


def _too_few(meter: DrawnMeter, first_day: int | None) -> Iterator[tuple[float, str]]:
    """A meter that shows fewer hours than the years its pump is known have, and was never set back."""
    if first_day is None or len(meter.runs) != 1:
        return
    for entry in meter.runs[0]:
        fewest = FEWEST_HOURS_A_YEAR * (entry.day - first_day) / YEAR
        if entry.row is not None and entry.day - first_day > YEAR and entry.hours < fewest:
            yield 2.0 + math.log(fewest / max(entry.hours, 0.1)) / TWICE, "fewer hours than its years have"
