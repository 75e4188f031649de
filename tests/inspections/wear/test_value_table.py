"""The value table against check values computed independently, and against itself."""

import numpy as np
import pytest
from scipy.special import ndtr

from inspections.wear.terms import NO_LIFE, NO_MAXIMUM, READY, consequence, price_of_passing, terms
from inspections.wear.value_table import (
    GAPS,
    PLAIN,
    RATIOS,
    STEPPED,
    best_by_cost,
    lattice,
    ratios,
    tables,
    tabulate,
)
from tests.inspections.wear.decision_makers import STANDARD, standard

MEDIAN = np.log(2.2)


def line(low, high, log_rate, count=2201):
    levels = np.linspace(low, high, count)[None, :]
    return levels, np.full_like(levels, log_rate)


def by_cost(v, low=150.0, high=260.0, log_rate=MEDIAN):
    """The reading from which a new shell costs less, um."""
    levels, rates = line(low, high, log_rate)
    return levels[0, best_by_cost(v, levels, rates)[0].argmax()]


def test_the_price_of_a_passing_is_the_one_worked_out_by_hand():
    t = standard(4, accepted_risk=[0.02, 0.05, 0.10, 0.20])
    assert price_of_passing(t).round(2).tolist() == [445.08, 178.03, 89.02, 44.51]


def test_a_consequence_multiplies_the_price_and_divides_the_accepted_risk():
    t = standard(3, consequence=[0.5, 2.0, 40.0])
    assert t.price_h.round(2).tolist() == [89.02, 178.03, 356.06]
    assert t.accepted.tolist() == [0.1, 0.05, 0.025]


def test_a_consequence_is_held_to_between_the_usual_and_four_times_it():
    assert consequence([np.nan, 0.0, -3.0]).tolist() == [1.0, 1.0, 1.0]
    assert consequence([1.0, 10.0, 25.0, 1000.0]).tolist() == [1.0, 1.0, 25.0 / 17.5, 4.0]


def test_where_the_maximum_does_not_lie_above_the_fitted_clearance_there_is_no_life_and_no_price():
    t = standard(3, limit_um=[np.nan, 130.0, 260.0])
    assert t.standing.tolist() == [NO_MAXIMUM, NO_LIFE, READY]
    assert np.isnan(t.price_h).tolist() == [True, True, False]
    v = tables(t)
    at = np.full((3, 1), 150.0)
    assert np.isnan(v.closed(at, np.full((3, 1), MEDIAN))[:, 0]).tolist() == [True, True, False]


@pytest.mark.parametrize(
    ("name", "value", "sentence"),
    [
        ("measure_h", -3.0, "measure_h of bearing 0 is -3; allowed is 0 or more"),
        ("reading_sd_um", 0.0, "reading_sd_um of bearing 0 is 0; allowed is above 0"),
        ("limit_um", np.inf, "limit_um of bearing 0 is inf; allowed is a finite number, or none"),
        ("memory", 1.5, "memory of bearing 0 is 1.5; allowed is from 0 to 1"),
        ("accepted_risk", 1.0, "accepted_risk of bearing 0 is 1; allowed is between 0 and 1"),
        ("log_rate", np.nan, "log_rate of bearing 0 is nan; allowed is a finite number"),
    ],
)
def test_a_figure_that_cannot_be_is_refused_with_a_sentence(name, value, sentence):
    with pytest.raises(ValueError, match=sentence):
        standard(1, **{name: value})


def test_a_figure_that_is_missing_or_unknown_is_named():
    with pytest.raises(ValueError, match="speed is not one of them, open_h is missing"):
        terms(1, speed=3, **{k: v for k, v in STANDARD.items() if k != "open_h"})


def test_values_of_the_standard_case_are_those_computed_independently():
    v = tables(standard(), exact=True)
    levels = np.array([[130.0, 160.0, 190.0, 215.0, 240.0]])
    rates = np.full_like(levels, MEDIAN)
    assert v.closed(levels, rates)[0] == pytest.approx([684.2, 705.1, 722.8, 741.2, 828.4], abs=0.2)
    assert v.new(np.array([[MEDIAN]]))[0, 0] == pytest.approx(740.2, abs=0.2)
    assert v.gaps(levels[:, :1], rates[:, :1])[0, 0].tolist() == pytest.approx([0, 1, 0, 0, 0])


@pytest.mark.parametrize(("spreads", "trigger"), [(0.0, 214.5), (-1.0, 229.6), (0.75, 193.0)])
def test_the_trigger_by_cost_is_that_computed_independently(spreads, trigger):
    v = tables(standard(), exact=True)
    assert by_cost(v, log_rate=MEDIAN + 0.6 * spreads) == pytest.approx(trigger, abs=0.3)


