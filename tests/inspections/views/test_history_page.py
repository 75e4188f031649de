"""The auditor's page: every entry in words, both versions of a correction, as known on a day, a constant number of questions."""

import datetime as dt

import pytest

from fleet.models import Entry
from inspections.records.corrections import correct_reading
from inspections.story.audit_trail import ledger_story
from tests import makers

pytestmark = pytest.mark.django_db


def _address(bearing):
    return f"/bearings/{bearing.place.tag}/{bearing.name}/history/"


def test_every_entry_of_the_bearings_chain_has_its_line():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing)
    makers.an_event(kind="scrape", bearing=bearing)
    told = ledger_story(bearing)
    own = Entry.objects.filter(chain=f"bearing:{bearing.pk}")
    assert {line.hash for line in told.lines} >= set(own.values_list("hash", flat=True))


def test_a_reading_tells_what_was_typed_how_by_whom_and_from_which_row(client):
    client.force_login(makers.an_account(role="auditor"))
    place = makers.a_place(site=makers.a_site(name="North"), tag="Lift 1")
    makers.a_bearing(place=place)
    makers.a_sheet(
        """pump,position,date,event,stage,value,unit,method,by
        Lift 1,DE,2020-03-09,reading,as_found,6,mil,plastic_strip,M. Ohr""",
        name="old book.csv",
    )
    page = client.get("/bearings/Lift 1/DE/history/").content.decode()
    assert "Clearance 152\u00a0µm as found, plastic strip (typed 6 mil)" in page
    assert "measured by M. Ohr" in page and "old book.csv, row 2" in page and "later" in page


def test_a_corrected_reading_stands_in_both_versions_with_the_reason(client):
    client.force_login(makers.an_account(role="auditor"))
    bearing = makers.a_bearing()
    reading = makers.a_reading(bearing=bearing, value="0.051")
    correct_reading(reading=reading, value="0.151", reason="typed wrong", by=makers.somebody())
    page = client.get(_address(bearing)).content.decode()
    assert "typed 0.051 mm" in page and "typed 0.151 mm" in page and "typed wrong" in page
    assert page.index("<s>") < page.index("typed 0.051 mm") or "<s>Clearance 51" in page


def test_as_known_on_a_day_before_the_recording_nothing_was_known(client):
    client.force_login(makers.an_account(role="auditor"))
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing)
    assert "typed 0.150" not in client.get(f"{_address(bearing)}?known_by=2020-12-31").content.decode()
    today = dt.datetime.now(dt.UTC).date().isoformat()
    assert "typed 0.150" in client.get(f"{_address(bearing)}?known_by={today}").content.decode()
    assert "is no day" in client.get(f"{_address(bearing)}?known_by=spring").content.decode()


def test_only_what_is_asked_for_is_shown(client):
    client.force_login(makers.an_account(role="auditor"))
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing)
    page = client.get(f"{_address(bearing)}?kind=limit").content.decode()
    assert "Limit: in-service maximum" in page and "typed 0.150" not in page


def test_a_long_history_asks_as_much_as_a_short_one(client, django_assert_max_num_queries):
    client.force_login(makers.an_account(role="auditor"))
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing)
    client.get(_address(bearing))
    with django_assert_max_num_queries(30) as short:
        client.get(_address(bearing))
    for year in range(2001, 2015):
        makers.a_reading(bearing=bearing, on=dt.date(year, 3, 4))
    with django_assert_max_num_queries(30) as long:
        client.get(_address(bearing))
    assert len(short) == len(long)


def test_another_sites_history_is_not_there(client):
    client.force_login(makers.an_account(role="auditor", site=makers.a_site()))
    assert client.get(_address(makers.a_bearing())).status_code == 404
