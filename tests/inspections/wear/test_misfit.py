"""Curved wear is named, steady wear is not."""

from __future__ import annotations

from inspections.wear.population import fit_fleet
from tests.bench.wear_misfit import powered, share


def test_wear_that_slows_down_is_named_and_steady_wear_of_the_same_size_is_not():
    population = fit_fleet(powered(150, 1.0, (120, 240), 10.0, seed=9), carry=False)
    assert share(powered(150, 0.5, (120, 240), 10.0), population) >= 80.0
    assert share(powered(150, 1.0, (120, 240), 10.0), population) <= 2.0


def test_wear_that_speeds_up_is_named_too():
    population = fit_fleet(powered(150, 1.0, (120, 240), 5.0, seed=9), carry=False)
    assert share(powered(100, 2.0, (120, 240), 5.0), population) >= 80.0
