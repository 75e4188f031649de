"""The backtest: what is hidden stays hidden, what is scored can be predicted, and the scores are the closed
forms.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.backtest import SHARES, hide_and_tell, score, slack, summary
from inspections.wear.line import fleet_lines

from .makers import event, reading, steady_fleet

FACTS = {"fitting_um": 130.0, "limit_um": 260.0}


@pytest.fixture(scope="module")
def fleet() -> Histories:
    return steady_fleet(60)


def test_what_was_read_in_the_hidden_openings_changes_no_forecast(fleet):
    told = hide_and_tell(fleet)
    other = fleet.value_um.copy()
    other[told.event] += 1000.0
    again = hide_and_tell(replace(fleet, value_um=other))
    assert np.array_equal(told.ours, again.ours) and np.array_equal(told.line, again.line)
    assert (again.value_um == told.value_um + 1000.0).all()


def test_a_visible_reading_does_change_its_bearings_forecast(fleet):
    told = hide_and_tell(fleet)
    other = fleet.value_um.copy()
    other[told.event[0] - 1] += 15.0
    again = hide_and_tell(replace(fleet, value_um=other))
    assert again.ours[0, 2] > told.ours[0, 2] + 1.0


def test_of_a_steady_fleet_the_hidden_readings_fall_as_often_below_as_promised():
    told = hide_and_tell(steady_fleet(300, seed=5))
    found = score(told.value_um, told.ours)
    assert (np.abs(np.array(found.below) - 100 * SHARES) <= 2 * slack(len(told.value_um))).all(), found
    assert found.loss_um < 0.9 * score(told.value_um, told.line).loss_um


def test_a_bearing_with_one_opening_keeps_it():
    told = hide_and_tell(build([(FACTS, [event(Kind.NEW_LIFE, 0), reading(5, 140)])] * 4, [Method("x", 5.0)]))
    assert len(told.value_um) == 0
    assert summary(told, 1)["ours"] is None


def test_a_reading_of_a_life_that_shows_no_other_is_not_scored():
    rows = [event(Kind.NEW_LIFE, 0), reading(10, 150), reading(20, 170), event(Kind.NEW_LIFE, 20)]
    rows += [reading(30, 140)]
    told = hide_and_tell(build([(FACTS, rows)] * 5, [Method("x", 5.0)]))
    assert len(told.value_um) == 0
    both = hide_and_tell(build([(FACTS, rows)] * 5, [Method("x", 5.0)]), 2)
    assert set(both.value_um) == {170.0}


def test_as_found_and_as_left_of_one_opening_are_hidden_together_and_only_as_found_is_scored():
    rows = [
        event(Kind.NEW_LIFE, 0),
        reading(10, 150),
        reading(20, 170),
        event(Kind.SCRAPE, 20),
        reading(20, 182),
    ]
    told = hide_and_tell(build([(FACTS, rows)] * 5, [Method("x", 5.0)]))
    assert set(told.value_um) == {170.0}


def test_through_a_hidden_opening_both_forecasters_know_of_the_scrape():
    rows = [
        event(Kind.NEW_LIFE, 0),
        reading(10, 150),
        event(Kind.SCRAPE, 10),
        reading(10, 170),
        reading(20, 190),
    ]
    rows += [event(Kind.SCRAPE, 20), reading(20, 210), reading(30, 230)]
    told = hide_and_tell(build([(FACTS, rows)] * 30, [Method("x", 2.0)]), 2)
    last = told.value_um == 230.0
    assert (told.opening[last] == 2).all() and last.sum() == 30
    without = build([(FACTS, [row for row in rows if row["kind"] != Kind.SCRAPE])] * 30, [Method("x", 2.0)])
    assert told.ours[last][0, 2] != pytest.approx(hide_and_tell(without, 2).ours[-1, 2], abs=3.0)
    assert told.line[last][0, 2] == pytest.approx(
        170 + 2.0 * 20 + 20, abs=3.0
    )  # slope of 0 to 10 kh: a fallback


def test_the_loss_is_the_pinball_loss_of_the_literature():
    """scoringrules (quantile score), an independent implementation."""
    import scoringrules  # compiles for seconds, which whoever collects the tests need not wait for

    rng = np.random.default_rng(2)
    value, quantiles = rng.normal(size=50), np.sort(rng.normal(size=(50, 5)), axis=1)
    theirs = np.mean([scoringrules.quantile_score(value, quantiles[:, k], a) for k, a in enumerate(SHARES)])
    assert score(value, quantiles).loss_um == pytest.approx(float(theirs), rel=1e-12)


def test_the_line_is_drawn_in_the_last_life_with_a_level_for_each_stretch():
    rows = [event(Kind.NEW_LIFE, 0), reading(5, 500), event(Kind.NEW_LIFE, 6)]
    rows += [reading(10, 150), reading(20, 170), event(Kind.SCRAPE, 20), reading(20, 200), reading(30, 220)]
    lines = fleet_lines(build([(FACTS, rows)] * 3, [Method("x", 5.0)]))
    assert lines.slope == pytest.approx([2.0] * 3)
    assert lines.level == pytest.approx([210.0] * 3) and lines.own.all()
    dates = lines.dates(np.full(3, 260.0), np.full(3, 30.0), np.array([0.5]), 100.0)
    assert dates[:, 0] == pytest.approx([20.0] * 3, abs=0.2)
