"""A bearing's story: what becomes one observation, what each event does, and the order of it all."""

import datetime as dt
from decimal import Decimal

import pytest

from inspections.records.corrections import set_not_for_wear, withdraw
from inspections.story import timeline
from tests import makers

pytestmark = pytest.mark.django_db
DAY = makers.THE_DAY
LATER = DAY + dt.timedelta(days=700)


def test_the_two_ends_of_one_visit_are_one_observation_with_its_taper():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.18", station="in-12")
    makers.a_reading(bearing=bearing, value="0.16", station="out-6")
    (seen,) = timeline.story(bearing.pk).clearances
    assert (seen.value_um, seen.taper_um, seen.larger_um, seen.smaller_um) == (170, 20, 180, 160)
    assert seen.larger_end == "in"
    assert len(seen.readings) == 2


def test_the_middle_joins_the_mean_and_not_the_taper():
    bearing = makers.a_bearing()
    for station, value in (("in", "0.18"), ("mid", "0.20"), ("out", "0.16")):
        makers.a_reading(bearing=bearing, value=value, station=station)
    (seen,) = timeline.story(bearing.pk).clearances
    assert (seen.value_um, seen.taper_um, seen.larger_um) == (180, 20, 190)


def test_horizontal_readings_feed_no_series_where_the_load_rests_on_the_bottom():
    # Averaging vertical and horizontal would hide half of the wear (trade.md 2.2).
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.18", station="in-12")
    makers.a_reading(bearing=bearing, value="0.12", station="in-3")
    told = timeline.story(bearing.pk)
    assert [seen.value_um for seen in told.clearances] == [180]
    assert len(told.measured) == 2


def test_where_the_load_rests_on_the_left_nine_and_three_o_clock_count():
    bearing = makers.a_bearing(load_side="left")
    makers.a_reading(bearing=bearing, value="0.18", station="in-9")
    makers.a_reading(bearing=bearing, value="0.12", station="in-12", method="feeler")
    assert [seen.value_um for seen in timeline.story(bearing.pk).clearances] == [180]


def test_two_methods_of_one_visit_are_two_observations():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.18", method="plastic_strip")
    makers.a_reading(bearing=bearing, value="0.17", method="bore_gauge")
    assert {seen.method for seen in timeline.story(bearing.pk).clearances} == {"plastic_strip", "bore_gauge"}


def test_a_repeat_that_does_not_count_changes_nothing():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.18")
    makers.a_reading(bearing=bearing, value="0.26", repeat=2, counts=False)
    (seen,) = timeline.story(bearing.pk).clearances
    assert (seen.value_um, len(seen.readings)) == (180, 1)


def test_an_interval_stays_an_interval():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.15-0.17", station="in", method="feeler")
    makers.a_reading(bearing=bearing, value="0.16", station="out", method="feeler")
    makers.a_reading(bearing=bearing, value=">0.2", on=LATER)
    both, bound = timeline.story(bearing.pk).clearances
    assert (both.value_um, both.low_um, both.high_um) == (None, 155, 165)
    assert (bound.low_um, bound.high_um) == (200, None)


def test_bore_minus_journal_of_one_visit_is_a_clearance():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="100.18", quantity="bore", station="in-12")
    makers.a_reading(bearing=bearing, value="100.16", quantity="bore", station="out-12")
    makers.a_reading(bearing=bearing, value="100.30", quantity="bore", station="in-3")
    makers.a_reading(bearing=bearing, value="99.99", quantity="journal", method="micrometer")
    (seen,) = timeline.story(bearing.pk).clearances
    assert seen.derived
    assert (seen.value_um, seen.taper_um) == (pytest.approx(180), pytest.approx(20))


def test_a_clearance_by_bore_gauge_is_not_counted_again_from_its_bore():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.18")
    makers.a_reading(bearing=bearing, value="100.18", quantity="bore")
    makers.a_reading(bearing=bearing, value="100.00", quantity="journal", method="micrometer")
    assert len(timeline.story(bearing.pk).clearances) == 1


def test_walls_are_a_series_of_their_own_by_station():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="6.10", method="crown_thickness", station="in-6")
    makers.a_reading(bearing=bearing, value="6.12", method="crown_thickness", station="out-6")
    told = timeline.story(bearing.pk)
    assert told.clearances == []
    assert {(seen.series, seen.station) for seen in told.observations} == {
        ("wall", "in-6"),
        ("wall", "out-6"),
    }


def test_a_reading_not_for_wear_is_told_apart():
    bearing = makers.a_bearing()
    reading = makers.a_reading(bearing=bearing)
    set_not_for_wear(reading=reading, by=makers.somebody(), reason="cap loose")
    told = timeline.story(bearing.pk)
    assert told.clearances == []
    assert [seen.because for seen in told.observations] == ["cap loose"]


def test_a_day_is_told_as_found_then_work_then_as_left_whatever_was_entered_first():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.21", stage="as_left")
    makers.an_event(bearing=bearing, kind="contact_check", outcome="scrape", contact_percent=Decimal(55))
    makers.an_event(bearing=bearing, kind="scrape")
    makers.a_reading(bearing=bearing, value="0.197", stage="as_found")
    told = timeline.story(bearing.pk).entries
    assert [getattr(one, "kind", None) or one.stage for one in told] == [
        "as_found",
        "contact_check",
        "scrape",
        "as_left",
    ]


