"""A print read by its causes at the pump: what stands on the page, what is kept, and the word it leads to."""

import re

import pytest

from inspections.contact.check import Check
from inspections.contact.shared_table import VERSION
from inspections.models import ContactCheck, Reading
from inspections.visits import print_words
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said, today_of

pytestmark = pytest.mark.django_db
TAKEN = {"in_place": "yes", "half": "lower", "first_end": "out", "film": "normal"}


def next_act(client, bearing):
    """What the main button of the pump's page says."""
    page = client.get(at(bearing, "visit/")).content.decode()
    return re.search(r'class="button button-main" href="[^"]*">([^<]*)<', page)[1]


def pressed(drawn, *values, **facts):
    """(client, bearing, its check) with as found values in mm and a print like one of the drawn shells."""
    bearing = a_worn_bearing(**facts)
    client = a_mechanic(bearing)
    begin(client, bearing)
    for value in values:
        read(client, bearing, value)
    client.post(at(bearing, "contact/"), TAKEN | {"drawn": drawn})
    return client, bearing, ContactCheck.objects.get()


def test_a_pinched_shell_is_a_matter_of_the_seat_and_never_closed_up():
    client, bearing, check = pressed("up_the_sides", "0.205", "0.207")
    assert check.event.outcome == "seat" and check.conditions["reader"] == VERSION
    page = said(client.get(at(bearing, "print/")))
    assert "Do not scrape" in page and "drawn in at its joints" in page and "crush" in page
    closing = said(client.get(at(bearing, "close/")))
    assert "Advice: ask the engineer" in closing and "Advice: close up" not in closing
    assert next_act(client, bearing) == "Ask the engineer"
    page = said(client.get(at(bearing, "visit/")))
    assert "Ask the engineer. The last print of the lower half: Do not scrape" in page and "Ring:" in page


def test_a_wiped_shell_holds_whatever_its_print_says():
    client, bearing, check = pressed("full_length", "0.205", "0.207")
    assert check.event.outcome == "acceptable"
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    assert "Advice: hold" in said(client.get(at(bearing, "close/")))
    assert "Hold. The print: Acceptable" in said(client.get(at(bearing, "print/")))
    assert next_act(client, bearing) == "Hold"


def test_a_tight_shell_that_was_measured_again_holds_whatever_its_print_asks_for():
    limits = {"in_service_min": 190, "in_service_max": 300}
    client, bearing, check = pressed("flooded", "0.120", "0.122", limits=limits)
    assert check.event.outcome == "measure" and next_act(client, bearing) == "Measure again"
    for one in Reading.objects.filter(visit=check.event.visit):
        read(client, bearing, "0.121", where=f"{one.end}-{one.clock}", query={"again": one.pk})
    closing = said(client.get(at(bearing, "close/")))
    assert "Advice: hold" in closing and "It was measured again, and still so" in closing
    assert next_act(client, bearing) == "Hold"
    page = said(client.get(at(bearing, "visit/")))
    assert "Hold. As found, pump end: Too tight" in page and "Measure again. The last print" in page


def test_a_new_shell_is_measured_again_as_left_whatever_was_measured_again_as_found():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    for one in Reading.objects.filter(visit__opened_on=today_of(bearing)):
        read(client, bearing, "0.206", where=f"{one.end}-{one.clock}", query={"again": one.pk})
    assert "No trigger: the fleet has too few lives" in said(client.get(at(bearing, "visit/")))
    new = {"kind": "shell_change", "half": "both", "reason": "worn", "no_serial": "on"}
    client.post(at(bearing, "work/"), new)
    assert "No trigger" not in said(client.get(at(bearing, "visit/")))
    for value in ("0.150", "0.151"):
        read(client, bearing, value, stage="as_left")
    client.post(at(bearing, "contact/"), TAKEN | {"drawn": "full_length", "film": ""})
    assert ContactCheck.objects.get().conditions["code"] == "clearance_open"
    assert next_act(client, bearing) == "Measure again"


def test_a_print_that_does_not_tell_is_laid_in_again_and_one_that_carries_leads_to_the_end():
    client, bearing, check = pressed("nothing", "0.205", "0.207")
    assert check.event.outcome == "repeat" and next_act(client, bearing) == "Repeat the print"
    client.post(at(bearing, "contact/"), TAKEN | {"drawn": "full_length"})
    assert next_act(client, bearing) == "Finish"


def test_a_print_all_over_at_a_clearance_under_the_minimum_is_measured_before_anything_is_done():
    limits = {"in_service_min": 190, "in_service_max": 300}
    client, bearing, check = pressed("flooded", "0.120", "0.122", limits=limits)
    assert check.event.outcome in ("measure", "seat")
    closing = said(client.get(at(bearing, "close/")))
    assert "Advice: close up" not in closing and "Advice: scrape" not in closing
    assert "Too tight" in closing or "too tight" in closing


def test_a_print_that_fits_is_accepted_once_the_clearance_is_what_the_record_expected():
    client, bearing, check = pressed("full_length")
    assert check.conditions["code"] == "clearance_open"
    assert "Advice: measure again" in said(client.get(at(bearing, "close/")))
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    assert "The last print" not in said(client.get(at(bearing, "close/")))


def test_what_is_kept_are_causes_places_and_four_sentences_in_text():
    _, _, check = pressed("one_end", "0.205", "0.207")
    kept = check.conditions
    assert kept["causes"][0][0] == "tilt" and all(isinstance(chance, str) for _, chance in kept["causes"])
    assert [label for label, _ in print_words.lines(kept)] == [
        "Next",
        "The print shows",
        "Made by",
        "To tell apart",
    ]
    assert kept["state"] == "run_in" and kept["measured_twice"] is True


def test_the_reading_of_an_older_day_stays_as_it_was():
    old = {"headline": "Scrape both ends.", "reasons": [["both_ends", "Two high spots.", "practice"]]}
    assert print_words.lines(old) == [("", "Two high spots.")]


def test_facts_of_a_print_refuse_what_cannot_be():
    with pytest.raises(ValueError, match="state is 'old'"):
        Check(state="old")
