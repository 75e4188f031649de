"""Wear along a power of a life's age: the exponent is found, the dates follow it, a straight fleet stays
straight.
"""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear import crossing
from inspections.wear.ages import STRAIGHT, Curve
from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.backtest import hide_and_tell
from inspections.wear.belief import Rate, believe
from inspections.wear.event_effects import frame, lay_out
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.larger_end import believe_all
from inspections.wear.parameters import Params
from inspections.wear.path import path
from inspections.wear.population import Pool, Population
from tests.bench import hard_fleets
from tests.bench.run_worlds import dates_kh
from tests.bench.score import shares

from .makers import LEAD, event, reading

FACTS = {"fitting_um": 130.0, "limit_um": 260.0}
SQUARE = Curve(2.0, 40.0, 1.0)


def one(rows: list, **facts) -> Histories:
    return build([({**FACTS, **facts}, rows)], [LEAD])


def test_steps_of_a_life_add_up_to_what_its_age_has_grown_to():
    f = frame(one([event(Kind.NEW_LIFE, 0.0)] + [reading(u, 140.0) for u in (5.0, 20.0, 60.0)]))
    assert np.cumsum(f.spent(0.0, SQUARE)) == pytest.approx([0.0, 25.0 / 40, 10.0, 90.0])
    assert f.spent(0.0, STRAIGHT).tolist() == [0.0, 5.0, 15.0, 40.0]


def test_new_metal_begins_anew_and_a_scrape_or_a_new_baseline_does_not():
    rows = [
        event(Kind.NEW_LIFE, 0.0),
        reading(20.0, 150.0),
        event(Kind.SCRAPE, 20.0),
        event(Kind.NEW_BASELINE, 30.0),
    ]
    rows += [reading(40.0, 150.0), event(Kind.NEW_LIFE, 40.0), reading(60.0, 150.0)]
    f = frame(one(rows))
    assert f.spent(0.0, SQUARE) == pytest.approx([0.0, 10.0, 0.0, 12.5, 17.5, 0.0, 10.0])
    assert f.ages.at_end(SQUARE) == pytest.approx([20.0])


def test_run_hours_of_starts_are_worn_along_the_curve_as_well():
    rows = [event(Kind.NEW_LIFE, 0.0, starts_k=0.0), reading(20.0, 150.0, starts_k=1.0)]
    assert frame(one(rows)).spent(5.0, SQUARE)[1] == pytest.approx(10.0 * 25.0 / 20.0)


def test_an_unrecorded_start_is_believed_the_older_the_more_has_worn():
    def age(level: float) -> float:
        rows = [reading(0.0, level), reading(20.0, level + 20.0)]
        f = frame(one(rows, fresh=False))
        return float(f.ages.at_end(Curve(1.0, 40.0, 1.0))[0])

    assert 20.0 < age(135.0) < age(170.0) < age(220.0)


def test_a_component_reaches_its_level_when_its_power_of_age_does():
    """100 um at 40 kh, 2 um/kh then, exponent 2: r L(x) = 60 um more at sqrt(1 + 60/40) times the age."""
    part = np.array([[1.0, 100.0, 1e-6, 2.0, 0.0, 0.0, 0.0, 0.0, 2.0, 40.0]])
    true = 40.0 * (np.sqrt(1.0 + 60.0 / 40.0) - 1.0)
    assert crossing.reached(part, 160.0, true * 1.001, 0.0, 0.0) > 0.99
    assert crossing.reached(part, 160.0, true * 0.999, 0.0, 0.0) < 0.01
    assert crossing.stretch(true, 2.0, 40.0) == pytest.approx(30.0)
    assert crossing.stretch(7.0, 1.0, 40.0) == 7.0


def test_todays_rate_is_the_curves_slope_at_todays_age():
    h = one([event(Kind.NEW_LIFE, 0.0), reading(20.0, 150.0)], now_kh=60.0)
    f = frame(h)
    rate = Rate(np.array([0.0]), np.array([1e-3]), np.array([0.5]), np.array([1e-3]), curve=SQUARE)
    clouds = believe(f, lay_out(f, Params()), rate, f.tail)
    assert clouds.moments(crossing.RATE)[0][0] == pytest.approx(2.0 * 60.0 / 40.0, rel=2e-3)
    assert clouds.parts[0, crossing.AGE] == pytest.approx(60.0)


@pytest.mark.parametrize("exponent", [0.5, 1.0, 2.0])
def test_the_exponent_of_a_whole_fleet_is_found_and_its_dates_follow(exponent):
    """Without it all bearings of a fleet that wears as the square of age fail before the 50 % date, half
    before the 5 %.
    """
    fleet = hard_fleets.curved(hard_fleets.Curve(150, exponent), 4)
    population = fit_fleet(fleet.histories, carry=False)
    assert np.log(population.main.designs[0].exponent) == pytest.approx(np.log(exponent), abs=0.2)
    result = forecast(fleet.histories, population)
    scored = (result.p_max_now < 0.05) & (fleet.true_kh < 300.0)
    early, _, middle, _, late = shares(dates_kh(result)[scored], fleet.true_kh[scored])
    assert early <= 16.0 and 25.0 <= middle <= 75.0 and late >= 84.0


