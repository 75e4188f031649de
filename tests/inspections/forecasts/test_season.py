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
from inspections.story.season import Season, season_of, seasonal_duty
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


def by_halves(*, years, weeks, seed=1, uneven=0.0):
    """The same pump read in spring and autumn, each entry off by up to so many weeks; ``uneven``: it runs all
    the year instead, each half at a duty of its own, log sd so much.
    """
    rng = np.random.default_rng(seed)
    begins = [dt.date(y, m, 1).toordinal() for y in range(DAY.year - years, DAY.year + 1) for m in (4, 10)]
    days = np.array(begins[1:]) + np.round(7 * weeks * rng.uniform(-1, 1, 2 * years + 1))
    each = np.arange(days[0], days[-1] + 1)
    run = np.array([24.0 * (dt.date.fromordinal(int(d)).month in range(4, 10)) for d in each])
    if uneven:
        of_each = np.searchsorted(days, each, side="right") - 1
        run = np.minimum(12.0 * np.exp(uneven * rng.normal(size=len(days))), 24.0)[of_each]
    hours = np.concatenate([[0.0], np.cumsum(run)])[(days - days[0]).astype(int)]
    return Exposure(days, hours, 12.0, 12.0)


def test_a_meter_read_each_spring_and_autumn_shows_the_half_year_its_pump_runs():
    """The spread of log duty was 4.5 and 1.4 to 4: dates between today and never, and no trigger to go by."""
    season, duty, spread = seasonal_duty(by_halves(years=4, weeks=0), DAY)
    assert season.words == "April to September" and season.halves and season.told > 0.99
    assert season.months[3:9] == pytest.approx(2.0, abs=0.05) and season.months[[11, 0]].max() < 0.05
    assert duty == pytest.approx(12.0, rel=0.02) and spread < 0.02
    for seed in range(10):
        run = by_halves(years=6, weeks=2, seed=seed)
        season, duty, spread = seasonal_duty(run, DAY)
        assert season.words == "April to September" and season.months[5:8].min() > 1.6
        assert duty == pytest.approx(12.0, rel=0.15) and spread < 0.25 < 1.0 < recent_duty(run, DAY)[1]


def test_what_entries_half_a_year_apart_cannot_tell_stays_in_the_spread():
    """Two such years tell nothing, three a part; of pumps uneven by chance one in twenty is taken for one."""
    two = by_halves(years=2, weeks=1)
    assert seasonal_duty(two, DAY) == (None, *recent_duty(two, DAY))
    few = [seasonal_duty(by_halves(years=4, weeks=2, seed=seed), DAY) for seed in range(10)]
    many = [seasonal_duty(by_halves(years=8, weeks=2, seed=seed), DAY) for seed in range(10)]
    assert all(season.told < 0.98 for season, _, _ in few)
    assert np.mean([spread for _, _, spread in few]) > 2 * np.mean([spread for _, _, spread in many])
    chance = [season_of(by_halves(years=5, weeks=2, seed=seed, uneven=0.3), DAY) for seed in range(100)]
    assert sum(found is not None for found in chance) <= 5


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


def _told(run, today):
    bearing = bearing_of(a_fleet(today), "Slow 1")
    for day, hours in zip(run.days, run.hours, strict=True):
        makers.a_meter_entry(place=bearing.place, on=dt.date.fromordinal(int(day)), hours=200000 + hours)
    told = inputs([bearing], today, Codes())
    return told.histories.duty_sd[0], notes(told.known[0])


def test_a_page_says_what_entries_half_a_year_apart_tell_of_a_season(db):
    spread, said = _told(by_halves(years=4, weeks=0), DAY)
    assert spread < 0.1
    words = "runs by the season, most hours from April to September: the dates follow it, by its halves alone"
    assert any(one.startswith(words) for one in said)


def test_a_page_says_where_entries_are_too_sparse_to_tell_a_season(db):
    spread, said = _told(by_halves(years=2, weeks=1), DAY)
    assert spread > 1.0 and any("too far apart to tell a season" in words for words in said)


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
