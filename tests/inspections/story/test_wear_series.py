"""What feeds the wear beside the clearance, and readings that must not: wall, drop,
lining, reasons, copies.
"""

import datetime as dt

import numpy as np
import pytest

from inspections.forecasts.codes import Codes
from inspections.forecasts.notes import looks_copied
from inspections.forecasts.wear_inputs import events_of, inputs
from inspections.records.recording import open_visit
from inspections.wear.arrays import Kind
from tests import makers

pytestmark = pytest.mark.django_db
AS_OF = dt.date(2026, 1, 1)


def _known(bearing):
    return inputs([bearing], AS_OF, Codes())


def _wall(bearing, year, value, **more):
    makers.a_reading(
        bearing=bearing,
        on=dt.date(year, 1, 5),
        value=value,
        method="crown_thickness",
        quantity="wall",
        **more,
    )


def test_a_wall_and_a_shaft_drop_count_from_their_own_first_value():
    bearing = makers.a_bearing()
    _wall(bearing, 2010, "9.500", station="in-6")
    _wall(bearing, 2014, "9.480", station="in-6")
    _wall(bearing, 2014, "9.700", station="out-6")
    for year, drop in ((2010, "3.00"), (2014, "3.03")):
        makers.a_reading(
            bearing=bearing, on=dt.date(year, 1, 5), value=drop, method="depth_gauge", quantity="shaft_drop"
        )
    h = _known(bearing).histories
    assert set(h.kind.tolist()) == {Kind.DROP}
    by_zero = {z: h.value_um[h.zero == z].tolist() for z in np.unique(h.zero)}
    assert sorted(by_zero.values()) == [[0.0], [0.0, pytest.approx(20.0)], [0.0, pytest.approx(30.0)]]


def test_a_wall_away_from_the_crown_feeds_no_wear():
    bearing = makers.a_bearing()
    _wall(bearing, 2010, "9.500", station="in-12")
    assert len(_known(bearing).histories.kind) == 0


def test_another_shell_has_a_zero_of_its_own():
    bearing = makers.a_bearing()
    _wall(bearing, 2010, "9.500")
    makers.an_event(kind="shell_change", bearing=bearing, on=dt.date(2012, 1, 5))
    _wall(bearing, 2014, "8.900")
    assert _known(bearing).histories.value_um[[0, 2]].tolist() == [0.0, 0.0]


def test_the_lining_left_is_the_new_lining_less_what_the_wall_lost_and_less_its_least():
    bearing = makers.a_bearing(
        limits={"in_service_max": 300, "lining_min": 1800}, wall_new_um=9500, lining_new_um=2500
    )
    _wall(bearing, 2014, "9.400", station="in-6")
    _wall(bearing, 2014, "9.300", station="out-6")
    makers.an_event(kind="scrape", bearing=bearing, on=dt.date(2015, 1, 5))
    h = _known(bearing).histories
    assert h.lining_left_um[0] == pytest.approx(2500 - 200 - 1800)
    assert h.lining_scrapes[0] == 1
    assert h.lining_at_kh[0] == pytest.approx(h.exposure_kh[0])
    makers.an_event(kind="shell_change", bearing=bearing, on=dt.date(2016, 1, 5))
    assert np.isnan(_known(bearing).histories.lining_left_um[0])


def test_without_a_least_lining_there_is_no_such_limit():
    bearing = makers.a_bearing(wall_new_um=9500, lining_new_um=2500)
    _wall(bearing, 2014, "9.400")
    assert np.isnan(_known(bearing).histories.lining_left_um[0])


def test_why_a_visit_was_made_stands_before_what_was_read_at_it():
    bearing = makers.a_bearing()
    for year, why in ((2010, "planned"), (2012, "condition"), (2014, "")):
        visit = open_visit(place=bearing.place, on=dt.date(year, 1, 5), by=makers.somebody(), why=why)
        makers.a_reading(bearing=bearing, on=dt.date(year, 1, 5), visit=visit)
    known = _known(bearing)
    h = known.histories
    assert h.kind.tolist() == [Kind.OPENED, Kind.READING, Kind.OPENED, Kind.READING, Kind.READING]
    assert h.value_um[[0, 2]].tolist() == [0.0, 1.0]
    assert len(events_of(known.known[0])) == len(h.kind)


def _copies(n, last="0.150", step="0.150"):
    bearing = makers.a_bearing()
    for k in range(n):
        day = dt.date(2010 + 2 * k, 1, 5)
        makers.a_reading(bearing=bearing, on=day, value=step, stage="as_found")
        makers.a_reading(bearing=bearing, on=day, value=step if k < n - 1 else last, stage="as_left")
    return bearing


def test_readings_that_look_copied_are_named_and_not_fitted_as_no_wear():
    known = _known(_copies(4))
    assert looks_copied(known.known[0])
    h = known.histories
    # the first as found has nothing before it to be copied from; the later ones are no readings
    assert (h.method < 0).tolist() == [k in (2, 4, 6) for k in range(8)]


def test_equal_readings_of_a_coarse_gauge_are_not_called_copied():
    """Read to 0.1 mm by a gauge of 5 um, unchanged clearances show equal values nearly always."""
    known = _known(_copies(4, last="0.2", step="0.2"))
    assert not looks_copied(known.known[0])
    assert (known.histories.method >= 0).all()


def test_one_pair_that_differs_clears_the_series():
    bearing = _copies(4)
    makers.a_reading(bearing=bearing, on=dt.date(2020, 1, 5), value="0.161", stage="as_found")
    assert not looks_copied(_known(bearing).known[0])
