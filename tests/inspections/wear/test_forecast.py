"""Forecasts: what must not change them, what must, and what they say when they cannot say."""

from __future__ import annotations

import copy
import os
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import fields, replace

import numpy as np
import pytest

from inspections.wear.advice import ADVICE, OUTCOMES, REASONS, REPLACE_FROM
from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import chance_by, forecast
from inspections.wear.path import path
from inspections.wear.population import Population

from .makers import LEAD, event, reading, steady_fleet

FACTS = {"fitting_um": 130.0, "limit_um": 260.0}


@pytest.fixture(scope="module")
def fleet() -> Histories:
    return steady_fleet(30)


@pytest.fixture(scope="module")
def population(fleet) -> Population:
    return fit_fleet(fleet)


def together(fleet: Histories, *rows) -> Histories:
    """The fleet's methods with a few bearings of one's own."""
    return build(list(rows), fleet.methods)


def same(a, b, rel: float = 0.0) -> None:
    for field in fields(a):
        one, other = getattr(a, field.name), getattr(b, field.name)
        if rel:
            assert one == pytest.approx(other, rel=rel, abs=rel, nan_ok=True), field.name
        else:
            assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), field.name


def test_one_bearing_alone_gets_exactly_what_it_gets_in_the_batch(fleet, population):
    batch = forecast(fleet, population)
    for i in (0, 7, 29):
        alone = forecast(fleet.take([i]), population)
        assert np.array_equal(alone.max_days[0], batch.max_days[i])
        assert np.array_equal(alone.rate_um_per_kh[0], batch.rate_um_per_kh[i])
        assert alone.own_evidence[0] == batch.own_evidence[i]


def test_the_order_of_bearings_changes_nothing_at_all(fleet, population):
    order = np.random.default_rng(3).permutation(fleet.n_bearings)
    shuffled = fleet.take(order)
    assert fit_fleet(shuffled) == population
    a, b = forecast(fleet, population), forecast(shuffled, population)
    assert np.array_equal(a.max_days[order], b.max_days)


@pytest.mark.parametrize("shift", [480.0, -1000.0, 17_531.0])
def test_the_origin_of_exposure_changes_nothing(fleet, population, shift):
    """Hours since 1970, since 1 AD or since the first start are one and the same."""
    moved = replace(fleet, exposure_kh=fleet.exposure_kh + shift, now_kh=fleet.now_kh + shift)
    other = fit_fleet(moved)
    assert other.log_median == pytest.approx(population.log_median, abs=1e-6)
    same(forecast(moved, other), forecast(fleet, population), rel=1e-4)


@pytest.mark.parametrize("unit", [1000.0, 1000 / 24, 1 / 8.766])
def test_the_unit_of_time_changes_nothing(unit):
    """Hours, days or years of running, brought to thousand hours, give the same dates to 1e-4."""
    plain = steady_fleet(10)
    counted = np.round(plain.exposure_kh * unit, 9)
    again = replace(plain, exposure_kh=counted / unit, now_kh=plain.now_kh * unit / unit)
    a, b = forecast(plain, fit_fleet(plain)), forecast(again, fit_fleet(again))
    assert a.max_days == pytest.approx(b.max_days, rel=1e-4)


def test_a_stored_population_recomputes_to_the_byte(fleet, population):
    import json

    again = Population.from_json(json.loads(json.dumps(population.to_json())))
    assert again == population
    same(forecast(fleet, again), forecast(fleet, population))


def test_the_inputs_are_left_untouched(fleet):
    before = copy.deepcopy(fleet)
    forecast(fleet, fit_fleet(fleet))
    for field in fields(Histories):
        one, other = getattr(fleet, field.name), getattr(before, field.name)
        assert one == other if field.name == "methods" else np.array_equal(one, other, equal_nan=True)


def test_dates_rise_with_their_share_and_chances_agree_with_them(fleet, population):
    result = forecast(fleet, population)
    finite = np.nan_to_num(result.max_days, posinf=1e9)
    assert (np.diff(finite, axis=1) >= 0).all()
    days = np.where(np.isfinite(result.max_days), result.max_days, 100.0)
    chance, _ = chance_by(fleet, population, days)
    inner = np.isfinite(result.max_days) & (result.max_days > 0)
    shares = np.tile([0.05, 0.1, 0.5, 0.9, 0.95], (fleet.n_bearings, 1))
    assert chance[inner] == pytest.approx(shares[inner], abs=1e-3)


