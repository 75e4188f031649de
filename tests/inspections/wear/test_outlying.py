"""One bearing much faster than its peers keeps its readings and its date; the others keep theirs."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from inspections.wear import grid
from inspections.wear.advice import ADVICE
from inspections.wear.arrays import Kind, Method, build
from inspections.wear.event_effects import frame
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.shape import OUTLYING_TIMES, bent
from inspections.wear.slips import likely_slips
from tests.bench.worlds import WORLDS, make, smaller

from .makers import event, reading


@pytest.mark.parametrize(("z", "x"), [(2.0, 2.1171), (3.0, 5.9788), (4.0, 11.8041), (6.0, 21.3167)])
def test_two_in_a_hundred_outlying_rates_reach_as_far_as_worked_out_by_hand(z, x):
    nodes = np.array([-z, 0.0, z])
    assert bent((), nodes, 0.02) == pytest.approx([-x, 0.0, x], abs=2e-3)


def test_the_bend_is_the_quantile_of_the_mixture():
    x = bent((), grid.NODES, 0.05)
    below = 0.95 * norm.cdf(x) + 0.05 * norm.cdf(x / OUTLYING_TIMES)
    assert below == pytest.approx(norm.cdf(grid.NODES), rel=1e-3)


def test_without_outlying_rates_the_nodes_stay_themselves():
    assert bent((), grid.NODES, 0.0) is grid.NODES


def one_fast_among(n: int, times: float, seed: int):
    """n bearings alike (spread 0.15) at 1 um/kh but the first, read every 8 kh, none at its limit yet; kh
    that the first has left.
    """
    rng = np.random.default_rng(seed)
    rows, true_kh = [], 0.0
    for i in range(n):
        rate = (times if i == 0 else 1.0) * np.exp(0.15 * rng.normal())
        new = 130 * (1 + 0.05 * rng.normal())
        visits = 2 if i == 0 else 6
        true_kh = (260 - new) / rate - 16.0 if i == 0 else true_kh
        events = [event(Kind.NEW_LIFE, 0.0), reading(0.0, new + 5 * rng.normal())]
        events += [reading(8.0 * k, new + 8.0 * k * rate + 5 * rng.normal()) for k in range(1, visits + 1)]
        rows.append(({"fitting_um": 130.0, "limit_um": 260.0, "class_": 0}, events))
    return build(rows, [Method("micrometer", 5.0)]), true_kh


def test_bearings_six_times_as_fast_as_their_peers_are_believed():
    """Of six fleets: no reading of the fast one is a slip, none is left alone, and its dates are not all too
    late.
    """
    late = []
    for seed in range(6):
        fleet, true_kh = one_fast_among(80, 6.0, seed)
        population = fit_fleet(fleet, carry=False)
        aside = likely_slips(frame(fleet), population.main.designs[0], last_too=True)
        result = forecast(fleet, population)
        assert not aside[: fleet.start[1]].any()
        assert ADVICE[result.advice[0]] != "leave"
        late.append(result.max_days[0, 1] * 0.024 > true_kh)
    assert sum(late) <= 3


def test_the_peers_of_an_outlier_keep_their_spread():
    params = fit_fleet(one_fast_among(80, 6.0, 4)[0], carry=False).main.designs[0]
    assert params.tau == pytest.approx(0.15, abs=0.08)
    assert 0.0 < params.outlying < 0.15


def test_two_kinds_of_bearings_are_not_fitted_as_one_wide_kind():
    """Five in six wear alike (spread 0.25), the sixth four times as fast in every life: a place keeps its
    kind, and its lives have half of the rest in common.
    """
    fleet = make(smaller(WORLDS["two kinds"], 60), 2).histories
    params = fit_fleet(fleet, carry=False).main.designs[0]
    assert params.tau == pytest.approx(0.25, abs=0.08)
    assert params.outlying > 0.1
    assert params.rho == pytest.approx(0.5, abs=0.25)
