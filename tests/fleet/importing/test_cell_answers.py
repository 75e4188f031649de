"""Answers about cells of the plant's own layout, given on the page, reach what is stored."""

import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.models import Draft, SetAside, Sheet
from inspections.models import Event, Reading
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
# Without a fitting clearance nothing is asked of what a record begins with.
IN_SERVICE = {use: um for use, um in makers.LIMITS.items() if not use.startswith("fitting")}
SHEET = "date,DE (mm),NDE (mm)\n03/2014,0.150,{}\n04/2017,0.170,0.180\n"


@pytest.fixture
def engineer(client):
    site = makers.a_site(name="Own site")
    place = makers.a_place(site=site, tag="P-7")
    for position in ("DE", "NDE"):
        makers.a_bearing(place=place, position=position, limits=IN_SERVICE)
    client.force_login(makers.an_account(site=site))
    return client


def planned(client, words):
    """The address of the questions about a sheet, its plan said."""
    file = SimpleUploadedFile("overhauls.csv", words.encode())
    url = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    said = {
        "pump": "same",
        "pump-text": "P-7",
        "basis": "diametral",
        "date_format": "MM/YYYY",
        "unit": "mm",
        "first_heading": "1",
        "last_heading": "1",
        "plan_name": "overhauls",
        "then": "go",
    }
    return client.post(url, said).url


def answered(client, url, code, choice, value=""):
    """The one question of a kind answered for all its rows; the page that follows."""
    body = unescape(client.get(url).content.decode())
    key = re.search(rf'aria-labelledby="q-(\w+)" data-code="{code}"', body)[1]
    said = {f"choice-{key}": choice, f"value-{key}-{choice}": value, "then": "answer"}
    ticked = re.findall(rf'name="row-{key}" value="([^"]*)"', body)
    client.post(url, said | {f"row-{key}": ticked})
    return unescape(client.get(url).content.decode())


@pytest.mark.parametrize("cell", ["about the same", "see sheet 4", "15 or so"])
@pytest.mark.parametrize(("choice", "kind"), [("remark", "note"), ("opened", "opened")])
def test_a_word_kept_as_a_remark_or_as_an_opening_is_stored(engineer, cell, choice, kind):
    url = planned(engineer, SHEET.format(cell))
    assert "Nothing is asked any more." in answered(engineer, url, "odd_word", choice)
    assert sheet_pages.store(engineer, url).status_code == 302
    assert [(e.kind, e.note, e.bearing.name) for e in Event.objects.all()] == [(kind, cell, "NDE")]
    assert Reading.objects.count() == 3


def test_a_word_that_stands_for_nothing_is_left_out(engineer):
    url = planned(engineer, SHEET.format("void"))
    assert "Nothing is asked any more." in answered(engineer, url, "odd_word", "leave")
    sheet_pages.store(engineer, url)
    assert Reading.objects.count() == 3 and not Event.objects.exists()


def test_an_answer_that_reads_nothing_leaves_its_question_open(engineer):
    url = planned(engineer, SHEET.format("void"))
    draft = Draft.objects.get()
    draft.answers = {"odd_word|void": [{"choice": "month", "value": ""}]}
    draft.save()
    assert "Nothing is asked any more." not in unescape(engineer.get(url).content.decode())
    assert sheet_pages.store(engineer, url).status_code == 200
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("cell", "um", "step_um", "typed"),
    [
        ("9 1/2 thou", "241.3", "12.7", "9 1/2"),
        ("9½ thou", "241.3", "12.7", "9 1/2"),
        ('1/128"', "198.4375", "198.4375", "0 1/128"),
        ("0 1/128 in", "198.4375", "198.4375", "0 1/128"),
        ("9-1/2 mils", "241.3", "12.7", "9 1/2"),
    ],
)
def test_a_fraction_is_a_value_and_its_step_that_of_its_denominator(engineer, cell, um, step_um, typed):
    url = planned(engineer, SHEET.format(f'"{cell.replace(chr(34), chr(34) * 2)}"'))
    assert "Nothing is asked any more." in unescape(engineer.get(url).content.decode())
    sheet_pages.store(engineer, url)
    stored = Reading.objects.get(bearing__name="NDE", on="2014-03-01")
    assert (str(stored.value_um.normalize()), str(stored.step_um.normalize())) == (um, step_um)
    assert stored.typed == typed


@pytest.mark.parametrize(
    ("cell", "code", "typed", "stored"),
    [("l60", "odd_word", "0.160", "0.160"), ("1.60", "clearance_range", "0.160", "0.160")],
)
def test_a_cell_is_settled_by_typing_what_it_should_say_and_what_it_said_stays(
    engineer, cell, code, typed, stored
):
    url = planned(engineer, SHEET.format(cell))
    assert "Nothing is asked any more." in answered(engineer, url, code, "typed", typed)
    sheet_pages.store(engineer, url)
    row = Reading.objects.get(bearing__name="NDE", on="2014-03-01")
    assert (row.typed, str(row.value_um.normalize()), row.note) == (
        stored,
        "1.6E+2",
        f"the sheet says '{cell}'",
    )


@pytest.mark.parametrize(
    ("cell", "code"), [("0.16/0.61", "two_values"), ("0.61?", "marked_number"), ("0.16-0.61", "two_values")]
)
def test_a_cell_that_could_be_read_two_ways_is_settled_by_typing_and_what_it_said_stays(engineer, cell, code):
    url = planned(engineer, SHEET.format(cell))
    assert "Nothing is asked any more." in answered(engineer, url, code, "typed", "0.160")
    sheet_pages.store(engineer, url)
    row = Reading.objects.get(bearing__name="NDE", on="2014-03-01")
    assert (row.typed, row.note) == ("0.160", f"the sheet says '{cell}'")