def test_a_young_fleet_cannot_say():
    h = build([(FACTS, [event(Kind.NEW_LIFE, 0.0), reading(10, 150), reading(20, 170)])] * 2, [LEAD])
    result = forecast(h, fit_fleet(h))
    assert [OUTCOMES[o] for o in result.outcome] == ["cannot_say"] * 2
    assert [ADVICE[a] for a in result.advice] == ["open"] * 2
    assert np.isnan(result.max_days).all()
    assert np.isnan(result.replace_days).all()


def test_outcomes_one_by_one(fleet, population):
    new = event(Kind.NEW_LIFE, 0.0)
    h = together(
        fleet,
        ({"fitting_um": 130.0}, [new, reading(10, 150)]),
        (FACTS, [new]),
        (FACTS, [new, reading(10, 200), reading(20, 275), reading(30, 330)]),
        ({**FACTS, "replace_um": 170.0}, [new, reading(10, 155), reading(20, 180), reading(30, 205)]),
        (FACTS, [new, reading(10, 150)]),
    )
    result = forecast(h, population)
    want = ["no_limit", "fleet_only", "past_limit", "past_limit", "ok"]
    assert [OUTCOMES[o] for o in result.outcome] == want
    assert ADVICE[result.advice[0]] == "leave"
    assert ADVICE[result.advice[1]] == "open"
    assert REPLACE_FROM[result.replace_limit_from[3]] == "plant"
    assert result.replace_days[3, 2] == 0.0
    assert np.isnan(result.max_days[0]).all()
    assert result.own_evidence[1] == 0.0


def test_no_room_to_scrape_is_said_and_is_no_alarm(fleet, population):
    """Wear model section 5: 7 mil new, 9 mil maximum leaves no room; dates are then the maximum's."""
    rows = [event(Kind.NEW_LIFE, 0.0), reading(8.0, 7.0 * 25.4)]
    h = together(fleet, ({"fitting_um": 7.0 * 25.4, "limit_um": 9.0 * 25.4}, rows))
    result = forecast(h, population)
    assert REPLACE_FROM[result.replace_limit_from[0]] == "no_room"
    assert result.replace_limit_um[0] < 7.0 * 25.4
    assert np.array_equal(result.replace_days[0], result.max_days[0])
    assert OUTCOMES[result.outcome[0]] == "ok"


def test_scrape_only_answers_an_open_contact_check(fleet, population):
    rows = [event(Kind.NEW_LIFE, 0.0), reading(8.0, 140.0)]
    facts = {**FACTS, "limit_um": 600.0, "outage_days": (30.0, 200.0)}
    owed = {**facts, "scrape_owed": True}
    h = together(fleet, (facts, rows), (owed, rows), ({**owed, "scrapeable": False}, rows))
    words = [ADVICE[a] for a in forecast(h, population).advice]
    assert words == [
        "leave",
        "scrape",
        "open",
    ]  # never a new shell for a finding alone: the engineer is asked


def test_the_evidence_a_reading_adds_is_counted(fleet, population):
    new = event(Kind.NEW_LIFE, 0.0)
    rows = [reading(10.0 * k, 130 + 22.0 * k) for k in range(1, 6)]
    h = together(fleet, *[(FACTS, [new, *rows[:k]]) for k in range(6)])
    own = forecast(h, population).own_evidence
    assert own[0] == 0.0
    assert (np.diff(own) > 0).all()
    assert own[-1] > 0.7


def test_what_two_readings_can_detect():
    """Wear model section 4: 0.5 mil, 8000 h apart: 0.145 mil per 1000 h, one-sided 95 % (own arithmetic)."""
    rows = [event(Kind.NEW_LIFE, 0.0), reading(1.0, 150.0), reading(9.0, 160.0)]
    h = build([(FACTS, rows)] * 4, [Method("plastic strip", 0.5 * 25.4)])
    population = fit_fleet(h)
    sure = replace(population.main.designs[0], method_sd={"plastic strip": 0.5 * 25.4})
    pool = replace(population.main, designs=(sure,), weights=(1.0,))
    result = forecast(h, Population((pool,)))
    assert result.detectable_um_per_kh[0] / 25.4 == pytest.approx(0.1454, abs=2e-4)


