"""A clearance that fell with nothing written: a new shell, another gauge or a slip, weighed with what was
read later.
"""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear.advice import ADVICE
from inspections.wear.arrays import Kind, Method, build
from inspections.wear.backtest import hide_and_tell, score
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.path import path
from inspections.wear.population import Population
from inspections.wear.unwritten import read_record

from .makers import event, reading, steady_fleet

FACTS = {"fitting_um": 130.0, "limit_um": 260.0, "class_": 0}
BEFORE = [reading(11.0, 165.0), reading(22.0, 200.0), reading(33.0, 236.0)]
AFTER = [reading(44.0, 142.0), reading(55.0, 158.0), reading(66.0, 174.0)]


@pytest.fixture(scope="module")
def population() -> Population:
    return fit_fleet(steady_fleet(80), carry=False)


def fleet(*records):
    return build(
        [(FACTS, [event(Kind.NEW_LIFE, 0.0), *rows]) for rows in records], [Method("lead wire", 10.0)]
    )


def test_a_shell_change_nobody_wrote_down_gives_nearly_the_dates_of_one_written(population):
    written = [*BEFORE, event(Kind.NEW_LIFE, 38.5), *AFTER]
    result = forecast(fleet([*BEFORE, *AFTER], written), population)
    assert result.unwritten[0, 0] > 0.9
    assert np.isnan(result.unwritten[1]).all()
    assert result.max_days[0, 2] == pytest.approx(result.max_days[1, 2], rel=0.05)
    assert result.max_days[0, 0] <= 1.01 * result.max_days[1, 0]
    assert result.outcome[0] == result.outcome[1]


def test_a_lower_level_that_is_not_new_metal_is_likelier_another_gauge(population):
    rows = [reading(11.0 * k, value) for k, value in enumerate([155, 178, 202, 226, 250, 196, 220, 244], 1)]
    new, gauge, _ = forecast(fleet(rows), population).unwritten[0]
    assert gauge > 2 * new


@pytest.mark.parametrize("factor", [1 / 25.4, 1000.0])
def test_a_slip_of_the_unit_is_no_new_shell(population, factor):
    slip = [reading(11.0, 152.0), reading(22.0, 174.0 * factor), reading(33.0, 198.0), reading(44.0, 221.0)]
    good = [slip[0], reading(22.0, 174.0), *slip[2:]]
    result = forecast(fleet(slip, good), population)
    assert result.unwritten[0, 2] > 0.97
    assert result.max_days[0] == pytest.approx(result.max_days[1], rel=0.1)


@pytest.mark.parametrize("factor", [25.4, 2.0])
def test_where_a_slip_set_aside_explains_a_fall_no_change_is_believed(population, factor):
    """Without the slip the readings rise, and a gap in which they rise is doubted nowhere else."""
    rows = [reading(11.0 * k, value) for k, value in enumerate([136.0, 140.0, 143.0, 148.0, 152.0], 1)]
    slip, left_out = [rows[0], reading(22.0, 140.0 * factor), *rows[2:]], [rows[0], *rows[2:]]
    result = forecast(fleet(slip, left_out), population)
    assert result.unwritten[0].tolist() == [0.0, 0.0, 1.0]
    assert result.max_days[0] == pytest.approx(result.max_days[1], abs=1.0)


def test_a_smaller_fall_counts_where_a_reading_would_else_be_a_slip(population):
    """A fast second life had come near the first one's end when it was read: 33 um lower, under the usual
    3.5 sds.
    """
    closed = [reading(11.0, 190.0), reading(22.0, 250.0), reading(33.0, 217.0), reading(44.0, 320.0)]
    after = [event(Kind.NEW_LIFE, 44.0), reading(44.0, 140.0), reading(55.0, 200.0)]
    record = read_record(fleet([*closed, *after]), population.main.designs[0])
    assert not record.aside.any()
    assert record.chances[0, 0] > 0.25


def test_a_level_said_to_be_unknown_keeps_the_doubt_of_its_words(population):
    """With nothing read afterwards: a new shell 85, another level 10, nothing 5 in 100."""
    result = forecast(fleet([*BEFORE, event(Kind.UNSURE, 40.0)]), population)
    assert result.unwritten[0] == pytest.approx([0.85, 0.10, 0.05], abs=0.01)
    assert result.max_days[0, 0] < 0.3 * result.max_days[0, 2]


def test_a_fall_at_the_last_reading_is_weighed_and_the_earlier_date_governs(population):
    """Nothing later speaks, so a person is asked at once and the date stays the earlier
    one until the answer.
    """
    result = forecast(fleet([*BEFORE, AFTER[0]], BEFORE), population)
    assert result.unwritten[0, 0] > 0.9
    assert result.unwritten_at[0] == 4
    assert np.isnan(result.unwritten[1]).all() and result.unwritten_at[1] == -1
    assert result.max_days[0, 2] == pytest.approx(result.max_days[1, 2], abs=500)
    assert result.max_days[0, 1] < 400


