"""Who measured, who wrote it down and who checked are three facts; a paper sheet keeps the day it was
measured on.
"""

import datetime as dt

import pytest

from fleet.models import Person
from inspections.models import Attendance, Decision, Reading, Visit
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said, today_of

pytestmark = pytest.mark.django_db


def test_a_name_picked_in_one_tap_stays_and_is_seen_on_visit_receipt_and_history():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    fitter, chief = makers.a_person(name="A. Fitter"), makers.a_person(name="C. Chief")
    begin(client, bearing)
    answer = client.post(at(bearing, "people/", then="reading", stage="as_found"), {"new_name": "A. Fitter"})
    assert "/record/reading/" in answer["Location"]
    client.post(at(bearing, "people/", part="checked"), {"new_name": "C. Chief"})
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    rows = Reading.objects.filter(typed__in=["0.205", "0.207"])
    assert {(one.measured_by, one.checked_by, one.recorded_by) for one in rows} == {
        (fitter.pk, chief.pk, client.account.person_id)
    }
    me = Person.objects.get(pk=client.account.person_id).name
    words = f"A. Fitter, written down by {me}, checked by C. Chief, as named by {me}"
    assert words in said(client.get(at(bearing, "visit/")))
    page = said(client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"}, follow=True))
    assert f"Measured by {words}" in page
    history = said(client.get(f"/bearings/{bearing.place.tag}/{bearing.name}/history/"))
    assert "measured by A. Fitter" in history and "checked by C. Chief" in history


def test_the_name_picked_last_on_a_device_comes_first_on_the_next_bearing():
    bearing = a_worn_bearing()
    other = a_worn_bearing(place=makers.a_place(site=bearing.place.site, tag="next"))
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(at(bearing, "people/"), {"new_name": "A. Fitter"})
    page = client.get(at(other)).content.decode()
    person = Person.objects.get(name="A. Fitter")
    assert f'value="{person.pk}" checked' in page


def test_who_writes_it_down_takes_part_and_the_ledger_names_the_account():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(at(bearing, "people/", part="recorded"), {"new_name": "B. Clerk"})
    read(client, bearing, "0.205")
    clerk = Person.objects.get(name="B. Clerk")
    assert Attendance.objects.filter(person=clerk, part="recorded").exists()
    assert Reading.objects.get(typed="0.205").recorded_by == client.account.person_id


def test_a_paper_sheet_typed_in_later_keeps_both_days():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    today = today_of(bearing)
    day = today - dt.timedelta(days=200)
    begin(client, bearing, measured_on=day.isoformat())
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    visit = Visit.objects.get(opened_on=day)
    rows = list(Reading.objects.filter(visit=visit))
    assert {one.on for one in rows} == {day} and all(one.recorded_at.date() > day for one in rows)
    page = said(client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"}, follow=True))
    shown = f"{today:%b} {today.year}"
    assert "Typed in from a sheet on" in page and shown in page
    assert "Recorded 7 months later." in page and "Standard uncertainty" in page
    visit.refresh_from_db()
    assert visit.closed_on == day and Decision.objects.get().on == day
    history = client.get(f"/bearings/{bearing.place.tag}/{bearing.name}/history/")
    assert "months later" in said(history)


def test_a_sheet_is_held_against_the_record_as_it_stood_on_its_day():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    # Before the last reading of 0.190: what was expected then is less than what is expected today.
    day = dt.date(today_of(bearing).year - 4, 6, 1)
    page = client.get(begin(client, bearing, measured_on=day.isoformat())["Location"])
    assert "Last time 0.170" in said(page)


def test_typing_a_sheet_in_leaves_todays_open_visit_alone():
    bearing = a_worn_bearing()
    client, colleague = a_mechanic(bearing), a_mechanic(bearing)
    begin(colleague, bearing)
    begin(client, bearing, measured_on=(today_of(bearing) - dt.timedelta(days=300)).isoformat())
    read(client, bearing, "0.201")
    read(colleague, bearing, "0.205")
    assert Reading.objects.get(typed="0.201").visit_id != Reading.objects.get(typed="0.205").visit_id
    assert "0.201" not in said(colleague.get(at(bearing, "visit/")))


def test_a_day_that_lies_ahead_is_refused_with_a_sentence():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    page = begin(client, bearing, measured_on="2099-01-01")
    assert page.status_code == 200 and "lies ahead" in said(page)
    assert not Visit.objects.filter(opened_on__gte=today_of(bearing)).exists()


def test_a_sheet_of_two_days_changes_its_day_between():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    first = today_of(bearing) - dt.timedelta(days=30)
    begin(client, bearing, measured_on=first.isoformat())
    read(client, bearing, "0.205")
    page = client.post(at(bearing, "people/"), {"day": "yes", "on": (first - dt.timedelta(1)).isoformat()})
    assert "was opened on" in said(page)
    client.post(at(bearing, "people/"), {"day": "yes", "on": (first + dt.timedelta(1)).isoformat()})
    read(client, bearing, "0.206")
    assert Reading.objects.get(typed="0.206").on == first + dt.timedelta(days=1)


def test_job_procedure_and_revision_are_asked_once_and_stand_on_the_receipt():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    assert 'name="procedure"' in client.get(at(bearing)).content.decode()
    begin(client, bearing, job="J-7", procedure="BRG-03", revision="C")
    assert 'name="procedure"' not in client.get(at(bearing)).content.decode()
    visit = Visit.objects.get(job="J-7")
    page = said(client.get(at(bearing, "receipt/", visit=visit.pk)))
    assert "Work order, permit: J-7." in page and "Procedure BRG-03, revision C" in page
