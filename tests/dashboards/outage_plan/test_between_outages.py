"""Openings between outages while the twin runs: planned, shown, taken along, accepted, and never both twins
at once.
"""

import csv
import datetime as dt
import io

import pytest
from icalendar import Calendar

from dashboards.outage_plan import between_outages, proposal, versions
from dashboards.outage_plan.versions import propose
from fleet.clock import today_in
from fleet.plant.choices import set_setting
from inspections.limits.plant_choices import SETTING_BETWEEN
from inspections.models import Decision
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet_with_twins, accept_agreed

pytestmark = pytest.mark.django_db
TODAY = today_in("UTC")


@pytest.fixture
def site():
    return a_fleet_with_twins(TODAY)


def test_a_twin_is_opened_between_outages_and_the_other_is_not_at_the_same_time(site):
    made = proposal.propose(site, TODAY)
    jobs = {job.bearing: job.outage for job in made.evaluation.jobs}
    assert {jobs["Twin A DE"], jobs["Twin B DE"]} > {"before outage 1"}
    assert jobs["Alone DE"] == "outage 1"
    slot, *_ = [one for one in made.inputs.outages if one.between]
    assert slot.crew_hours == 40 and slot.pumps == {"Twin A", "Twin B"}
    assert slot.start_on > TODAY and slot.end_on < made.inputs.outages[1].start_on
    missing = next(one for one in made.evaluation.not_fitting if one.bearing == "Alone DE")
    assert missing.cause == "already"


def test_a_plant_says_its_hours_between_outages_and_none_means_none(site):
    def chosen(value):
        set_setting(name=SETTING_BETWEEN, value=value, site=site, from_on=None, by=makers.somebody())
        return [o.crew_hours for o in proposal.gather(site, TODAY).inputs.outages if o.between]

    assert chosen("25") == [25.0, 25.0, 25.0]
    assert chosen("0") == []


def test_names_of_days_between_outages_stay_when_time_passes(site):
    names = between_outages.names(site)
    assert list(names.values()) == [
        "between outage 1 and outage 2",
        "between outage 2 and outage 3",
        "before outage 1",
    ]
    later = proposal.gather(site, TODAY + dt.timedelta(days=500))
    assert [o.name for o in later.inputs.outages if o.between] == list(names.values())[:2]


def test_the_pages_and_files_name_the_days_between_and_the_accepted_plan_keeps_them(client, site):
    draft = propose(site, TODAY, by=None)
    client.force_login(makers.an_account(role="planner", site=site))
    page = client.get("/plan/").content.decode()
    assert (
        "before outage 1" in page and "twin running" in page and "between outage 2 and outage 3" not in page
    )
    assert (
        "Work list, before outage 1"
        in client.get("/plan/work/", {"outage": "before outage 1"}).content.decode()
    )
    (name,) = [bearing for bearing, _, outage in draft.solved["jobs"] if outage == "before outage 1"]
    assert "Planned: open before outage 1" in client.get("/plan/bearing/", {"bearing": name}).content.decode()
    rows = list(csv.DictReader(io.StringIO(client.get("/plan/outage-plan.csv").content.decode("utf-8-sig"))))
    assert "before outage 1" in {row["outage"] for row in rows}
    titles = [
        str(e["summary"])
        for e in Calendar.from_ical(client.get("/plan/outage-plan.ics").content).walk("VEVENT")
    ]
    assert [t for t in titles if t.startswith("before outage 1: ")] and not [
        t for t in titles if t.startswith("between")
    ]
    plan = accept_agreed(draft, reason="so", on=TODAY)
    (row,) = Decision.objects.filter(plan=plan, decided="open", outage__isnull=True)
    assert row.why.startswith("to be done before outage 1; ") and row.bearing.place.tag.startswith("Twin")
    assert f"{row.bearing.place.tag} DE" in {
        j.bearing for j in proposal.accepted_jobs(site) if j.outage == "before outage 1"
    }
    shown = versions.shown(draft, versions.version(draft, versions.ACCEPTED))
    assert {(j.bearing, j.outage) for j in shown.evaluation.jobs} == {
        (j[0], j[2]) for j in draft.solved["jobs"]
    }
    history = client.get(f"/bearings/{row.bearing.place.tag}/DE/history/")
    assert history.status_code == 200 and "to be done before outage 1" in history.content.decode()
