"""The unit at the pump and on the printed sheets is the one of the machine's book, not of the last gauge."""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.models import Setting
from fleet.plant.limits import set_limits
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said

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
    return page.split("<summary>")[1].split(",")[0].strip()


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
    assert "maximum 12.0 thou · fit to 6.0–10.0 thou" in page
    assert "thou (0.001 in);" in page and "µm" not in page


BOOK = {
    "cap_torque": "120 N m, crosswise",
    "shims": "0.50 mm each side",
    "oil_ring": "180 mm bore, not under 9 mm wide",
    "end_float": "0.20-0.35 mm",
    "side_gap": "3-5 thou",
    "document": "Book 7, page 12",
}


def _entered(bearing, **more):
    engineer = a_mechanic(bearing, role="engineer")
    return engineer, engineer.post(f"/bearings/{bearing.place.tag}/DE/book/", BOOK | more, follow=True)


def test_nothing_of_a_book_is_shown_before_the_plant_entered_it():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for page in ("reading/", "close/", "sheet/"):
        assert "machine's book" not in said(client.get(at(bearing, page))).replace("&#x27;", "'")


def test_what_the_book_says_stands_at_the_step_at_the_closing_and_on_the_sheet():
    bearing = a_worn_bearing()
    engineer, _ = _entered(bearing)
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = said(client.get(at(bearing, "reading/", stage="as_found")))
    assert "Cap torque: 120 N m, crosswise" in page and "Oil ring: 180 mm bore" in page
    assert f"Entered by {engineer.account.username}" in page
    assert "Shims: 0.50 mm each side" in said(client.get(at(bearing, "close/")))
    assert "cap torque 120 N m, crosswise" in said(client.get(at(bearing, "sheet/")))


def test_end_float_and_side_gap_are_held_against_the_book():
    bearing = a_worn_bearing()
    _entered(bearing)
    client = a_mechanic(bearing)
    begin(client, bearing)
    for quantity, value, where, unit, words in (
        ("end_float", "0.60", "any", "mm", "Over the limit of 0.350 mm"),
        ("side_gap", "1", "in-3", "thou", "Too tight: under 3.0 thou"),
    ):
        query = {"quantity": quantity}
        stored = read(client, bearing, value, where=where, query=query, method="feeler", unit=unit)
        assert words in said(client.get(stored["Location"])), quantity


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"end_float": "0.20-0.35"}, "give from and to with the unit"),
        ({"end_float": "0.35-0.20 mm"}, "write the smaller number first"),
        ({"side_gap": "8-12 mm"}, "lies outside 0 to 10 mm"),
        ({"side_gap": "1O-12 thou"}, "Side gap:"),
        ({"shims": "x" * 121}, "121 letters; at most 120"),
    ],
)
def test_what_cannot_stand_in_a_book_is_refused_in_words_and_stays_typed(typed, words):
    bearing = a_worn_bearing()
    _, answer = _entered(bearing, **typed)
    assert words in said(answer) and next(iter(typed.values())) in answer.content.decode()
    assert not Setting.objects.filter(name__startswith="machine_book").exists()


def test_a_mechanic_reads_the_book_and_enters_nothing():
    bearing = a_worn_bearing()
    address = f"/bearings/{bearing.place.tag}/DE/book/"
    client = a_mechanic(bearing)
    assert (
        client.post(address, BOOK).status_code == 403
        and '<form method="post" class' not in client.get(address).content.decode()
    )
