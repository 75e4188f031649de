"""Curved wear is named, steady wear is not."""

from __future__ import annotations

import numpy as np

from inspections.wear.arrays import Kind, Method, build
from inspections.wear.fit import fit_fleet
from tests.bench.wear_misfit import most, powered, share
from tests.bench.worlds import WORLDS, make, smaller

from .makers import event, reading


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


def fallen(n: int, per_kh: float):
    """n bearings whose readings change by ``per_kh`` um/kh from 200 um on, read six times
    with a sd of 5 um.
    """
    rng = np.random.default_rng(6)
    rows = []
    for _ in range(n):
        events = [event(Kind.NEW_LIFE, 0.0, level_um=200.0)]
        events += [reading(10.0 * k, 200.0 + per_kh * 10.0 * k + 5 * rng.normal()) for k in range(1, 7)]
        rows.append(({"fitting_um": 200.0, "limit_um": 300.0, "class_": 0}, events))
    return build(rows, [Method("micrometer", 5.0)])


def test_a_fleet_whose_readings_all_fall_is_never_called_well():
    """Wear cannot make a clearance smaller: a meter, a station or a record is wrong."""
    fleet = fallen(40, -2.0)
    assert share(fleet, fit_fleet(fleet, carry=False)) >= 95.0


def test_a_fleet_that_does_not_wear_at_all_is_not_said_to_fall():
    fleet = fallen(200, 0.05)
    assert share(fleet, fit_fleet(fleet, carry=False)) <= 3.0
