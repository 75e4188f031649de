"""The unit at the pump and on the printed sheets is the one of the machine's book, not of the last gauge."""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.plant.limits import set_limits
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, said

pytestmark = pytest.mark.django_db


def _booked(unit: str = "thou", authority: str = "maker_machine"):
    """A bearing whose maximum stands in its book as 12 thou; one gauge in mm was used of late."""
    bearing = a_worn_bearing(limits={})
    limits = {
        "in_service_max": Decimal("304.8"),
        "fitting_min": Decimal("152.4"),
        "fitting_max": Decimal(254),
    }
    set_limits([bearing], limits, authority=authority, typed="12", unit=unit, by=makers.somebody())
    return bearing


def _chosen(client, bearing) -> str:
    page = client.get(at(bearing, "reading/", stage="as_found")).content.decode()
    return page.split("<summary>")[1].split(",")[0]


def test_the_unit_is_that_of_the_limits_as_entered_whatever_was_used_last():
    bearing = _booked()
    client = a_mechanic(bearing)
    begin(client, bearing)
    assert _chosen(client, bearing) == "thou (0.001 in)"
    answer = client.get("/record/pack/").json()
    assert [one["unit"] for one in answer["bearings"]] == ["thou"]


def test_a_limit_by_rule_of_thumb_says_no_unit_and_one_odd_entry_changes_none():
    bearing = _booked(unit="in", authority="general_rule")
    makers.a_reading(bearing=bearing, on=dt.date(2024, 5, 4), value="8.9", unit="thou", station="in-12")
    client = a_mechanic(bearing)
    begin(client, bearing)
    assert _chosen(client, bearing) == "mm"


def test_the_sheet_to_print_speaks_in_the_unit_of_the_book():
    bearing = _booked()
    page = said(a_mechanic(bearing).get(at(bearing, "sheet/")))
    assert "maximum 12.0 thou, fit to 6.0–10.0 thou" in page
    assert "thou (0.001 in);" in page and "µm" not in page
