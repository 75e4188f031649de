"""The last page before storing: every bearing drawn, the doubtful first, each to be opened and taken out."""

import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet import forms
from fleet.forms import NEW_PLAN
from fleet.importing import drafts, marked_sheet, returned_sheet
from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from fleet.importing.options import Options
from fleet.models import Draft, SetAside, Sheet
from fleet.sheets import files
from inspections.importing.drawn_bearings import drawn_bearings
from inspections.models import MeterEntry, Reading
from inspections.story.uncertainty import spreads
from inspections.views import limits_of_many
from tests import makers, sheet_pages

pytestmark = pytest.mark.django_db
HEAD = "pump,position,date,event,stage,method,value,unit\n"


@pytest.fixture
def works():
    """Twelve pumps of one kind."""
    site = makers.a_site(name="Own site")
    for n in range(12):
        place = makers.a_place(site=site, tag=f"P-{n + 10}", positions=("DE",))
        makers.a_bearing(place=place, journal_diameter_um=None)
    return site


def sheet(odd=None):
    """Two readings of each of twelve bearings; `odd` changes the value of one pump's rows."""
    lines = []
    for n in range(12):
        for year, um in ((2014, 150 + n), (2018, 165 + n)):
            value = um * (odd if odd and n == 7 else 1) / 1000
            lines.append(f"P-{n + 10},DE,{year}-03-09,reading,as_found,feeler,{value:.4f},mm\n")
    return HEAD + "".join(lines)


def drawn(words):
    answers = Answers()
    for _ in range(2):
        result = import_file(
            words.encode(), "h.csv", holds="history", by=makers.somebody(), only_look=True, answers=answers
        )
        for group in result.groups:
            answers.add(group.code, group.about, "right")
    assert not result.faults and not result.questions
    return drawn_bearings(result.rows, result.directory, spreads(makers.THE_DAY))


@pytest.mark.parametrize("factor", [25.4, 1 / 25.4, 10, 2.54, 2, 0.5])
def test_a_bearing_off_by_a_factor_comes_first_and_the_page_says_so(works, factor):
    first, second = drawn(sheet(factor))[:2]
    assert first.tag == "P-17" and "unlike the other bearings of the sheet" in first.reasons
    assert not second.reasons


def test_a_clean_sheet_has_nothing_to_look_at_and_every_bearing_is_there_once(works):
    made = drawn(sheet())
    assert len(made) == 12 and not any(one.reasons for one in made)
    assert {(one.n_new, one.n_there, one.measures) for one in made} == {(2, 0, "in mm, diametral")}


def test_what_the_record_holds_is_drawn_beside_it_and_ranks_what_is_unlike_it(works):
    assert import_file(sheet().encode(), "h.csv", holds="history", by=makers.somebody()).ok
    made = drawn(HEAD + "P-12,DE,2020-03-09,reading,as_found,feeler,0.40,mm\n")
    assert len(made) == 1 and (made[0].n_new, made[0].n_there) == (1, 2)
    assert {"unlike what the record holds of it", "jumps"} <= set(made[0].reasons)


def test_the_page_leads_from_the_questions_to_what_is_stored_and_a_bearing_taken_out_is_set_aside(
    works, client
):
    client.force_login(makers.an_account(site=works))
    words = sheet().replace("feeler", "our own gauge")
    file = SimpleUploadedFile("h.csv", words.encode())
    url = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    last = client.post(url, {"then": "look"}).url
    assert last.startswith(reverse("import-last", args=[url.split("/")[-2]]))
    assert client.get(last).url == url  # the method is still asked about
    key = re.search(r'name="choice-(\w+)"', client.get(url).content.decode())[1]
    client.post(url, {f"choice-{key}": "new", "then": "answer"})
    body = unescape(client.get(client.post(url, {"then": "look"}).url).content.decode())
    assert (
        body.count("<h2>P-") == 12
        and "24 rows" in body.replace("\xa0", " ")
        and "in mm, diametral: 150" in body
    )
    assert client.post(last, {"out": "P-17|DE"}).url == reverse("import-last", args=[url.split("/")[-2]])
    body = unescape(client.get(last).content.decode())
    assert body.count("<h2>P-") == 11 and "22 rows" in body.replace("\xa0", " ")
    assert "Bearings taken out before storing: P-17 DE" in unescape(client.get(url).content.decode())
    sheet_pages.store(client, url)
    assert Reading.objects.standing().count() == 22 and SetAside.objects.standing().count() == 2
    assert Sheet.objects.get().n_set_aside == 2


def test_what_was_not_shown_is_not_stored_and_what_was_looked_at_is_shown_again_when_it_changed(
    works, client
):
    client.force_login(makers.an_account(site=works))
    file = SimpleUploadedFile("h.csv", sheet().encode())
    last = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    assert re.fullmatch(r"/import/draft/[\w-]+/last/", last) and not Reading.objects.exists()
    url = sheet_pages.questions_of(last)
    for shown in ({}, {"shown": ""}, {"shown": "0" * 64}):
        assert client.post(url, {"then": "store"} | shown).url == last  # nothing was looked at yet
    _, shown = sheet_pages.looked_at(client, url)
    client.post(last, {"out": "P-17|DE"})
    answer = client.post(url, {"then": "store", "shown": shown}, follow=True)
    assert "Nothing was stored: this is what would be stored now" in unescape(answer.content.decode())
    assert not Reading.objects.exists() and not Sheet.objects.exists()
    assert client.post(url, {"then": "store", "shown": shown, "set_aside": "other"}).url.startswith(last)
    assert sheet_pages.store(client, url).url.startswith("/import/")
    assert Reading.objects.standing().count() == 22


