"""The visits that stand open at the pumps, those of whoever looks first."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from uuid import UUID

from fleet.models import Bearing, Site
from fleet.models.recorded import LAST_FIRST
from fleet.web.bearing_addresses import bearing_address
from inspections.models import Attendance, Visit
from inspections.models.visit import LONGEST_OPENING


@dataclass(frozen=True)
class OpenVisit:
    """One pump whose visit stands open: the bearings to go on with, each with its address."""

    visit: Visit
    bearings: tuple[tuple[Bearing, str], ...]
    is_mine: bool


def open_visits(sites: Iterable[Site], person: UUID, days: Mapping[UUID, dt.date]) -> list[OpenVisit]:
    """The visit that each pump would go on with, the person's own first, the latest first.

    Parameters
    ----------
    person : UUID
        who looks: own is a visit that this person began or took part in.
    days : mapping
        by site, its own day of today.
    """
    rows = Visit.objects.standing().filter(place__site__in=list(sites), closed_on__isnull=True)
    latest: dict[UUID, Visit] = {}
    for visit in rows.select_related("place__site").order_by("-opened_on", *LAST_FIRST):
        today = days[visit.place.site_id]
        if today - LONGEST_OPENING <= visit.opened_on <= today:
            latest.setdefault(visit.place_id, visit)
    among = Attendance.objects.standing().filter(visit__in=latest.values(), person=person)
    mine = set(among.values_list("visit", flat=True))
    bearings = _bearings(latest)
    made = [
        OpenVisit(visit, bearings[place], visit.pk in mine or visit.recorded_by == person)
        for place, visit in latest.items()
    ]
    return sorted(made, key=lambda one: not one.is_mine)


def _bearings(places: Iterable[UUID]) -> dict[UUID, tuple[tuple[Bearing, str], ...]]:
    found: dict[UUID, tuple[tuple[Bearing, str], ...]] = defaultdict(tuple)
    for one in Bearing.objects.standing().filter(place__in=list(places)).in_order():
        found[one.place_id] += ((one, bearing_address(one, "record-overview")),)
    return found
