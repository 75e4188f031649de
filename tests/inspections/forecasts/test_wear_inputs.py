"""Rows into arrays: each effect of the record reaches the wear engine, at its exposure, with a constant
number of questions.
"""

import datetime as dt
from decimal import Decimal

import numpy as np
import pytest

from inspections.forecasts.codes import Codes
from inspections.forecasts.notes import notes
from inspections.forecasts.wear_inputs import fleet_inputs, inputs
from inspections.visits.acts import enter
from inspections.wear.arrays import Kind
from tests import makers

pytestmark = pytest.mark.django_db
AS_OF = dt.date(2026, 1, 1)


def _kinds(bearing) -> list[Kind]:
    h = inputs([bearing], AS_OF, Codes()).histories
    return [Kind(code) for code in h.kind]


def test_every_effect_of_the_record_reaches_the_engine_in_order():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, on=dt.date(2010, 1, 5))
    makers.an_event(kind="alignment", bearing=bearing, on=dt.date(2011, 1, 5))
    makers.a_reading(bearing=bearing, on=dt.date(2012, 1, 5), value="0.170")
    makers.an_event(kind="scrape", bearing=bearing, on=dt.date(2012, 1, 5))
    makers.an_event(kind="shell_change", bearing=bearing, on=dt.date(2014, 1, 5))
    makers.an_event(kind="shell_change", bearing=bearing, half="upper", on=dt.date(2016, 1, 5))
    makers.an_event(kind="note", bearing=bearing, on=dt.date(2017, 1, 5), note="oil dark")
    assert _kinds(bearing) == [
        Kind.READING,
        Kind.RATE_BREAK,
        Kind.READING,
        Kind.SCRAPE,
        Kind.NEW_LIFE,
        Kind.NEW_BASELINE,
    ]


def test_an_interval_is_never_a_number():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value=">0.006", unit="in", method="plastic_strip")
    h = inputs([bearing], AS_OF, Codes()).histories
    assert h.kind.tolist() == [Kind.INTERVAL] and np.isnan(h.value_um[0])
    assert (h.low_um[0], h.high_um[0]) == (pytest.approx(152.4), np.inf)


def test_exposure_follows_the_hour_meter_and_its_resets():
    place = makers.a_place()
    bearing = makers.a_bearing(place=place)
    makers.a_meter_entry(place=place, on=dt.date(2010, 1, 1), hours=1000)
    makers.a_meter_entry(place=place, on=dt.date(2012, 1, 1), hours=9000)
    makers.a_meter_entry(place=place, on=dt.date(2012, 1, 2), hours=0, reset=True, hours_before=Decimal(9000))
    makers.a_meter_entry(place=place, on=dt.date(2014, 1, 1), hours=4000)
    makers.a_reading(bearing=bearing, on=dt.date(2010, 1, 1))
    makers.a_reading(bearing=bearing, on=dt.date(2014, 1, 1))
    h = inputs([bearing], AS_OF, Codes()).histories
    assert h.exposure_kh[1] - h.exposure_kh[0] == pytest.approx(12.0, abs=0.02)


def test_a_meter_that_counted_double_for_years_is_named_unless_a_change_of_duty_is_written():
    place = makers.a_place()
    bearing = makers.a_bearing(place=place)
    total = 0
    for year, a_day in zip(range(2012, 2022), (0, 9, 9, 18, 18, 18, 18, 9, 9, 9), strict=True):
        total += 365 * a_day
        makers.a_meter_entry(place=place, on=dt.date(year, 1, 1), hours=total)
    (known,) = inputs([bearing], AS_OF, Codes()).known
    (note,) = [note for note in notes(known) if "hour meter" in note]
    assert "counted 18 h a day from Jan 2014 to Jan 2018, else 9" in note.replace("\u00a0", " ")
    makers.an_event(kind="duty_change", bearing=bearing, on=dt.date(2014, 1, 20))
    (known,) = inputs([bearing], AS_OF, Codes()).known
    assert not any("hour meter" in note for note in notes(known))


def test_without_a_meter_a_stated_duty_serves_and_without_either_the_calendar():
    stated = makers.a_bearing(place=makers.a_place(duty_hours_per_day=12))
    neither = makers.a_bearing()
    h = inputs([stated, neither], AS_OF, Codes()).histories
    assert h.clock.tolist() == [1, 2] and h.hours_per_day.tolist() == [12.0, 24.0]


def test_the_limits_of_a_day_are_those_in_force_then():
    from fleet.plant.limits import set_limits

    bearing = makers.a_bearing(limits={"in_service_max": 300})
    set_limits(
        [bearing],
        {"in_service_max": 280},
        authority="plant",
        from_on=dt.date(2025, 6, 1),
        by=makers.somebody(),
    )
    now = inputs([bearing], AS_OF, Codes()).histories
    before = inputs([bearing], dt.date(2025, 1, 1), Codes()).histories
    assert (before.limit_um[0], now.limit_um[0]) == (300.0, 280.0)


def test_coming_outages_are_the_sites_own_and_the_usual_interval_where_fewer_are_known():
    site = makers.a_site()
    bearing = makers.a_bearing(place=makers.a_place(site=site))
    makers.an_outage(site=site, start_on=dt.date(2026, 4, 11))
    makers.an_outage(site=makers.a_site(), start_on=dt.date(2026, 2, 1))
    known = inputs([bearing], AS_OF, Codes())
    assert known.histories.outage_days[0].tolist() == [100.0, 648.0]
    assert known.known[0].coming.n_known == 1


