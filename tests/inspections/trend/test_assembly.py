"""A bearing's drawing from its record: what is held against the limits is the larger end, everywhere."""

import datetime as dt

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.models import Bearing
from inspections.forecasts.current_forecasts import current
from inspections.trend.assembly import sketches_of, trend_of
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 30)
MAXIMUM = {"in_service_max": 260}


def over_its_maximum_at_one_end():
    makers.a_worn_fleet(4)
    bearing = makers.a_bearing(limits=MAXIMUM)
    for year, inner, outer in ((2014, "0.150", "0.160"), (2020, "0.195", "0.225"), (2026, "0.242", "0.290")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=inner, station="in")
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=outer, station="out")
    return bearing


def test_a_bearing_over_its_maximum_at_one_end_lies_over_it():
    bearing = over_its_maximum_at_one_end()
    _, trend = trend_of(bearing, current([bearing], TODAY)[bearing.pk], TODAY)
    last = max(trend.readings, key=lambda reading: reading.day)
    assert (last.smaller_um, last.value_um) == (242, 290)
    path = trend.paths[-1]
    assert path.values_um[-1] > 260
    assert path.values_um[-1] == pytest.approx(trend.fan.p50[0], abs=0.1)


def test_the_path_of_a_bearing_goes_through_its_larger_ends_at_every_age():
    bearing = over_its_maximum_at_one_end()
    _, trend = trend_of(bearing, current([bearing], TODAY)[bearing.pk], TODAY)
    path = dict(zip(trend.paths[-1].days, trend.paths[-1].values_um, strict=True))
    for reading in trend.readings:
        middle = (reading.value_um + reading.smaller_um) / 2
        assert abs(path[reading.day] - reading.value_um) < abs(path[reading.day] - middle)


def test_a_list_is_sketched_from_what_is_stored_in_as_many_queries_for_five_bearings_as_for_one():
    bearing = over_its_maximum_at_one_end()
    every = list(Bearing.objects.standing().select_related("place__site").in_order())
    figures, until = current(every, TODAY), dt.date(2035, 1, 1)
    counts = []
    for some in (every[:1], every):
        with CaptureQueriesContext(connection) as queries:
            sketches = sketches_of(some, figures, TODAY, until)
        counts.append(len(queries))
    assert counts[0] == counts[1] and len(sketches) == len(every) == 5
    own, trend = figures[bearing.pk], sketches[bearing.pk]
    assert trend.fan.p50[0] == own["clearance_um_p50"] == trend.paths[-1].values_um[-1]
    assert trend.paths[-1].values_um[:-1] == (160, 225, 290)
    edges = zip(trend.fan.p10, trend.fan.p50, trend.fan.p90, strict=True)
    assert all(low <= middle <= high for low, middle, high in edges)


def scraped_in_2023(n):
    """A bearing found at 195 um and left at 210 um after n scrapes of one visit."""
    bearing = makers.a_bearing(limits=MAXIMUM)
    for year, value in ((2017, "0.150"), (2020, "0.172"), (2023, "0.195")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=value, station="in")
    for cut in range(1, n + 1):
        makers.an_event(kind="scrape", bearing=bearing, on=dt.date(2023, 5, 4), note=f"cut {cut}")
    makers.a_reading(bearing=bearing, on=dt.date(2023, 5, 4), value="0.210", station="in", stage="as_left")
    return bearing


def test_two_scrapes_of_one_visit_show_its_step_once_and_the_engine_counts_it_once():
    makers.a_worn_fleet(4)
    once, twice = scraped_in_2023(1), scraped_in_2023(2)
    made = current([once, twice], TODAY)
    _, trend = trend_of(twice, made[twice.pk], TODAY)
    steps = [(work.step_um, work.detail) for work in trend.works if work.kind == "scrape"]
    (none, own, step, words) = (*steps[0], *steps[1])
    assert (none, own, step) == (None, "cut 1", pytest.approx(15.0))
    assert words.startswith("2 scrapes together; 195") and words.endswith("; cut 2")
    _, other = trend_of(once, made[once.pk], TODAY)
    assert trend.fan.p50[0] == pytest.approx(other.fan.p50[0], abs=2.0)
