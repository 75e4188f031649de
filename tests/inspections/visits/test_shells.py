"""A shell that must not be scraped, or of which it is not known, and a spherical seat:
said before the check.
"""

import pytest

from inspections.models import ContactCheck, Event
from inspections.visits.acts import open_visit_of
from inspections.visits.shell_words import MUST_NOT, NOT_KNOWN, SPHERICAL, before_check, shell_allows
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
    assert [shell_allows(may, "cylindrical") for may in (True, False, None)] == [True, False, False]
    assert before_check(True, "cylindrical") == []


# What the print, the readings and what was seen say against it ---------------------------------------------

SPOT = "......./..++.../..++.../......./......."
TAKEN = {"in_place": "yes", "half": "lower", "film": "normal"}


def printed(client, bearing, drawn: str):
    client.post(at(bearing, "contact/"), {"drawn": drawn} | TAKEN)
    return client.get(at(bearing, "print/")).content.decode()


def spotted(client, bearing) -> str:
    """The print page after a check whose cells were tapped as one spot."""
    client.post(at(bearing, "contact/"), {"drawn": "nothing"} | TAKEN)
    check = ContactCheck.objects.order_by("entry_n").last()
    body = {"cells": SPOT, "taps": "4", "check": str(check.pk), "keep": "yes"} | TAKEN
    return client.post(at(bearing, "print/"), body, follow=True).content.decode()


def offered(client, bearing) -> bool:
    """Whether "Scraped" is one of the steps; the fact behind a reason stands there where it is not."""
    page = client.get(at(bearing, "visit/")).content.decode()
    assert (">Scraped</button>" in page) != ("It was scraped all the same" in page)
    return ">Scraped</button>" in page


@pytest.mark.parametrize(
    "drawn", ["both_ends", "up_the_sides", "upper_side", "middle", "nothing", "full_length"]
)
def test_scraped_is_no_step_after_a_print_that_does_not_ask_for_it(drawn):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    assert offered(client, bearing)
    page = printed(client, bearing, drawn)
    assert 'value="scraped" type="submit" data-main-for="scrape" hidden' in page and "all the same" in page
    assert not offered(client, bearing)
    answer = said(client.post(at(bearing, "scraped/"), follow=True))
    assert (
        "Say in a few words why it was scraped" in answer and not Event.objects.filter(kind="scrape").exists()
    )
    client.post(at(bearing, "scraped/"), {"note": "the foreman wanted it"})
    assert Event.objects.get(kind="scrape").note == "the foreman wanted it"


def test_a_spot_that_returns_is_scraped_in_one_tap_and_not_twice_without_a_print_between():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for value in ("0.205", "0.205"):
        read(client, bearing, value)
    spotted(client, bearing)
    assert not offered(client, bearing)  # a first spot is cleaned and laid in again
    page = spotted(client, bearing)
    assert 'data-outcome="scrape"' in page and 'data-main-for="scrape" hidden' not in page
    assert offered(client, bearing)
    client.post(at(bearing, "scraped/"))
    assert not offered(client, bearing)
    assert Event.objects.filter(kind="scrape").count() == 1


@pytest.mark.parametrize("value", ["0.340", "0.050"])
def test_scraped_is_no_step_over_the_maximum_and_under_the_minimum(value):
    bearing = a_worn_bearing(limits={"in_service_min": 100, "in_service_max": 300})
    client = a_mechanic(bearing)
    begin(client, bearing)
    read(client, bearing, value)
    assert not offered(client, bearing)


def test_scraped_is_no_step_where_damage_holds():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(at(bearing, "seen/"), {"words lower half": "wiped"})
    assert not offered(client, bearing)


def test_a_tap_takes_the_step_away_with_the_verdict_that_it_gives():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for value in ("0.205", "0.205"):
        read(client, bearing, value)
    for _ in range(2):
        spotted(client, bearing)
    check = ContactCheck.objects.order_by("entry_n").last()
    full = "/".join([".......", "+++++++", "#######", "+++++++", "......."])
    for taps, cells, may in ((8, full, False), (9, SPOT, True)):
        body = {"draft": "yes", "cells": cells, "taps": str(taps), "check": str(check.pk)} | TAKEN
        assert client.post(at(bearing, "print/"), body).json()["may_scrape"] is may
