"""When pumps can be opened: their outages, a running one until its last day, then the usual interval."""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

import numpy as np
from django.db.models import Q

from fleet.models import Outage
from fleet.models.recorded import IN_ORDER
from inspections.forecasts.wear_inputs import Known
from inspections.models import Visit
from inspections.wear.arrays import FloatArray

LEAST_COLUMNS, MOST_COLUMNS = 6, 12


@dataclass(frozen=True)
class Chance:
    """One time at which a pump can be opened; `outage` empty and no name: the usual interval, nothing
    recorded.
    """

    name: str
    outage: str
    start_on: dt.date
    end_on: dt.date

    @property
    def known(self) -> bool:
        return bool(self.outage)


def outages_from(sites: Iterable[UUID], as_of: dt.date) -> dict[UUID, list[Outage]]:
    """By site: the outages that are not over on the day, soonest first; a running one counts until its last
    day.
    """
    found: dict[UUID, list[Outage]] = defaultdict(list)
    for one in Outage.objects.standing().filter(site__in=sites, end_on__gte=as_of).order_by("start_on"):
        found[one.site_id].append(one)
    return found


def closed_up(outages: Iterable[Outage], as_of: dt.date) -> dict[UUID, dt.date]:
    """By place of the outages' sites: the day on which its pump was last closed since the first of them
    began. One that stands open is left out.
    """
    begun = [one for one in outages if one.start_on <= as_of]
    if not begun:
        return {}
    first = min(one.start_on for one in begun)
    visits = Visit.objects.standing().filter(
        Q(closed_on__isnull=True) | Q(closed_on__gte=first),
        place__site__in={one.site_id for one in begun},
        opened_on__lte=as_of,
    )
    last = dict(visits.order_by("opened_on", *IN_ORDER).values_list("place", "closed_on"))
    return {place: on for place, on in last.items() if on is not None and on <= as_of}


def open_since(sites: Iterable[UUID], day: dt.date) -> dict[UUID, dt.date]:
    """By place of the sites whose pump stands open on a day: the day it was opened."""
    rows = Visit.objects.open_on(day).filter(place__site__in=set(sites))
    return dict(reversed(rows.values_list("place", "opened_on")))


def of_pump(
    outages: Sequence[Outage], members: Sequence[Known], closed_on: dt.date | None = None
) -> list[Chance]:
    """A pump's own outages; one that runs is done, and no longer one, where all its bearings were measured in
    it or the pump was closed up in it, at last on `closed_on`.
    """
    place, tag = members[0].place, members[0].bearing.place.tag
    block = place.block if place else ""
    own = []
    for one in outages:
        takes = tag in one.pumps if one.pumps else not one.block or one.block == block
        done = all(m.last is not None and m.last.on >= one.start_on for m in members)
        done = done or (closed_on is not None and closed_on >= one.start_on)
        if takes and not done:
            own.append(Chance(one.name, str(one.pk), one.start_on, one.end_on))
    return own[:MOST_COLUMNS]


def filled(own: Sequence[Chance], as_of: dt.date, usual_days: float, columns: int) -> list[Chance]:
    """So many columns and one more: after the outages known the usual interval, from the last of them or from
    the day.
    """
    out = list(own)
    gap = dt.timedelta(days=max(round(usual_days), 1))
    while len(out) < columns + 1:
        on = (out[-1].start_on if out else as_of) + gap
        out.append(Chance("", "", on, on))
    return out


def days_to(chances: Sequence[Chance], as_of: dt.date) -> FloatArray:
    """(T + 1,) days from the day to each, 0 for one that runs; never falling."""
    days = np.array([max((one.start_on - as_of).days, 0) for one in chances], dtype=np.float64)
    return np.maximum.accumulate(days)
