"""The engine's beliefs as a decision takes them: what is kept, and that both then say the same."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inspections.wear import crossing
from inspections.wear.arrays import build
from inspections.wear.belief import Clouds
from inspections.wear.event_effects import frame
from inspections.wear.fit import fit_fleet
from inspections.wear.larger_end import believe_all
from inspections.wear.predictive import Components, Predictive, from_clouds, merged, whole, worn_ahead
from inspections.wear.slips import likely_slips
from inspections.wear.trigger import look
from tests.inspections.wear.makers import event, reading, steady_fleet


@pytest.fixture(scope="module")
def fleet():
    """A fitted fleet of 60 and its beliefs."""
    h = steady_fleet(60, seed=5)
    pool = fit_fleet(h).main
    f = frame(h)
    return h, pool, believe_all(f, pool, likely_slips(f, pool.designs[0], last_too=False))


def beliefs(belief, nodes=15, taper=0.0, taper_sd=0.0, duty_sd=0.0):
    n = len(belief.taper)
    figures = (np.full(n, float(v)) for v in (taper, taper_sd, duty_sd))
    return from_clouds(belief.clouds, *figures, nodes=nodes, at_kh=np.full(n, 15.0))


def worn(belief):
    """(60, 4) what X wears like."""
    return worn_ahead(belief.clouds, np.tile(X, (60, 1)))


def engine_chances(belief, limit, x, taper=0.0, taper_sd=0.0):
    begin, parts = belief.clouds.begin, belief.clouds.parts
    return np.array(
        [
            [crossing.reached(parts[begin[i] : begin[i + 1]], limit, xx, taper, taper_sd) for xx in x]
            for i in range(len(begin) - 1)
        ]
    )


X = np.array([0.0, 5.0, 15.0, 30.0])


def test_with_nothing_merged_the_chances_are_the_engines(fleet):
    _, _, belief = fleet
    p = beliefs(belief, nodes=None)
    ours = p.past(np.full(60, 260.0), worn(belief))
    # What differs is the level's slope inside a cell, taken here as it is today, and designs whose wear bends
    # otherwise, taken here by what they wear over the 15 kh asked for.
    off = np.abs(ours - engine_chances(belief, 260.0, X))
    assert off.max() < 0.008 and off[:, 2].max() < 0.002


def test_fifteen_nodes_keep_the_chances_to_a_hundredth_or_so(fleet):
    _, _, belief = fleet
    ours = beliefs(belief).past(np.full(60, 260.0), worn(belief))
    off = np.abs(ours - engine_chances(belief, 260.0, X))
    assert off.max() < 0.02 and off.mean() < 0.004


def test_a_taper_that_grows_with_wear_makes_the_larger_end_faster_as_the_engine_has_it(fleet):
    _, _, belief = fleet
    p = beliefs(belief, nodes=None, taper=0.4)
    ours = p.past(np.full(60, 260.0), worn(belief))
    assert ours == pytest.approx(engine_chances(belief, 260.0, X, 0.4), abs=8e-3)
    loose = beliefs(belief, nodes=None, taper=0.4, taper_sd=0.3)
    ours = loose.past(np.full(60, 260.0), worn(belief))
    assert np.abs(ours - engine_chances(belief, 260.0, X, 0.4, 0.3)).max() < 0.03


def test_a_reading_counts_as_the_engine_counts_it(fleet):
    h, pool, belief = fleet
    mean = beliefs(belief).ahead(np.zeros(60))[0].mean(axis=1)
    y = mean + 12.0
    # The same reading put in the record, on the day of the belief.
    rows = []
    for i in range(60):
        own = h.take([i])
        events = [event(own.kind[0], own.exposure_kh[0])]
        events += [reading(own.exposure_kh[k], own.value_um[k]) for k in range(1, len(own.kind))]
        events.append(reading(float(own.exposure_kh[-1]), float(y[i])))
        rows.append(({"fitting_um": 130.0, "limit_um": 260.0, "class_": 0}, events))
    later = build(rows, h.methods)
    g = frame(later)
    after = believe_all(g, pool, np.zeros(len(later.kind), dtype=bool))
    engine = engine_chances(after, 260.0, np.array([13.15]))[:, 0]
    sd = pool.designs[0].of_methods(h.methods)[0][0]
    # A reading also weighs a small fleet's parameters anew here, which the engine leaves to its next fit.
    for nodes, most in ((None, 0.02), (15, 0.03)):
        found = look(beliefs(belief, nodes=nodes), np.zeros(60), np.full(60, sd), reading=y[:, None])
        ours = found.passing(np.full(60, 260.0), worn_ahead(belief.clouds, np.full((60, 1), 13.15))[:, 0])[
            :, 0
        ]
        assert np.abs(ours - engine).max() < most and np.abs(ours - engine).mean() < 0.002


def test_wear_that_follows_a_power_of_age_counts_as_more_exposure_the_later_it_comes():
    parts = np.zeros((2, 10))
    parts[:, crossing.WEIGHT], parts[:, crossing.MEAN], parts[:, crossing.VAR] = 0.5, 200.0, 25.0
    parts[:, crossing.RATE], parts[:, crossing.BETA] = 2.0, 2.0
    parts[:, crossing.EXPONENT], parts[:, crossing.AGE] = (1.0, 2.0), 20.0
    clouds = Clouds(np.array([0, 2]), parts, np.zeros(1))
    # Straight wear and wear with the square of age: 20 kh from an age of 20 kh count as 20 and as 30.
    assert worn_ahead(clouds, np.array([[0.0, 20.0]])).tolist() == [[0.0, 25.0]]
    none = np.zeros(1)
    p = from_clouds(clouds, none, none, none, nodes=None, at_kh=np.array([20.0]))
    level, variance = p.ahead(np.array([25.0]))
    assert level[0] == pytest.approx([240.0, 260.0]) and variance[0] == pytest.approx([105.0, 145.0])
    chance = p.past(np.array([250.0]), np.array([[25.0]]))[0, 0]
    assert chance == pytest.approx(crossing.reached(parts, 250.0, 20.0, 0.0, 0.0), abs=1e-6)


def test_a_duty_not_sure_spreads_the_rates_and_keeps_their_middle(fleet):
    _, _, belief = fleet
    sure, loose = beliefs(belief), beliefs(belief, duty_sd=0.3)

    def moments(p):
        mean = np.sum(p.weight * p.log_rate, axis=1)
        return mean, np.sum(p.weight * (p.log_rate - mean[:, None]) ** 2, axis=1)

    assert moments(loose)[0] == pytest.approx(moments(sure)[0])
    assert moments(loose)[1] == pytest.approx(moments(sure)[1] + 0.09)


components = st.lists(
    st.tuples(st.floats(0.01, 1), st.floats(-2, 3), st.floats(100, 300), st.floats(0, 400)),
    min_size=1,
    max_size=40,
)


@settings(max_examples=80, deadline=None)
@given(st.lists(components, min_size=1, max_size=4))
def test_merging_keeps_weight_means_and_the_whole_variance_of_the_level(fleet_parts):
    begin = np.concatenate([[0], np.cumsum([len(part) for part in fleet_parts])])
    flat = [np.array([row[k] for part in fleet_parts for row in part]) for k in range(4)]
    beta = np.zeros(len(fleet_parts))
    parts = Components(begin, *flat, beta)
    p, full = merged(parts), whole(parts)
    full = replace(full, weight=full.weight / full.weight.sum(axis=1, keepdims=True))

    def moments(q: Predictive):
        level = np.sum(q.weight * q.level, axis=1)
        square = np.sum(q.weight * (q.variance + (q.level - level[:, None]) ** 2), axis=1)
        return level, square, np.sum(q.weight * q.log_rate, axis=1)

    assert p.weight.sum(axis=1) == pytest.approx(np.ones(len(fleet_parts)))
    assert p.weight == pytest.approx(np.full_like(p.weight, 1 / 15), abs=1e-9)
    for ours, theirs in zip(moments(p), moments(full), strict=True):
        assert ours == pytest.approx(theirs, rel=1e-6, abs=1e-6)
    assert np.all(np.diff(p.log_rate, axis=1) > -1e-9)


def test_a_bearing_without_any_belief_has_no_weight_anywhere():
    empty = np.zeros(0)
    p = merged(Components(np.array([0, 0]), empty, empty, empty, empty, np.zeros(1)))
    assert p.weight.sum() == 0.0 and p.past(np.array([260.0]), np.array([[1.0]])).tolist() == [[0.0]]
