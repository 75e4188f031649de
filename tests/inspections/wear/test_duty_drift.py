"""The wandering of duties found where it is, and none where meters run evenly; walks drawn by the day, read
by the year.
"""

import numpy as np
import pytest

from inspections.wear.duty_drift import BELIEVED, learned_drift, spans


def _meters(n, drift, *, hours=12.0, years=10, jitter=0.0, halved=0.0, seed=1):
    chance = np.random.default_rng(seed)
    days = 365 * years
    for _ in range(n):
        walk = np.cumsum(chance.normal(0.0, np.sqrt(drift / 365.0), days))
        duty = np.minimum(hours * np.exp(walk), 24.0)
        if chance.random() < halved:
            duty[days // 2 :] /= 2
        duty *= np.repeat(np.exp(chance.normal(0.0, np.sqrt(jitter), years)), 365)
        meter = np.concatenate([[0.0], np.cumsum(np.minimum(duty, 24.0))])
        at = np.arange(0, days + 1, 365)
        yield at.astype(float), meter[at]


@pytest.mark.parametrize(
    ("n", "drift", "low", "high"),
    [(60, 0.0225, 0.015, 0.027), (300, 0.0225, 0.019, 0.024), (300, 0.1, 0.07, 0.1)],
)
def test_a_walk_is_found_at_its_size(n, drift, low, high):
    assert low <= learned_drift(list(_meters(n, drift)))[0] <= high


def test_pumps_that_run_all_day_for_years_have_none_and_say_nothing_of_the_others():
    others, steady = learned_drift(list(_meters(8, 0.0, hours=24.0)))
    assert steady < 1e-3 and others == BELIEVED


def test_a_jitter_that_does_not_last_and_a_tenth_halved_once_are_not_taken_for_a_walk():
    assert learned_drift(list(_meters(300, 0.0, jitter=0.01)))[0] < 0.002
    assert learned_drift(list(_meters(300, 0.0225, halved=0.1)))[0] == pytest.approx(0.0225, abs=0.006)


def test_without_meters_the_belief_stands_and_one_pump_moves_it_little():
    assert learned_drift([]) == (BELIEVED, BELIEVED)
    assert learned_drift([(np.array([0.0]), np.array([0.0]))]) == (BELIEVED, BELIEVED)
    two_years = next(iter(_meters(1, 0.0, years=2)))
    assert 0.5 * BELIEVED < learned_drift([two_years])[0] <= BELIEVED


def test_a_gap_of_years_makes_no_span_and_close_entries_are_joined():
    _, width, mean = spans(
        np.array([0.0, 100.0, 366.0, 1500.0, 1866.0]), np.array([0.0, 1e3, 3660.0, 9e3, 12660.0])
    )
    assert width == pytest.approx([366 / 365.25] * 2) and mean == pytest.approx([10.0, 10.0])
