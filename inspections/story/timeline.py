"""One bearing's, or many bearings', whole story in order: what was observed, done and
run, as plain values.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from uuid import UUID

from django.db.models import Q

from fleet.models import Bearing, BearingFacts, Installation, LoadSide, SetAside
from fleet.models.recorded import IN_ORDER
from fleet.units import Day, Unreadable, parse_day
from inspections.models import WHAT_WAS_DONE, Event, EventKind, MeterEntry, Reading, Visit
from inspections.story.effect_of_work import (
    NEW_BASELINE,
    NEW_LIFE,
    NO_EFFECT,
    RATE_BREAK,
    STEP,
    UNEXPLAINED_FALL,
    UNSURE,
    Happening,
    effect_of,
    words_of,
)
from inspections.story.exposure import MeterPoint
from inspections.story.observations import Measurement, Observation, observations

# Asking for so many at once is asking for all: a longer list of ids costs more than it spares.
ASK_FOR_ALL = 5000


@dataclass(frozen=True, slots=True)
class VisitFacts:
    """A visit's own facts."""

    id: UUID
    machine: UUID
    label: str
    why: str
    outage: str
    job: str
    on: dt.date
    last_on: dt.date
    precision: str
    closed_on: dt.date | None


@dataclass(frozen=True)
class Story:
    """One bearing's story.

    Attributes
    ----------
    entries : tuple of Observation and Happening
        in order: day, visit, as found, work in given order, as left, then as recorded. Lengths in um.
    measured : tuple of Measurement
        every standing reading as recorded, also those that feed no series.
    meter : tuple of MeterPoint
        of the place, whichever pump stood there, by day.
    changed : tuple of date
        days on which another pump was set down.
    """

    bearing: UUID
    place: UUID
    load_side: str
    entries: tuple[Observation | Happening, ...] = ()
    measured: tuple[Measurement, ...] = ()
    meter: tuple[MeterPoint, ...] = ()
    changed: tuple[dt.date, ...] = ()
    visits: dict[UUID, VisitFacts] = field(default_factory=dict)
    n_set_aside: int = 0

    @property
    def observations(self) -> list[Observation]:
        """All observations of the vertical clearance, the wall and the shaft drop, in order."""
        return [entry for entry in self.entries if isinstance(entry, Observation)]

    @property
    def clearances(self) -> list[Observation]:
        """The observations that feed the clearance series, in order."""
        return [one for one in self.observations if one.series == "clearance" and not one.not_for_wear]

    @property
    def happenings(self) -> list[Happening]:
        """All events, in order."""
        return [entry for entry in self.entries if isinstance(entry, Happening)]

    @property
    def works(self) -> list[Happening]:
        """The events that do something to the series, in order."""
        return [one for one in self.happenings if one.effect != NO_EFFECT]

    @property
    def contact_stands_open(self) -> bool:
        """Whether a contact check asked for scraping or for the seat, and nothing has closed it since.

        An acceptable print or a new life closes it. `measure`, `alignment` and `repeat` leave it as it stood:
        they ask for something else in the same visit, and a clearance measured again is judged by itself.
        """
        standing = False
        for one in self.happenings:
            if one.kind == EventKind.CONTACT_CHECK and one.outcome:
                standing = one.outcome in ("scrape", "seat") or (standing and one.outcome != "acceptable")
            elif one.effect == NEW_LIFE:
                standing = False
        return standing


def story(bearing: UUID, until: dt.date | None = None) -> Story:
    """One bearing's story; see `stories`."""
    return stories([bearing], until)[bearing]


def stories(
    bearings: Iterable[UUID], until: dt.date | None = None, places: Mapping[UUID, UUID] | None = None
) -> dict[UUID, Story]:
    """The stories of many bearings, with the same number of queries for one and for thousands.

    Parameters
    ----------
    bearings : iterable of UUID
    until : date, optional
        only what had happened by that day (its first possible day counts).
    places : mapping, optional
        by bearing its place, where that is known already; of all that are asked for.

    Returns
    -------
    dict
        by bearing, in the order asked.
    """
    wanted = list(dict.fromkeys(bearings))
    asked = _Asked(wanted, until, places)
    return {bearing: asked.story(bearing) for bearing in wanted if bearing in asked.places}


