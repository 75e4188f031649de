"""The rule against check values computed independently, and what must always hold of it."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.wear.decision import (
    Outages,
    Predictive,
    Word,
    accepted_risks,
    at_pump,
    bisected,
    decide,
    first_openings,
    look,
    looking_by_cost,
    outages,
    pump_openings,
    ruling,
    tables,
    triggers,
    undecided,
)
from inspections.wear.pump_opening import earliest
from inspections.wear.trigger import BY_GUARD, BY_PLANT, BY_RULE, scores
from tests.inspections.wear.decision_makers import D, belief, standard

AHEAD = D * np.array([[0.5, 1.5, 2.5]])
STEP = np.full((1, 3), D)
COLUMNS = np.array([[0.5, 1.5, 2.5]])


@pytest.fixture(scope="module")
def case():
    """Level 195 +- 8 um, rate about 2.4 um/kh: terms, belief, its tables and openings on 201 readings."""
    t = standard()
    v = tables(t, exact=True)
    p = belief(195.0, 8.0, 2.4, 0.35)
    return t, v, p, first_openings(p, t, v, AHEAD, STEP, count=201)


def test_with_everything_known_the_trigger_is_the_maximum_less_the_wear_to_come():
    t = standard(scrape_sd_um=0.0, unevenness_um=0.0, reading_sd_um=1e-4)
    p = belief(225.0, 20.0, 2.2, 0.0, unevenness=0.0, nodes=1)
    trigger, scrape_from = triggers(p, t, np.zeros(1), np.full(1, D), 100_001)
    assert trigger[0] == pytest.approx(231.07, abs=0.05)
    assert scrape_from[0] == pytest.approx(219.07, abs=0.05)


@pytest.mark.parametrize("risk", [0.02, 0.3])
def test_with_everything_known_the_accepted_risk_does_not_matter(risk):
    t = standard(scrape_sd_um=0.0, unevenness_um=0.0, reading_sd_um=1e-4, accepted_risk=risk)
    p = belief(225.0, 20.0, 2.2, 0.0, unevenness=0.0, nodes=1)
    assert triggers(p, t, np.zeros(1), np.full(1, D), 100_001)[0][0] == pytest.approx(231.07, abs=0.05)


@pytest.mark.parametrize(("unevenness", "wanted"), [(0.0, (218.25, None)), (2.0, (214.97, 201.23))])
def test_with_a_level_known_by_the_reading_alone_the_trigger_is_that_worked_out_by_hand(unevenness, wanted):
    t = standard(unevenness_um=unevenness)
    p = belief(215.0, 3000.0, 2.2, 0.0, unevenness=unevenness, nodes=1)
    y = np.linspace(180.0, 240.0, 6001)[None, :]
    found = look(p, np.zeros(1), t.reading_sd_um, reading=y)
    closed, scraped = scores(found, t, np.full(1, D))
    assert y[0, (closed[0] > 0).argmax()] == pytest.approx(wanted[0], abs=0.05)
    if wanted[1] is not None:
        assert y[0, (scraped[0] > 0).argmax()] == pytest.approx(wanted[1], abs=0.05)


def test_first_openings_are_those_computed_independently(case):
    # F by the exact integral over the time past the maximum; the trapezoid is in the test below.
    _, _, _, o = case
    assert o.past[0] == pytest.approx([0.000, 0.225, 0.687], abs=0.001)
    assert o.new[0] == pytest.approx([0.685, 0.946, 0.991], abs=0.001)
    assert o.trigger_um[0] == pytest.approx([205.2, 211.2, 215.0], abs=0.06)
    assert o.scrape_from_um[0] == pytest.approx([189.2, 195.9, 199.0], abs=0.06)
    assert o.cost[0, 0] == pytest.approx(734.5, abs=0.1)
    assert o.cost[0, 1] - o.cost[0, 0] == pytest.approx(6.3, abs=0.05)


def test_costs_by_the_trapezoid_are_those_computed_independently(case):
    t, _, p, o = case
    run = p.run_past(t.limit_um, AHEAD, COLUMNS)
    chance = np.concatenate([o.past_now[:, None], o.past], axis=1)
    span = np.diff(np.concatenate([[[0.0]], COLUMNS], axis=1), axis=1)
    trapezoid = np.cumsum(0.5 * (chance[:, 1:] + chance[:, :-1]) * span, axis=1)
    cost = o.cost + t.price_h * (trapezoid - run)
    assert cost[0] == pytest.approx([734.5, 744.9, 805.3], abs=0.1)


def test_time_past_the_maximum_is_that_of_a_fine_sum(case):
    t, _, p, _ = case
    fine = np.linspace(0.0, 2.5, 20001)
    chance = p.past(t.limit_um, D * fine[None, :])[0]
    summed = np.concatenate([[0.0], np.cumsum(0.5 * (chance[1:] + chance[:-1]) * np.diff(fine))])
    wanted = np.interp(COLUMNS[0], fine, summed)
    assert p.run_past(t.limit_um, AHEAD, COLUMNS)[0] == pytest.approx(wanted, abs=1e-5)
    far = p.run_past(t.limit_um, AHEAD[:, 2:], COLUMNS[:, 2:])[0]
    assert far == pytest.approx(wanted[2:], abs=1e-5)


def test_twenty_five_readings_are_as_good_as_two_hundred(case):
    t, v, p, fine = case
    o = first_openings(p, t, v, AHEAD, STEP)
    assert np.abs(o.cost - fine.cost).max() < 0.2
    assert np.abs(o.trigger_um - fine.trigger_um).max() < 0.9
    assert np.abs(o.scrape_from_um - fine.scrape_from_um).max() < 0.9


@pytest.mark.parametrize(("level", "by_trapezoid", "exact"), [(240.0, 44.1, 41.4), (275.0, 34.9, 35.3)])
def test_what_stopping_before_the_outage_is_worth(level, by_trapezoid, exact):
    t = standard()
    v = tables(t, exact=True)
    p = belief(level, 8.0, 3.0, 0.3)
    half = np.full((1, 1), 0.5 * D)
    now = first_openings(p, t, v, 0.0 * half, half, count=201)
    due = first_openings(p, t, v, half, 2 * half, count=201)
    worth = float((due.cost - now.cost)[0, 0])
    assert worth == pytest.approx(exact, abs=0.1)
    run = float(p.run_past(t.limit_um, half, half / D)[0, 0])
    trapezoid = 0.25 * float(due.past[0, 0] + due.past_now[0])
    assert worth + t.price_h[0] * (trapezoid - run) == pytest.approx(by_trapezoid, abs=0.1)
    if level == 240.0:
        assert now.cost[0, 0] == pytest.approx(764.4, abs=0.1)


beliefs = st.builds(
    belief,
    st.floats(130, 255),
    st.floats(2, 30),
    st.floats(0.5, 8),
    st.floats(0.05, 0.9),
    unevenness=st.sampled_from([0.0, 2.0, 5.0]),
)
gauges = st.sampled_from([3.0, 6.0, 12.5])
risks = st.floats(0.01, 0.25)
SOME = settings(max_examples=60, deadline=None)


@SOME
@given(beliefs, gauges, st.floats(0.1, 3.0))
def test_looking_decided_by_cost_is_never_worth_less_than_nothing(p, gauge, x):
    t = standard(reading_sd_um=gauge)
    assert looking_by_cost(p, t, tables(t), np.full(1, x * D))[0] > -1e-9


@SOME
@given(beliefs, gauges, risks)
def test_the_chance_does_not_fall_as_a_likely_reading_rises(p, gauge, risk):
    t = standard(reading_sd_um=gauge, accepted_risk=risk)
    found = look(p, np.full(1, 0.5 * D), t.reading_sd_um, 81)
    likely = np.abs(np.cumsum(found.chance[0]) - 0.5) < 0.4985
    assert np.diff(scores(found, t, np.full(1, D))[0][0, likely]).min(initial=0.0) > -0.005


@SOME
@given(beliefs, gauges, risks, st.floats(1.05, 3.0))
def test_accepting_more_raises_both_readings_and_a_scrape_never_gets_the_higher(p, gauge, risk, more):
    x, step = np.full(1, 0.5 * D), np.full(1, D)
    low = triggers(p, standard(reading_sd_um=gauge, accepted_risk=risk), x, step)
    high = triggers(p, standard(reading_sd_um=gauge, accepted_risk=risk * more), x, step)
    assert high[0][0] >= low[0][0] and high[1][0] >= low[1][0]
    assert low[1][0] <= low[0][0] and high[1][0] <= high[0][0]


@settings(max_examples=15, deadline=None)
@given(beliefs, gauges)
def test_a_lower_maximum_never_costs_less(p, gauge):
    costs = []
    for limit in (270.0, 250.0):
        t = standard(reading_sd_um=gauge, limit_um=limit)
        costs.append(first_openings(p, t, tables(t, exact=True), AHEAD, STEP).cost)
    assert np.all(costs[1] > costs[0] - 1e-6)


@settings(max_examples=30, deadline=None)
@given(beliefs, gauges, st.floats(0.1, 10), st.floats(0.1, 10), st.floats(0.1, 10))
def test_other_units_decide_the_same(p, gauge, um, kh, money):
    names = ("limit_um", "new_um", "new_sd_um", "reading_sd_um", "unevenness_um", "scrape_um", "scrape_sd_um")
    hours = ("open_h", "measure_h", "scrape_h", "replace_h", "shell_h")
    t = standard(reading_sd_um=gauge)
    other = replace(
        t,
        **{k: um * getattr(t, k) for k in names},
        **{k: money * getattr(t, k) for k in hours},
        interval_kh=kh * t.interval_kh,
        log_rate=t.log_rate + np.log(um / kh),
    )
    q = Predictive(
        p.weight, p.log_rate + np.log(um / kh), um * p.level, um**2 * p.variance, um * p.unevenness_um
    )
    a = first_openings(p, t, tables(t), AHEAD, STEP)
    b = first_openings(q, other, tables(other), kh * AHEAD, kh * STEP)
    assert money * a.cost == pytest.approx(b.cost, rel=1e-6)
    assert um * a.trigger_um == pytest.approx(b.trigger_um, rel=1e-6)
    assert a.new == pytest.approx(b.new, abs=1e-6)


def test_deciding_by_chance_gives_little_away_against_deciding_by_cost():
    rng = np.random.default_rng(5)
    n = 400
    p = belief(
        rng.uniform(140, 250, n),
        rng.uniform(4, 20, n),
        2.2 * np.exp(0.5 * rng.normal(size=n)),
        rng.uniform(0.1, 0.5, n),
    )
    t = standard(n)
    o = first_openings(p, t, tables(t), np.full((n, 1), 0.5 * D), np.full((n, 1), D))
    assert o.looking_h.min() > -4.5
    assert np.median(o.looking_h) >= 0.0
    by_cost = looking_by_cost(p, t, tables(t), np.full(n, 0.5 * D))
    assert np.all(by_cost >= o.looking_h[:, 0] - 1e-6)


def simulated_closings(t, p, y, above, scraped):
    """Truths drawn from a belief on the outage's day, those whose reading lies round y, and whether each
    passes.
    """
    rng = np.random.default_rng(8)
    n = 1_500_000
    node = rng.choice(p.weight.shape[1], n, p=p.weight[0])
    level = p.level[0, node] + np.sqrt(p.variance[0, node]) * rng.normal(size=n)
    reading = level + t.reading_sd_um[0] * rng.normal(size=n)
    near = np.abs(reading - y) < above
    level, rate = level[near], p.rate[0, node[near]]
    if scraped:
        level = level + t.scrape_um[0] + t.scrape_sd_um[0] * rng.normal(size=len(level))
    # Uneven wear as it is taken to be: a gamma process of mean r x and variance beta r x.
    beta = p.unevenness_um[0]
    return level + rng.gamma(rate * D / beta, beta) >= t.limit_um[0]


@pytest.mark.parametrize("scraped", [False, True])
def test_of_bearings_closed_up_round_the_trigger_the_accepted_share_passes(scraped):
    t = standard()
    p = belief(200.0, 12.0, 2.2, 0.35)
    readings = triggers(p, t, np.zeros(1), np.full(1, D), 801)
    passed = simulated_closings(t, p, readings[int(scraped)][0], 1.0, scraped)
    assert len(passed) > 5000
    assert passed.mean() == pytest.approx(0.10, abs=0.02)


def test_the_printed_trigger_and_the_pump_agree_at_every_reading():
    rng = np.random.default_rng(11)
    n = 200
    t = standard(n, reading_sd_um=rng.choice([6.0, 12.5], n))
    p = belief(
        rng.uniform(150, 245, n),
        rng.uniform(4, 20, n),
        2.2 * np.exp(0.4 * rng.normal(size=n)),
        0.4,
        nodes=97,
        reach=5.0,
    )
    step = np.full(n, D)

    def chance(y):
        return at_pump(p, t, y, t.reading_sd_um, step).closed

    printed = bisected(chance, t.accepted, np.zeros(n), np.full(n, 600.0), np.full(n, 1.0))
    assert np.isfinite(printed).sum() > 190
    for _ in range(20):
        y = np.maximum(np.where(np.isfinite(printed), printed, 500.0) + rng.integers(-30, 31, n), 0.0)
        assert np.array_equal(at_pump(p, t, y, t.reading_sd_um, step).renew, y >= printed)
    about = triggers(p, t, np.zeros(n), step)[0]
    both = np.isfinite(about) & np.isfinite(printed)
    off = np.abs(about[both] - (printed[both] - 0.5))
    assert len(off) > 100 and np.median(off) < 0.7


def pump_case(levels, medians=2.2, **changes):
    n = len(levels)
    t = standard(n, **changes)
    p = belief(np.array(levels), 8.0, medians, 0.3)
    when = outages(np.tile(D * np.array([0.5, 1.5, 2.5, 3.5, 4.5]), (n, 1)), t)
    return p, t, when


def test_a_fleet_gets_one_word_each_and_the_worn_pump_opens_first():
    p, t, when = pump_case([150.0, 140.0, 215.0, 150.0, 275.0, 200.0])
    d = decide(p, t, when, np.array([0, 0, 1, 1, 2, 2]), np.full(3, 8.0))
    assert [Word(w) for w in d.word] == [Word.LEAVE] * 2 + [Word.OPEN] * 2 + [Word.DECIDE_NOW, Word.OPEN]
    assert d.first.tolist()[1:] == [0, 0] and d.first[0] > 0
    assert d.past.tolist() == [False] * 4 + [True, False]


def test_no_pump_waits_beyond_its_due_outage_where_nothing_is_short():
    rng = np.random.default_rng(2)
    n = 200
    p, t, when = pump_case(rng.uniform(135, 235, n), 2.2 * np.exp(0.5 * rng.normal(size=n)))
    d = decide(p, t, when, np.arange(n) // 2, np.full(n // 2, 8.0))
    assert np.all(d.first <= d.pumps.due)
    assert len(np.unique(d.first)) > 2
    before = np.take_along_axis(d.pumps.past, d.pumps.due[:, None], axis=1)[:, 0]
    assert np.all((before <= 0.1) | (d.pumps.due == 0))


def test_a_bearing_without_a_maximum_or_without_a_life_has_nothing_to_decide_by():
    p, t, when = pump_case([200.0, 200.0, 200.0], limit_um=[np.nan, 120.0, 260.0])
    d = decide(p, t, when, np.array([0, 1, 1]), np.full(2, 8.0))
    assert [Word(w) for w in d.word][:2] == [Word.SET_LIMIT] * 2
    assert d.first[0] == -1 and d.first[1] >= 0
    assert np.isnan(d.openings.trigger_um[:2]).all() and np.isfinite(d.openings.trigger_um[2]).all()
    assert np.isnan(d.pumps.cost[0]).all() and np.isfinite(d.pumps.cost[1]).all()


def test_a_belief_that_does_not_fit_opens_the_pump_next_and_is_never_costed():
    p, t, when = pump_case([140.0, 140.0])
    d = decide(p, t, when, np.array([0, 0]), np.full(1, 8.0), fits=np.array([True, False]))
    assert d.first.tolist() == [0] and d.pumps.by_rule.tolist() == [True]
    assert np.isnan(d.openings.cost[1]).all() and np.isnan(d.openings.trigger_um[1]).all()
    assert d.openings.hours[1] == pytest.approx(undecided(t, 4).hours[1])


def test_a_bearing_of_which_nothing_is_believed_opens_its_pump_next():
    p, t, when = pump_case([140.0, 140.0, 140.0, 140.0])
    nothing = replace(p, weight=p.weight * np.array([[1.0], [0.0], [1.0], [1.0]]))
    d = decide(nothing, t, when, np.array([0, 0, 1, 1]), np.full(2, 8.0))
    assert d.pumps.by_rule.tolist() == [True, False] and d.first[0] == 0 and d.first[1] > 0
    assert np.isnan(d.openings.cost[1]).all()


def test_a_stop_is_decided_where_it_pays_and_only_its_worth_is_given_where_its_cost_is_not_stated():
    p, t, when = pump_case([240.0, 240.0], 3.0)
    pump, open_h = np.array([0, 0]), np.full(1, 8.0)
    plain = decide(p, t, when, pump, open_h)
    assert plain.stopping_h[0] > 10.0 and plain.word.tolist() == [Word.OPEN] * 2
    worth = float(plain.stopping_h[0])
    assert (
        decide(p, t, when, pump, open_h, stop_h=np.array([worth - 1])).word.tolist() == [Word.DECIDE_NOW] * 2
    )
    assert decide(p, t, when, pump, open_h, stop_h=np.array([worth + 1])).word.tolist() == [Word.OPEN] * 2


def test_an_open_contact_finding_brings_its_pump_to_the_next_outage_and_a_scrape_is_expected():
    p, t, when = pump_case([150.0, 150.0])
    pump, open_h = np.array([0, 0]), np.full(1, 8.0)
    assert decide(p, t, when, pump, open_h).first[0] > 0
    d = decide(p, t, when, pump, open_h, contact_open=np.array([True, False]))
    assert d.first[0] == 0
    assert d.openings.scraped[0, 0] > 0.9 > d.openings.scraped[1, 0]


def test_a_dearer_consequence_opens_no_later_and_replaces_from_less():
    rng = np.random.default_rng(4)
    levels = rng.uniform(150, 230, 60)
    usual, dear = (
        decide(*pump_case(levels, consequence=k), np.arange(60) // 2, np.full(30, 8.0)) for k in (1.0, 3.0)
    )
    assert np.all(dear.first <= usual.first) and np.any(dear.first < usual.first)
    assert np.all(dear.openings.trigger_um <= usual.openings.trigger_um)


def test_while_nothing_is_seen_and_nothing_comes_due_no_pump_moves():
    rng = np.random.default_rng(6)
    n = 200
    p, t, when = pump_case(rng.uniform(135, 235, n), 2.2 * np.exp(0.5 * rng.normal(size=n)))
    pump, open_h = np.arange(n) // 2, np.full(n // 2, 8.0)
    before = decide(p, t, when, pump, open_h).first
    ahead = D * (np.array([0.5, 1.5, 2.5, 3.5, 4.5]) - 0.4)
    later = decide(p.later(np.full(n, 0.4 * D)), t, outages(np.tile(ahead, (n, 1)), t), pump, open_h).first
    assert np.array_equal(later, before)
    assert len(np.unique(before)) > 2


def test_tables_of_the_lattice_choose_as_a_bearings_own_do():
    rng = np.random.default_rng(7)
    n = 60
    gauge = np.repeat(rng.uniform(4, 14, n // 2), 2)
    case = pump_case(
        rng.uniform(135, 235, n), 2.2, reading_sd_um=gauge, log_rate=np.log(2.2) + 0.2 * rng.normal(size=n)
    )
    own, near = (decide(*case, np.arange(n) // 2, np.full(n // 2, 8.0), exact=k) for k in (True, False))
    assert np.mean(own.first == near.first) > 0.9
    rows = np.arange(n // 2)
    assert np.max(own.pumps.cost[rows, near.first] - own.pumps.cost[rows, own.first]) < 5.0
    assert own.openings.trigger_um == pytest.approx(near.openings.trigger_um)


def test_gaps_are_shares_and_the_earliest_of_two_comes_first():
    p, t, when = pump_case([150.0, 200.0])
    o = first_openings(p, t, tables(t), when.ahead, when.step)
    assert o.gaps.sum(axis=2) == pytest.approx(np.ones((2, 4)))
    both = earliest(o.gaps, np.zeros(2, dtype=int), 1)
    assert both.sum(axis=-1) == pytest.approx(np.ones((1, 4)))
    mean = [float(g[0] @ np.arange(1, 6)) for g in (o.gaps[0], o.gaps[1], both[0])]
    assert mean[2] <= min(mean[:2]) + 1e-9


def test_reopenings_follow_only_later_and_about_as_often_as_the_class_usually_opens():
    n = 2
    t = standard(n)
    p = belief([150.0, 150.0], 8.0, 2.2, 0.3)
    at = np.arange(24) + 0.5
    v = tables(t)
    o = first_openings(p, t, v, D * np.tile(at, (n, 1)), np.full((n, 24), D))
    q = pump_openings(o, t, v, np.zeros(n, dtype=int), np.full(1, 8.0), at[None, :])
    r = q.reopening[0]
    assert np.all(np.tril(r) == 0.0) and r.min() >= 0.0
    usual = earliest(v.usual_gap, np.zeros(n, dtype=int), 1)[0]
    assert r[0, 12:].mean() == pytest.approx(1.0 / float(usual @ np.arange(1, 6)), abs=0.05)


def test_hours_are_those_of_the_three_outcomes(case):
    _, _, _, o = case
    assert o.hours == pytest.approx(4.0 + 16.0 * o.new + 6.0 * o.scraped)
    square = 256.0 * o.new + 36.0 * o.scraped
    assert o.variance == pytest.approx(square - (16.0 * o.new + 6.0 * o.scraped) ** 2)


def test_chances_never_leave_nought_to_one_however_sure():
    n = 300
    p = belief(np.linspace(100.0, 400.0, n), 4.0, 3.0, 0.3)
    o = first_openings(
        p, standard(n), tables(standard(n)), D * np.tile([0.5, 1.5], (n, 1)), np.full((n, 2), D)
    )
    for chance in (o.new, o.scraped, o.past, 1.0 - o.new - o.scraped):
        assert chance.min() >= 0.0 and chance.max() <= 1.0 + 1e-12
    assert o.new.max() <= 1.0 and o.variance.min() >= 0.0


@SOME
@given(beliefs)
def test_shapes_that_do_not_fit_are_refused_with_a_sentence(p):
    t = standard()
    with pytest.raises(ValueError, match="must both be"):
        first_openings(p, t, tables(t), AHEAD, STEP[:, :2])


def test_no_trigger_is_printed_that_every_reading_of_such_a_bearing_lies_over():
    # New metal is 130 um, its spread 7, a reading's error 10: nothing reads under 130 - 3 x 12.2 = 93.4.
    t, roots = standard(5), np.array([-107.0, 0.0, 29.0, 93.0, 94.0])
    none, guard = np.full(5, np.nan), np.full(5, 8.0)
    found = ruling(roots, roots - 1, t, none, guard)
    assert found.trigger_um.tolist() == [-np.inf, -np.inf, -np.inf, -np.inf, 94.0]
    assert np.isneginf(found.scrape_from_um).all() and found.no_room.all()
    # The plant's own limit is said as it stands where the rule has no lower one.
    assert ruling(roots[4:], roots[4:], standard(1), np.full(1, 60.0), guard[:1]).trigger_um.tolist() == [
        60.0
    ]
    rough = standard(1, new_sd_um=60.0)
    assert ruling(roots[2:3], roots[2:3], rough, none[:1], guard[:1]).trigger_um.tolist() == [29.0]


def test_the_lowest_of_root_replace_limit_and_guarded_maximum_is_printed():
    t = standard(5, limit_um=[260.0, 260.0, 260.0, 260.0, np.nan])
    found = ruling(
        np.array([215.0, 215.0, 258.0, -np.inf, np.nan]),
        np.array([201.0, 120.0, 240.0, -np.inf, np.nan]),
        t,
        np.array([np.nan, 210.0, np.nan, np.nan, 200.0]),
        np.full(5, 10.0),
    )
    assert found.trigger_um[:4].tolist() == [215.0, 210.0, 250.0, -np.inf] and np.isnan(found.trigger_um[4])
    assert found.trigger_from[:4].tolist() == [BY_RULE, BY_PLANT, BY_GUARD, BY_RULE]
    assert found.no_room.tolist() == [False, True, False, True, False]
    assert found.scrape_from_um[:3].tolist() == [201.0, 120.0, 240.0]


def test_accepted_risks_stand_as_the_plant_states_them():
    assert accepted_risks(["High", "low", "LOW"], {"low": 0.2}, ["high"]).tolist() == [0.05, 0.2, 0.2]
    with pytest.raises(ValueError, match="Accepted risk of low: 20; allowed is a share between 0 and 1"):
        accepted_risks(["low"], {"low": 20.0})


def test_outages_from_exposure_alone():
    t = standard(2)
    w = outages(np.array([[5.0, 18.0, 31.0], [0.5, 13.0, 30.0]]), t, now=np.array([1.0, 1.0]))
    assert isinstance(w, Outages)
    assert w.step.tolist() == [[13.0, 13.0], [12.5, 17.0]]
    assert w.now.tolist() == [1.0, 0.5] and w.now_step.tolist() == [4.0, 0.0]
