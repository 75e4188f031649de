"""A small site with outages ahead of a day, for tests of plans."""

import datetime as dt

from dashboards.outage_plan.acceptance import accept
from dashboards.outage_plan.agreements import not_agreed, standing_at
from dashboards.outage_plan.versions import weigh
from fleet.models import Bearing, Site, Spare
from fleet.plant.acts import record
from fleet.plant.outages import schedule_outage
from inspections.deferrals import acts
from inspections.models import DraftPlan, Plan
from tests import makers

WEAR = (("Slow 1", 10), ("Slow 2", 12), ("Slow 3", 11), ("Fast 4", 45), ("Past 5", 85))


def a_fleet(
    today: dt.date,
    *,
    name: str = "North",
    ahead: tuple[int, ...] = (126, 674, 1223),
    on_hand: int | None = 5,
    freeze: int = 60,
) -> Site:
    """Steady wearers, one of which has passed its maximum and one of which nearly has; the scope freezes
    `freeze` days before.
    """
    site = makers.a_site(name=name)
    for number, days in enumerate(ahead, start=1):
        start = today + dt.timedelta(days=days)
        schedule_outage(
            site=site,
            name=f"outage {number}",
            start_on=start,
            end_on=start + dt.timedelta(days=14),
            crew_hours=100,
            scope_freeze_on=start - dt.timedelta(days=freeze),
            by=makers.somebody(),
        )
    _worn(site, today, [(tag, gain, "") for tag, gain in WEAR])
    if on_hand is not None:
        record([Spare(site=site, shell_type="S-1", on_hand=on_hand)], by=makers.somebody())
    return site


def a_fleet_with_twins(today: dt.date, *, outages: str = "outage") -> Site:
    """Twins above their maximum, three beside them without a twin; outages in 400, 900 and 1400 days."""
    site = makers.a_site(name="East")
    for number, days in enumerate((400, 900, 1400), start=1):
        start = today + dt.timedelta(days=days)
        schedule_outage(
            site=site,
            name=f"{outages} {number}",
            start_on=start,
            end_on=start + dt.timedelta(days=14),
            crew_hours=200,
            by=makers.somebody(),
        )
    _worn(
        site,
        today,
        [
            ("Twin A", 70, "Twin B"),
            ("Twin B", 70, "Twin A"),
            ("Alone", 70, ""),
            ("Slow", 10, ""),
            ("Slow 2", 12, ""),
        ],
    )
    record([Spare(site=site, shell_type="S-1", on_hand=9)], by=makers.somebody())
    return site


def _worn(site: Site, today: dt.date, wear: list[tuple[str, int, str]]) -> None:
    """Pumps (tag, um from one reading to the next, twin) of one bearing each, read four times in thirteen
    years.
    """
    for number, (tag, gain, twin) in enumerate(wear):
        place = makers.a_place(site=site, tag=tag, positions=("DE",), twin=twin)
        bearing = makers.a_bearing(
            place=place, shell_type="S-1", limits={"fitting_max": 150, "in_service_max": 300}
        )
        for step in range(4):
            on = today - dt.timedelta(days=365 * (13 - 4 * step))
            makers.a_reading(bearing=bearing, on=on, value=140 + number + gain * step, unit="um")


def run_on(on: dt.date, *bearings: Bearing) -> None:
    """Bearings that may run on with checks: asked for by an engineer, agreed to for operations."""
    for bearing in bearings:
        site, roles = bearing.place.site, ("engineer", "operations")
        engineer, operations = (makers.an_account(role=role, site=site) for role in roles)
        asked = acts.ask_deferral(
            bearing=bearing,
            on=on,
            until_on=on + dt.timedelta(days=300),
            reason="vibration is read daily",
            late_why="the pump has no twin and the winter needs it",
            check_by="N. Turner",
            check_every_days=7,
            stop_at="bearing metal 95 °C",
            by=engineer.person_id,
        )
        if asked.missing:
            acts.answer(thing=asked.id, side="operations", agreed=True, on=on, by=operations.person_id)


def accept_agreed(draft: DraftPlan, *, reason: str, on: dt.date) -> Plan:
    """The plan in hand accepted; what it leaves undone may run on, by those who must agree."""
    lacking = not_agreed(draft, weigh(draft), standing_at(draft.site, on))
    left = Bearing.objects.select_related("place__site")
    run_on(on, *left.filter(pk__in=[one.bearing for one in lacking]))
    return accept(draft=draft, reason=reason, on=on, by=makers.somebody())


def bearing_of(site: Site, tag: str) -> Bearing:
    """The one bearing of a pump."""
    return Bearing.objects.select_related("place__site").get(place__site=site, place__tag=tag)