def test_a_sheet_of_more_rows_than_a_page_reads_is_refused_at_once_with_the_number_allowed(
    works, client, monkeypatch
):
    monkeypatch.setattr(files, "MOST_ROWS", 20)
    monkeypatch.setattr(forms, "MOST_ROWS_OF_PAGE", 10)
    client.force_login(makers.an_account(site=works))
    for plan in ("", NEW_PLAN):
        file = SimpleUploadedFile("h.csv", sheet().encode())
        said = {"kind": "history", "file": file, "decimal": "point", "plan": plan}
        page = unescape(client.post(reverse("import"), said).content.decode())
        assert (
            "at most 10 are read at once; split the sheet, for instance by years, or have it brought whole"
            " with manage.py import_history FILE, which reads 20 and shows how far it is" in page
        )
        assert "Mend the cells" not in page
    assert not Draft.objects.exists()


def test_the_drawing_reaches_back_to_the_first_day_that_would_be_stored(works, client):
    client.force_login(makers.an_account(site=works))
    words = HEAD + "".join(
        f"P-10,DE,{year}-03-09,reading,as_found,feeler,0.15{year % 10},mm\n" for year in (1991, 2004)
    )
    file = SimpleUploadedFile("h.csv", words.encode())
    last = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    page = unescape(client.get(last).content.decode()).replace("\u00a0", " ")
    assert re.search(r"Time from \w+ 1990", page)  # a little room before the first


def metered(odd=None):
    """Hours of every pump in two years; `odd` says what those of one pump are worth."""
    lines = []
    for n in range(12):
        for year in (2014, 2018):
            hours = (2_000 + 6_000 * (year - 2010)) * (odd if odd and n == 7 else 1)
            lines.append(f"P-{n + 10},{year}-03-09,hours,{hours:.0f}\n")
    return "pump,date,event,run_hours\n" + "".join(lines)


@pytest.mark.parametrize("factor", [0.1, 0.05])
def test_a_meter_unlike_the_others_comes_first_and_a_sheet_of_hours_alone_is_drawn(works, factor):
    first, second = drawn(metered(factor))[:2]
    assert (first.tag, first.position) == ("P-17", "run hours") and not second.reasons
    assert first.reasons == ["its hours a year are unlike the other pumps'"]
    assert len(drawn(metered())) == 12 and not any(meter.reasons for meter in drawn(metered()))


def test_a_single_entry_of_a_meter_is_held_against_the_years_its_pump_is_known(works):
    for hours in (12.5, 9_000_000):
        words = HEAD.replace("value", "value,run_hours") + "".join(
            f"P-10,DE,{day},reading,as_found,feeler,{value},{h},mm\n"
            for day, value, h in (("2010-03-09", 0.150, ""), ("2018-03-09", 0.165, int(hours)))
        )
        (meter,) = [one for one in drawn(words) if one.position == "run hours"]
        assert meter.reasons and meter.rank > 2


def test_the_page_draws_the_meters_and_hours_taken_out_are_not_stored(works, client):
    client.force_login(makers.an_account(site=works))
    file = SimpleUploadedFile("h.csv", metered().encode())
    last = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    body = unescape(client.get(last).content.decode()).replace("\xa0", " ").replace("\u202f", " ")
    assert "0 bearings and 12 hour meters" in body and body.count('class="strip"') == 12
    assert "26000h to 50000h, 6000h a year" in re.sub(r"(?<=\d)\s(?=\d|h)", "", body)
    client.post(last, {"out": "P-17|run hours"})
    assert "0 bearings and 11 hour meters" in unescape(client.get(last).content.decode()).replace("\xa0", " ")
    sheet_pages.store(client, sheet_pages.questions_of(last))
    assert MeterEntry.objects.standing().count() == 22 and SetAside.objects.standing().count() == 2


def test_hours_beside_a_reading_are_taken_out_and_the_reading_stays(works, client):
    client.force_login(makers.an_account(site=works))
    words = "pump,position,date,event,stage,method,value,unit,run_hours\n"
    words += "P-10,DE,2018-03-09,reading,as_found,feeler,0.165,mm,31000\n"
    file = SimpleUploadedFile("h.csv", words.encode())
    last = client.post(reverse("import"), {"kind": "history", "file": file, "decimal": "point"}).url
    client.post(last, {"out": "P-10|run hours"})
    sheet_pages.store(client, sheet_pages.questions_of(last))
    assert Reading.objects.standing().count() == 1 and not MeterEntry.objects.exists()


def test_no_page_reads_a_sheet_of_more_rows_than_it_may_that_a_command_stored(works, client, monkeypatch):
    words = sheet() + "P-10,DE,2020-03-09,reading,as_found,our own gauge,0.170,mm\n"
    more = {"holds": "history", "by": makers.somebody(), "options": Options(set_aside="ask the fitter")}
    stored = import_file(words.encode(), "h.csv", **more).sheet
    client.force_login(makers.an_account(site=works))
    for module in (drafts, marked_sheet, returned_sheet, limits_of_many):
        monkeypatch.setattr(module, "MOST_ROWS_OF_PAGE", 10)
    questions = client.post(reverse("import-settle", args=[stored.id])).url
    page = unescape(client.get(questions).content.decode())
    assert "at most 10 are read at once" in page and "Mend these cells" not in page
    for url in (
        reverse("import-back", args=[stored.id]),
        reverse("import-marked", args=[questions.split("/")[-2]]),
    ):
        answer = client.get(url, follow=True)
        assert "at most 10 are read at once" in unescape(answer.content.decode())
    assert client.get(reverse("limits-of-many"), {"sheet": str(stored.id)}).status_code == 200
