"""How each planned job stands by what was recorded at the pump in or around its outage.

`state_of` is a rule over plain values; `recorded` reads those values from the record.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from django.db.models import Q

from dashboards.outage_plan.drafts import OPEN, REPLACE, SCRAPE
from fleet.formatting import day, in_unit, um
from fleet.models import Bearing
from fleet.models.recorded import IN_ORDER
from inspections.models import Event, EventKind, Quantity, Reading, Stage, Visit

PLANNED, UNDER_WAY, DONE, OTHERWISE = "planned", "under way", "done", "found otherwise"
NOT_DONE, CARRIED_OVER, CANCELLED = "not done", "carried over", "cancelled"
STATES = (PLANNED, UNDER_WAY, DONE, OTHERWISE, NOT_DONE, CARRIED_OVER, CANCELLED)
SETTLED = frozenset({DONE, OTHERWISE, CANCELLED})  # nothing of it is left to be worked
# Work is begun before an outage's first day and recorded after its last: common practice, no published
# source.
AROUND = dt.timedelta(days=14)
WORDS = {
    EventKind.SHELL_CHANGE: "new shell fitted",
    EventKind.REBABBITT: "rebabbitted",
    EventKind.SCRAPE: "scraped",
    EventKind.OPENED: "opened, nothing measured",
    EventKind.CONTACT_CHECK: "contact checked",
    EventKind.FOUND: "looked at",
}
NEW_METAL = (EventKind.SHELL_CHANGE, EventKind.REBABBITT)


@dataclass(frozen=True)
class AtPump:
    """What the record holds of one bearing in one outage; days are the site's own."""

    opened_on: dt.date
    is_open: bool = False  # its visit stands open
    works: tuple[tuple[str, dt.date], ...] = ()  # kinds of event with their days, in order
    found_um: float | None = None  # the larger end as found
    found_on: dt.date | None = None


@dataclass(frozen=True)
class OfOutage:
    """One job's outage, and what became of the job on paper."""

    name: str
    start_on: dt.date
    end_on: dt.date
    cancelled: str = ""  # why nothing is to be done in it any more
    later: str = ""  # the outage in which the plan in force holds the job now
    closed_on: dt.date | None = None  # its pump was closed up, at last on this day of it


@dataclass(frozen=True)
class JobState:
    """A state of `STATES` with what it rests on, in words."""

    word: str
    because: str
    seen: AtPump | None = None
    at_closed_pump: bool = False  # not done, and its pump has had its opening

    def because_in(self, unit: str) -> str:
        """What it rests on with the reading in a unit, such as that of the machine's own book."""
        return self.because if self.seen is None else _words(self.seen, unit)

    @property
    def is_settled(self) -> bool:
        """Whether nothing of the job is left to be worked."""
        return self.word in SETTLED or self.at_closed_pump


def state_of(action: str, outage: OfOutage, seen: AtPump | None, today: dt.date) -> JobState:
    """The state of one job.

    Parameters
    ----------
    action : str
        what was planned: `open` (look and decide), `scrape` or `replace`.
    outage : OfOutage
    seen : AtPump or None
        what was recorded of the bearing in or around the outage; None: nothing.
    today : date
        the site's own day.

    Examples
    --------
    >>> spring = OfOutage("spring", dt.date(2027, 5, 3), dt.date(2027, 5, 17))
    >>> state_of("replace", spring, None, dt.date(2027, 6, 1)).word
    'not done'
    """
    if seen is not None:
        return _seen(action, outage, seen, today)
    if outage.cancelled:
        return JobState(CANCELLED, outage.cancelled)
    is_closed = outage.closed_on is not None
    if is_closed or today > outage.end_on:
        because = f"nothing was recorded in {outage.name}"
        if is_closed:
            because = f"nothing was recorded of it; its pump was closed on {day(outage.closed_on)}"
        if outage.later:
            return JobState(CARRIED_OVER, f"{because}; now in {outage.later}", at_closed_pump=is_closed)
        return JobState(NOT_DONE, because, at_closed_pump=is_closed)
    if today >= outage.start_on:
        return JobState(PLANNED, f"not begun; the outage runs until {day(outage.end_on)}")
    return JobState(PLANNED, f"from {day(outage.start_on)}")


