"""A few bearings with curves of their own among steady ones get dates of their own; steady fleets pay
nothing.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspections.wear.arrays import Histories, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.own_curve import TIMES, bent_params, curve_weights
from inspections.wear.parameters import Params
from inspections.wear.population import Population
from inspections.wear.present_beliefs import standing

from .makers import Kind, Method, event, reading

GAUGE_UM = 2.0
N_BENT, N = 6, 60


def read_finely(exponent: float, *, n: int = N, n_bent: int = N_BENT, seed: int = 3) -> Histories:
    """n bearings read six times with a gauge of 2 um, the first of them wearing as a power of their age."""
    rng = np.random.default_rng(seed)
    rows = []
    for i in range(n):
        q = exponent if i < n_bent else 1.0
        span, new, gain = (
            rng.uniform(40.0, 80.0),
            130 * (1 + 0.1 * rng.normal()),
            55 * np.exp(0.4 * rng.normal()),
        )
        at = span * np.arange(1, 7) / 6
        read = [reading(float(u), new + gain * (u / span) ** q + GAUGE_UM * rng.normal()) for u in at]
        facts = {"fitting_um": 130.0, "limit_um": 330.0, "class_": 0, "fresh": True}
        rows.append((facts, [event(Kind.NEW_LIFE, 0.0), *read]))
    return build(rows, [Method("micrometer", GAUGE_UM)])


def true_days(h: Histories, exponent: float) -> np.ndarray:
    """Days to the maximum of the curved ones, by the power law they were drawn from."""
    rng, out = np.random.default_rng(3), []
    for _ in range(N_BENT):
        span, new, gain = (
            rng.uniform(40.0, 80.0),
            130 * (1 + 0.1 * rng.normal()),
            55 * np.exp(0.4 * rng.normal()),
        )
        rng.normal(size=6)
        out.append(span * (((330.0 - new) / gain) ** (1 / exponent) - 1.0) / 0.024)
    return np.array(out)


@pytest.fixture(scope="module")
def bent() -> tuple[Histories, Population]:
    h = read_finely(2.0)
    return h, fit_fleet(h, carry=False)


def test_bearings_that_speed_up_among_steady_ones_are_dated_by_their_own_curve(bent):
    """Told by the fleet's exponent five of six pass the maximum before their 5 % date."""
    h, population = bent
    true = true_days(h, 2.0)
    told = forecast(h, population)
    assert np.sum(true < told.max_days[:N_BENT, 0]) <= 2
    assert np.median(told.own_exponent[:N_BENT]) > 1.5
    assert np.nanmax(np.abs(np.log(told.own_exponent[N_BENT:]))) < 0.3


def test_the_share_of_such_bearings_is_learned_from_the_fleet(bent):
    assert 0.05 < bent[1].main.designs[0].own_curves < 0.2
    straight = read_finely(1.0)
    population = fit_fleet(straight, carry=False)
    assert population.main.designs[0].own_curves < 0.04
    assert np.isnan(forecast(straight, population).own_exponent).mean() > 0.96


def test_without_such_bearings_in_its_numbers_a_population_says_what_it_always_said(bent):
    """Numbers kept from before hold no share; their forecasts are those of the class's curve alone."""
    h, population = bent
    pool = population.main
    before = replace(population, pools=(replace(pool, designs=(replace(pool.designs[0], own_curves=0.0),)),))
    told = forecast(h, before)
    assert np.isnan(told.own_exponent).all()
    row = population.to_json()
    del row["pools"][0]["designs"][0]["own_curves"]
    assert Population.from_json(row).main.designs[0].own_curves == 0.0


def test_one_bearing_alone_gets_what_it_gets_in_the_fleet(bent):
    h, population = bent
    together, alone = forecast(h, population), forecast(h.take([1]), population)
    assert alone.max_days[0] == pytest.approx(together.max_days[1], rel=1e-10)
    assert alone.own_exponent[0] == pytest.approx(together.own_exponent[1], rel=1e-10)


def test_forecast_and_decision_read_such_a_bearing_alike(bent):
    """The chance that a decision weighs is the forecast's, where the last reading surprises and where not."""
    h, population = bent
    days = np.full((N, 1), 2000.0)
    chance = standing(h, population, days, np.ones((N, 3)), h.limit_um, 5.0).chance[:, 0]
    dates = forecast(h, population).max_days
    assert np.all((chance[:N_BENT] > 0.1) == (dates[:N_BENT, 1] < 2000.0))


def test_weights_follow_the_evidence_and_the_share():
    """By Bayes's rule: 0.9 to 0.1 * 0.1875 at even evidence."""
    even = curve_weights(np.zeros((1, len(TIMES))), 0.1)[0]
    assert even[0] == pytest.approx(0.9) and even[1] == pytest.approx(0.01875)
    told = curve_weights(np.array([[0.0, 0.0, 0.0, 0.0, np.log(48.0)]]), 0.1)[0]
    assert told[4] / told[0] == pytest.approx(0.9 / 0.9)


def test_an_exponent_of_a_class_goes_with_the_bearing_s_own():
    bent_twice = bent_params(Params(exponent=1.1, class_exponent={"4": float(np.log(1.5))}), 2.0)
    assert bent_twice.curve.of(np.array([3, 4], dtype=np.int32)) == pytest.approx([2.2, 3.3])
