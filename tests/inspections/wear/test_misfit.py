"""Curved wear is named, steady wear is not."""

from __future__ import annotations

from inspections.wear.fit import fit_fleet
from tests.bench.wear_misfit import most, powered, share
from tests.bench.worlds import WORLDS, make, smaller


def test_wear_that_slows_down_is_named_and_steady_wear_of_the_same_size_is_not():
    population = fit_fleet(powered(150, 1.0, (120, 240), 10.0, seed=9), carry=False)
    assert share(powered(150, 0.5, (120, 240), 10.0), population) >= 80.0
    assert share(powered(150, 1.0, (120, 240), 10.0), population) <= 2.0


def test_wear_that_speeds_up_is_named_too():
    population = fit_fleet(powered(150, 1.0, (120, 240), 5.0, seed=9), carry=False)
    assert share(powered(100, 2.0, (120, 240), 5.0), population) >= 80.0


def test_a_finer_gauge_shows_the_curve_more_surely_and_it_is_not_taken_for_slips_of_the_pen():
    population = fit_fleet(powered(150, 1.0, (120, 240), 5.0, seed=9), carry=False)
    assert share(powered(150, 0.5, (120, 240), 5.0), population) >= 95.0


def test_a_slip_of_the_pen_is_not_taken_for_a_curve():
    fleet = make(smaller(WORLDS["slips"], 400), 12).histories
    assert share(fleet, fit_fleet(fleet, carry=False)) <= 2.0


def test_the_best_that_any_test_could_name_grows_with_wear_and_with_a_finer_gauge():
    assert most(0.5, (60, 120), 10.0) < most(0.5, (120, 240), 10.0) < most(0.5, (120, 240), 5.0) <= 100.0
    assert abs(most(1.0, (60, 120), 10.0) - 2.0) < 1e-6  # nothing to see: only the false alarms
