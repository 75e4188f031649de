"""A pump that runs half the year: its meter shows the season, dates follow it, and it counts as even duty."""

import datetime as dt

import numpy as np
import pytest

from fleet.clock import today_in
from inspections.forecasts.codes import Codes
from inspections.forecasts.notes import notes
from inspections.forecasts.planned_duty import Period, planned
from inspections.forecasts.wear_inputs import inputs
from inspections.story.exposure import STATED_DUTY, Exposure, recent_duty
from inspections.story.season import Season, season_of
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet, bearing_of

DAY = dt.date(2026, 11, 1)


def metered(months, *, years=6, every=30, until=DAY):
    """The meter of a pump that runs 24 h a day in some months, read every so many days."""
    days = np.arange(until.toordinal() - int(365.25 * years), until.toordinal(), every).astype(float)
    each = [24.0 * (dt.date.fromordinal(d).month in months) for d in range(int(days[0]), int(days[-1]) + 1)]
    run = np.concatenate([[0.0], np.cumsum(each)])[(days - days[0]).astype(int)]
    return Exposure(days, run, 12.0, 12.0)


@pytest.mark.parametrize("every", [7, 30, 60])
def test_a_meter_read_often_shows_the_half_year_its_pump_runs(every):
    season = season_of(metered(range(4, 10), every=every), DAY)
    assert season.months[5:7] == pytest.approx(2.0, abs=0.15) and season.months[[11, 0]].max() < 0.15
    assert season.words == "April to September"


def test_a_meter_read_by_the_quarter_shows_it_within_a_month_or_two():
    months = season_of(metered(range(4, 10), every=91), DAY).months
    assert months[5:8].min() > 1.3 and months[[11, 0]].max() < 0.2


def test_a_season_over_the_new_year_is_told_from_its_first_month():
    assert season_of(metered((11, 12, 1, 2)), DAY).words == "November to February"


def test_what_is_no_season_is_none():
    """Even, by chance uneven, read by the year, once only, and without a meter."""
    rng = np.random.default_rng(2)
    days = np.arange(0, 6 * 365, 30.0) + 737000
    for _ in range(20):
        hours = np.concatenate([[0], np.cumsum(30 * 15 * np.exp(0.2 * rng.normal(size=len(days) - 1)))])
        found = season_of(Exposure(days, hours, 15, 15), dt.date.fromordinal(int(days[-1])))
        assert found is None or (np.ptp(found.months) < 0.15 and not found.words)
    assert season_of(metered(range(1, 13)), DAY) is None
    assert season_of(metered(range(4, 10), every=365), DAY) is None
    assert season_of(metered(range(4, 10), years=1), DAY) is None
    assert season_of(Exposure(days, days, 12, 12, STATED_DUTY), DAY) is None
    assert season_of(Exposure(np.zeros(0), np.zeros(0), 12, 12), DAY) is None


def test_what_the_season_explains_is_no_uneven_duty():
    """The spread of log duty was 3.8: a date between tomorrow and never."""
    run = metered(range(4, 10))
    duty, spread = recent_duty(run, DAY, season_of(run, DAY).even)
    assert recent_duty(run, DAY)[1] > 3.0
    assert duty == pytest.approx(12.0, rel=0.03) and spread < 0.2


def test_days_ahead_lie_in_the_season_and_come_back():
    """4 392 hours are a summer's: asked in November they are run by the end of the next September."""
    season = Season(np.array([0, 0, 0, 2, 2, 2, 2, 2, 2, 0, 0, 0.0]))
    ahead = planned([], DAY, 12.03, season)
    assert DAY + dt.timedelta(days=float(ahead.real(ahead.even(250.0)))) == DAY + dt.timedelta(days=250)
    last = DAY + dt.timedelta(days=float(ahead.real(4380.0 / ahead.mean)))
    assert dt.date(2027, 9, 25) < last < dt.date(2027, 10, 3)
    assert ahead.hours_by(100.0) < 5.0 and ahead.mean == pytest.approx(12.03, rel=0.02)
    assert ahead.periods == ()


def test_a_planned_duty_rules_over_the_season_while_it_lasts():
    season = Season(np.array([0, 0, 0, 2, 2, 2, 2, 2, 2, 0, 0, 0.0]))
    period = Period(DAY + dt.timedelta(days=10), DAY + dt.timedelta(days=19), 20.0)
    ahead = planned([period], DAY, 12.0, season)
    assert ahead.hours_by(10.0) < 1.0 and ahead.hours_by(20.0) == pytest.approx(200.0, abs=1.0)
    assert ahead.hours_by(120.0) < 205.0


def test_a_pump_of_half_the_year_is_given_to_the_engine_as_even_duty_and_its_page_says_so(db):
    today = today_in("UTC")
    site = a_fleet(today)
    bearing = bearing_of(site, "Slow 1")
    run = metered(range(4, 10), years=5, every=45, until=today)
    for day, hours in zip(run.days, run.hours, strict=True):
        makers.a_meter_entry(place=bearing.place, on=dt.date.fromordinal(int(day)), hours=200000 + hours)
    told = inputs([bearing], today, Codes())
    assert told.histories.duty_sd[0] < 0.3
    assert any("most hours from April to September" in words for words in notes(told.known[0]))
