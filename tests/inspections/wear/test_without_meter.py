"""Bearings of pumps without a meter: too few for a pool of their own, they get dates from the fleet's wear an
hour and its duties.
"""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear.advice import OUTCOMES
from inspections.wear.arrays import Histories, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.population import Population

from .makers import LEAD, Kind, event, reading

RUN_HOURS, CALENDAR = 0, 2


def pumps(n: int, seed: int, *, metered: bool) -> tuple[Histories, np.ndarray]:
    """n bearings that wear steadily by the hour run, of pumps running about 10 of 24 h, drawn by the physics
    alone.

    Read every 11 kh of the calendar; without a meter the calendar is all that is told. Returns the histories
    and the true days to 260 um from the last reading.
    """
    rng = np.random.default_rng(seed)
    rows, true = [], []
    for _ in range(n):
        duty = min(np.exp(np.log(10.0) + 0.4 * rng.normal()), 24.0) / 24.0
        rate, new = 4.0 * np.exp(0.5 * rng.normal()), 130 * (1 + 0.1 * rng.normal())
        at = np.arange(1, int(rng.integers(2, 5)) + 1) * 11.0
        told = at * duty if metered else at
        events = [event(Kind.NEW_LIFE, 0.0)]
        events += [
            reading(u, new + rate * duty * t + 10.0 * rng.normal()) for u, t in zip(told, at, strict=True)
        ]
        facts = {"fitting_um": 130.0, "limit_um": 260.0, "clock": RUN_HOURS if metered else CALENDAR}
        rows.append((facts | {"hours_per_day": 24.0 * duty if metered else 24.0}, events))
        true.append(((260.0 - new) / (rate * duty) - at[-1]) / 0.024)
    return build(rows, [LEAD]), np.array(true)


@pytest.fixture(scope="module")
def population() -> Population:
    return fit_fleet(pumps(120, 21, metered=True)[0], carry=False)


def test_one_pump_without_a_meter_among_many_with_one_gets_a_date(population):
    one, _ = pumps(1, 2, metered=False)
    assert forecast(one, population).outcome[0] == OUTCOMES.index("ok")


def test_of_such_pumps_as_many_pass_before_each_date_as_it_says(population):
    many, true = pumps(300, 24, metered=False)
    result = forecast(many, population)
    scored = result.p_max_now < 0.05
    before = [100 * np.mean(true[scored] < result.max_days[scored, k]) for k in (1, 2, 3)]
    assert before == pytest.approx([10, 50, 90], abs=8)


def test_a_clock_with_bearings_enough_of_its_own_teaches_itself(population):
    own = fit_fleet(pumps(40, 4, metered=False)[0], carry=False)
    both = Population((*population.pools, *own.pools))
    assert both.pool(CALENDAR) == own.pools[0]


def test_where_no_bearing_counts_run_hours_a_young_fleet_stays_young():
    few = fit_fleet(pumps(2, 5, metered=False)[0], carry=False)
    assert few.pool(CALENDAR).young
    assert Population().pool(RUN_HOURS).young


def test_what_was_learned_of_duties_is_kept_with_the_fleets_numbers(population):
    again = Population.from_json(population.to_json())
    assert again.pool(CALENDAR) == population.pool(CALENDAR)