def test_a_slip_inside_the_record_hardly_moves_the_date(fleet, population):
    """One reading off by a named factor: the 10 % date stays within a month of the one without it."""
    new = event(Kind.NEW_LIFE, 0.0)
    good = [reading(10.0 * k, 130 + 24.0 * k) for k in range(1, 6)]
    rows, without = [], []
    for place in range(4):
        for factor in (25.4, 1000.0, 10.0, 2.0, 0.5, 0.1):
            bad = [*good]
            bad[place] = reading(10.0 * (place + 1), good[place]["value_um"] * factor)
            rows.append((FACTS, [new, *bad]))
            without.append((FACTS, [new, *good[:place], *good[place + 1 :]]))
    a = forecast(together(fleet, *rows), population)
    b = forecast(together(fleet, *without), population)
    assert np.abs(a.max_days[:, 1] - b.max_days[:, 1]).max() < 30.0
    assert not np.isin(a.advice_reason, REASONS.index("surprising_reading")).any()


def test_a_larger_last_reading_never_makes_a_date_later(fleet, population):
    """A new shell that wears far faster than the one before it: as its reading begins to surprise, a step at
    the old rate comes to be thought of, and its date lay later than that of the reading as it is.
    """
    before = [event(Kind.NEW_LIFE, 0.0), *[reading(10.0 * k, 130 + 20.0 * k) for k in range(1, 5)]]
    now = [event(Kind.NEW_LIFE, 40.0), reading(40.0, 130.0)]
    gains = np.arange(10.0, 125.0, 2.5)
    rows = [(FACTS, [*before, *now, reading(52.0, 130.0 + gain)]) for gain in gains]
    result = forecast(together(fleet, *rows), population)
    assert result.surprise.min() < 0.02 < 0.5 < result.surprise.max()
    assert np.diff(result.max_days[:, 1]).max() <= 1.0


def test_a_low_last_reading_that_a_second_one_confirmed_is_no_slip(fleet, population):
    rows = [*[reading(10.0 * k, 130 + 20.0 * k) for k in range(5)], reading(50.0, 200.0)]
    facts = FACTS | {"last_confirmed": True}
    told = forecast(together(fleet, (FACTS, rows), (facts, rows)), population)
    assert told.surprise.max() < 0.02
    assert told.max_days[0, 1] < told.max_days[1, 1] - 30.0


def test_a_high_last_reading_that_a_second_one_confirmed_is_dated_no_later_than_one_taken_once(
    fleet, population
):
    """A jump seen twice is no slip, and no less a jump: a real step stays in mind."""
    new = event(Kind.NEW_LIFE, 0.0)
    rows = [new, *[reading(10.0 * k, 130 + 12.0 * k) for k in range(5)], reading(50.0, 240.0)]
    facts = FACTS | {"last_confirmed": True}
    told = forecast(together(fleet, (FACTS, rows), (facts, rows)), population)
    assert told.surprise.max() < 0.0027
    assert told.max_days[1, 1] <= told.max_days[0, 1]
    assert told.p_max_before_next[1] >= told.p_max_before_next[0] > 0.45
    slip = [*rows[:-1], reading(50.0, 190.0 * 25.4)]
    told = forecast(together(fleet, (FACTS, slip), (facts, slip)), population)
    assert np.isfinite(told.slip_factor[0]) and np.isnan(told.slip_factor[1])


def test_a_surprising_last_reading_is_never_discounted_in_silence(fleet, population):
    """A jump of more than 6 sd: the date is no later than that of a real step, and the advice is to open."""
    new = event(Kind.NEW_LIFE, 0.0)
    good = [reading(10.0 * k, 130 + 20.0 * k) for k in range(1, 5)]
    jump = reading(50.0, 130 + 100.0 + 100.0)
    step = [new, *good, event(Kind.NEW_BASELINE, 50.0), jump]
    half = reading(50.0, 0.5 * (130 + 100.0))
    result = forecast(
        together(
            fleet,
            (FACTS, [new, *good, jump]),
            (FACTS, step),
            (FACTS, [new, *good, half]),
            (FACTS, [new, *good]),
        ),
        population,
    )
    assert result.surprise[0] < 1e-6
    assert REASONS[result.advice_reason[0]] == "surprising_reading"
    assert (result.max_days[0] <= result.max_days[1] + 1.0).all()
    assert result.slip_factor[2] == 0.5
    assert result.max_days[2, 1] <= result.max_days[3, 1]
    assert np.isnan(result.slip_factor[3])


