"""A reading is worth what it changes."""

import numpy as np
import pytest

from dashboards.outage_plan.bearing_jobs.inputs import Hours
from dashboards.outage_plan.bearing_jobs.opening import Outlook, cases, with_openings
from tests.dashboards.outage_plan.bearing_jobs.small_plans import bearing, inputs, outage, passing


def looked(spread, sd_um, median=1500.0):
    """One bearing whose forecast is as sure as `spread` says, and the inputs with its openings."""
    one = bearing("A/DE", median, chance_left=passing(median, spread))
    given = inputs([one], [outage(t) for t in range(5)])
    off = np.exp(1.2816 * 0.2)
    rate = 80.0 / (median * 0.024) * np.array([1 / off, 1.0, off])
    level = 180.0 + 60 * spread * np.array([[-1.0, 0.0, 1.0]])
    look = Outlook(level, rate[None], np.array([24.0]), np.array([260.0]), np.array([sd_um]))
    return given, look


def first_value(spread, sd_um):
    given, look = looked(spread, sd_um)
    opening = with_openings(given, look).bearings[0].opening
    return 0.0 if opening is None else opening.value.max()


def test_thin_evidence_is_worth_a_reading_and_sure_knowledge_is_not():
    assert first_value(0.6, 8.0) > 10 * max(first_value(0.03, 8.0), 0.1), first_value(0.6, 8.0)


def test_a_better_gauge_is_worth_more_and_a_useless_one_nothing():
    assert first_value(0.6, 4.0) > first_value(0.6, 25.0) > first_value(0.6, 60.0)
    assert first_value(0.6, 1e5) == pytest.approx(0.0, abs=1.0)


def test_follow_ups_come_after_the_opening_and_are_chances():
    given, look = looked(0.6, 8.0)
    opening = with_openings(given, look).bearings[0].opening
    assert np.all(np.triu(opening.follow_up, 1) == opening.follow_up)
    assert np.all(opening.follow_up.sum(axis=1) <= 1 + 1e-9)
    assert 0.2 < opening.changes[opening.value.argmax()] <= 1.0


def test_the_cases_have_the_dates_of_the_bearings_own_chances():
    given, look = looked(0.6, 8.0)
    days, level = cases(given, look)
    for day in (600.0, 1200.0, 2500.0):
        own = np.interp(day, given.days, given.bearings[0].chance_left)
        assert np.mean(days[0] <= day) == pytest.approx(own, abs=0.02)
    order = np.argsort(days[0])
    assert np.corrcoef(level[0, order, 2], np.arange(len(order)))[0, 1] < -0.8


def test_hours_are_in_the_cost_of_what_follows():
    given, look = looked(0.6, 8.0)
    dear = [b.__class__(**{**b.__dict__, "hours": Hours(8, 4, 6, 10_000)}) for b in given.bearings]
    again = inputs(dear, given.outages)
    assert with_openings(again, look).bearings[0].opening is None or (
        with_openings(again, look).bearings[0].opening.follow_up.sum()
        < with_openings(given, look).bearings[0].opening.follow_up.sum()
    )
