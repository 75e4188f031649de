"""What the fleet teaches beside the rate: starts, running in, a class's own steps and new clearances, the
taper.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspections.wear.arrays import Kind, Method, build
from inspections.wear.belief import Rate, believe
from inspections.wear.event_effects import frame, lay_out
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.parameters import Params
from tests.bench.worlds import WORLDS, make, smaller

from .makers import LEAD, event, reading

FACTS = {"fitting_um": 130.0, "limit_um": 260.0}


def test_what_a_start_wears_like_is_found_from_the_contrast_between_pumps():
    """Truth: 6 run hours a start; the prior's mean is 2."""
    params = fit_fleet(make(smaller(WORLDS["starts"], 500), 3).histories).main.designs[0]
    assert params.start_hours == pytest.approx(6.0, abs=2.5)


def test_where_no_starts_are_recorded_none_are_learned():
    params = fit_fleet(make(smaller(WORLDS["plain"], 60), 3).histories, carry=False).main.designs[0]
    assert params.start_hours == 0.0


def test_a_pump_that_starts_often_wears_faster_an_hour_by_what_its_starts_wear():
    rows = [event(Kind.NEW_LIFE, 0.0, starts_k=0.0), reading(10.0, 160.0, starts_k=1.0)]
    h = build([({**FACTS, "starts_per_hour": 0.1}, rows)], [LEAD])
    f, params = frame(h), Params(start_hours=5.0)
    assert f.spent(5.0).tolist() == [0.0, 15.0]
    rate = Rate(np.array([0.7]), np.array([0.5]), np.array([0.5]), np.array([1.0]), (), 5.0)
    calm = replace(rate, start_hours=0.0)
    often = believe(f, lay_out(f, params), rate, np.zeros(1)).moments(3)[0]
    longer = build([({**FACTS, "now_kh": 15.0}, [event(Kind.NEW_LIFE, 0.0), reading(15.0, 160.0)])], [LEAD])
    g = frame(longer)
    plain = believe(g, lay_out(g, params), calm, np.zeros(1)).moments(3)[0]
    assert often == pytest.approx(1.5 * plain, rel=1e-12)


def test_running_in_is_found_where_it_is_and_hardly_where_it_is_not():
    bedding = fit_fleet(make(smaller(WORLDS["running in"], 500), 3).histories).main.designs[0]
    assert bedding.run_in == pytest.approx(10.0, abs=3.0)
    none = fit_fleet(make(smaller(WORLDS["plain"], 500), 3).histories).main.designs[0]
    assert none.run_in < 3.0


def test_new_metal_still_to_bed_in_has_its_gain_ahead():
    h = build([(FACTS, [event(Kind.NEW_LIFE, 0.0), reading(0.0, 130.0)])], [LEAD])
    f = frame(h)
    rate = Rate(np.array([0.7]), np.array([0.3]), np.array([0.5]), np.array([1.0]))
    levels = [
        believe(f, lay_out(f, Params(run_in=gain)), rate, np.zeros(1)).moments(1)[0][0] for gain in (0.0, 8.0)
    ]
    assert levels[1] - levels[0] == pytest.approx(8.0, abs=1e-9)


def test_shares_of_running_in_sum_to_one_over_a_life():
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(u, 140.0) for u in (0.0, 0.5, 2.0, 11.0)]
    f = frame(build([(FACTS, rows)], [LEAD]))
    assert f.run_in.sum() + f.run_in_left[0] == pytest.approx(1.0, abs=1e-12)
    assert f.run_in[2] == pytest.approx(1 - np.exp(-0.5))


def _scraped(step: float, new: float, rng, code: int):
    level = new
    rows = [event(Kind.NEW_LIFE, 0.0), reading(0.0, level + 3 * rng.normal())]
    for k in range(1, 5):
        level += 20.0
        rows += [reading(10.0 * k, level + 3 * rng.normal()), event(Kind.SCRAPE, 10.0 * k)]
        level += step
        rows.append(reading(10.0 * k, level + 3 * rng.normal()))
    return {"fitting_um": 130.0, "limit_um": 500.0, "class_": code}, rows


def test_each_class_has_its_own_scrape_step_and_new_clearance_drawn_towards_the_fleets():
    rng = np.random.default_rng(2)
    bearings = [_scraped(10.0, 126.0, rng, 0) for _ in range(15)] + [
        _scraped(18.0, 134.0, rng, 1) for _ in range(15)
    ]
    params = fit_fleet(build(bearings, [Method("micrometer", 3.0)])).main.designs[0]
    mean, sd = params.of_steps(np.array([0, 1, 7]))
    assert 10.0 <= mean[0] < 11.5 and 16.5 < mean[1] <= 18.2 and mean[0] < mean[2] < mean[1]
    assert (sd >= params.step_sd).all()
    shift = params.of_new(np.array([0, 1]))
    assert shift[0] < -0.015 and shift[1] > 0.015


def test_the_growth_of_the_taper_is_not_flattened_by_scrapes_or_noise():
    """Truth: between 0 and 0.6 of the wear, 0.3 in the middle."""
    params = fit_fleet(make(smaller(WORLDS["two ends"], 400), 3).histories).main.designs[0]
    assert params.taper_mean == pytest.approx(0.3, abs=0.06)
    assert params.taper_spread == pytest.approx(0.17, abs=0.07)


def test_a_forecast_with_starts_recorded_is_the_same_from_any_origin_of_the_counter():
    fleet = make(smaller(WORLDS["starts"], 40), 4).histories
    population = fit_fleet(fleet, carry=False)
    shifted = replace(fleet, starts_k=fleet.starts_k + 123.456)
    one, other = forecast(fleet, population), forecast(shifted, population)
    assert one.max_days == pytest.approx(other.max_days, rel=1e-9)