def test_an_alignment_corrected_mid_life_is_followed_within_two_readings(fleet, population):
    """Four times the rate until the event: afterwards the median rate comes back to the new one.

    Unwritten it looks like wear that slows down: the bearing is read under curves of its own too.
    """
    fast = [reading(5.0 * k, 130 + 8.0 * 5.0 * k) for k in range(1, 4)]
    slow = [reading(15.0 + 10.0 * k, 250 + 2.0 * 10 * k) for k in range(1, 3)]
    facts = {**FACTS, "limit_um": 500.0}
    new, fixed = event(Kind.NEW_LIFE, 0.0), event(Kind.RATE_BREAK, 15.0)
    h = together(fleet, (facts, [new, *fast, fixed, *slow]), (facts, [new, *fast, *slow]))
    result = forecast(h, population)
    assert result.rate_um_per_kh[0, 1] < 3.2
    assert not result.own_exponent[0] < 0.9 and result.own_exponent[1] < 0.8


def test_the_larger_end_meets_the_limit(fleet, population):
    """The mean of the ends plus half the taper is held against the maximum, and grows with it."""
    new = event(Kind.NEW_LIFE, 0.0)
    even = [reading(10.0 * k, 130 + 22.0 * k, taper_um=0.0) for k in range(1, 5)]
    uneven = [{**row, "taper_um": 10.0 * k} for k, row in enumerate(even, start=1)]
    result = forecast(together(fleet, (FACTS, [new, *even]), (FACTS, [new, *uneven])), population)
    assert result.clearance_um[1, 1] - result.clearance_um[0, 1] == pytest.approx(20.0, abs=6.0)
    assert result.max_days[1, 2] < result.max_days[0, 2]


def test_an_uncertain_duty_widens_the_dates_and_keeps_the_middle(fleet, population):
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(10.0 * k, 130 + 20.0 * k) for k in range(1, 4)]
    h = together(
        fleet, (FACTS, rows), ({**FACTS, "duty_sd": 0.4}, rows), ({**FACTS, "hours_per_day": 6.0}, rows)
    )
    days = forecast(h, population).max_days
    assert days[1, 0] < days[0, 0]
    assert days[1, 4] > days[0, 4]
    assert days[1, 2] == pytest.approx(days[0, 2], rel=0.02)
    assert days[2] == pytest.approx(4.0 * days[0], rel=1e-3)


def test_beyond_forty_years_and_never_run(fleet, population):
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(10.0 * k, 130 + 1.0 * k) for k in range(1, 4)]
    h = together(fleet, ({**FACTS, "limit_um": 5000.0}, rows), ({**FACTS, "hours_per_day": 0.0}, rows))
    assert np.isinf(forecast(h, population).max_days).all()


def test_the_path_follows_the_record_and_the_fan_starts_where_the_forecast_stands(fleet, population):
    rows = [event(Kind.NEW_LIFE, 0.0), reading(10, 150), reading(20, 172), event(Kind.SCRAPE, 20.0)]
    rows += [reading(20, 186), reading(30, 207)]
    h = together(fleet, (FACTS, rows))
    drawn = path(h, population, 0, np.array([0.0, 365.0, 730.0]))
    result = forecast(h, population)
    assert drawn.after.shape == (6, 3)
    assert drawn.after[3, 0] > drawn.before[3, 0] + 3.0
    assert drawn.before[4, 0] == pytest.approx(drawn.after[3, 0], abs=1e-6)
    assert (drawn.after[:, 1] < drawn.after[:, 2]).all()
    assert drawn.fan[0, [1, 3, 5]] == pytest.approx(result.clearance_um[0], abs=0.05)
    assert (np.diff(drawn.fan, axis=1) > 0).all()
    assert (np.diff(drawn.p_max) >= 0).all()
    assert drawn.p_max[0] == pytest.approx(result.p_max_now[0], abs=1e-6)
    assert len(path(together(fleet, ({}, [])), population, 0, np.array([0.0])).after) == 0


