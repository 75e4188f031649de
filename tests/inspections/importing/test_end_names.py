"""Which end is meant: said by somebody, never chosen beforehand, and asked once per plant."""

import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.models import Draft, Setting
from inspections.models import Reading
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
SHEET = "pump,end,date,clearance (mm)\n{0},{1},2014-03-01,0.15\n{0},{2},2014-03-01,0.25\n"


@pytest.fixture
def engineer(client):
    site = makers.a_site(name="Own site")
    for tag in ("P-7", "P-8"):
        place = makers.a_place(site=site, tag=tag)
        for position in ("DE", "NDE"):
            makers.a_bearing(place=place, position=position, limits={})
    client.site = site
    client.force_login(makers.an_account(site=site))
    return client


def planned(client, words, name="ends.csv"):
    """The questions about a sheet of the plant's own layout, its plan said."""
    file = SimpleUploadedFile(name, words.encode())
    url = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    said = {
        "pump": "column",
        "position": "column",
        "basis": "diametral",
        "unit": "mm",
        "plan_name": name,
        "then": "go",
    }
    said |= {
        "c0-use": "pump",
        "c1-use": "position",
        "c2-use": "date",
        "c3-use": "value",
        "first_heading": "1",
        "last_heading": "1",
    }
    return client.post(url, said).url


def body_of(client, url):
    return unescape(client.get(url).content.decode())


def answer(client, url, about, value):
    """What one end's name means."""
    body = body_of(client, url)
    key = re.search(rf'aria-labelledby="q-(\w+)" data-code="unknown_position" data-about="{about}"', body)[1]
    ticked = re.findall(rf'name="row-{key}" value="([^"]*)"', body)
    said = {f"choice-{key}": "is", f"value-{key}-is": value, f"row-{key}": ticked, "then": "answer"}
    return client.post(url, said, follow=True)


def test_no_list_of_an_answer_stands_on_a_position_and_an_answer_without_one_is_refused(engineer):
    url = planned(engineer, SHEET.format("P-7", "AS", "BS"))
    selects = re.findall(r"<select name=\"value-[^>]*>(.*?)</select>", body_of(engineer, url))
    assert len(selects) == 2
    for options in selects:
        assert options.strip().startswith('<option value="">') and " selected" not in options
    assert "give the position" in answer(engineer, url, "AS", "").content.decode()
    assert Draft.objects.get().answers == {}


def test_readings_of_two_ends_go_to_the_two_bearings_that_were_said_and_the_preview_shows_them(engineer):
    url = planned(engineer, SHEET.format("P-7", "AS", "BS"))
    answer(engineer, url, "AS", "NDE")
    answer(engineer, url, "BS", "DE")
    shown = re.sub(r"<[^>]+>", " ", body_of(engineer, url).partition("To be stored")[2])
    assert "P-7 NDE" in shown and "P-7 DE" in shown and "P-7 AS" not in shown
    sheet_pages.store(engineer, url)
    assert sorted(Reading.objects.values_list("bearing__name", "typed")) == [("DE", "0.25"), ("NDE", "0.15")]


@pytest.mark.parametrize(("one", "other"), [("AS", "BS"), ("CA", "COA"), ("LA", "LOA")])
def test_the_names_of_ends_are_asked_once_per_plant(engineer, one, other):
    url = planned(engineer, SHEET.format("P-7", one, other))
    answer(engineer, url, one, "DE")
    answer(engineer, url, other, "NDE")
    sheet_pages.store(engineer, url)
    assert Setting.objects.get(name="end_names").value == {one.lower(): "DE", other.lower(): "NDE"}
    again = planned(engineer, SHEET.format("P-8", one, other), "more.csv")
    assert "Nothing is asked any more." in body_of(engineer, again)
    sheet_pages.store(engineer, again)
    assert sorted(
        Reading.objects.filter(bearing__place__tag="P-8").values_list("bearing__name", "typed")
    ) == [
        ("DE", "0.15"),
        ("NDE", "0.25"),
    ]


def test_a_pump_without_the_position_that_was_said_is_asked_about_again_and_never_stored_astray(engineer):
    place = makers.a_place(site=engineer.site, tag="P-9", positions=("1", "2"))
    for position in ("1", "2"):
        makers.a_bearing(place=place, position=position, limits={})
    words = SHEET.format("P-7", "DE", "far") + SHEET.format("P-9", "1", "far").partition("\n")[2]
    url = planned(engineer, words)
    answer(engineer, url, "far", "NDE")
    assert "P-9" in body_of(engineer, url).partition("To be stored")[0]
    answer(engineer, url, "far", "2")
    assert "Nothing is asked any more." in body_of(engineer, url)
    sheet_pages.store(engineer, url)
    told = sorted(Reading.objects.filter(typed="0.25").values_list("bearing__place__tag", "bearing__name"))
    assert told == [("P-7", "NDE"), ("P-9", "2")]


def test_an_answer_given_is_shown_and_can_be_changed_before_storing(engineer):
    url = planned(engineer, SHEET.format("P-7", "AS", "BS"))
    answer(engineer, url, "AS", "DE")
    answer(engineer, url, "BS", "NDE")
    body = body_of(engineer, url)
    assert "Answers given" in body and "'AS' means the position: <b>DE</b>" in body
    key = re.search(r"'AS' means the position.*?name=\"again\" value=\"(\w+)\"", body, re.DOTALL)[1]
    engineer.post(url, {"then": "again", "again": key})
    assert "'AS' means the position: <b>DE</b>" not in body_of(engineer, url)
    answer(engineer, url, "AS", "NDE")
    assert "'AS' means the position: <b>NDE</b>" in body_of(engineer, url)
    body = body_of(engineer, url)
    key = re.search(r"'BS' means the position.*?name=\"again\" value=\"(\w+)\"", body, re.DOTALL)[1]
    engineer.post(url, {"then": "again", "again": key})
    answer(engineer, url, "BS", "DE")
    sheet_pages.store(engineer, url)
    assert sorted(Reading.objects.values_list("bearing__name", "typed")) == [("DE", "0.25"), ("NDE", "0.15")]
