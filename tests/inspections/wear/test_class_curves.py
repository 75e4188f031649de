"""A fleet, or a class in it, that wears along another curve than its dates are told from
is never called ok.
"""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear.advice import OUTCOMES
from inspections.wear.arrays import Histories, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast

from .makers import LEAD, Kind, event, reading

OK = OUTCOMES.index("ok")


def wears_as(powers: list[float], *, n: int = 40, known_start: bool = True, seed: int = 1) -> Histories:
    """n bearings for each class, its wear a power of the age, drawn by that alone; read six times with a
    gauge of 10 um.
    """
    rng = np.random.default_rng(seed)
    rows = []
    for class_, q in enumerate(powers):
        for _ in range(n):
            span, new = rng.uniform(40.0, 80.0), 130 * (1 + 0.1 * rng.normal())
            gain = 60.0 * np.exp(0.3 * rng.normal()) * (span / 60.0) ** q
            at = span * np.arange(1, 7) / 6
            events = [event(Kind.NEW_LIFE, 0.0)] if known_start else []
            events += [reading(float(u), new + gain * (u / span) ** q + 10.0 * rng.normal()) for u in at]
            facts = {"fitting_um": 130.0, "limit_um": 300.0, "class_": class_, "fresh": known_start}
            rows.append((facts, events))
    return build(rows, [LEAD])


def test_a_class_that_speeds_up_in_a_fleet_that_slows_down_is_not_called_ok():
    h = wears_as([2.0, 0.7])
    population = fit_fleet(h, carry=False)
    assert set(population.main.curved) >= {0, 1}
    assert not np.any(forecast(h, population).outcome == OK)


@pytest.mark.parametrize("known_start", [True, False])
@pytest.mark.parametrize("seed", [1, 2])
def test_steady_classes_stay_ok(known_start, seed):
    h = wears_as([1.0, 1.0], known_start=known_start, seed=seed)
    population = fit_fleet(h, carry=False)
    assert population.main.curved == ()
    assert np.mean(forecast(h, population).outcome == OK) > 0.9


@pytest.mark.parametrize("known_start", [True, False])
def test_a_whole_fleet_whose_curve_the_dates_follow_stays_ok(known_start):
    population = fit_fleet(wears_as([2.0], n=80, known_start=known_start), carry=False)
    assert population.main.curved == ()
