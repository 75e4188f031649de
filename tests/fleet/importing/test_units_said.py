"""A unit, and radial or diametral: read from the words beside a table and offered, else said by a person;
never told from the numbers.
"""

from decimal import Decimal

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.importing.reading_plans.cell_fates import apply
from fleet.importing.reading_plans.guesses import guess
from fleet.importing.reading_plans.reading_plan import UNITS
from fleet.importing.reading_plans.units_beside_table import offers
from fleet.models import Draft
from fleet.sheets.files import read_sheet
from fleet.unit_words import basis_in, unit_named, units_in
from inspections.models import Reading
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
# Without a fitting clearance nothing is asked of what a record begins with.
IN_SERVICE = {use: um for use, um in makers.LIMITS.items() if not use.startswith("fitting")}
BARE = """{title},,,
date,DE,NDE,remarks
2014-03-01,15,16,
2017-04-01,23,18,
"""


def sheet(title="", notes=""):
    return BARE.format(title=title) + notes


@pytest.fixture
def engineer(client):
    site = makers.a_site(name="Own site")
    place = makers.a_place(site=site, tag="P-7")
    for position in ("DE", "NDE"):
        makers.a_bearing(place=place, position=position, limits=IN_SERVICE)
    client.force_login(makers.an_account(site=site))
    return client


def brought(client, words):
    file = SimpleUploadedFile("clearances.csv", words.encode())
    return client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url


def post(**more):
    said = {"pump": "same", "pump-text": "P-7", "basis": "diametral", "unit": "", "then": "go"}
    return said | {"first_heading": "2", "last_heading": "2", "plan_name": "mine"} | more


def stored(client, draft_url):
    """Everything that can be stored of the draft is."""
    sheet_pages.store(client, draft_url)
    return sorted(Reading.objects.values_list("value_um", flat=True))


@pytest.mark.parametrize(
    "numbers", ["15 16 23 18", "0.15 0.16 0.23 0.18", "150 160 230 180", ".006 .0063 .009 .007"]
)
def test_no_unit_is_ever_preset_from_the_size_of_the_numbers(engineer, numbers):
    words = sheet()
    for old, new in zip(("15", "16", "23", "18"), numbers.split(), strict=True):
        words = words.replace(f",{old}", f",{new}")
    url = brought(engineer, words)
    page = engineer.get(url)
    assert page.context["plan"].unit == "" and page.context["plan"].basis == ""
    answer = engineer.post(url, post())
    assert answer.status_code == 200 and "say in which unit the numbers are" in answer.content.decode()
    assert not Reading.objects.exists()


def test_a_title_of_hundredths_is_offered_with_its_cell_and_read_so_once_it_is_taken(engineer):
    url = brought(engineer, sheet("Bearing clearances in 1/100 mm"))
    page = engineer.get(url)
    (offer,) = page.context["offers"]
    assert (offer.unit, offer.basis, offer.place) == ("1/100 mm", "", "cell A1")
    assert "Take 1/100 mm" in page.content.decode() and "cell A1" in page.content.decode()
    page = engineer.post(url, post(then="show", take=offer.value))
    assert page.context["plan"].unit == "1/100 mm" and page.context["plan"].basis == "diametral"
    answer = engineer.post(url, post(unit="1/100 mm"))
    assert stored(engineer, answer.url) == [150, 160, 180, 230]


def test_a_unit_against_the_title_is_asked_about_before_anything_is_stored(engineer):
    answer = engineer.post(brought(engineer, sheet("Clearances in 1/100 mm")), post(unit="thou"))
    page = engineer.get(answer.url)
    (group,) = page.context["groups"]
    assert (group.code, group.about, group.n_rows) == ("unit_in_title", "1/100 mm", 4)
    assert stored(engineer, answer.url) == []
    said = {f"choice-{group.key}": "unit", f"value-{group.key}-unit": "1/100 mm", "then": "answer"}
    engineer.post(answer.url, said | {f"row-{group.key}": [row.ident for row in group.rows]})
    assert stored(engineer, answer.url) == [150, 160, 180, 230]


def test_what_the_person_says_holds_against_the_title_once_it_was_asked(engineer):
    answer = engineer.post(brought(engineer, sheet("Clearances in 1/100 mm")), post(unit="thou"))
    (group,) = engineer.get(answer.url).context["groups"]
    assert group.code == "unit_in_title"
    engineer.post(answer.url, {f"choice-{group.key}": "as_planned", "then": "answer"})
    groups = engineer.get(answer.url).context["groups"]
    assert "unit_in_title" not in [one.code for one in groups]
    assert groups, "12 and more thou on a journal of 100 mm are asked about as values"


