"""What the accepted plan and the agreed openings want opened now at a site, and when the next work comes."""

import datetime as dt
from dataclasses import dataclass

from dashboards.outage_plan.drafts import OPEN, REPLACE, SCRAPE
from dashboards.outage_plan.following import follow
from dashboards.outage_plan.job_states import AROUND, UNDER_WAY
from fleet.formatting import day
from fleet.models import Bearing, Outage, Site
from fleet.web.bearing_addresses import bearing_address
from inspections.deferrals.deferral_states import IN_FORCE, RUN_OUT, openings

# What a planned action asks of whoever opens the bearing.
ASKS = {OPEN: "open and look", SCRAPE: "open; a scrape is expected", REPLACE: "open; a new shell is expected"}


@dataclass(frozen=True)
class Wanted:
    """One bearing to be opened now: what for, how far it is, and where its recording begins."""

    bearing: Bearing
    asks: str
    stands: str
    because: str
    address: str


@dataclass(frozen=True)
class WantedNow:
    """What one site wants opened now; `coming`: the next outage with accepted work where nothing runs."""

    site: Site
    bearings: tuple[Wanted, ...]
    coming: Outage | None = None
    n_coming: int = 0


def wanted_now(site: Site, today: dt.date) -> WantedNow:
    """The jobs of outages that run today and are neither settled nor under way, and the openings agreed
    outside an outage; a bearing that is both stands once, as the plan has it.
    """
    followed = follow(site, today)
    running = [one for one in followed if one.outage.start_on <= today <= one.outage.end_on]
    wanted = [
        Wanted(
            job.bearing,
            ASKS.get(job.action, job.action),
            job.state.word,
            f"{one.outage.name}, until {day(one.outage.end_on)}",
            bearing_address(job.bearing, "record"),
        )
        for one in running
        for job in one.jobs
        if not job.state.is_settled and job.state.word != UNDER_WAY
    ]
    in_plan = {one.bearing.pk for one in wanted}
    agreed = [one for one in _agreed(site, today) if one.bearing.pk not in in_plan]
    for one in followed:
        n_open = sum(not job.state.is_settled for job in one.jobs)
        if one.outage.start_on > today and one.outage.withdrawn_by is None and n_open:
            return WantedNow(site, (*agreed, *wanted), one.outage, n_open)
    return WantedNow(site, (*agreed, *wanted))


def _agreed(site: Site, today: dt.date) -> list[Wanted]:
    """The openings outside an outage that are agreed for these days, or for a day gone by and not done."""
    rows = openings(Bearing.objects.standing().filter(place__site=site), today)
    newest = {one.bearing.pk: one for one in sorted(rows, key=lambda one: one.until_on)}
    return [
        Wanted(
            one.bearing,
            ASKS[OPEN],
            f"agreed for {day(one.until_on)}{', not opened yet' if one.is_expired else ''}",
            one.reason,
            bearing_address(one.bearing, "record"),
        )
        for one in newest.values()
        if (one.state == IN_FORCE and one.until_on - AROUND <= today)
        or (one.state == RUN_OUT and abs(today - one.until_on) <= AROUND)
    ]
