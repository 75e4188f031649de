"""Limits for many bearings: offered from the sheet with their cell, compared with rules in print, set in one
act after a look.
"""

import re
from decimal import Decimal
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.importing.offered_limits import offered_limits
from fleet.models import Bearing, Entry, Limit, Site
from fleet.sheets.files import read_sheet
from inspections.limits.limits_of_many import bearings_with_limits
from inspections.models import Reading
from inspections.views import limits_of_many
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
HEAD = "pump,position,date,event,stage,method,value,unit,note\n"
ROWS = "".join(
    f"P-{n},{end},{year}-03-09,reading,as_found,feeler,{0.150 + 0.01 * k:.3f},mm,\n"
    for n in (1, 2)
    for end in ("DE", "NDE")
    for k, year in enumerate((2012, 2018))
)
NOTE = "P-1,,2018-03-09,note,,,,,max 12 thou all pumps\n"


@pytest.fixture
def works(client):
    site = makers.a_site(name="Own site")
    for n in (1, 2):
        makers.a_place(site=site, tag=f"P-{n}", positions=("DE", "NDE"))
    client.force_login(makers.an_account(site=site))
    return client


@pytest.fixture
def done(works):
    """A history stored through its pages; the address of what became of it."""
    file = SimpleUploadedFile("h.csv", (HEAD + ROWS + NOTE).encode())
    last = works.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    return sheet_pages.store(works, sheet_pages.questions_of(last)).url


def page_of(client, url):
    return unescape(client.get(url).content.decode()).replace("\u00a0", " ")


def said(**more):
    return {
        "use": "in_service_max",
        "value": "0.30",
        "unit": "mm",
        "basis": "diametral",
        "authority": "plant",
        "document": "",
        "reason": "the sheet says so",
    } | more


def everyone():
    return [str(pk) for pk in Reading.objects.standing().values_list("bearing", flat=True).distinct()]


def test_after_storing_the_page_says_what_came_in_and_that_limits_are_the_one_thing_to_do_next(works, done):
    page = page_of(works, done)
    assert "Came in: 8 measurements, 1 event, at 4 bearings, from 2012 to 2018." in page
    assert "No date can be said yet of any of its 4 bearings." in page
    assert "What the first dates say" not in page
    assert "4 bearings of it have no limit, and without one there is no date." in page
    assert "Set limits for 4 bearings</a>" in page and page.count("button-main") == 1


def test_limits_of_the_sheet_are_offered_with_their_cell_and_nothing_is_set_unasked(works, done):
    page = page_of(works, f"{reverse('limits-of-many')}?sheet={done.split('/')[2]}")
    assert "cell I10" in page and "max 12 thou all pumps" in page and page.count("checked>") == 4
    assert not Limit.objects.exists()
    filled = page_of(works, f"{reverse('limits-of-many')}?sheet={done.split('/')[2]}&offer=0")
    assert 'value="12"' in filled and "h.csv, cell I10" in filled
    assert (
        '<option value="thou" selected>' in filled and '<option value="" selected>choose' in filled
    )  # basis


def test_one_limit_is_set_for_all_that_are_ticked_in_one_act_and_dates_follow(works, done):
    url = f"{reverse('limits-of-many')}?sheet={done.split('/')[2]}"
    bearings = everyone()
    refused = page_of_post(works, url, said(basis="") | {"bearing": bearings})
    assert "It is never assumed" in refused and not Limit.objects.exists()
    assert works.post(url, said() | {"bearing": bearings[:3]}).url == done
    limits = Limit.objects.standing()
    assert {one.value_um for one in limits} == {Decimal(300)} and limits.count() == 3
    assert len({one.act for one in Entry.objects.filter(kind="limit")}) == 1
    page = page_of(works, done)
    assert "Set limits for 1 bearing</a>" in page
    works.post(url, said() | {"bearing": bearings})
    assert Limit.objects.standing().count() == 4  # those that had it got nothing twice
    page = page_of(works, done)
    assert "of 4 bearings have dates" in page and "What the first dates say" in page