def _seen(action: str, outage: OfOutage, seen: AtPump, today: dt.date) -> JobState:
    kinds = {kind for kind, _ in seen.works}
    words = _words(seen)
    wanted: dict[str, Sequence[str]] = {REPLACE: NEW_METAL, SCRAPE: (EventKind.SCRAPE,)}
    if kinds & set(wanted.get(action, ())):
        return JobState(DONE, words, seen)
    looked = seen.found_um is not None or bool(kinds - {EventKind.OPENED})
    # A new shell ends the question that a planned opening or scrape had, whatever is still to be closed.
    renewed = bool(kinds & set(NEW_METAL))
    if seen.is_open and today <= outage.end_on + AROUND and not renewed:
        return JobState(UNDER_WAY, words, seen)
    if action == OPEN and looked:
        return JobState(DONE, words, seen)
    return JobState(OTHERWISE, words, seen)


def _words(seen: AtPump, unit: str = "um") -> str:
    """What was recorded, in the order of its days: "measured 212 um on ...; new shell fitted on ..."."""
    parts = []
    if seen.found_um is not None and seen.found_on is not None:
        found = um(seen.found_um) if unit == "um" else in_unit(seen.found_um, unit)
        parts.append(f"measured {found} on {day(seen.found_on)}")
    parts += [f"{WORDS[EventKind(kind)]} on {day(on)}" for kind, on in seen.works]
    if not parts:
        parts = [f"opened on {day(seen.opened_on)}"]
    if not {kind for kind, _ in seen.works} & {*NEW_METAL, EventKind.SCRAPE} and not seen.is_open:
        parts.append("closed up as it was")
    return "; ".join(parts)


# the record ------------------------------------------------------------------------------------------------


def recorded(
    since: Mapping[UUID, int | None],
    outage: OfOutage,
    today: dt.date,
    outage_id: UUID | None = None,
) -> dict[UUID, AtPump]:
    """By bearing, what was recorded in or around an outage by a day.

    Parameters
    ----------
    since : mapping
        by bearing, the entry of its chain by which its job was accepted: what stands before it was known to
        the plan. None: all counts.
    outage_id : UUID or None
        a visit that names this outage counts on any day.
    """
    first, last = outage.start_on - AROUND, min(outage.end_on + AROUND, today)
    places = dict(Bearing.objects.filter(pk__in=since).values_list("pk", "place"))
    near = Q(opened_on__gte=first, opened_on__lte=last)
    if outage_id is not None:
        near |= Q(outage=outage_id)
    visits = Visit.objects.standing().filter(near, place__in=set(places.values()))
    latest = {visit.place_id: visit for visit in visits.order_by("opened_on", *IN_ORDER)}
    inside = Q(on__gte=first, on__lte=last) | Q(visit__in=list(latest.values()))
    made: dict[UUID, AtPump] = {}
    for row in _rows(inside, list(since)):
        pk = row.bearing_id
        if pk is None:
            continue  # of the whole pump
        accepted_n = since[pk]
        if accepted_n is None or row.entry_n >= accepted_n:
            made[pk] = _with(made.get(pk), row)
    open_at = {place for place, visit in latest.items() if visit.closed_on is None}
    return {pk: replace(seen, is_open=places[pk] in open_at) for pk, seen in made.items()}


def _rows(inside: Q, bearings: list[UUID]) -> list[Event | Reading]:
    """Events and found clearances of bearings, in the order of their days."""
    events = Event.objects.standing().filter(inside, bearing__in=bearings, kind__in=list(WORDS))
    readings = Reading.objects.standing().filter(
        inside,
        bearing__in=bearings,
        quantity=Quantity.CLEARANCE,
        stage=Stage.AS_FOUND,
        counts=True,
        value_um__isnull=False,
    )
    return sorted([*events, *readings], key=lambda row: (row.on, row.order, row.chain, row.entry_n))


def _with(seen: AtPump | None, row: Event | Reading) -> AtPump:
    """The same with one more row of the record."""
    was = seen or AtPump(row.on)
    if isinstance(row, Event):
        return replace(was, works=(*was.works, (row.kind, row.on)))
    value = float(row.value_um or 0)
    if was.found_um is not None and value <= was.found_um:
        return was
    return replace(was, found_um=value, found_on=row.on)
