"""What the fleet teaches: parameters, drivers, methods, and the falling back where it cannot."""

from __future__ import annotations

import json
from dataclasses import replace

import numpy as np
import pytest

from inspections.wear.arrays import Kind, Method, build
from inspections.wear.factors_against_fleet import drivers
from inspections.wear.fit import fit_fleet
from inspections.wear.population import Population
from tests.bench.worlds import WORLDS, make, smaller

from .makers import LEAD, event, reading


def test_the_parameters_of_a_known_world_are_found():
    """300 bearings of the plain world: each parameter within four of its own standard errors."""
    fleet = make(smaller(WORLDS["plain"], 300), 5)
    params = fit_fleet(fleet.histories, carry=False).main.designs[0]
    assert params.effect_mean[0] == pytest.approx(np.log(2.2), abs=0.15)
    assert params.tau == pytest.approx(0.6, abs=0.11)
    assert params.method_sd["lead wire"] == pytest.approx(10.0, abs=0.8)
    assert params.step_mean == pytest.approx(12.0, abs=2.5)
    assert params.new_spread == pytest.approx(0.1, abs=0.03)
    assert params.rho == pytest.approx(0.49, abs=0.25)


def grouped(factor: str, ratio: float, other: str | None = None):
    rng = np.random.default_rng(8)
    rows = []
    for i in range(80):
        code = i % 4
        rate = 2.0 * np.exp(0.3 * rng.normal()) * (ratio if code == 0 else 1.0)
        events = [event(Kind.NEW_LIFE, 0.0)]
        events += [reading(11.0 * k, 130 + 11.0 * k * rate + 5 * rng.normal()) for k in range(1, 5)]
        facts = {"fitting_um": 130.0, "limit_um": 400.0, factor: code}
        rows.append((facts | ({other: code + 10} if other else {}), events))
    return build(rows, [Method("micrometer", 5.0)])


@pytest.mark.parametrize("factor", ["class_", "site", "service", "position"])
def test_the_group_that_wears_three_times_as_fast_is_named(factor):
    rows = drivers(fit_fleet(grouped(factor, 3.0)).main)
    assert {row.levels[0][0] for row in rows} == {factor} and {row.n for row in rows} == {20}
    ratio = {row.levels[0][1]: row.ratio for row in rows}
    low = {row.levels[0][1]: row.low for row in rows}
    assert [row.levels[0][1] for row in rows if row.stands_out and row.low > 1] == [0]
    assert ratio[0] / np.mean([ratio[1], ratio[2], ratio[3]]) == pytest.approx(3.0, rel=0.25)
    assert low[0] > 1.2


def test_effects_the_record_cannot_part_are_one():
    pool = fit_fleet(grouped("class_", 2.0, other="service")).main
    assert pool.aliased == (("class_", "service"),)
    assert {factor for factor, _ in pool.designs[0].effect_levels[1:]} == {"class_"}
    assert [row.levels for row in drivers(pool)] == [(("class_", k), ("service", k + 10)) for k in range(4)]


def test_levels_that_nearly_the_same_bearings_have_are_shown_as_one_and_surely_together():
    """One bearing in twenty apart: either effect alone is unsure, their sum is not."""
    h = grouped("class_", 3.0, other="service")
    service = h.service.copy()
    service[0] = 11
    pool = fit_fleet(replace(h, service=service)).main
    first = next(row for row in drivers(pool) if ("class_", 0) in row.levels)
    assert first.levels == (("class_", 0), ("service", 10)) and first.stands_out
    apart = drivers(replace(pool, same=()))
    alone = {row.levels[0]: row.distance for row in apart}
    assert max(alone["class_", 0], alone["service", 10]) < first.distance


def test_a_population_brings_its_groups_back_from_json():
    population = fit_fleet(grouped("class_", 2.0, other="service"))
    again = Population.from_json(json.loads(json.dumps(population.to_json())))
    assert again == population and drivers(again.main) == drivers(population.main)


def test_a_method_that_reads_high_is_found_against_the_reference():
    rng = np.random.default_rng(4)
    rows = []
    for _ in range(40):
        events = [event(Kind.NEW_LIFE, 0.0)]
        for k in range(1, 5):
            level = 130 + 20.0 * k
            events.append(reading(10.0 * k, level + 4 * rng.normal(), method="micrometer"))
            events.append(reading(10.0 * k, level + 12.0 + 8 * rng.normal(), method="feeler"))
        rows.append(({"fitting_um": 130.0, "limit_um": 300.0}, events))
    h = build(rows, [Method("micrometer", 4.0), Method("feeler", 8.0, 10.0)])
    params = fit_fleet(h).main.designs[0]
    assert params.method_bias["feeler"] == pytest.approx(12.0, abs=2.5)
    assert params.method_bias_sd["feeler"] < 2.0
    assert "micrometer" not in params.method_bias


def test_an_offset_nobody_compared_stays_as_unsure_as_stated():
    events = [event(Kind.NEW_LIFE, 0.0, level_sd_um=100.0)] + [
        reading(10.0 * k, 130 + 20.0 * k) for k in range(1, 5)
    ]
    h = build([({"fitting_um": 130.0, "limit_um": 300.0}, events)] * 6, [Method("feeler", 8.0, 10.0)])
    assert fit_fleet(h).main.designs[0].method_bias_sd["feeler"] > 7.0


def test_clocks_are_pooled_only_with_their_like():
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(10.0 * k, 130 + 20.0 * k) for k in range(1, 4)]
    slow = [event(Kind.NEW_LIFE, 0.0)] + [reading(10.0 * k, 130 + 5.0 * k) for k in range(1, 4)]
    facts = {"fitting_um": 130.0, "limit_um": 300.0}
    h = build([(facts, rows)] * 5 + [({**facts, "clock": 2}, slow)] * 5, [LEAD])
    population = fit_fleet(h)
    assert [pool.clock for pool in population.pools] == [0, 2]
    medians = [np.exp(pool.designs[0].effect_mean[0]) for pool in population.pools]
    assert medians[0] > 2.5 * medians[1]
    stated, metered = population.pool(1).designs[0], population.pool(0).designs[0]
    assert stated.effect_mean[0] == metered.effect_mean[0] and stated.tau > metered.tau


def test_a_fleet_without_readings_is_young_and_keeps_the_priors():
    population = fit_fleet(build([({}, [])] * 3, [LEAD]))
    assert population.young
    assert population.converged
    assert population.median_rate_um_per_kh == pytest.approx(2.0)
    assert fit_fleet(build([], [LEAD])) == Population(())