MESS = {
    "nothing": [],
    "one": [reading(1, 150)],
    "repeats": [reading(1, 150)] * 4,
    "huge": [reading(0, 1e300), reading(1, np.inf), reading(2, 1e9), reading(3, 160.0)],
    "tiny": [reading(0, 1e-9), reading(1, 1e-9), reading(2, 2e-9)],
    "negative": [reading(0, -100.0), reading(10, -300.0)],
    "backwards": [reading(30, 150.0), reading(10, 160.0), reading(np.nan, 170.0)],
    "no method": [reading(0, 150.0, method=-1), reading(9, 160.0, method=9)],
    "blank": [reading(0, np.nan), {"kind": Kind.INTERVAL, "exposure_kh": 3.0, "method": 0}],
    "impossible": [
        {"kind": Kind.INTERVAL, "exposure_kh": 9.0, "low_um": 1e6, "high_um": np.inf, "method": 0}
    ],
    "work": [event(kind, 3.0) for kind in Kind if kind > Kind.INTERVAL],
}


@pytest.mark.parametrize("mess", MESS)
@pytest.mark.parametrize(
    "facts", [{}, FACTS, {"limit_um": 0.0, "hours_per_day": np.nan, "outage_days": (np.nan, np.nan)}]
)
def test_no_mess_stops_the_fleet(mess, facts):
    good = [event(Kind.NEW_LIFE, 0.0), reading(10, 150), reading(20, 171), reading(30, 193)]
    h = build([(facts, MESS[mess])] + [(FACTS, good)] * 3, [LEAD])
    result = forecast(h, fit_fleet(h))
    assert OUTCOMES[result.outcome[0]] in OUTCOMES
    assert [OUTCOMES[o] for o in result.outcome[1:]] == ["ok"] * 3
    assert np.isfinite(result.max_days[1:]).all()
    lone = build([(facts, MESS[mess])], [LEAD])
    assert len(forecast(lone, fit_fleet(lone)).outcome) == 1


def test_one_absurd_bearing_does_not_steer_the_fleet(fleet, population):
    rows = [event(Kind.NEW_LIFE, 0.0)] + [reading(10.0 * k, 130 + 2000.0 * k) for k in range(1, 4)]
    absurd = build([(FACTS, rows)], fleet.methods)
    parts = [fleet.take([i]) for i in range(fleet.n_bearings)] + [absurd]
    events = [{f: getattr(p, f) for f in ("kind", "exposure_kh", "value_um", "method")} for p in parts]
    everyone = build(
        [(FACTS, [dict(zip(e, row, strict=True)) for row in zip(*e.values(), strict=True)]) for e in events],
        fleet.methods,
    )
    other = fit_fleet(everyone)
    assert other.converged
    assert other.log_median == pytest.approx(population.log_median, abs=0.1)


def test_four_threads_at_once_agree_with_one(fleet, population):
    want = forecast(fleet, population)
    with ThreadPoolExecutor(4) as pool:
        for got in pool.map(lambda _: forecast(fleet, population), range(8)):
            same(got, want)
    same(forecast(fleet, population, threads=True), want)


SCRIPT = """
import json, sys
import numpy as np
from inspections.wear.compilation import COMPILED
from inspections.wear.forecast import forecast
from inspections.wear.fit import fit_fleet
from inspections.wear.population import Population
from tests.inspections.wear.makers import steady_fleet
fleet = steady_fleet(6)
population = Population.from_json(json.load(sys.stdin))
result = forecast(fleet, population)
print(json.dumps([COMPILED, result.max_days.tolist(), result.rate_um_per_kh.tolist()]))
"""


def test_without_the_compiler_the_figures_are_the_same():
    """The numpy path agrees with the compiled one to 1e-9."""
    import json

    population = fit_fleet(steady_fleet(6))
    ours = forecast(steady_fleet(6), population)
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT],
        input=json.dumps(population.to_json()),
        capture_output=True,
        text=True,
        env={**os.environ, "CLEARANCE_NO_NUMBA": "1"},
        check=True,
    )
    compiled, days, rates = json.loads(done.stdout)
    assert compiled is False
    assert np.array(days) == pytest.approx(ours.max_days, rel=1e-9)
    assert np.array(rates) == pytest.approx(ours.rate_um_per_kh, rel=1e-9)
    # As they are hashed: rounded to six significant digits, they are the same figures.
    for plain, made in ((days, ours.max_days), (rates, ours.rate_um_per_kh)):
        assert [f"{x:.6g}" for x in np.ravel(plain)] == [f"{x:.6g}" for x in np.ravel(made)]
