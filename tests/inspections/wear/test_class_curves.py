"""A fleet, or a class in it, that wears along another curve than its dates are told from
is never called ok.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.stats import norm

from inspections.wear.advice import OUTCOMES
from inspections.wear.ages import Curve
from inspections.wear.arrays import Histories, build
from inspections.wear.class_curves import curved_classes, speak_apart
from inspections.wear.event_effects import frame
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.objective import Objective
from inspections.wear.parameters import Params
from inspections.wear.population import Population
from inspections.wear.rate_effects import design, expected
from tests.bench import hard_fleets
from tests.bench.run_worlds import dates_kh
from tests.bench.score import shares

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


def objective_of(h: Histories) -> Objective:
    f = frame(h)
    aside = np.zeros(len(h.kind), dtype=bool)
    return Objective(f, design(h, np.ones(h.n_bearings, dtype=bool)), aside, False)


def test_a_class_along_another_curve_than_its_dates_is_not_called_ok():
    h = wears_as([2.0, 0.7])
    population = fit_fleet(h, carry=False)
    pool = population.main
    shared = replace(pool.designs[0], class_exponent={}, exponent=1.2)
    f = frame(h)
    curved = curved_classes(f, shared, np.zeros(len(h.kind), dtype=bool), np.ones(h.n_bearings))
    assert set(curved) >= {0, 1}
    as_if = replace(population, pools=(replace(pool, designs=(shared,), weights=(1.0,), curved=curved),))
    assert not np.any(forecast(h, as_if).outcome == OK)


def test_classes_with_enough_records_get_exponents_of_their_own_and_are_ok():
    h = wears_as([2.0, 0.7])
    population = fit_fleet(h, carry=False)
    first, second = (q for _, q in population.main.designs[0].curve.classes)
    assert 1.6 < first < 2.2 and 0.55 < second < 0.85
    assert population.main.curved == ()
    assert np.mean(forecast(h, population).outcome == OK) > 0.9


def test_a_class_that_speeds_up_among_steady_ones_and_they_too_get_true_dates():
    """The true dates are those of the power laws drawn, by their closed form."""
    fleet = hard_fleets.curved(hard_fleets.Curve(160, 2.0, 0.25, classes=4), 7)
    dates = dates_kh(forecast(fleet.histories, fit_fleet(fleet.histories, carry=False)))
    for mine in (fleet.affected, ~fleet.affected):
        ahead = mine & (fleet.true_kh > 0)
        before = shares(dates[ahead], fleet.true_kh[ahead])
        assert before[0] <= 17.5 and 22.5 <= before[2] <= 77.5 and before[4] >= 82.5


def test_only_classes_of_twenty_records_that_could_bend_speak_of_an_exponent():
    assert speak_apart(frame(wears_as([1.0, 1.0], n=20))) == (0, 1)
    assert speak_apart(frame(wears_as([1.0, 1.0], n=19))) == ()
    assert speak_apart(frame(wears_as([1.0], n=60))) == ()
    assert len(speak_apart(frame(wears_as([1.0] * 10, n=20)))) == 8


def test_each_class_follows_its_own_exponent_and_the_others_the_fleets():
    curve = Params(exponent=1.2, class_exponent={"7": float(np.log(1.5)), "2": 0.0}).curve
    assert np.asarray(curve.of(np.array([7, 2, 3, -1]))) == pytest.approx([1.8, 1.2, 1.2, 1.2])
    assert Curve(1.3).of(np.array([7, 2])) == 1.3


def test_a_population_keeps_the_exponents_of_classes_and_one_of_before_reads_without():
    population = fit_fleet(wears_as([2.0, 0.7], n=20), carry=False)
    told = population.to_json()
    assert Population.from_json(told) == population
    for one in told["pools"][0]["designs"]:
        del one["class_exponent"]  # as engine 7 and before stored it
    assert Population.from_json(told).main.designs[0].curve.classes == ()


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


def test_the_spread_of_classes_exponents_is_the_likeliest_of_a_normal_between_classes():
    """Against scipy's own search for the marginal mode, each class's records taken as a normal about their
    mean.
    """
    o = objective_of(wears_as([1.6, 1.0, 0.9], n=25))
    own = np.array([code is not None for code in o.own])
    theta, u = o.mean.copy(), np.zeros(o.d.n)
    theta[own], u[0] = [0.3, 0.0, -0.1], 0.0
    at, step = expected(o.d, u), 0.05
    looks = [o.of(o.params(np.where(own, theta + d, theta)))(at) for d in (-step, 0.0, step)]
    each = (2.0 * looks[1] - looks[0] - looks[2]).reshape(3, 25).sum(axis=1) / step**2
    before = o.sd[own][0]
    mean = theta[own] + theta[own] / (each * before**2)

    def less(log_s):
        sd = np.sqrt(np.exp(2.0 * log_s) + 1.0 / each)
        return -np.sum(norm.logpdf(mean, 0.0, sd)) - norm.logpdf(log_s, np.log(0.1), 0.7)

    want = np.exp(minimize_scalar(less, bounds=(-4.0, 0.0), method="bounded").x)
    assert o.respread(theta, u)
    assert o.sd[own] == pytest.approx(np.full(3, want), rel=0.03)