class _Asked:
    """What the database says of the bearings asked for, by bearing and place: eight
    questions, however many.
    """

    def __init__(
        self, wanted: Sequence[UUID], until: dt.date | None, places: Mapping[UUID, UUID] | None
    ) -> None:
        self.until = until
        some = len(wanted) <= ASK_FOR_ALL
        rows = Bearing.objects.filter(pk__in=wanted) if some else Bearing.objects.all()
        self.places = dict(rows.values_list("pk", "place_id") if places is None else places)
        self._of_bearings = Q(bearing_id__in=list(self.places)) if some else Q()
        self._of_places = Q(place_id__in=set(self.places.values())) if some else Q()
        self.load_sides = self._load_sides()
        self.visits = {facts.id: facts for facts in self._visits()}
        self.readings: dict[UUID, list[Measurement]] = defaultdict(list)
        for measured in self._readings():
            self.readings[measured.bearing].append(measured)
        self.own: dict[UUID, list[tuple]] = defaultdict(list)
        self.shared: dict[UUID, list[tuple]] = defaultdict(list)
        for row in self._events():
            (self.own[row[2]] if row[2] else self.shared[row[1]]).append(row)
        self.meter: dict[UUID, list[MeterPoint]] = defaultdict(list)
        for place, point in self._meter():
            self.meter[place].append(point)
        self.changed = self._changed()
        self.aside: dict[UUID, list[tuple]] = defaultdict(list)
        for row in self._set_aside():
            self.aside[row[0]].append(row)

    def story(self, bearing: UUID) -> Story:
        """Put one bearing's story together."""
        place = self.places[bearing]
        load_side = self.load_sides.get(bearing, LoadSide.BOTTOM)
        measured = self.readings.get(bearing, [])
        seen = list(observations(measured, load_side))
        of_visit: dict[UUID, list[Observation]] = defaultdict(list)
        for one in seen:
            of_visit[one.visit].append(one)
        events = (*self.own.get(bearing, ()), *self.shared.get(place, ()))
        happenings = [_happening(row, load_side, of_visit) for row in events]
        aside = self.aside.get(bearing, [])
        told: list[Observation | Happening] = [*seen, *happenings, *self._unsure(aside)]
        entries = sorted(told, key=self._rank)
        visits = {entry.visit for entry in entries if entry.visit}
        return Story(
            bearing,
            place,
            load_side,
            tuple(entries),
            tuple(measured),
            tuple(self.meter.get(place, ())),
            tuple(self.changed.get(place, ())),
            {pk: self.visits[pk] for pk in visits if pk in self.visits},
            len(aside),
        )

    def _rank(self, entry: Observation | Happening) -> tuple:
        """Day of the visit, visit, as found, work in given order, as left."""
        visit = self.visits.get(entry.visit) if entry.visit else None
        day = visit.on if visit else entry.on
        phase = 1
        if isinstance(entry, Observation):
            phase = 0 if entry.stage == "as_found" else 2
        return day, str(entry.visit or ""), phase, entry.order

    def _set_aside(self) -> Iterable[tuple]:
        among = Q(bearing__in=list(self.places)) if self._of_bearings else Q()
        rows = SetAside.objects.standing().filter(among, bearing__isnull=False)
        return rows.values_list("bearing", "pk", "number", "cells", "question", "sheet__options")

    def _unsure(self, aside: Sequence[tuple]) -> Iterator[Happening]:
        """From a fall that nobody could explain on, the level is not known."""
        for _, pk, number, cells, question, options in aside:
            day = _day_of(cells, options.get("date_format", "")) if UNEXPLAINED_FALL in question else None
            if day and (self.until is None or day.first <= self.until):
                words = "Level not known from here: a fall nobody could explain was set aside"
                yield Happening(
                    pk,
                    day.first,
                    day.last,
                    day.precision,
                    None,
                    number,
                    UNSURE,
                    UNSURE,
                    "",
                    "",
                    "",
                    "",
                    None,
                    question,
                    False,
                    words,
                )

    def _by_now(self, column: str = "on") -> Q:
        return Q(**{f"{column}__lte": self.until}) if self.until else Q()

    def _load_sides(self) -> dict[UUID, str]:
        rows = BearingFacts.objects.standing().filter(self._of_bearings)
        begun = rows.order_by("from_on", *IN_ORDER).values_list("bearing_id", "load_side", "from_on")
        found: dict[UUID, str] = {}
        for bearing, side, from_on in sorted(begun, key=lambda row: row[2] or dt.date.min):
            if self.until is None or from_on is None or from_on <= self.until:
                found[bearing] = side
        return found

    def _visits(self) -> Iterator[VisitFacts]:
        rows = Visit.objects.standing().filter(self._of_places, self._by_now("opened_on"))
        for pk, machine, label, why, outage, words, job, on, last_on, precision, closed in rows.values_list(
            "pk",
            "machine_id",
            "label",
            "why",
            "outage__name",
            "outage_words",
            "job",
            "opened_on",
            "last_on",
            "precision",
            "closed_on",
        ):
            yield VisitFacts(pk, machine, label, why, outage or words, job, on, last_on, precision, closed)

    def _readings(self) -> Iterator[Measurement]:
        rows = Reading.objects.standing().filter(self._of_bearings, self._by_now())
        # By its fields' names: Measurement is declared in the same order.
        for row in rows.order_by("on", "order", *IN_ORDER).values_list(*Measurement.COLUMNS):
            yield Measurement.of(row)

    def _events(self) -> Iterable[tuple]:
        rows = Event.objects.standing().filter(self._of_places, self._by_now())
        return rows.order_by("on", "order", *IN_ORDER).values_list(
            "pk",
            "place_id",
            "bearing_id",
            "visit_id",
            "on",
            "last_on",
            "precision",
            "order",
            *WHAT_WAS_DONE,
        )

    def _meter(self) -> Iterator[tuple[UUID, MeterPoint]]:
        rows = MeterEntry.objects.standing().filter(self._of_places, self._by_now())
        for place, machine, on, last_on, hours, reset, before, starts in rows.order_by(
            "on", "reset", *IN_ORDER
        ).values_list("place_id", "machine_id", "on", "last_on", "hours", "reset", "hours_before", "starts"):
            known = None if before is None else float(before)
            yield place, MeterPoint(on, float(hours), reset, known, starts, machine, last_on)

    def _changed(self) -> dict[UUID, list[dt.date]]:
        """Days on which another pump was set down, from the places' own record."""
        rows = Installation.objects.standing().filter(self._of_places, from_on__isnull=False)
        found: dict[UUID, list[dt.date]] = defaultdict(list)
        for place, day in rows.order_by("from_on").values_list("place_id", "from_on"):
            if self.until is None or day <= self.until:
                found[place].append(day)
        return found


