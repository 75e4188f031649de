"""The auditor's page: every entry in words, both versions of a correction, as known on a day, a constant
number of questions.
"""

import datetime as dt
import html
import re
from uuid import uuid4

import pytest

from fleet.ledger import kinds
from fleet.models import Entry
from fleet.plant.accounts import end_role
from fleet.plant.people import add_person, give_role
from inspections.models import MeterEntry
from inspections.records.corrections import correct_reading, set_counting, withdraw
from inspections.story.audit_trail import ledger_story
from inspections.story.entry_words import entry_words
from tests import makers

pytestmark = pytest.mark.django_db


def _address(bearing):
    return f"/bearings/{bearing.place.tag}/{bearing.name}/history/"


def _plain(words):
    return words.replace("\u00a0", " ")


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


def test_a_withdrawal_says_of_what_with_day_station_and_value_and_a_replacement_what_it_replaces():
    bearing = makers.a_bearing()
    reading = makers.a_reading(bearing=bearing, value="0.051", station="in-6")
    new = correct_reading(reading=reading, value="0.151", reason="typed wrong", by=makers.somebody())
    lines = ledger_story(bearing).lines
    old_line, new_line = (
        next(one for one in lines if (one.thing, one.kind) == (pk, "reading")) for pk in (reading.pk, new.pk)
    )
    taken = next(one for one in lines if one.kind == "withdrawal")
    for words in (_plain(taken.what), _plain(new_line.replaces)):
        assert "reading of 9 Mar 2020" in words and "at in-6 (typed 0.051 mm)" in words
        assert f"entry no. {old_line.n} " in words
    assert "in its place: reading of 9 Mar 2020" in _plain(taken.what) and "typed 0.151 mm" in taken.what
    assert "typed 0.151 mm" in old_line.withdrawn
    assert lines.index(old_line) == lines.index(new_line) + 1  # both stand together


def test_both_versions_stand_together_however_far_the_day_was_put_right():
    bearing = makers.a_bearing()
    wrong = makers.a_reading(bearing=bearing, on=dt.date(1998, 3, 9))
    for year in (2004, 2010):
        makers.a_reading(bearing=bearing, on=dt.date(year, 3, 9))
    new = correct_reading(reading=wrong, on=dt.date(2018, 3, 9), reason="day", by=makers.somebody())
    readings = [one.thing for one in ledger_story(bearing).lines if one.kind == "reading"]
    assert readings[:2] == [new.pk, wrong.pk] and len(readings) == 4


def test_a_meter_entry_taken_back_is_told_with_its_day_and_value():
    bearing = makers.a_bearing()
    meter = makers.a_meter_entry(place=bearing.place, hours=41_250)
    withdraw(row=MeterEntry.objects.get(pk=meter.pk), by=makers.somebody(), reason="other pump")
    taken = next(one for one in ledger_story(bearing).lines if one.kind == "withdrawal")
    assert "hour meter of 9 Mar 2020, entry no. " in _plain(taken.what) and "41 250 h" in _plain(taken.what)


def test_a_correction_says_what_stood_there_before_in_words():
    bearing = makers.a_bearing()
    reading = makers.a_reading(bearing=bearing)
    set_counting(reading=reading, counts=False, reason="cold shell", by=makers.somebody())
    change = next(one for one in ledger_story(bearing).lines if one.kind == "revision")
    assert "counts no, before yes" in change.what and "typed 0.150 mm" in change.what


def test_what_was_moved_to_the_other_bearing_of_the_pump_names_it():
    place = makers.a_place(tag="Lift 7")
    bearing, other = (makers.a_bearing(place=place, position=name) for name in ("DE", "NDE"))
    reading = makers.a_reading(bearing=bearing)
    correct_reading(reading=reading, bearing=other, reason="wrong end of the pump", by=makers.somebody())
    there = next(one for one in ledger_story(other).lines if one.kind == "reading")
    gone = next(one for one in ledger_story(bearing).lines if one.kind == "reading")
    assert "of Lift 7 DE" in there.replaces and "of Lift 7 NDE" in gone.withdrawn


def test_the_role_that_the_recorder_held_then_stays_when_it_ends_and_a_later_one_is_not_read_back():
    bearing = makers.a_bearing()
    site = bearing.place.site
    who = add_person(name="R. Ole")
    first = give_role(person=who, role="mechanic", site=site, by=makers.somebody())
    reading = makers.a_reading(bearing=bearing, by=who.pk)
    end_role(role=first, reason="moved on", by=makers.somebody())
    give_role(person=who, role="engineer", site=site, by=makers.somebody())
    later = makers.a_reading(bearing=bearing, on=dt.date(2021, 3, 4), by=who.pk)
    by_thing = {one.thing: one for one in ledger_story(bearing).lines}
    assert by_thing[reading.pk].roles == f"mechanic at {site}"
    assert "record" in by_thing[reading.pk].rights and "set limits" not in by_thing[reading.pk].rights
    assert by_thing[later.pk].roles == f"engineer at {site}" and "set limits" in by_thing[later.pk].rights


def test_uncertainty_and_role_stand_beside_each_reading_on_the_page(client):
    client.force_login(makers.an_account(role="auditor"))
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, method="plastic_strip")
    page = html.unescape(client.get(_address(bearing)).content.decode())
    assert "standard uncertainty 10\u00a0µm" in page and "then without a role" in page


def test_every_kind_of_entry_has_words_without_an_underscore():
    assert not [one.name for one in kinds.all_kinds() if not one.words or "_" in one.words]


def test_no_name_of_a_kind_or_field_is_shown_raw_whatever_a_bearings_chain_holds():
    body = {
        "id": str(uuid4()),
        "bearing_id": str(uuid4()),
        "load_side": "bottom",
        "journal_diameter_um": "100000",
    }
    words = entry_words("bearing_facts", body)
    assert words.startswith("Facts of the bearing: load side bottom, journal diameter 100")
    assert not re.search("[a-z]_[a-z]", words) and body["bearing_id"] not in words


def test_entries_are_told_in_the_order_of_recording_whatever_the_clock_said():
    bearing = makers.a_bearing()
    for value in ("0.150", "0.151"):
        makers.a_reading(bearing=bearing, value=value)
    lines = [one for one in ledger_story(bearing).lines if one.kind == "reading"]
    assert [one.number for one in lines] == sorted((one.number for one in lines), reverse=True)
