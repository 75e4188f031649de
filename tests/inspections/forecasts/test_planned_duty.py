"""A planned duty: hours by day, the way back, and what it does to dates, plan and pages."""

import datetime as dt

import numpy as np
import pytest

from dashboards.outage_plan import proposal
from dashboards.outage_plan.versions import propose
from fleet.clock import today_in
from fleet.models import PlannedDuty
from fleet.plant.acts import record
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.planned_duty import Period, planned
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet, bearing_of

DAY = dt.date(2026, 3, 2)


def on(days):
    return DAY + dt.timedelta(days=days)


def test_hours_follow_the_periods_and_the_usual_duty_between_them():
    duty = planned([Period(on(100), on(199), 4.0), Period(on(300), None, 20.0)], DAY, 10.0)
    assert duty.hours_by([0, 100, 150, 200, 300, 310]).tolist() == [0, 1000, 1200, 1400, 2400, 2600]
    days = np.array([0.0, 50.0, 100.0, 180.0, 299.0, 5000.0])
    assert duty.real(duty.even(days)) == pytest.approx(days)
    assert duty.even(days) * duty.mean == pytest.approx(duty.hours_by(days))
    assert np.isinf(duty.real(np.inf)) and np.isnan(duty.real(np.nan))


def test_a_later_period_ends_an_earlier_one_and_what_is_over_plans_nothing():
    duty = planned([Period(on(-50), None, 4.0), Period(on(100), None, 20.0)], DAY, 10.0)
    assert duty.hours_by([100, 110]).tolist() == [400, 600]
    assert planned([Period(on(-50), on(-1), 4.0)], DAY, 10.0) is None
    assert planned([], DAY, 10.0) is None


def test_a_pump_that_is_planned_to_stand_has_dates_all_the_same():
    duty = planned([Period(on(0), None, 0.0)], DAY, 10.0)
    assert duty.mean > 0 and duty.real(duty.even(1000.0)) == pytest.approx(1000.0)


def test_planned_starts_are_counted_by_the_hour():
    assert planned([Period(on(0), None, 10.0, 2.0)], DAY, 10.0).starts_per_hour == pytest.approx(0.2)
    assert planned([Period(on(0), None, 10.0)], DAY, 10.0).starts_per_hour is None


@pytest.fixture
def site(db):
    """Five pumps that ran 20 hours a day."""
    today = today_in("UTC")
    site = a_fleet(today)
    for tag in ("Slow 1", "Slow 2", "Slow 3", "Fast 4", "Past 5"):
        for years in (13, 9, 5, 1, 0):
            makers.a_meter_entry(
                place=bearing_of(site, tag).place,
                on=today - dt.timedelta(days=365 * years + 1),
                hours=7300 * (13 - years),
            )
    return site


def _plan_duty(site, tag, per_day):
    place = bearing_of(site, tag).place
    row = PlannedDuty(place=place, from_on=today_in("UTC"), hours_per_day=per_day)
    record([row], by=makers.somebody())


def test_half_the_hours_planned_put_dates_off_and_plan_and_forecast_say_the_same(site, client):
    today, bearing = today_in("UTC"), bearing_of(site, "Fast 4")
    before, was = current([bearing], today)[bearing.pk], proposal.gather(site, today)
    _plan_duty(site, "Fast 4", 10)
    after, now = current([bearing], today)[bearing.pk], proposal.gather(site, today)
    wait = [(f.day("max_date_p90") - today).days for f in (before, after)]
    assert wait[1] == pytest.approx(2 * wait[0], rel=0.06)
    assert after["p_max_before_following_outage"] < before["p_max_before_following_outage"]
    chances = []
    for found in (was, now):
        row = found.inputs.bearings[found.inputs.bearing_at["Fast 4 DE"]]
        chances.append(row.judged.columns[1].past)
    assert chances[0] == pytest.approx(before["p_max_before_following_outage"], abs=0.01)
    assert chances[1] == pytest.approx(after["p_max_before_following_outage"], abs=0.01)
    other = bearing_of(site, "Slow 1")
    assert current([other], today)[other.pk]["hours_per_day"] == pytest.approx(20, abs=0.1)
    client.force_login(makers.an_account(role="planner", site=site))
    page = client.get("/bearings/Fast 4/DE/").content.decode().replace("\u00a0", " ")
    assert "Planned duty" in page and "10 h a day from" in page and "the dates count with it" in page
    propose(site, today, by=None)
    page = client.get("/plan/").content.decode().replace("\u00a0", " ")
    assert "Fast 4: 10 h a day from" in page and "(20 h a day of late)" in page


def test_a_season_without_running_moves_dates_past_it_by_its_days(site):
    today, bearing = today_in("UTC"), bearing_of(site, "Fast 4")
    before = current([bearing], today)[bearing.pk]
    place = bearing.place
    rest = PlannedDuty(
        place=place,
        from_on=today + dt.timedelta(days=30),
        until_on=today + dt.timedelta(days=229),
        hours_per_day=0,
    )
    record([rest], by=makers.somebody())
    after = current([bearing], today)[bearing.pk]
    moved = (after.day("max_date_p50") - before.day("max_date_p50")).days
    assert moved == pytest.approx(200, abs=12)
    found = proposal.gather(site, today).inputs
    columns = found.bearings[found.bearing_at["Fast 4 DE"]].judged.columns
    for t, name in enumerate(("p_max_before_next_outage", "p_max_before_following_outage")):
        assert after[name] < before[name]
        assert columns[t].past == pytest.approx(after[name], abs=0.02)
