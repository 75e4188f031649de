"""Run hours carried on over resets, changed pumps and gaps."""

import datetime as dt
import math

import pytest

from inspections.story.exposure import MeterPoint, cumulative, recent_duty, starts_counted, starts_per_hour

START = dt.date(2010, 1, 1)


def point(day: int, hours: float, **more) -> MeterPoint:
    return MeterPoint(START + dt.timedelta(days=day), hours, **more)


def at(run, day: int) -> float:
    return float(run.at(START.toordinal() + day))


def test_between_two_entries_hours_are_linear():
    run = cumulative([point(0, 5000), point(100, 7000)])
    assert at(run, 50) == pytest.approx(1000)


def test_a_reset_with_the_meter_before_carries_the_count_on():
    run = cumulative([point(0, 90_000), point(100, 0, reset=True, hours_before=91_000), point(200, 1500)])
    assert [at(run, day) for day in (100, 200)] == [1000, 2500]


def test_a_reset_without_the_meter_before_takes_the_gap_at_the_known_duty():
    run = cumulative([point(0, 0), point(100, 2000), point(200, 0, reset=True), point(300, 2000)])
    assert at(run, 200) == pytest.approx(4000)
    assert at(run, 300) == pytest.approx(6000)


def test_another_pump_with_a_higher_meter_adds_no_hours_at_the_change():
    changed = [START + dt.timedelta(days=150)]
    run = cumulative([point(0, 0), point(100, 1000), point(200, 50_500), point(300, 51_500)], changed=changed)
    assert at(run, 300) == pytest.approx(3000)
    assert at(cumulative([point(0, 0), point(100, 1000), point(200, 50_500)]), 200) == 50_500  # the trap


def test_hours_that_fall_without_a_reset_never_make_the_count_fall():
    run = cumulative([point(0, 1000), point(100, 2000), point(200, 500), point(300, 1500)])
    assert list(run.hours) == sorted(run.hours)
    assert at(run, 300) == pytest.approx(3000)


def test_a_reading_of_the_meter_on_the_day_of_its_reset_does_not_count_twice():
    run = cumulative(
        [point(0, 1000), point(100, 0), point(100, 0, reset=True, hours_before=2000), point(200, 500)]
    )
    assert at(run, 200) == pytest.approx(1500)


def test_outside_the_entries_the_duty_of_the_nearest_two_years_goes_on():
    run = cumulative([point(0, 0), point(1000, 10_000), point(1800, 26_000)])
    assert at(run, -10) == pytest.approx(-100)
    assert at(run, 1810) == pytest.approx(26_200)
    assert at(cumulative([point(0, 0), point(10, 100)], stated_duty=6.0), 20) == pytest.approx(160)


def test_without_a_meter_the_stated_duty_serves_and_without_it_the_calendar():
    stated = cumulative([point(0, 300)], stated_duty=6.0)
    assert (stated.clock, at(stated, 10) - at(stated, 0)) == ("stated_duty", 60)
    bare = cumulative([])
    assert (bare.clock, at(bare, 10) - at(bare, 0)) == ("calendar", 240)


def test_the_origin_of_the_meter_does_not_matter():
    one = cumulative([point(0, 0), point(100, 1000), point(300, 2500)])
    other = cumulative([point(0, 70_000), point(100, 71_000), point(300, 72_500)])
    assert list(one.hours) == list(other.hours)


def test_the_recent_duty_is_that_of_the_last_two_years_with_its_spread():
    steady = cumulative([point(day, day * 20.0) for day in range(0, 2001, 200)])
    assert recent_duty(steady, START + dt.timedelta(days=2000)) == (
        pytest.approx(20),
        pytest.approx(0, abs=1e-9),
    )
    slowing = cumulative([point(0, 0), point(1000, 20_000), point(1365, 23_650), point(1730, 25_475)])
    duty, spread = recent_duty(slowing, START + dt.timedelta(days=1730))
    assert duty == pytest.approx(7.5)
    assert spread == pytest.approx(math.log(2) / math.sqrt(2))  # two equal gaps a factor 2 apart


def test_the_recent_duty_of_an_earlier_day_leaves_later_entries_out():
    run = cumulative([point(0, 0), point(700, 14_000), point(1400, 15_000)])
    assert recent_duty(run, START + dt.timedelta(days=700))[0] == pytest.approx(20)


def test_starts_per_hour_need_two_entries_that_give_starts():
    meter = [point(0, 0, starts=10), point(100, 1000, starts=60), point(200, 2000)]
    assert starts_per_hour(meter, cumulative(meter)) == pytest.approx(0.05)
    assert math.isnan(starts_per_hour(meter[2:], cumulative(meter)))


def test_starts_go_with_the_run_hours_and_on_at_the_recent_number_an_hour():
    meter = [point(0, 0, starts=10), point(1000, 1000, starts=60), point(2000, 3000, starts=80)]
    run = cumulative(meter)
    starts = starts_counted(meter, run)
    assert starts.at([START.toordinal() + 500, START.toordinal() + 1500], run).tolist() == [25.0, 60.0]
    assert starts.per_hour == pytest.approx(20 / 2000)
    assert float(starts.at(START.toordinal() + 2100, run)) == pytest.approx(70 + 0.01 * 200)


def test_a_counter_of_starts_set_back_adds_nothing():
    meter = [
        point(0, 0, starts=100),
        point(100, 1000, starts=160),
        point(200, 2000, starts=5),
        point(300, 3000, starts=45),
    ]
    assert starts_counted(meter, cumulative(meter)).counts.tolist() == [0, 60, 60, 100]


def test_starts_without_a_meter_of_hours_are_not_counted():
    assert starts_counted([point(0, 0, starts=1)], cumulative([], stated_duty=5.0)) is None