def test_radial_in_the_title_against_diametral_is_asked_about_and_doubles(engineer):
    words = sheet("Lagerspiel (Radialspiel) in 1/100 mm").replace("23", "17")
    answer = engineer.post(brought(engineer, words), post(unit="1/100 mm"))
    (group,) = engineer.get(answer.url).context["groups"]
    assert (group.code, group.about) == ("basis_in_title", "radial")
    assert stored(engineer, answer.url) == []
    engineer.post(answer.url, {f"choice-{group.key}": "radial", "then": "answer"})
    assert stored(engineer, answer.url) == [300, 320, 340, 360]
    assert set(Reading.objects.values_list("basis", flat=True)) == {"radial"}


def test_both_readings_are_shown_on_the_bearing_s_own_limit_and_journal(engineer):
    url = brought(engineer, sheet().replace(",15,", ",23,"))
    page = engineer.post(url, post(then="show", basis=""))
    first = page.context["examples"][0]
    said = {
        (row.unit, basis): words
        for row in first.rows
        for basis, words in zip(first.bases, row.words, strict=True)
    }
    assert first.typed == "23" and first.where == "P-7 DE"
    inside = said["1/100 mm", "diametral"]
    assert inside == "0.230 mm: inside the limit of 0.300 mm; 2.30 per mille of the journal"
    assert said["1/100 mm", "radial"].startswith("0.460 mm: over the limit of 0.300 mm")
    assert said["thou", "diametral"].startswith("0.584 mm: over the limit")
    assert "outside 0.5 to 4 per mille" in said["um", "diametral"]
    assert inside in page.content.decode()
    told = engineer.post(url, post(then="show", unit="mm", basis="radial"))
    assert told.context["examples"] == [], "what was said is not asked again"


def test_a_note_below_the_table_and_one_in_another_tab_are_offered_too():
    words = sheet(notes='Notes: all readings in thousandths of an inch,,,\n"Spiel im Durchmesser",,,\n')
    tabs = read_sheet(words.encode(), "x.csv").tabs
    said = [(one.unit, one.basis, one.place) for one in offers(tabs, apply(guess(tabs), tabs).fates)]
    assert said == [("thou", "", "cell A5"), ("", "diametral", "cell A6")]


def test_a_column_s_own_heading_wins_over_the_title_and_asks_nothing(engineer):
    words = sheet("All in thou").replace("DE,NDE", "DE (1/100 mm),NDE [Hundertstel]", 1)
    answer = engineer.post(brought(engineer, words), post(unit="thou"))
    assert engineer.get(answer.url).context["groups"] == []
    assert stored(engineer, answer.url) == [150, 160, 180, 230]


@pytest.mark.parametrize(
    ("text", "units", "basis"),
    [
        ("Clearances in 1/100 mm", ("1/100 mm",), ""),
        ("DE [0,01 mm]", ("1/100 mm",), ""),
        ("hundredths of a millimetre", ("1/100 mm",), ""),
        ("Spiel in Hundertstel, radial", ("1/100 mm",), "radial"),
        ("jeu au rayon en centièmes de mm", ("1/100 mm",), "radial"),
        ("jeu au diamètre (mm)", ("mm",), "diametral"),
        ("Durchmesserspiel in mm", ("mm",), "diametral"),
        ("total diametrical clearance, mils", ("mil",), "diametral"),
        ("values in 1/1000 in", ("thou",), ""),
        ('all 0.001"', ("thou",), ""),
        ("thousandths of an inch", ("thou",), ""),
        ("1/1000 mm", ("um",), ""),
        ("in microns", ("um",), ""),
        ("Radial bearings of lift pumps", (), ""),
        ("Radiallager, um 10 Uhr geprüft", (), ""),
        ("taken by micrometer", (), ""),
        ("hundredths of an inch", (), ""),
        ("page 1/100", (), ""),
        ("radial and diametral clearance", (), ""),
    ],
)
def test_words_for_units_and_bases_in_three_languages(text, units, basis):
    assert (units_in(text), basis_in(text)) == (units, basis)


@pytest.mark.parametrize(
    ("word", "unit"),
    [
        ("1/100", "1/100 mm"),
        ("Hundertstel", "1/100 mm"),
        ("µm", "um"),
        ("inches", "in"),
        ("mils", "mil"),
        ("", ""),
        ("bar", ""),
        ("6 thou", ""),
    ],
)
def test_a_unit_column_s_word_is_one_of_the_plan_s_units_or_none(word, unit):
    assert unit_named(word) == unit and (unit in UNITS or unit == "")


def test_a_unit_column_of_hundredths_is_read(engineer):
    words = (
        "pump,position,date,value,unit\nP-7,DE,2014-03-01,15,1/100 mm\nP-7,NDE,2014-03-01,16,Hundertstel\n"
    )
    said = post(pump="column", first_heading="1", last_heading="1")
    answer = engineer.post(
        brought(engineer, "Clearances,,,,\n" + words), said | {"first_heading": "2", "last_heading": "2"}
    )
    assert answer.status_code == 302, Draft.objects.get().plan
    assert stored(engineer, answer.url) == [Decimal(150), Decimal(160)]
