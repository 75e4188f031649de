"""Days between outages in which a pump may be opened: while its twin runs, or agreed outside an outage;
names, ids, days and crew hours.
"""

import datetime as dt
from collections.abc import Collection, Sequence
from itertools import pairwise

from dashboards.outage_plan.drafts import BEFORE
from dashboards.outage_plan.pump_openings import inputs as plan
from fleet.models import Bearing, Outage, Setting, Site
from inspections.deferrals.deferral_states import IN_FORCE, openings
from inspections.limits.plant_choices import CREW_HOURS_BETWEEN, SETTING_BETWEEN
from inspections.models import OutsideOpening

# Design assumptions with no published source.
NOTICE_DAYS = 21  # from today to the first day on which a pump may be opened
LEAST_GAP_DAYS = 120  # outages closer together leave no such days
LASTS_DAYS = 13
MOST = (
    4  # of the coming outages have such days before them: what lies further ahead is planned anew long before
)


def names(site: Site) -> dict[str, str]:
    """By inner id: what the days before each outage are called. The outage that follows is their id, so that
    names stay.
    """
    outages = list(Outage.objects.standing().filter(site=site).order_by("start_on", "name"))
    found = {
        f"{BEFORE}{one.pk}": f"between {before.name} and {one.name}" for before, one in pairwise(outages)
    }
    found |= {f"{BEFORE}{outages[0].pk}": f"before {outages[0].name}"} if outages else {}
    return found | {f"{BEFORE}{one.pk}": _outside_name(one) for one in _outside(site)}


def slots(
    site: Site, coming: Sequence[Outage], pumps: Sequence[plan.Pump], as_of: dt.date
) -> dict[str, plan.Outage]:
    """By inner id: two weeks midway before each coming outage, for the pumps that have a twin (none where no
    hours are), and the openings that are agreed outside an outage.
    """
    twins = frozenset(pump.name for pump in pumps if pump.twin)
    hours = crew_hours(site, as_of)
    found = _agreed(site, {pump.name for pump in pumps}, as_of, hours)
    if not twins or hours <= 0:
        return found
    called, end = names(site), as_of
    for one in coming[:MOST]:
        gap, first = (one.start_on - end).days, end + dt.timedelta(days=NOTICE_DAYS)
        if gap >= LEAST_GAP_DAYS:
            start = max(end + dt.timedelta(days=gap // 2), first)
            key = f"{BEFORE}{one.pk}"
            last = start + dt.timedelta(days=LASTS_DAYS)
            found[key] = plan.Outage(called[key], start, last, hours, pumps=twins, between=True)
        end = max(end, one.end_on)
    return found


def _agreed(site: Site, tags: Collection[str], as_of: dt.date, hours: float) -> dict[str, plan.Outage]:
    """The openings that engineer and operations agreed to, each for its own pump from its day on."""
    found = {}
    asked = openings(Bearing.objects.filter(place__site=site, place__tag__in=tags), as_of)
    for one in asked:
        if one.state == IN_FORCE and isinstance(one.row, OutsideOpening):
            tag, last = one.bearing.place.tag, one.until_on + dt.timedelta(days=LASTS_DAYS)
            name = _outside_name(one.row)
            own = max(hours, float(CREW_HOURS_BETWEEN))
            found[f"{BEFORE}{one.id}"] = plan.Outage(
                name, one.until_on, last, own, pumps=frozenset({tag}), between=True, agreed=True
            )
    return found


def _outside(site: Site) -> list[OutsideOpening]:
    rows = OutsideOpening.objects.standing().filter(bearing__place__site=site)
    return list(rows.select_related("bearing__place"))


def _outside_name(row: OutsideOpening) -> str:
    return f"outside an outage, {row.bearing.place.tag} on {row.opens_on}"


def crew_hours(site: Site, as_of: dt.date) -> float:
    """Crew hours for openings between two outages: the plant's own, else a stated default."""
    own = Setting.objects.in_force(SETTING_BETWEEN, site, as_of)
    return float(CREW_HOURS_BETWEEN if own is None else own)
