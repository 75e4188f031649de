"""The plant's own words for work: added, found, taken out again."""

import datetime as dt

import pytest
from django.urls import reverse

from fleet.models import Setting
from fleet.plant.acts import Refused
from inspections.importing.plants_work_words import SAMPLES, add_word, own_words
from inspections.importing.remarks import WORDS_FOR, words_of_plant, works_named
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 3, 9)


def test_every_sample_of_the_trades_list_is_found_by_it():
    assert set(SAMPLES) == set(WORDS_FOR)
    for kind, words in SAMPLES.items():
        for word in words:
            assert str(kind) in works_named(word), word


def test_a_word_of_the_plants_own_is_found_and_asked_about():
    place = makers.a_place(tag="P-1")
    makers.a_bearing(place=place)
    sheet = (
        "pump,position,date,event,stage,method,value,unit,note\n"
        "P-1,DE,2010-05-02,reading,as_found,feeler,0.15,mm,{}\n"
    )
    assert makers.a_sheet(sheet.format("Stoned down")).ok
    add_word("scrape", "Stoned  Down", today=TODAY, by=makers.somebody())
    result = makers.a_sheet(sheet.format("stoned down").replace("2010", "2013"))
    assert [(one.code, one.about) for one in result.questions] == [("remark_names_work", "scrape|DE")]
    assert works_named("not stoned down", words_of_plant(TODAY)) == []


@pytest.mark.parametrize(
    ("kind", "word"),
    [("scrape", "scraped"), ("scrape", "x"), ("scrape", "12.5"), ("oil", "greased"), ("scrape", "y" * 61)],
)
def test_a_word_that_is_known_or_none_is_refused_with_a_sentence(kind, word):
    with pytest.raises(Refused, match=r"\.$"):
        add_word(kind, word, today=TODAY, by=makers.somebody())
    assert not Setting.objects.exists()


def test_the_page_adds_a_word_tries_a_remark_and_takes_the_word_out(client):
    client.force_login(makers.an_account())
    url = reverse("import-words")
    client.post(url, {"kind": "scrape", "word": "stoned down"})
    page = client.get(url, {"remark": "Stoned down at both ends"}).content.decode()
    assert "It tells of: <b>scrape</b>" in page and "stoned down" in page
    client.post(url, {"drop": "scrape|stoned down"})
    assert own_words(TODAY) == {}
    assert "It tells of no work" in client.get(url, {"remark": "stoned down"}).content.decode()


def test_an_engineer_of_one_site_may_read_the_list_and_not_change_it(client):
    client.force_login(makers.an_account(site=makers.a_site(name="One of many")))
    url = reverse("import-words")
    assert "an engineer of all sites" in client.get(url).content.decode()
    assert client.post(url, {"kind": "scrape", "word": "stoned down"}).status_code == 403


def test_a_tried_remark_shows_what_it_says_was_measured(client):
    client.force_login(makers.an_account())
    page = client.get(reverse("import-words"), {"remark": "clr DE .0065 found, blue 80 %"}).content.decode()
    assert "clearance .0065 as found at DE; contact 80 % at DE" in page and "It tells of no work" in page