def test_two_values_set_aside_are_settled_later_by_typing(engineer):
    url = planned(engineer, SHEET.format("0.16/0.61"))
    sheet_pages.store(engineer, url, "ask the foreman")
    again = engineer.post(reverse("import-settle", args=[Sheet.objects.get().id])).url
    answered(engineer, again, "two_values", "typed", "0.160")
    sheet_pages.store(engineer, again)
    assert not SetAside.objects.standing().exists()
    assert Reading.objects.get(typed="0.160").note == "the sheet says '0.16/0.61'"


def test_what_one_of_two_cells_should_say_stays_where_the_others_are_answered_for_all(engineer):
    url = planned(engineer, SHEET.format("0.16/0.61").replace("0.180", "0.17/0.18"))
    body = unescape(engineer.get(url).content.decode())
    key = re.search(r'aria-labelledby="q-(\w+)" data-code="two_values"', body)[1]
    said = {f"choice-{key}": "typed", f"value-{key}-typed": "0.160", f"row-{key}": "0.16/0.61"}
    engineer.post(url, said | {"then": "answer"})
    assert "Nothing is asked any more." in answered(engineer, url, "two_values", "ends")
    sheet_pages.store(engineer, url)
    assert sorted(Reading.objects.filter(bearing__name="NDE").values_list("typed", "end")) == [
        ("0.160", ""),
        ("0.17", "in"),
        ("0.18", "out"),
    ]
    # said for all: a further cell of the kind in the sheet as it comes next is not asked about
    more = planned(engineer, SHEET.format("0.16/0.61") + "05/2020,0.190,0.19/0.20\n")
    assert "Nothing is asked any more." in unescape(engineer.get(more).content.decode())


def test_a_corrected_sheet_does_not_ask_again_what_it_was_told_before_anything_was_stored(engineer):
    url = planned(engineer, SHEET.format("0.16/0.17"))
    answered(engineer, url, "two_values", "ends")
    words = SHEET.format("0.16/0.17").replace("0.150", "0.151")
    file = SimpleUploadedFile("overhauls.csv", words.encode())
    again = engineer.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    assert again != url
    assert "Nothing is asked any more." in unescape(engineer.get(again).content.decode())


def test_the_plan_said_of_a_sheet_serves_the_corrected_one(engineer):
    url = planned(engineer, SHEET.format("0.160"))
    file = SimpleUploadedFile("overhauls.csv", SHEET.format("0.161").encode())
    again = engineer.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    assert again == reverse("import-questions", args=[again.split("/")[-2]]) and again != url
    assert "Nothing is asked any more." in unescape(engineer.get(again).content.decode())
    other = SimpleUploadedFile("overhauls.csv", b"when,front (mm)\n03/2014,0.161\n")
    asked = engineer.post(reverse("import"), {"kind": "history", "file": other, "decimal": "point"}).url
    assert asked.endswith("/plan/")


def test_a_date_that_is_none_is_settled_by_typing_the_date(engineer):
    url = planned(engineer, SHEET.format("0.160").replace("03/2014", "13/2014"))
    assert "Nothing is asked any more." in answered(engineer, url, "date", "typed", "03/2014")
    sheet_pages.store(engineer, url)
    row = Reading.objects.get(bearing__name="NDE", typed="0.160")
    assert (str(row.on), row.note) == ("2014-03-01", "the sheet says 'date 13/2014'")


def test_a_cell_set_aside_is_settled_later_by_typing(engineer):
    url = planned(engineer, SHEET.format("l60"))
    sheet_pages.store(engineer, url, "ask the foreman")
    again = engineer.post(reverse("import-settle", args=[Sheet.objects.get().id])).url
    answered(engineer, again, "odd_word", "typed", "0.160")
    sheet_pages.store(engineer, again)
    assert not SetAside.objects.standing().exists()
    assert Reading.objects.get(typed="0.160").note == "the sheet says 'l60'"


def test_what_is_typed_and_is_none_leaves_the_question_open(engineer):
    url = planned(engineer, SHEET.format("l60"))
    assert "Nothing is asked any more." not in answered(engineer, url, "odd_word", "typed", "16o")


@pytest.mark.parametrize("typed", ["1.70", "16o"])
def test_a_typed_value_that_fits_no_better_leaves_the_question_open(engineer, typed):
    url = planned(engineer, SHEET.format("1.60"))
    assert "Nothing is asked any more." not in answered(engineer, url, "clearance_range", "typed", typed)
    assert sheet_pages.store(engineer, url).status_code == 200 and not Reading.objects.exists()


def test_the_preview_of_the_plan_gives_positions_by_the_answers_given(engineer):
    words = SHEET.format("0.160").replace("DE (mm)", "AS (mm)", 1).replace("NDE (mm)", "BS (mm)")
    url = planned(engineer, words)
    plan = reverse("import-plan", args=[url.split("/")[-2]])

    def positions():
        body = unescape(engineer.get(plan).content.decode()).rpartition(
            'aria-label="What becomes of the rows"'
        )[2]
        return {name for name in ("P-7 AS", "P-7 BS", "P-7 DE", "P-7 NDE") if f">{name}<" in body}

    assert positions() == {"P-7 AS", "P-7 BS"}
    body = engineer.get(url).content.decode()
    said = {"then": "answer"}
    for end, position in (("AS", "DE"), ("BS", "NDE")):
        key = re.search(rf'aria-labelledby="q-(\w+)" data-code="unknown_position" data-about="{end}"', body)[
            1
        ]
        said |= {f"choice-{key}": "is", f"value-{key}-is": position}
        said[f"row-{key}"] = re.findall(rf'name="row-{key}" value="([^"]*)"', body)
    engineer.post(url, said)
    assert positions() == {"P-7 DE", "P-7 NDE"}