def _day_of(cells: dict[str, str], date_format: str) -> Day | None:
    """The day of a row set aside, as its sheet's dates were read."""
    text = next((cell for heading, cell in cells.items() if heading.strip().casefold() == "date"), "")
    for form in (date_format or None, None):  # cells a workbook holds as dates are in ISO form
        try:
            return parse_day(text, form)
        except Unreadable:
            continue
    return None


def _happening(row: tuple, load_side: str, seen: dict[UUID, list[Observation]]) -> Happening:
    (
        pk,
        _,
        bearing,
        visit,
        on,
        last_on,
        precision,
        order,
        kind,
        half,
        shell,
        reason,
        outcome,
        contact,
        note,
    ) = row
    percent = None if contact is None else float(contact)
    words = words_of(
        kind,
        half=half,
        shell=shell,
        reason=reason,
        outcome=outcome,
        contact_percent=percent,
        note=note,
        around=seen.get(visit, ()),
    )
    return Happening(
        pk,
        on,
        last_on,
        precision,
        visit,
        order,
        kind,
        effect_of(kind, half, load_side),
        half,
        shell,
        reason,
        outcome,
        percent,
        note,
        bearing is None,
        words,
    )


__all__ = [
    "NEW_BASELINE",
    "NEW_LIFE",
    "NO_EFFECT",
    "RATE_BREAK",
    "STEP",
    "UNSURE",
    "Happening",
    "Measurement",
    "MeterPoint",
    "Observation",
    "Story",
    "VisitFacts",
    "effect_of",
    "stories",
    "story",
]
