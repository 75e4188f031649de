"""The programme over pumps: against every plan tried, and what must hold of it."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dashboards.outage_plan.pump_openings.instance import Scope, overlapping, settled
from dashboards.outage_plan.pump_openings.programme import loads, priced, solve
from tests.bench.greedy_plan import in_order
from tests.dashboards.outage_plan.pump_openings.instances import cheapest, instance, shells


@st.composite
def small(draw):
    """Up to four pumps, three outages; crew, twins, re-openings and shells as it comes."""
    rng = np.random.default_rng(draw(st.integers(0, 10_000)))
    p, t = draw(st.integers(2, 4)), draw(st.integers(1, 3))
    base = rng.uniform(200, 800, (p, 1))
    changes = {"capacity": rng.choice([12.0, 25.0, np.inf], t), "again_h": rng.uniform(5, 15, p)}
    changes["hours"] = rng.uniform(5, 12, (p, t))
    changes["reopening"] = np.triu(rng.uniform(0, 0.6, (p, t, t)), 1)
    if draw(st.booleans()):
        changes["twins"] = ((0, 1),)
    if draw(st.booleans()):
        need = rng.uniform(0.2, 1.0, (1, p, t))
        changes["shells"] = shells(
            p,
            t,
            new=need,
            again=rng.uniform(0, 0.5, (1, p)),
            on_hand=np.array([1.0]),
            due=np.cumsum(rng.integers(0, 2, (1, t)), axis=1).astype(float),
            buyable=np.arange(t)[None, :] >= draw(st.integers(0, 2)),
        )
    return instance(base + rng.uniform(0, 60, (p, t + 1)), **changes)


@settings(max_examples=60, deadline=None)
@given(small())
def test_no_plan_is_cheaper_when_every_one_is_tried(given_):
    plan = solve(given_, gap=1e-9)
    assert plan.cost == pytest.approx(cheapest(given_), abs=1e-4)
    assert plan.bound <= plan.cost + 1e-6 and plan.stopped_by == "gap"


@settings(max_examples=40, deadline=None)
@given(small())
def test_the_plan_is_within_the_gap_and_the_same_every_time(given_):
    plan = solve(given_)
    assert plan.cost <= cheapest(given_) + plan.gap_h + 1e-4
    assert np.array_equal(solve(given_).column, plan.column)


@settings(max_examples=40, deadline=None)
@given(small())
def test_a_plan_kept_to_does_not_move_while_nothing_is_new(given_):
    plan = solve(given_)
    again = solve(given_, previous=plan.column)
    assert np.array_equal(again.column, plan.column)
    assert again.cost == pytest.approx(plan.cost, abs=1e-6)


@settings(max_examples=30, deadline=None)
@given(small())
def test_a_plan_costs_the_same_when_it_is_only_priced(given_):
    plan = solve(given_)
    again = priced(given_, plan.column)
    assert again.cost == pytest.approx(plan.cost, abs=1e-4)
    assert again.moved == plan.moved and again.sentences == plan.sentences


def test_an_earlier_plan_that_puts_twins_together_is_not_kept():
    cost = [[5.0, 5.1, 9.0], [5.0, 5.1, 9.0]]
    plan = solve(instance(cost, twins=((0, 1),)), previous=np.array([0, 0]))
    assert sorted(plan.column.tolist()) == [0, 1]
    assert priced(instance(cost, twins=((0, 1),)), np.array([0, 0])).together == ((0, 1),)


def test_an_earlier_plan_that_has_become_dear_is_not_kept():
    cost = [[5.0, 50.0, 90.0], [5.0, 50.0, 90.0]]
    assert solve(instance(cost), previous=np.array([1, 0])).column.tolist() == [0, 0]


def test_an_earlier_plan_that_no_longer_fits_is_not_kept():
    allowed = np.array([[False, True, True], [True, True, True]])
    plan = solve(instance([[5.0, 5.1, 9.0], [5.0, 5.1, 9.0]], allowed=allowed), previous=np.array([0, 0]))
    assert plan.column.tolist() == [1, 0]


def test_a_nearly_equal_plan_does_not_oust_the_one_in_hand():
    cost = [[500.0, 500.1, 590.0], [500.0, 500.1, 590.0]]
    plan = solve(instance(cost), previous=np.array([1, 0]))
    assert plan.column.tolist() == [1, 0] and plan.cost == pytest.approx(1000.1)


def test_twins_are_never_opened_together_and_the_dearer_to_wait_goes_first():
    cost = [[10.0, 12.0, 60.0], [10.0, 30.0, 60.0]]
    plan = solve(instance(cost, twins=((0, 1),)))
    assert plan.column.tolist() == [1, 0]
    assert [(m.pump, m.wanted, m.placed, m.waiting_h) for m in plan.moved] == [(0, 0, 1, 2.0)]


def test_twins_are_kept_apart_in_outages_that_overlap():
    start, end = np.array([0.0, 10.0, 100.0]), np.array([12.0, 20.0, 110.0])
    cost = [[10.0, 12.0, 20.0, 60.0], [10.0, 11.0, 30.0, 60.0]]
    plan = solve(instance(cost, twins=((0, 1),), overlaps=overlapping(start, end)))
    assert plan.column.tolist() == [2, 0]


def test_twins_that_are_both_fixed_to_one_outage_are_named():
    allowed, _ = settled(np.full((2, 3), 10.0), Scope(pins={0: 0, 1: 0}))
    plan = solve(instance(np.full((2, 3), 10.0), twins=((0, 1),), allowed=allowed))
    assert plan.column.tolist() == [0, 0]
    assert plan.sentences == ("P0 and its twin P1 are both fixed to outages that overlap.",)


def test_crew_hours_keep_a_reserve_for_what_is_found():
    cost = [[10.0, 15.0, 90.0]] * 4
    sure = solve(instance(cost, capacity=np.array([40.0, 99.0])))
    unsure = solve(instance(cost, capacity=np.array([40.0, 99.0]), variance=np.full((4, 2), 36.0)))
    assert (sure.column == 0).sum() == 4
    assert (unsure.column == 0).sum() < 4
    assert unsure.reserve[0] == pytest.approx(1.2815516 * np.sqrt(4 * 36.0))
    assert unsure.load[0] + unsure.reserve[0] <= 40.0 + 1e-9
    assert unsure.sentences == ()


def test_what_is_pinned_and_does_not_fit_is_said_with_its_hours():
    cost = np.full((3, 3), 10.0)
    allowed, _ = settled(cost, Scope(pins={0: 0, 1: 0, 2: 0}))
    plan = solve(instance(cost, allowed=allowed, capacity=np.array([18.0, 99.0])))
    assert plan.short.tolist() == pytest.approx([12.0, 0.0])
    assert "outage 0: 12 h short" in plan.sentences[0] and "takes 30 of 18" in plan.sentences[0]


def test_only_fixed_work_is_ever_short_of_hours():
    rng = np.random.default_rng(1)
    cost = np.sort(rng.uniform(400, 900, (20, 5)), axis=1)
    plan = solve(instance(cost, capacity=np.full(4, 25.0)))
    assert plan.short.max() == pytest.approx(0.0, abs=1e-6)
    assert (plan.column == 4).sum() >= 20 - 2 * 4


def test_expected_reopenings_are_load_not_jobs_and_are_said_where_they_are_over():
    reopening = np.zeros((2, 2, 2))
    reopening[:, 0, 1] = 0.9
    cost = [[10.0, 400.0, 900.0]] * 2
    plan = solve(
        instance(cost, reopening=reopening, again_h=np.full(2, 20.0), capacity=np.array([30.0, 20.0]))
    )
    assert plan.column.tolist() == [0, 0]
    assert plan.again.tolist() == pytest.approx([0.0, 36.0])
    assert plan.over.tolist() == pytest.approx([0.0, 16.0])
    assert plan.sentences == ("outage 1: about 16 h short if things go as expected.",)
    assert [a.tolist() for a in loads(instance(cost), plan.column)] == [[20.0, 0.0], [0.0, 0.0]]


def test_shells_hold_openings_back_until_they_are_there():
    cost = [[10.0, 20.0, 90.0], [10.0, 40.0, 90.0]]
    due = np.array([[1.0, 2.0]])
    plan = solve(instance(cost, shells=shells(2, 2, due=due)))
    assert plan.column.tolist() == [1, 0]
    bought = solve(instance(cost, shells=shells(2, 2, due=due, buyable=np.ones((1, 2), dtype=bool))))
    assert bought.column.tolist() == [0, 0]
    assert bought.bought.sum() == pytest.approx(1.0)
    assert bought.cost == pytest.approx(20.0 + 0.02 * 40.0)


def test_shells_bought_come_only_after_their_lead_time():
    cost = [[10.0, 20.0, 90.0]]
    late = np.array([[False, True]])
    plan = solve(instance(cost, shells=shells(1, 2, buyable=late)))
    assert plan.column.tolist() == [1]


def test_a_pinned_opening_without_a_shell_is_said():
    allowed, _ = settled(np.array([[10.0, 20.0, 90.0]]), Scope(pins={0: 0}))
    plan = solve(instance([[10.0, 20.0, 90.0]], allowed=allowed, shells=shells(1, 2)))
    assert plan.sentences == ("SL-1: 1.0 shells short by outage 0.",)


def test_dear_shortages_do_not_loosen_the_gap():
    rng = np.random.default_rng(3)
    cost = np.sort(rng.uniform(400, 900, (12, 4)), axis=1)
    allowed, _ = settled(cost, Scope(pins=dict.fromkeys(range(6), 0)))
    plan = solve(instance(cost, allowed=allowed, capacity=np.full(3, 30.0)), gap=1e-3)
    assert plan.short[0] == pytest.approx(30.0)
    assert plan.cost - plan.bound <= plan.gap_h + 1e-6


def test_a_frozen_outage_keeps_its_accepted_pumps_and_lists_who_wants_in():
    cost = np.array([[5.0, 6.0, 9.0], [5.0, 9.0, 9.0], [8.0, 5.0, 9.0]])
    left, waiting = settled(cost, Scope(frozen=np.array([True, False]), accepted=np.array([0, -1, -1])))
    plan = solve(instance(cost, allowed=left))
    assert plan.column.tolist() == [0, 1, 1]
    assert [(w.pump, w.outage, w.waiting_h) for w in waiting] == [(1, 0, 4.0)]


def test_a_pin_goes_before_a_freeze_and_a_refusal_takes_its_column():
    cost = np.array([[5.0, 6.0, 9.0], [5.0, 6.0, 9.0]])
    removed = np.array([[False, False], [True, False]])
    left, waiting = settled(cost, Scope(pins={0: 0}, removed=removed, frozen=np.array([True, False])))
    assert left.tolist() == [[True, False, False], [False, True, True]]
    assert waiting == ()


def test_an_instance_that_cannot_be_is_refused_with_a_sentence():
    with pytest.raises(ValueError, match=r"hours \(1, 1\), \(1, 2\)"):
        instance([[1.0, 2.0, 3.0]], hours=np.ones((1, 1)))
    with pytest.raises(ValueError, match="P0: its cost at column 1 is nan"):
        instance([[1.0, np.nan, 3.0]])
    with pytest.raises(ValueError, match="P0: every column is taken away"):
        instance([[1.0, 2.0, 3.0]], allowed=np.zeros((1, 3), dtype=bool))


@settings(max_examples=60, deadline=None)
@given(small())
def test_the_order_without_a_solver_keeps_hours_twins_and_shells(given_):
    column = in_order(given_)
    load, _ = loads(given_, column)
    assert np.all(load <= given_.capacity + 1e-6)
    for p, q in given_.twins:
        assert column[p] != column[q] or column[p] == len(given_.outages)
    assert priced(given_, column).lack.max(initial=0.0) < 1e-6


def test_the_order_without_a_solver_takes_the_dearest_to_wait_for_each_hour():
    cost = [[10.0, 30.0, 90.0], [10.0, 25.0, 90.0], [10.0, 11.0, 90.0]]
    hours = np.array([[20.0, 20.0], [10.0, 10.0], [10.0, 10.0]])
    assert in_order(instance(cost, hours=hours, capacity=np.array([30.0, 99.0]))).tolist() == [0, 0, 1]