@pytest.mark.parametrize(
    ("remark", "ticked"),
    [
        ("lift checked; limit 14 thou", ["P-2 DE", "P-2 NDE"]),
        ("NDE limit 14 thou", ["P-2 NDE"]),
        ("limit 14 thou, DE and NDE", ["P-2 DE", "P-2 NDE"]),
        ("limit 14 thou all pumps", ["P-1 DE", "P-1 NDE", "P-2 DE", "P-2 NDE"]),
    ],
)
def test_a_limit_that_stands_in_a_remark_of_one_pump_is_offered_for_that_pump_alone(works, remark, ticked):
    note = f'p-2,,2018-03-09,note,,,,,"{remark}"\n'
    file = SimpleUploadedFile("h.csv", (HEAD + ROWS + note).encode())
    last = works.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    done = sheet_pages.store(works, sheet_pages.questions_of(last)).url
    page = page_of(works, f"{reverse('limits-of-many')}?sheet={done.split('/')[2]}&offer=0")
    assert re.findall(r"For ([^<]+)</span><input[^>]* checked>", page) == ticked


@pytest.mark.parametrize(
    ("at", "ticked"),
    [
        ([("P-1", "DE"), ("P-2", "NDE")], ["P-1 DE", "P-2 NDE"]),
        ([("P-1", "DE"), ("P-2", "")], ["P-1 DE", "P-2 DE", "P-2 NDE"]),
        ([("P-77", "DE")], []),
        ([("P-77", "DE"), ("P  3", "n  de")], ["P 3 N DE"]),
    ],
)
def test_a_limit_is_ticked_only_at_bearings_that_a_row_of_it_names(works, at, ticked):
    makers.a_place(site=Site.objects.get(), tag="P 3", positions=("DE", "N DE"))
    rows = "".join(f"{pump},{position},2018-03-09,limit 14 thou\n" for pump, position in at)
    (offer,) = offered_limits(read_sheet(f"pump,position,date,note\n{rows}".encode(), "h.csv").tabs)
    bearings = list(Bearing.objects.in_order().select_related("place"))
    shown = limits_of_many._ticked(bearings_with_limits(bearings, makers.THE_DAY), offer)
    assert [one.name for one in shown] == ticked


def page_of_post(client, url, words):
    return unescape(client.post(url, words).content.decode()).replace("\u00a0", " ")


def test_a_limit_under_the_last_readings_is_asked_back_and_set_only_as_it_was_asked(works, done):
    url = f"{reverse('limits-of-many')}?sheet={done.split('/')[2]}"
    words = said(value="0.12") | {"bearing": everyone()}
    page = page_of_post(works, url, words)
    assert "Is this limit meant?" in page and "P-1 DE: it lies under the last reading" in page
    assert not Limit.objects.exists()
    yes = page.split('name="confirmed" value="')[1].split('"')[0]
    page_of_post(works, url, words | {"value": "0.11", "confirmed": yes})
    assert not Limit.objects.exists()  # another value than the one asked about
    works.post(url, words | {"confirmed": yes})
    assert Limit.objects.standing().count() == 4


def test_a_least_above_its_most_at_one_of_them_stores_none(works, done):
    url = f"{reverse('limits-of-many')}?sheet={done.split('/')[2]}"
    bearings = everyone()
    works.post(url, said(use="in_service_min", value="0.10") | {"bearing": bearings[:1]})
    page = page_of_post(works, url, said(value="0.09") | {"bearing": bearings})
    yes = page.split('name="confirmed" value="')[1].split('"')[0]
    page = page_of_post(works, url, said(value="0.09", confirmed=yes) | {"bearing": bearings})
    assert "A least cannot lie above its most" in page and "Nothing was stored." in page
    assert Limit.objects.standing().count() == 1


def test_rules_in_print_stand_in_one_table_beside_every_bearing_whose_journal_is_known(client):
    site = makers.a_site(name="Own site")
    place = makers.a_place(site=site, tag="P-9", positions=("DE", "NDE"))
    makers.a_bearing(place=place, position="DE", journal_diameter_um=Decimal(101_600), limits={})
    client.force_login(makers.an_account(site=site))
    page = page_of(client, reverse("limits-of-many"))
    assert "0.0015 in per inch of journal" in page and "written for sleeve bearings of pumps" in page
    row = page.split("P-9 DE</td>")[1].split("</tr>")[0]
    assert "305 \u00b5m" in row and "152 \u00b5m" in row  # 0.003 and 0.0015 in per inch of a 4 inch journal
    assert not Limit.objects.exists()
