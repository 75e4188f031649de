"""Lists of what was recorded stand in the order of their entries, also where the clock was set back between
two.
"""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.ledger import writing
from fleet.models import Sheet
from fleet.plant.limits import set_limits
from fleet.plant.renaming import add_spelling, names_of
from fleet.views.importing import seen_by
from inspections.limits import approvals
from inspections.limits.plant_choices import choose
from inspections.story.audit_trail import ledger_story
from inspections.visits.dispositions import unsigned
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, closed, read

pytestmark = pytest.mark.django_db
LONG_AGO = dt.datetime(2001, 2, 3, tzinfo=dt.UTC)


@pytest.fixture
def clock_set_back(monkeypatch):
    return lambda: monkeypatch.setattr(writing, "recorded_now", lambda: LONG_AGO)


def test_spellings(clock_set_back):
    place = makers.a_place()
    add_spelling(place, text="first", by=makers.somebody())
    clock_set_back()
    add_spelling(place, text="last", by=makers.somebody())
    assert [name.text for name in names_of(place)][:2] == ["last", "first"]


def test_imported_sheets_of_two_sites(clock_set_back):
    for tag, site in (("A 1", "North"), ("B 1", "South")):
        makers.a_bearing(place=makers.a_place(site=makers.a_site(name=site), tag=tag))
        rows = f"pump,position,date,event,value,unit\n{tag},DE,2021-03-09,reading,0.155,mm"
        makers.a_sheet(rows, name=f"{site}.csv", site=makers.a_site(name=site).name)
        clock_set_back()
    assert Sheet.objects.count() == 2
    assert [sheet.name for sheet in seen_by(makers.an_account())] == ["South.csv", "North.csv"]


def test_a_bearings_history(clock_set_back):
    bearing = makers.a_bearing()
    first = makers.a_reading(bearing=bearing)
    clock_set_back()
    last = makers.a_reading(bearing=bearing, value="0.151", stage="as_left")
    assert [one.thing for one in ledger_story(bearing).lines if one.kind == "reading"] == [last.pk, first.pk]


def test_what_waits_for_a_second_person(clock_set_back):
    site = makers.a_site()
    bearings = [makers.a_bearing(place=makers.a_place(site=site, tag=tag), limits={}) for tag in ("A", "B")]
    choose(name="second_person", typed="yes", site=site, from_on=None, by=makers.somebody())
    for bearing in bearings:
        set_limits([bearing], {"in_service_max": Decimal(310)}, authority="plant", by=makers.somebody())
        clock_set_back()
    rows = approvals.waiting(bearings, makers.an_account(site=site))
    assert [row.bearing.place.tag for row in rows] == ["A", "B"]


def test_what_was_closed_against_the_word_and_is_not_signed(clock_set_back):
    site = makers.a_site()
    for tag in ("A", "B"):
        bearing = a_worn_bearing(place=makers.a_place(site=site, tag=tag))
        client = a_mechanic(bearing)
        begin(client, bearing)
        for value in ("0.205", "0.205"):
            read(client, bearing, value)
        client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
        client.post(at(bearing, "close/"), closed("hold"))
        clock_set_back()
    assert [row.bearing.place.tag for row in unsigned([site])] == ["A", "B"]
