"""Lists of what was recorded stand in the order of their entries, also where the clock was set back between
two.
"""

import datetime as dt

import pytest

from fleet.ledger import writing
from fleet.models import Sheet
from fleet.plant.names import add_spelling, names_of
from fleet.views.importing import seen_by
from inspections.story.audit_trail import ledger_story
from tests import makers

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