def test_a_scrape_that_costs_no_hours_moves_the_trigger_by_cost_by_its_step():
    def moved(scrape_h):
        v = tables(standard(scrape_h=scrape_h, scrape_sd_um=0.0), exact=True)
        levels, rates = line(150.0, 260.0, MEDIAN)
        scraped = scrape_h + v.closed(levels + 12.0, rates) > v.new(rates)
        return by_cost(v) - levels[0, scraped[0].argmax()]

    assert moved(0.0) == pytest.approx(12.0, abs=1.0)
    assert moved(6.0) > moved(0.0) + 1.0


@pytest.mark.parametrize("risk", [0.02, 0.05, 0.10, 0.20])
def test_least_cost_at_the_price_takes_about_the_accepted_chance(risk):
    # Closed up at the trigger by cost, the chance of passing within an interval (class's table, its own
    # beliefs).
    t = standard(accepted_risk=risk, reading_sd_um=6.0)
    v = tables(t, exact=True)
    m = by_cost(v)
    x = m - 130.0
    vstart = 1 / (1 / 49 + 1 / 36)
    sig2 = 1 / (1 / (0.27 + 0.0625 * 0.25) + x**2 / (27 + vstart + 2 * x))
    e = np.linspace(-4, 4, 401)
    w = np.exp(-0.5 * e**2)
    r = np.exp(MEDIAN + np.sqrt(sig2) * e)
    chance = float((w / w.sum()) @ ndtr((m + r * 13.15 - 260.0) / np.sqrt(27 + 2 * r * 13.15)))
    assert 0.85 * risk < chance < 1.2 * risk


def test_the_value_rises_with_the_clearance_and_a_new_shell_costs_what_it_costs():
    v = tables(standard(), exact=True)
    levels, rates = line(130.0, 300.0, MEDIAN, 60)
    assert np.all(np.diff(v.closed(levels, rates)[0]) > 0)
    new = v.new(rates[:, :1])[0, 0]
    assert new - v.closed(np.array([[130.0]]), rates[:, :1])[0, 0] == pytest.approx(56.0)


def test_units_of_length_exposure_and_cost_change_nothing():
    lengths = (
        "limit_um",
        "new_um",
        "new_sd_um",
        "reading_sd_um",
        "unevenness_um",
        "scrape_um",
        "scrape_sd_um",
    )
    hours = ("open_h", "measure_h", "scrape_h", "replace_h", "shell_h")
    other = {k: 2.54 * STANDARD[k] for k in lengths} | {k: 3.0 * STANDARD[k] for k in hours}
    other |= {"interval_kh": 13.15 * 24, "log_rate": MEDIAN + np.log(2.54 / 24)}
    assert ratios(standard()) == pytest.approx(ratios(standard(**other)), rel=1e-12)
    a, b = tables(standard()), tables(standard(**other))
    at = np.array([[140.0, 200.0, 250.0]])
    rate = np.full_like(at, MEDIAN)
    assert 3.0 * a.closed(at, rate) == pytest.approx(b.closed(2.54 * at, rate + np.log(2.54 / 24)), rel=1e-9)


def test_the_lattice_is_within_five_per_cent_of_every_ratio_and_moves_the_trigger_by_cost_little():
    row = ratios(standard())
    near = lattice(row)
    n = len(STEPPED)
    assert np.all(np.abs(np.log(near[0, :n] / row[0, :n])) <= 0.5 * np.log(1.1) + 1e-9)
    assert near[0, n:] == pytest.approx(row[0, n:], abs=0.0025)
    assert np.array_equal(lattice(near), near)
    assert abs(by_cost(tables(standard())) - by_cost(tables(standard(), exact=True))) < 2.0


def test_bearings_of_one_class_at_other_medians_share_few_tables():
    rng = np.random.default_rng(3)
    t = standard(300, log_rate=MEDIAN + 0.1 * rng.standard_normal(300))
    assert len(np.unique(lattice(ratios(t)), axis=0)) < 40


def test_an_exponent_near_one_is_nearly_no_exponent_and_growing_wear_opens_sooner():
    plain = tables(standard(), exact=True)
    at, rate = np.array([[130.0, 200.0]]), np.full((1, 2), MEDIAN)
    near = tables(standard(exponent=1.0 + 1e-9), exact=True)
    assert near.closed(at, rate) == pytest.approx(plain.closed(at, rate), abs=1e-3)
    growing = tables(standard(exponent=1.5), exact=True)
    assert by_cost(growing) < by_cost(plain)


def test_usual_openings_are_shares_and_spend_about_one_shell_a_life():
    row = tuple(float(x) for x in ratios(standard())[0])
    made = tabulate(row)
    assert made.usual_gap.sum() == pytest.approx(1.0)
    assert len(made.usual_gap) == GAPS and len(row) == len(STEPPED) + len(PLAIN) == len(RATIOS)
    gap = float(made.usual_gap @ np.arange(1, GAPS + 1))
    # A life of the median is 4.49 intervals; shells go before their maximum, and rates are spread.
    assert 2.0 < gap / made.usual_new < 5.0
    assert 0.0 < made.usual_scrape <= 0.1
