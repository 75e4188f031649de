"""Failures that measuring cannot foresee, from a plant's own counts."""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear.hazard import seen


@pytest.mark.parametrize(
    ("n", "years", "ahead", "chance"),
    [(2, 61.0, 3.0, 0.064497), (0, 0.0, 3.0, 0.028714), (30, 1000.0, 3.0, 0.083340)],
)
def test_the_chance_of_a_sudden_failure_is_as_worked_out_by_hand(n, years, ahead, chance):
    assert seen(n, years).within(np.array([ahead]))[0] == pytest.approx(chance, abs=1e-6)


def test_beside_wear_it_adds_to_the_chance_and_never_takes_away():
    hazard = seen(30, 1000.0)
    wear, years = np.array([0.05, 0.0, 1.0, 0.3]), np.array([3.0, 3.0, 3.0, 0.0])
    assert hazard.with_wear(wear, years) == pytest.approx([0.129173, 0.083340, 1.0, 0.3], abs=1e-6)


def test_the_rate_that_was_drawn_is_found_again():
    """3 in 100 bearing years, 2000 years observed."""
    rng = np.random.default_rng(5)
    rates = [seen(int(rng.poisson(60)), 2000.0).a_year for _ in range(50)]
    assert np.mean(rates) == pytest.approx(0.03, rel=0.05)


def test_under_three_events_no_rate_is_told():
    assert [seen(n, 500.0).tells_a_rate for n in (0, 2, 3)] == [False, False, True]


def test_a_class_is_drawn_towards_its_fleet():
    fleet = seen(60, 2000.0)
    few, many = seen(0, 10.0, fleet).a_year, seen(100, 1000.0, fleet).a_year
    assert 0.02 < few < fleet.a_year < many < 0.1
    assert seen(0, 10.0).a_year < few


@pytest.mark.parametrize(("n", "years"), [(-1, 5.0), (1, -5.0), (1, np.nan)])
def test_counts_that_cannot_be_are_refused_in_words(n, years):
    with pytest.raises(ValueError, match="0 or more"):
        seen(n, years)
