"""From beliefs to a plan: where nothing is short every pump is opened where the rule wants it."""

from dataclasses import replace

import numpy as np
import pytest

from dashboards.outage_plan.pump_openings.instance import BY_RULE_H, costs
from dashboards.outage_plan.pump_openings.programme import priced, solve
from inspections.wear.decision import pump_openings, tables
from tests.bench.programme_instances import coefficients, fleet, instance


@pytest.fixture(scope="module")
def plant():
    """80 bearings on 40 pumps, six outages: terms, openings of bearings and pumps."""
    t, p = fleet(80, 5)
    return t, *coefficients(t, p, 6)


def test_with_nothing_short_the_plan_is_the_rules_own(plant):
    _, o, q = plant
    free = replace(instance(o, q, 1.0, 5), capacity=np.full(6, np.inf), twins=(), shells=None)
    plan = solve(free, gap=1e-6)
    assert np.array_equal(plan.column, q.first)
    assert len(np.unique(plan.column)) > 2
    assert plan.moved == () and plan.sentences == ()


@pytest.mark.parametrize("capacity", [0.9, 0.5])
def test_short_hours_move_pumps_and_every_move_costs_something(plant, capacity):
    _, o, q = plant
    given = instance(o, q, capacity, 5)
    plan = solve(given)
    assert np.all(plan.load + plan.reserve <= given.capacity + plan.short + 1e-6)
    assert plan.moved and all(m.waiting_h > 0 for m in plan.moved)
    for a, b in given.twins:
        assert plan.column[a] != plan.column[b] or plan.column[a] == 6
    assert plan.cost - plan.bound <= plan.gap_h + 1e-6


def test_a_change_to_a_plan_is_priced_at_what_it_adds(plant):
    _, o, q = plant
    given = replace(instance(o, q, 1.0, 5), capacity=np.full(6, np.inf), twins=(), shells=None)
    plan = solve(given, gap=1e-6)
    moved = plan.column.copy()
    i = int(np.flatnonzero(moved < 5)[0])
    moved[i] += 1
    extra = priced(given, moved).cost - plan.cost
    assert extra == pytest.approx(given.cost[i, moved[i]] - given.cost[i, plan.column[i]])
    assert extra == pytest.approx(q.waiting_h[i, plan.column[i]])


def test_a_pump_by_rule_goes_first_even_where_hours_are_short(plant):
    t, o, _ = plant
    n = len(t)
    fits = np.ones(n, dtype=bool)
    fits[:4] = False
    at = np.tile(np.arange(7) + 0.5, (n // 2, 1))
    by_rule = pump_openings(o, t, tables(t), np.arange(n) // 2, t.open_h[::2], at, fits=fits)
    assert by_rule.by_rule.tolist() == [True, True] + [False] * (n // 2 - 2)
    assert costs(by_rule)[0].tolist() == (BY_RULE_H * np.arange(7)).tolist()
    given = replace(instance(o, by_rule, 0.6, 5), twins=(), shells=None)
    assert solve(given).column[:2].tolist() == [0, 0]
