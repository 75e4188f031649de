"""The outages a bearing can be worked in next, and how many have gone by since it was read."""

import datetime as dt
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from uuid import UUID

from fleet.models import Bearing, Outage, PlaceFacts
from inspections.story.timeline import Story


@dataclass(frozen=True)
class Coming:
    """The outages a bearing can be worked in."""

    first: Outage | None
    second: Outage | None
    days: tuple[float, float]

    @property
    def n_known(self) -> int:
        return (self.first is not None) + (self.second is not None)


def outages_by_site() -> dict[UUID, list[Outage]]:
    """Every site's outages, soonest first."""
    found: dict[UUID, list[Outage]] = defaultdict(list)
    for outage in Outage.objects.standing().order_by("start_on"):
        found[outage.site_id].append(outage)
    return found


def coming_of(
    outages: Sequence[Outage],
    bearing: Bearing,
    place: PlaceFacts | None,
    story: Story,
    as_of: dt.date,
    interval: float,
) -> tuple[list[Outage], Coming]:
    """The outages that concern a bearing: those gone by, and the next two (the usual interval where fewer are
    known).

    One that runs is the next, as long as the bearing has not been measured in it.
    """
    block = place.block if place else ""
    own = [
        one
        for one in outages
        if (not one.block or one.block == block) and (not one.pumps or bearing.place.tag in one.pumps)
    ]
    last = story.clearances[-1].last_on if story.clearances else dt.date.min
    ahead = [one for one in own if one.end_on >= as_of and one.start_on > last]
    days = [float(max((one.start_on - as_of).days, 0)) for one in ahead[:2]]
    while len(days) < 2:
        days.append((days[-1] if days else 0.0) + interval)
    first, second = (ahead + [None, None])[:2]
    gone = [one for one in own if one.start_on < as_of and one not in ahead]
    return gone, Coming(first, second, (days[0], days[1]))


def outages_since(story: Story, past: Sequence[Outage], as_of: dt.date, interval: float) -> float:
    """How many outages have gone by since the last reading; by the usual interval where none is recorded."""
    seen = story.clearances
    if not seen:
        return float("inf")
    last = seen[-1].last_on
    if past and past[0].start_on <= last:
        return float(sum(one.start_on > last for one in past))
    return (as_of - last).days / interval
