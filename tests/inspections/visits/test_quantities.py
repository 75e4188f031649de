"""What else is measured at the pump: bore and journal, a wall over a ball, a drop, gaps; any station; a gauge
in doubt.
"""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.plant import calibration
from fleet.plant.gauge_register import instrument_named
from inspections.models import NotMeasured, Reading
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said, today_of

pytestmark = pytest.mark.django_db


def measure(client, bearing, quantity, value, where="", **more):
    query = {"quantity": quantity} | more.pop("query", {})
    return read(client, bearing, value, where=where, query=query, **more)


def test_bore_minus_journal_is_said_with_its_verdict_and_closes_without_a_clearance_asked():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for where in ("in-12", "out-12"):
        measure(client, bearing, "bore", "100.340", where)
    for where in ("in", "out"):
        measure(client, bearing, "journal", "100.000", where, method="micrometer")
    page = said(client.get(at(bearing, "visit/")))
    assert "0.340 mm Bore minus journal, as found" in page and "Over the limit of 0.300 mm" in page
    page = said(client.get(at(bearing, "close/")))
    assert "As found, pump end" not in page


def test_a_wall_over_a_ball_has_the_ball_taken_off_and_keeps_what_was_typed():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    measure(client, bearing, "wall", "12.054", "in-6", less="5.000", method="crown_thickness")
    row = Reading.objects.get(quantity="wall")
    assert row.value_um == Decimal(7054) and row.typed == "7.054"
    assert row.note == "typed 12.054 mm, 5.000 mm taken off"
    # The ball is remembered for the next station.
    page = client.get(at(bearing, "reading/", quantity="wall", stage="as_found"))
    assert 'value="5.000"' in page.content.decode()


def test_a_ball_that_is_no_number_is_refused_and_nothing_is_stored():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = measure(client, bearing, "wall", "12.054", "in-6", less="five", method="crown_thickness")
    assert "What is to be taken off" in said(page) and not Reading.objects.filter(quantity="wall").exists()


@pytest.mark.parametrize(
    ("quantity", "value"), [("shaft_drop", "1.20"), ("end_float", "0.35"), ("side_gap", "0.10")]
)
def test_other_quantities_are_stored_as_themselves_and_feed_no_clearance(quantity, value):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    answer = measure(client, bearing, quantity, value, method="feeler")
    assert answer.status_code == 302
    row = Reading.objects.get(quantity=quantity)
    assert (row.value_um, row.basis) == (Decimal(value) * 1000, "diametral")
    assert "2 of 2" in said(client.get(at(bearing, "reading/", stage="as_found", at="out-12")))


def test_a_radial_basis_chosen_for_a_clearance_does_not_double_a_bore():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    read(client, bearing, "0.1025", basis="radial")
    measure(client, bearing, "bore", "100.205", "in-12", basis="radial")
    assert Reading.objects.get(quantity="bore").value_um == Decimal(100205)


def test_a_bore_far_from_last_time_is_asked_about():
    bearing = a_worn_bearing()
    makers.a_reading(
        bearing=bearing, on=dt.date(2022, 3, 9), value="100.200", quantity="bore", station="in-12"
    )
    client = a_mechanic(bearing)
    begin(client, bearing)
    answer = measure(client, bearing, "bore", "10.0205", "in-12")
    assert "again=" in answer["Location"] and "quantity=bore" in answer["Location"]
    page = said(client.get(answer["Location"]))
    assert "with the decimal mark elsewhere?" in page


def test_a_station_of_ones_own_is_added_and_the_plan_goes_on():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    answer = client.get(
        at(bearing, "other/", go="clearance", named="yes", end="mid", clock="3", stage="as_found")
    )
    assert "at=mid-3" in answer["Location"]
    read(client, bearing, "0.120", where="mid-3")
    row = Reading.objects.get(end="mid")
    assert row.clock == 3
    assert "station 1 of 3" in said(client.get(at(bearing, "reading/", stage="as_found")))


def test_what_could_not_be_measured_of_another_quantity_says_which():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(
        at(bearing, "could-not/", stage="as_found", at="in-12", quantity="bore"), {"because": "no_gauge"}
    )
    assert NotMeasured.objects.get().quantity == "bore"
    page = said(client.get(at(bearing, "reading/", stage="as_found")))
    assert "station 1 of 2" in page


def test_the_gauge_is_chosen_once_and_one_overdue_says_so():
    bearing = a_worn_bearing()
    late = instrument_named("BG-3", method="bore_gauge", by=makers.somebody())
    year_ago = today_of(bearing) - dt.timedelta(days=400)
    calibration.calibrate(
        instrument=late, on=year_ago, due_on=year_ago + dt.timedelta(days=365), by=makers.somebody()
    )
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = said(client.get(read(client, bearing, "0.205", instrument="BG-3")["Location"]))
    assert "BG-3: calibration overdue since" in page and "Take another gauge" in page
    read(client, bearing, "0.206", instrument_other="BG-9", instrument="BG-3")
    assert [
        one.instrument.label
        for one in Reading.objects.filter(instrument__isnull=False).order_by("on", "order")
    ] == [
        "BG-3",
        "BG-9",
    ]