@pytest.mark.parametrize("exponent", [1.0, 2.0])
def test_a_fleet_without_a_recorded_start_shows_its_exponent_by_how_its_records_bend(exponent):
    fleet = hard_fleets.curved(hard_fleets.Curve(120, exponent, known_start=False), 4)
    population = fit_fleet(fleet.histories, carry=False)
    assert np.log(population.main.designs[0].exponent) == pytest.approx(np.log(exponent), abs=0.25)
    result = forecast(fleet.histories, population)
    scored = (result.p_max_now < 0.05) & (fleet.true_kh < 300.0)
    early, _, middle, _, late = shares(dates_kh(result)[scored], fleet.true_kh[scored])
    assert early <= 16.0 and 20.0 <= middle <= 80.0 and late >= 80.0


def test_a_rate_of_a_life_without_a_start_is_its_mean_over_the_usual_age_whatever_the_exponent():
    """Ages believed from the readings move no rate, only how a record bends."""
    rows = [reading(u, 130.0 + 2.0 * u) for u in (0.0, 20.0, 40.0)]
    f = frame(one(rows, fresh=False))
    for exponent in (0.5, 2.0):
        steps = f.spent(0.0, Curve(exponent, 40.0, 2.0, within=True))
        assert steps.sum() == pytest.approx(40.0)
        assert (steps[2] > steps[1]) == (exponent > 1.0)


def test_what_is_hidden_is_not_heard_of_when_ages_are_believed():
    """The quantiles told of the last reading are the same whatever that reading is."""
    told = []
    for last in (190.0, 230.0):
        rows = []
        for k in range(30):
            own = [reading(u, 131.0 + k % 5 + 0.02 * u * u) for u in (0.0, 15.0, 30.0, 45.0)]
            own += [reading(60.0, last if k == 0 else 203.0)]
            rows.append(({**FACTS, "fresh": False}, own))
        told.append(hide_and_tell(build(rows, [Method("micrometer", 3.0)])).ours[0])
    assert told[0] == pytest.approx(told[1], rel=1e-9)


def test_without_a_taper_no_end_is_said_to_be_larger_however_wear_slows_down():
    """Long after the last reading today's rate is far below the mean since then."""
    h = one([event(Kind.NEW_LIFE, 0.0), reading(5.0, 150.0)], now_kh=60.0)
    params = Params(exponent=0.5, usual_kh=40.0, effect_cov=((0.0,),))
    population = Population((Pool(0, 1, 1, False, True, "", (params,), (1.0,)),))
    assert path(h, population, 0, np.array([0.0])).larger_end_um == pytest.approx(0.0, abs=0.5)


def test_the_taper_grows_by_what_has_worn_along_the_curve():
    """Truth: the ends differ by 0.3 of the wear, 40 um at 40 kh and four times as much at 80."""
    rows = [event(Kind.NEW_LIFE, 0.0)]
    rows += [
        reading(u, 130.0 + (u / 40.0) ** 2 * 40.0, taper_um=0.3 * (u / 40.0) ** 2 * 40.0)
        for u in (20.0, 40.0, 60.0, 80.0)
    ]
    params = Params(
        exponent=2.0,
        usual_kh=40.0,
        effect_mean=(0.0,),
        effect_cov=((0.0,),),
        taper_mean=0.3,
        taper_sd=2.0,
        method_sd={"lead wire": 2.0},
    )
    f = frame(one(rows, limit_um=900.0))
    pool = Pool(0, 1, 1, False, True, "", (params,), (1.0,))
    assert believe_all(f, pool, np.zeros(len(rows), dtype=bool)).taper[0] == pytest.approx(0.3, abs=0.04)


def test_a_few_bearings_with_a_curve_of_their_own_do_not_bend_the_fleet():
    """15 of 95 wear as the square of age, plainly to be seen with a fine gauge; the others straight."""
    rng = np.random.default_rng(3)
    rows = []
    for i in range(95):
        exponent, gain = (2.0 if i < 15 else 1.0), rng.uniform(90.0, 150.0)
        new = 130 * (1 + 0.05 * rng.normal())
        events = [event(Kind.NEW_LIFE, 0.0)]
        events += [
            reading(u, new + gain * (u / 60.0) ** exponent + 3 * rng.normal()) for u in np.arange(1, 7) * 10.0
        ]
        rows.append(({**FACTS, "limit_um": 500.0}, events))
    population = fit_fleet(build(rows, [Method("micrometer", 3.0)]), carry=False)
    assert np.log(population.main.designs[0].exponent) == pytest.approx(0.0, abs=0.02)
