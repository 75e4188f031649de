"""Hours and shells of a job: every outcome counted."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dashboards.outage_plan.pump_openings.outcomes import count_odds, hours_within, job_hours, shells_within

HOURS = np.array([4.0, 10.0, 20.0])


@given(st.lists(st.tuples(st.floats(0, 1), st.floats(0, 1)), min_size=1, max_size=4))
def test_a_job_is_expected_to_take_what_its_bearings_are(odds):
    chance = np.array([[(1 - a) * (1 - b), (1 - a) * b, a] for a, b in odds])
    s = job_hours(8.0, np.tile(HOURS, (len(odds), 1)), chance)
    assert s.expected == pytest.approx(8.0 + float((chance @ HOURS).sum()), abs=0.02)
    assert s.within <= s.most <= 8.0 + 20.0 * len(odds) + 1e-9


def test_nine_in_ten_outcomes_lie_within_by_drawing_them():
    rng = np.random.default_rng(1)
    chance = np.array([[0.5, 0.1, 0.4], [0.7, 0.1, 0.2], [0.85, 0.1, 0.05]])
    s = job_hours(8.0, np.tile(HOURS, (3, 1)), chance)
    drawn = 8.0 + sum(rng.choice(HOURS, 20_000, p=p) for p in chance)
    assert (drawn <= s.within + 1e-6).mean() >= 0.89
    assert (drawn <= s.within - 0.1).mean() < 0.91
    assert drawn.max() == pytest.approx(s.most)


def test_what_cannot_happen_is_not_in_at_most():
    s = job_hours(8.0, HOURS[None, :], np.array([[0.9, 0.1, 0.0]]))
    assert s.most == pytest.approx(18.0)


@given(st.lists(st.floats(0, 1), min_size=0, max_size=9))
def test_odds_of_counts_sum_to_one_and_have_the_mean(chance):
    odds = count_odds(np.array(chance))
    assert odds.sum() == pytest.approx(1.0)
    assert odds @ np.arange(len(odds)) == pytest.approx(sum(chance))


def test_shells_by_the_normal_are_within_one_of_the_exact_count():
    rng = np.random.default_rng(2)
    for _ in range(50):
        chance = rng.uniform(0, 1, int(rng.integers(10, 40)))
        exact = int(np.searchsorted(np.cumsum(count_odds(chance)), 0.9))
        assert abs(shells_within(chance) - exact) <= 1


def test_hours_of_an_outage_are_more_than_expected_by_1_28_spreads():
    assert hours_within(np.full(4, 10.0), np.full(4, 25.0)) == pytest.approx(40.0 + 1.2816 * 10.0, abs=0.01)
