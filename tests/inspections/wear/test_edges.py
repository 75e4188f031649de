"""A number at its edge is an answer; a failed fit is no property of a bearing; a cliff of log weights is no
peak.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspections.wear import grid
from inspections.wear.advice import OUTCOMES
from inspections.wear.event_effects import frame
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.objective import MOST_REMEMBERED, Objective
from inspections.wear.population import Population
from inspections.wear.rate_effects import design
from tests.bench.worlds import World, make

from .makers import steady_fleet


def parabola(middle: float, bend: float) -> np.ndarray:
    """(K,) log weights of a normal belief about the node, in steps of the grid."""
    return -0.5 * bend * (np.arange(97) - middle) ** 2


@pytest.mark.parametrize("middle", [40.0, 40.3, 40.5, 41.0])
@pytest.mark.parametrize("cliff", [-690.0, -1e20])
def test_beside_a_cliff_no_log_weight_inside_a_cell_stands_above_what_a_peak_may(middle, cliff):
    w = parabola(middle, 2.0)
    w[43:] = cliff
    _, total = grid.cell_mass(w)
    assert total <= np.log(np.sum(np.exp(np.maximum(w, -700.0)))) + 0.3


def test_log_weights_of_a_parabola_are_integrated_as_before():
    """A Gaussian of sd 1 / sqrt(bend) steps has the mass sqrt(2 pi / bend) in steps of the grid."""
    for bend in (0.7, 2.0, 9.0, 40.0):
        for middle in (40.0, 40.27, 40.5, 40.9):
            mass, total = grid.cell_mass(parabola(middle, bend))
            assert total == pytest.approx(0.5 * np.log(2 * np.pi / bend), abs=2e-3)
            assert mass @ np.arange(97) == pytest.approx(middle, abs=1e-3)


def test_a_memory_between_lives_never_gets_narrower_than_the_grid():
    fleet = make(World(n=20, visits=(5, 8)), 3).histories
    o = Objective(
        frame(fleet), design(fleet, np.ones(20, dtype=bool)), np.zeros(len(fleet.kind), dtype=bool), False
    )
    theta = o.mean.copy()
    theta[[s.name for s in o.slots].index("atanh_rho")] = 9.0
    assert o.params(theta).rho == MOST_REMEMBERED < 1.0


def test_a_fit_that_did_not_come_to_rest_is_not_told_as_a_property_of_a_bearing():
    fleet = steady_fleet(12)
    population = fit_fleet(fleet, carry=False)
    restless = Population(tuple(replace(p, converged=False, note="did not rest") for p in population.pools))
    rested, told = forecast(fleet, population), forecast(fleet, restless)
    assert "fleet_only" not in {OUTCOMES[code] for code in told.outcome}
    np.testing.assert_array_equal(rested.outcome, told.outcome)
    np.testing.assert_array_equal(rested.advice, told.advice)
    assert "did not rest" in restless.trouble and population.trouble == ""


def test_rates_kept_fully_over_shell_changes_are_an_answer_and_the_fit_rests():
    fleet = make(World(n=120, rho_a=1.0, visits=(8, 8)), 2).histories
    population = fit_fleet(fleet, carry=False)
    assert population.converged
    assert population.main.designs[0].rho > 0.95
    assert np.mean(forecast(fleet, population).outcome == OUTCOMES.index("ok")) > 0.9
