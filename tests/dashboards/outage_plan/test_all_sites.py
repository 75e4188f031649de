"""The plans of all sites on one page: outages with hours, shells and risk, and what to order this month with
its price.
"""

import datetime as dt

import pytest

from dashboards.outage_plan import all_sites, versions
from dashboards.outage_plan.drafts import in_hand
from fleet.clock import today_in
from fleet.models import Spare
from fleet.plant.acts import record
from inspections.limits.plant_choices import choose
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet

pytestmark = pytest.mark.django_db


@pytest.fixture
def north():
    """A site with nothing in store and a short lead time, planned; and one that was never planned."""
    today = today_in("UTC")
    site = a_fleet(today, ahead=(126, 674), on_hand=None)
    record([Spare(site=site, shell_type="S-1", on_hand=0, lead_time_days=110)], by=makers.somebody())
    makers.a_site(name="South")
    versions.propose(site, today, by=makers.somebody())
    return site


def test_the_page_says_what_each_sites_plan_says(north, client):
    hand = in_hand(north)
    made = versions.shown(hand, versions.version(hand, versions.HAND))
    shown = all_sites.context([north])
    assert [(one.name, one.bearings) for one in shown["outages"]] == [
        (load.outage, load.n_jobs) for load in made.evaluation.loads if not load.outage.startswith("between")
    ]
    first, load = shown["outages"][0], made.evaluation.loads[0]
    assert (first.hours, first.shells) == (load.used_hours, load.new_shells) and first.bearings
    jobs = [job for job in made.evaluation.jobs if job.outage == load.outage]
    assert first.by_then == pytest.approx(sum(job.p_max_before_work for job in jobs))
    assert first.put_off == pytest.approx(sum(job.p_max_if_deferred for job in jobs)) and (
        first.put_off > first.by_then
    )
    (of_site,) = shown["plans"]
    assert of_site.planned < of_site.closed
    client.force_login(makers.an_account(role="planner"))
    page = client.get("/plan/sites/").content.decode()
    assert "outage 1" in page and "No plan has been worked out yet" in page
    assert 'href="/plan/sites/"' in client.get("/plan/?site=North").content.decode()


def test_a_plan_older_than_the_record_is_said_to_be_and_an_outage_that_is_over_stands_no_longer(
    north, monkeypatch
):
    shown = all_sites.context([north])
    assert shown["plans"][0].warnings == () and shown["plans"][0].as_of == today_in("UTC")
    assert {one.outage for one in shown["orders"]} == {"outage 1"}
    makers.a_reading(bearing=north.places.first().bearings.first())
    monkeypatch.setattr(all_sites, "today_at", lambda site: today_in("UTC") + dt.timedelta(days=200))
    shown = all_sites.context([north])
    assert "the record has changed since" in shown["plans"][0].warnings[0]
    assert "outage 1" not in {one.name for one in shown["outages"]} | {one.outage for one in shown["orders"]}


def test_what_to_order_this_month_stands_with_its_price(north):
    hand = in_hand(north)
    orders = versions.shown(hand, versions.version(hand, versions.HAND)).orders
    today = today_in("UTC")
    this_month = [
        one for one in orders if (one.order_by.year, one.order_by.month) <= (today.year, today.month)
    ]
    assert this_month
    shown = all_sites.context([north])
    assert sum(one.n for one in shown["orders"]) == len(this_month)
    assert shown["total_h"] == pytest.approx(20.0 * len(this_month)) and shown["total_money"] == ""
    choose(name="crew_hour_money", typed="50 EUR", site=None, from_on=None, by=makers.somebody())
    assert all_sites.context([north])["total_money"].replace("\u00a0", "") == f"{1000 * len(this_month)} EUR"


def test_a_site_is_seen_by_those_who_may_read_it(north, client):
    client.force_login(makers.an_account(role="planner", site=makers.a_site(name="West")))
    page = client.get("/plan/sites/").content.decode()
    assert "West" in page and "North" not in page and "South" not in page