def test_an_outage_that_runs_is_the_next_until_its_last_day_or_the_reading_taken_in_it():
    site = makers.a_site()
    measured, waiting = (makers.a_bearing(place=makers.a_place(site=site)) for _ in range(2))
    running = makers.an_outage(site=site, start_on=AS_OF - dt.timedelta(days=3), days=10)
    later = makers.an_outage(site=site, start_on=AS_OF + dt.timedelta(days=500))
    makers.a_reading(bearing=waiting, on=AS_OF - dt.timedelta(days=700))
    makers.a_reading(bearing=measured, on=AS_OF - dt.timedelta(days=1))
    coming = [one.coming for one in inputs([measured, waiting], AS_OF, Codes()).known]
    assert [(one.first, one.days[0]) for one in coming] == [(later, 500.0), (running, 0.0)]
    last_day, day_after = (AS_OF + dt.timedelta(days=n) for n in (7, 8))
    assert inputs([waiting], last_day, Codes()).known[0].coming.first == running
    assert inputs([waiting], day_after, Codes()).known[0].coming.first == later


def test_what_had_not_happened_by_the_day_is_not_used():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, on=dt.date(2020, 1, 5))
    makers.a_reading(bearing=bearing, on=dt.date(2025, 1, 5))
    assert len(inputs([bearing], dt.date(2022, 1, 1), Codes()).histories.kind) == 1


def test_both_ends_are_one_observation_with_their_taper():
    bearing = makers.a_bearing()
    visit_day = dt.date(2020, 1, 5)
    makers.a_reading(bearing=bearing, on=visit_day, value="0.150", station="in-12")
    makers.a_reading(bearing=bearing, on=visit_day, value="0.170", station="out-12")
    h = inputs([bearing], AS_OF, Codes()).histories
    assert h.kind.tolist() == [Kind.READING]
    assert (h.value_um[0], h.taper_um[0]) == (pytest.approx(160.0), pytest.approx(20.0))


def test_many_bearings_ask_as_much_as_two(django_assert_max_num_queries):
    bearings = [makers.a_bearing() for _ in range(12)]
    for bearing in bearings:
        makers.a_reading(bearing=bearing)
    with django_assert_max_num_queries(60) as few:
        inputs(bearings[:2], AS_OF, Codes())
    with django_assert_max_num_queries(60) as many:
        inputs(bearings, AS_OF, Codes())
    assert len(few) == len(many)


def test_starts_of_the_pump_reach_the_engine_at_each_event():
    place = makers.a_place(positions=("DE",))
    bearing = makers.a_bearing(place=place)
    for year, hours, starts in ((2010, 0, 100), (2014, 10_000, 300), (2018, 20_000, 400)):
        makers.a_meter_entry(place=place, on=dt.date(year, 1, 5), hours=hours, starts=starts)
        makers.a_reading(bearing=bearing, on=dt.date(year, 1, 5), value=f"0.{150 + year - 2010}")
    h = inputs([bearing], AS_OF, Codes()).histories
    assert (np.diff(h.starts_k) * 1000).tolist() == pytest.approx([200, 100])
    assert h.starts_per_hour[0] == pytest.approx(0.01)
    bare = inputs([makers.a_bearing()], AS_OF, Codes()).histories
    assert np.isnan(bare.starts_per_hour).all()


def test_how_duties_wander_is_learned_from_the_meters_and_kept_with_a_run():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, on=dt.date(2015, 1, 1), value="0.150")
    for year in range(2010, 2026):
        makers.a_meter_entry(place=bearing.place, on=dt.date(year, 1, 1), hours=4000 * (year - 2010))
    codes = Codes()
    learned = fleet_inputs(AS_OF, codes).histories.duty_drift[0]
    assert learned == codes.drift_at(4000 / 365.25) < 0.002
    again = Codes.of_stored(codes.stored())
    assert inputs([bearing], AS_OF, again).histories.duty_drift[0] == learned
    assert inputs([bearing], AS_OF, Codes()).histories.duty_drift[0] == 0.02


def test_a_run_from_before_drift_was_learned_keeps_the_drift_it_was_made_with():
    assert Codes.of_stored({"codes": Codes().by_factor}).duty_drift == (0.02, 0.02)


@pytest.mark.parametrize(
    ("again", "confirmed"), [("0.215", True), ("0.245", False), (">0.210", False), (None, False)]
)
def test_a_last_reading_taken_twice_is_told_as_confirmed_where_the_two_agree(again, confirmed):
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, on=dt.date(2010, 1, 5))
    first = makers.a_reading(bearing=bearing, on=dt.date(2014, 1, 5), value="0.212")
    if again:
        facts = {"bearing": bearing, "on": first.on, "stage": "as_found", "method": "micrometer"}
        enter(visit=first.visit, value=again, unit="mm", by=first.recorded_by, instead_of=first, **facts)
    assert inputs([bearing], AS_OF, Codes()).histories.last_confirmed.tolist() == [confirmed]
    makers.a_reading(bearing=bearing, on=dt.date(2016, 1, 5), value="0.220")
    assert inputs([bearing], AS_OF, Codes()).histories.last_confirmed.tolist() == [False]