def test_a_happening_says_the_clearance_before_and_after():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.197")
    makers.an_event(bearing=bearing, kind="scrape")
    makers.a_reading(bearing=bearing, value="0.208", stage="as_left")
    (scrape,) = timeline.story(bearing.pk).works
    assert scrape.words == "Scraped: 197 µm as found, 208 µm as left"


def test_a_happening_says_the_larger_end_as_the_reading_beside_it_does():
    bearing = makers.a_bearing()
    for end, found, left in (("in-12", "0.230", "0.140"), ("out-12", "0.210", "0.150")):
        makers.a_reading(bearing=bearing, value=found, station=end)
        makers.a_reading(bearing=bearing, value=left, station=end, stage="as_left")
    makers.an_event(bearing=bearing, kind="shell_change")
    (change,) = timeline.story(bearing.pk).works
    assert "230 µm as found, 150 µm as left" in change.words


@pytest.mark.parametrize(
    ("load_side", "half", "effect"),
    [
        ("bottom", "lower", "new_life"),
        ("bottom", "upper", "new_baseline"),
        ("bottom", "", "new_life"),
        ("top", "upper", "new_life"),
        ("top", "lower", "new_baseline"),
        ("left", "lower", "new_life"),
    ],
)
def test_new_metal_is_a_new_life_only_where_the_load_rests(load_side, half, effect):
    bearing = makers.a_bearing(load_side=load_side)
    makers.an_event(bearing=bearing, kind="shell_change", half=half)
    assert [one.effect for one in timeline.story(bearing.pk).works] == [effect]


@pytest.mark.parametrize(
    ("kind", "effect"),
    [
        ("scrape", "step"),
        ("journal_regrind", "new_baseline"),
        ("shim_change", "new_baseline"),
        ("oil", "rate_break"),
        ("alignment", "rate_break"),
        ("found", "none"),
    ],
)
def test_each_event_has_its_effect(kind, effect):
    bearing = makers.a_bearing()
    makers.an_event(bearing=bearing, kind=kind, note="seen")
    assert [one.effect for one in timeline.story(bearing.pk).happenings] == [effect]


def test_a_changed_rotor_stands_in_the_story_of_both_its_bearings():
    place = makers.a_place()
    pair = [makers.a_bearing(place=place), makers.a_bearing(place=place, position="NDE")]
    makers.an_event(kind="rotor_change", bearing=pair[0])
    told = timeline.stories([one.pk for one in pair])
    assert [[w.effect for w in told[one.pk].works] for one in pair] == [["new_baseline"]] * 2


def test_a_contact_check_stands_open_until_an_acceptable_one_or_new_metal():
    bearing = makers.a_bearing()
    days = [DAY + dt.timedelta(days=n) for n in range(5)]

    def is_open() -> bool:
        return timeline.story(bearing.pk).contact_stands_open

    makers.an_event(bearing=bearing, kind="contact_check", on=days[0])
    assert not is_open()  # without an outcome it opens nothing
    makers.an_event(bearing=bearing, kind="contact_check", on=days[1], outcome="scrape")
    makers.an_event(bearing=bearing, kind="scrape", on=days[1])
    assert is_open()
    makers.an_event(bearing=bearing, kind="contact_check", on=days[2], outcome="acceptable")
    assert not is_open()
    makers.an_event(bearing=bearing, kind="contact_check", on=days[3], outcome="measure")
    assert not is_open()
    makers.an_event(bearing=bearing, kind="contact_check", on=days[3], outcome="seat")
    makers.an_event(bearing=bearing, kind="contact_check", on=days[3], outcome="measure")
    assert is_open()
    makers.an_event(bearing=bearing, kind="shell_change", on=days[4])
    assert not is_open()


def test_a_story_until_a_day_knows_nothing_that_came_later():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing)
    makers.a_reading(bearing=bearing, on=LATER)
    makers.an_event(bearing=bearing, on=LATER)
    makers.a_meter_entry(place=bearing.place, on=LATER)
    told = timeline.story(bearing.pk, until=LATER - dt.timedelta(days=1))
    assert (len(told.observations), told.happenings, told.meter) == (1, [], ())


def test_withdrawn_readings_are_not_told():
    bearing = makers.a_bearing()
    reading = makers.a_reading(bearing=bearing)
    withdraw(row=reading, by=makers.somebody(), reason="another pump's")
    assert timeline.story(bearing.pk).entries == ()


def test_the_meter_of_a_place_runs_on_through_a_changed_pump():
    place = makers.a_place()
    makers.a_meter_entry(place=place, hours=90_000)
    makers.an_event(kind="pump_change", place=place, on=LATER)
    makers.a_meter_entry(place=place, hours=40, on=LATER + dt.timedelta(days=2))
    told = timeline.story(makers.a_bearing(place=place).pk)
    assert [point.hours for point in told.meter] == [90_000, 40]
    assert told.changed == (LATER,)
    assert told.meter[0].machine != told.meter[1].machine


def test_two_and_twenty_stories_cost_the_same_number_of_queries(django_assert_num_queries):
    bearings = [makers.a_bearing() for _ in range(20)]
    for bearing in bearings:
        makers.a_reading(bearing=bearing)
        makers.an_event(bearing=bearing)
    ids = [bearing.pk for bearing in bearings]
    with django_assert_num_queries(8):
        timeline.stories(ids[:2])
    with django_assert_num_queries(8):
        assert len(timeline.stories(ids)) == 20
