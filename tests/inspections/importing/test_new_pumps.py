"""A history that names pumps and bearings nobody registered: asked about once, made in its act, taken back
with it.
"""

import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from fleet.importing.withdrawal import withdraw_import
from fleet.ledger.verify import verify
from fleet.models import Bearing, Entry, Installation, Machine, Name, Place, Sheet, Site
from inspections.models import MeterEntry, Reading
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
HEAD = "pump,position,date,event,stage,value,unit,run_hours\n"
ROWS = """P-101A,DE,2014-03-09,reading,as_found,0.15,mm,
P-101A,NDE,2014-03-09,reading,as_found,0.16,mm,
P 101A,D.E.,2016-03-09,reading,as_found,0.17,mm,
K 7,DE,2014-03-09,reading,as_found,0.12,mm,
K 7,,2014-03-09,hours,,,,12000
"""


def bring(answers=None, words=HEAD + ROWS, **more):
    return import_file(
        words.encode(), "history.csv", holds="history", by=makers.somebody(), answers=answers, **more
    )


def created(result, value="", leave=()):
    """Every new pump created, but for positions left out."""
    answers = Answers()
    for group in result.groups:
        rows = [row.ident for row in group.rows if (group.subject[1], row.ident) not in leave]
        answers.add("new_pump", group.about, "create", value, rows)
    return answers


def test_every_pump_and_position_is_asked_about_in_one_table_and_nothing_is_made_by_asking():
    asked = bring(only_look=True)
    assert {group.code for group in asked.groups} == {"new_pump"}
    named = [(group.subject, row.ident) for group in asked.groups for row in group.rows]
    assert named == [
        (("", "P-101A"), "DE"),
        (("", "P-101A"), "NDE"),
        (("", "P 101A"), "D.E."),
        (("", "K 7"), "DE"),
        (("", "K 7"), "-"),
    ]
    assert asked.groups[1].rows[0].remedy == "the same letters and digits as 'P-101A': one pump with it"
    assert not Site.objects.exists() and not Place.objects.exists()


def test_they_are_made_in_the_act_of_the_import_and_taken_back_with_it():
    done = bring(created(bring(only_look=True), "North works"))
    assert done.ok and done.counts.stored == 5
    site = Site.objects.standing().get()
    sheet = Sheet.objects.get()
    assert site.name == "North works" and sheet.site == site
    names = {(b.place.tag, b.name) for b in Bearing.objects.standing().select_related("place")}
    assert names == {("P-101A", "DE"), ("P-101A", "NDE"), ("K 7", "DE")}
    assert {n.text for n in Name.objects.standing()} == {"P 101A", "D.E."}
    assert Reading.objects.standing().count() == 4 and MeterEntry.objects.standing().count() == 1
    assert {one.act for one in Place.objects.all()} == {sheet.act}
    again = bring()
    assert again.ok and again.counts.stored == 0 and again.counts.already == 5
    withdraw_import(Sheet.objects.get(), reason="the wrong works", by=makers.somebody())
    for model in (Place, Bearing, Machine, Installation, Reading, Sheet):
        assert not model.objects.standing().exists(), model
    assert verify().faults == []
    assert bring(created(bring(only_look=True), "North works")).ok  # and they may come again
    assert Site.objects.get() == site


def test_what_something_else_has_come_to_lean_on_stays_when_the_import_is_taken_back():
    assert bring(created(bring(only_look=True), "North works")).ok
    place = Place.objects.standing().get(tag="K 7")
    makers.a_reading(bearing=Bearing.objects.get(place=place, name="DE"), value="0.13")
    withdraw_import(Sheet.objects.get(), reason="the wrong works", by=makers.somebody())
    assert [one.tag for one in Place.objects.standing()] == ["K 7"]
    assert Site.objects.standing().count() == 1
    assert Installation.objects.standing().filter(place=place).count() == 1


def test_a_position_whose_tick_is_taken_is_not_made_but_asked_about_by_itself():
    answers = created(bring(only_look=True), "North works", leave={("P 101A", "D.E."), ("P-101A", "NDE")})
    asked = bring(answers, only_look=True)
    assert {(g.code, g.about) for g in asked.groups} == {
        ("unknown_position", "NDE"),
        ("spelt_otherwise", ""),
        ("position_spelt", ""),
    }
    answers.add("unknown_position", "NDE", "create")
    left = {g.code for g in bring(answers, only_look=True).groups}
    assert left == {"spelt_otherwise", "position_spelt"}


def test_whoever_may_import_at_one_site_alone_makes_pumps_there_and_no_site():
    site = makers.a_site(name="South works")
    mine = frozenset({site.pk})
    asked = bring(only_look=True, sites=mine)
    assert not asked.groups[0].choices[0].needs  # the only site there can be
    words = HEAD.replace("pump", "site,pump") + "Elsewhere,K 9,DE,2014-03-09,reading,as_found,0.12,mm,\n"
    assert [group.code for group in bring(only_look=True, sites=mine, words=words).groups] == ["unknown_site"]
    assert bring(created(asked), sites=mine).ok
    assert {place.site for place in Place.objects.standing()} == {site}


def test_a_pump_like_one_of_the_register_is_that_one_or_a_new_one():
    makers.a_bearing(place=makers.a_place(tag="P-101B", positions=("DE",)))
    words = HEAD + ROWS.splitlines()[0] + "\n"
    asked = bring(only_look=True, words=words)
    assert [group.code for group in asked.groups] == ["unknown_pump"]
    assert [choice.word for choice in asked.groups[0].choices] == ["is", "create", "aside"]
    answers = Answers()
    answers.add("unknown_pump", "P-101A", "create")
    assert bring(answers, words=words).ok
    assert {place.tag for place in Place.objects.standing()} == {"P-101A", "P-101B"}


def test_the_pages_lead_from_a_history_alone_to_readings(client):
    client.force_login(makers.an_account())
    file = SimpleUploadedFile("history.csv", (HEAD + ROWS).encode())
    url = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    body = unescape(client.get(url).content.decode())
    assert body.count('class="question"') == 1 and "K 7" in body and "as answered below" in body
    ticks = re.findall(r'name="(row-\w+)" value="([^"]*)" checked', body)
    said = {"choice-new_pump": "create", "value-new_pump-create": "North works", "then": "answer"}
    for name, value in ticks:
        said.setdefault(name, []).append(value)
    client.post(url, said)
    body = unescape(client.get(url).content.decode())
    assert "Nothing is asked any more." in body and "P-101A DE" in body
    sheet_pages.store(client, url)
    assert Reading.objects.standing().count() == 4
    assert Entry.objects.filter(kind="place").count() == 2