def test_a_fall_at_the_last_reading_sets_no_reading_before_it_aside(population):
    """A fast life is found near its maximum and the shell changed: its own reading is no slip that makes
    room for the last one, and nothing is left closed on that.
    """
    found = [*BEFORE, event(Kind.NEW_LIFE, 33.0), reading(33.0, 134.0), reading(52.0, 242.0)]
    h = fleet([*found, reading(60.0, 157.0)])
    record = read_record(h, population.main.designs[0])
    assert record.chances[0, 0] > 0.9
    assert not record.aside.any()
    result = forecast(h, population)
    assert result.max_days[0, 1] < 400
    assert ADVICE[result.advice[0]] == "open"


def test_before_a_fall_at_the_last_reading_a_slip_of_the_pen_is_still_set_aside(population):
    record = read_record(
        fleet([BEFORE[0], reading(22.0, 400.0), BEFORE[2], AFTER[0]]), population.main.designs[0]
    )
    assert record.chances[0, 0] > 0.9
    assert record.f.histories.value_um[record.aside].tolist() == [400.0]


def test_a_slip_of_the_unit_at_the_last_reading_is_asked_nothing_of(population):
    slip = forecast(fleet([*BEFORE, reading(44.0, 260.0 / 25.4)]), population)
    assert slip.unwritten[0, 2] > 0.9


def test_of_two_falls_the_one_at_the_last_reading_is_asked_about(population):
    rows = [*BEFORE, *AFTER, reading(77.0, 192.0), reading(88.0, 210.0), reading(99.0, 135.0)]
    result = forecast(fleet(BEFORE, rows), population)
    assert result.unwritten_at[1] == 9
    assert result.unwritten[1, 0] > 0.9


def test_the_backtest_weighs_a_fall_before_what_it_hides():
    """Drawn without the engine: of every third bearing the second life is not written; its last reading is
    hidden.
    """
    told = hide_and_tell(_renewed_fleet(False))
    silent = told.bearing % 3 == 0
    found = score(told.value_um[silent], told.ours[silent])
    assert 25.0 <= found.below[2] <= 75.0  # read as steady wear, nine in ten lie above their even quantile
    assert found.loss_um < 5.0


def test_the_drawn_path_has_the_events_of_the_record(population):
    drawn = path(fleet([*BEFORE, *AFTER]), population, 0, np.array([0.0, 500.0]))
    assert drawn.before.shape == drawn.after.shape == (7, 3)
    assert drawn.set_aside.shape == (7,)
    assert drawn.after[4, 0] == pytest.approx(142.0, abs=12.0)


def test_the_fleets_numbers_are_those_of_its_written_shell_changes():
    """A tenth of the lives begin unwritten: tau and the gauge's spread are not swollen by them."""
    told, silent = _renewed_fleet(True), _renewed_fleet(False)
    a, b = (fit_fleet(h, carry=False).main.designs[0] for h in (told, silent))
    assert b.tau == pytest.approx(a.tau, abs=0.06)
    assert b.method_sd["lead wire"] == pytest.approx(a.method_sd["lead wire"], rel=0.1)


def test_no_rate_is_learned_from_a_reading_that_cannot_be():
    """Of every fifth bearing the first life's only reading is 25.4 times too large, which an outlying rate
    would explain.
    """
    rng = np.random.default_rng(7)
    rows = []
    for i in range(100):
        level, rate = 130 * (1 + 0.1 * rng.normal()), 2.2 * np.exp(0.5 * rng.normal())
        wild = [reading(11.0, 25.4 * rng.uniform(150, 200)), event(Kind.NEW_LIFE, 11.0)] if i % 5 == 0 else []
        later = [reading(11.0 + 11.0 * k, level + rate * 11.0 * k + 10.0 * rng.normal()) for k in range(1, 4)]
        rows.append((FACTS, [event(Kind.NEW_LIFE, 0.0 if wild else 11.0), *wild, *later]))
    params = fit_fleet(build(rows, [Method("lead wire", 10.0)]), carry=False).main.designs[0]
    assert params.tau == pytest.approx(0.5, abs=0.12)
    assert params.outlying < 0.03


def _renewed_fleet(written: bool):
    """60 bearings of two lives each; of every third one the second life is ``written`` or not."""
    rng = np.random.default_rng(3)
    rows = []
    for i in range(60):
        events, u = [event(Kind.NEW_LIFE, 0.0)], 0.0
        for life in range(2):
            level, rate = 130 * (1 + 0.1 * rng.normal()), 2.5 * np.exp(0.5 * rng.normal())
            if life and (written or i % 3):
                events.append(event(Kind.NEW_LIFE, u))
            for k in range(4):
                events.append(reading(u + 11.0 * k, level + rate * 11.0 * k + 10.0 * rng.normal()))
            u += 33.0
        rows.append((FACTS, events))
    return build(rows, [Method("lead wire", 10.0)])
