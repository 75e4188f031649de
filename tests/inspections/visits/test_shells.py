"""A shell that must not be scraped, or of which it is not known, and a spherical seat: said before the check."""

import pytest

from inspections.models import Event
from inspections.visits.acts import open_visit_of
from inspections.visits.shell_words import MUST_NOT, NOT_KNOWN, SPHERICAL, before_check, scraping_offered
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said, today_of

pytestmark = pytest.mark.django_db

UNFIT = [
    ({"scrapeable": False}, MUST_NOT),
    ({"scrapeable": None}, NOT_KNOWN),
    ({"seat": "spherical"}, SPHERICAL),
]


@pytest.mark.parametrize(("facts", "words"), UNFIT)
def test_it_is_said_at_the_start_among_the_steps_and_before_the_check(facts, words):
    bearing = a_worn_bearing(**facts)
    client = a_mechanic(bearing)
    assert words in said(client.get(at(bearing)))
    begin(client, bearing)
    for page in ("visit/", "contact/"):
        assert words in said(client.get(at(bearing, page))), page


@pytest.mark.parametrize(("facts", "words"), UNFIT)
def test_scraped_is_not_offered_and_the_fact_is_recorded_with_its_reason(facts, words):
    bearing = a_worn_bearing(**facts)
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(at(bearing, "contact/"), {"drawn": "both_ends", "in_place": "yes", "half": "lower"})
    for page in ("visit/", "print/"):
        text = client.get(at(bearing, page)).content.decode()
        assert ">Scraped</button>" not in text and "Scraped: next round" not in text, page
        assert "It was scraped all the same" in text, page
    answer = said(client.post(at(bearing, "scraped/"), follow=True))
    assert "Say in a few words why it was scraped" in answer
    assert not Event.objects.filter(kind="scrape").exists()
    client.post(at(bearing, "scraped/"), {"note": "engineer on the phone"})
    assert Event.objects.get(kind="scrape").note == "engineer on the phone"


def test_a_shell_that_may_be_scraped_is_offered_it_in_one_tap():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = client.get(at(bearing, "visit/")).content.decode()
    assert ">Scraped</button>" in page and "all the same" not in page
    read(client, bearing, "0.205")
    client.post(at(bearing, "scraped/"))
    assert Event.objects.filter(kind="scrape", visit=open_visit_of(bearing.place, today_of(bearing))).exists()


@pytest.mark.parametrize(("facts", "words"), UNFIT)
def test_a_device_takes_it_along(facts, words):
    bearing = a_worn_bearing(**facts)
    (packed,) = a_mechanic(bearing).get("/record/pack/").json()["bearings"]
    assert words in packed["shell_words"] and packed["may_scrape"] is False


def test_a_spherical_seat_is_said_beside_what_is_said_of_the_metal():
    assert before_check(False, "spherical") == [MUST_NOT, SPHERICAL]
    assert [scraping_offered(may, "cylindrical") for may in (True, False, None)] == [True, False, False]
    assert before_check(True, "cylindrical") == []
