"""What the closing page says after what was found, printed, measured and done; dispositions, and closings
without one.
"""

import datetime as dt

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from fleet.ledger.verify import verify
from inspections.limits import plant_choices
from inspections.models import Closing, Decision, Disposition, Visit
from inspections.visits.dispositions import unsigned
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, closed, read, said, today_of

pytestmark = pytest.mark.django_db

LIMITS = {"fitting_min": 120, "fitting_max": 150, "in_service_min": 110, "in_service_max": 300}


@pytest.fixture
def bearing():
    return a_worn_bearing(limits=LIMITS)


@pytest.fixture
def client(bearing):
    client = a_mechanic(bearing)
    begin(client, bearing)
    return client


def measured(client, bearing, *values, stage="as_found"):
    for value in values:
        read(client, bearing, value, stage=stage)


def advice(client, bearing):
    return said(client.get(at(bearing, "close/")))


def test_sound_and_inside_it_is_closed_up(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    assert "Advice: close up" in advice(client, bearing)


def test_a_print_that_touches_only_up_the_sides_is_not_closed_up(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "contact/"), {"drawn": "full_length", "in_place": "yes", "half": "lower"})
    cells = "#######/+++++++/......./+++++++/#######"
    client.post(at(bearing, "print/"), {"keep": "yes", "cells": cells, "in_place": "yes", "half": "lower"})
    assert "Advice: ask the engineer" in advice(client, bearing)


@pytest.mark.parametrize(
    ("part", "word"),
    [("lower half", "wiped"), ("upper half", "cracked"), ("lower half", "loose bond"), ("backs", "fretted")],
)
def test_damage_on_the_hold_list_holds_with_whom_to_ring_and_a_photo(client, bearing, part, word):
    plant_choices.choose(
        name="whom_to_ring", typed="engineer on duty, 4711", site=None, from_on=None, by=makers.somebody()
    )
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {f"words {part}": [word]})
    page = advice(client, bearing)
    assert "Advice: hold" in page and "Ring: engineer on duty, 4711" in page
    assert f"A photo is wanted of: {part}: {word}" in page and "Keep it open" in page
    page = said(client.get(at(bearing, "visit/")))
    assert f"Hold. {part.capitalize()}: {word} was seen: do not close before the engineer has signed." in page
    assert "Ring: engineer on duty, 4711. Take a photo." in page
    client.post(at(bearing, "photo/"), {"photo": SimpleUploadedFile("shell.png", makers.a_png())})
    page = said(client.get(at(bearing, "visit/")))
    assert "Ring: engineer on duty, 4711." in page and "Take a photo" not in page


def test_damage_that_is_noted_asks_for_a_photo_and_is_said(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words journal": ["lightly scored"]})
    page = advice(client, bearing)
    assert "Advice: close up" in page and "A photo is wanted of: journal: lightly scored" in page


def test_a_plant_has_its_own_list_of_what_holds(client, bearing):
    engineer = a_mechanic(bearing, "engineer")
    refused = engineer.post(
        "/choices/", {"name": "hold_words", "value": "wyped", "site": bearing.place.site.name}, follow=True
    )
    assert "is no word that can be ticked" in said(refused)
    kept = {"name": "hold_words", "value": "journal: rusted", "site": bearing.place.site.name}
    assert "journal: rusted, recorded" in said(engineer.post("/choices/", kept, follow=True))
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    assert "Advice: close up" in advice(client, bearing)
    client.post(at(bearing, "seen/"), {"words journal": ["rusted"]})
    assert "Advice: hold" in advice(client, bearing)


def test_a_new_shell_takes_the_damage_of_the_old_one_away_but_not_the_journals(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    client.post(
        at(bearing, "work/"),
        {"kind": "shell_change", "half": "both", "reason": "damaged", "no_serial": "yes"},
    )
    measured(client, bearing, "0.135", "0.135", stage="as_left")
    assert "Advice: close up" in advice(client, bearing)
    client.post(at(bearing, "seen/"), {"words journal": ["electrically pitted"]})
    assert "Advice: hold" in advice(client, bearing)


def test_an_as_left_that_the_site_called_too_tight_is_measured_again_and_then_holds(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(
        at(bearing, "work/"), {"kind": "shell_change", "half": "both", "reason": "worn", "no_serial": "yes"}
    )
    measured(client, bearing, "0.060", stage="as_left")
    assert "Too tight" in said(client.get(at(bearing, "visit/"))) or "too tight" in said(
        client.get(at(bearing, "visit/"))
    )
    read(client, bearing, "0.135", stage="as_left", where="out-12")
    assert "Advice: measure again" in advice(client, bearing)


def test_a_new_shell_with_nothing_measured_is_not_closed_up(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(
        at(bearing, "work/"), {"kind": "shell_change", "half": "both", "reason": "worn", "no_serial": "yes"}
    )
    page = advice(client, bearing)
    assert "Advice: measure again" in page and "Not measured as left after the work: pump end" in page
    client.post(at(bearing, "could-not/", stage="as_left", at="in-12"), {"because": "no_time"})
    client.post(at(bearing, "could-not/", stage="as_left", at="out-12"), {"because": "no_time"})
    assert "Advice: ask the engineer" in advice(client, bearing)


def test_as_found_is_held_to_the_minimum_too_and_one_end_is_enough(client, bearing):
    measured(client, bearing, "0.205", "0.060")
    page = advice(client, bearing)
    assert "Advice: measure again" in page and "outer end: Too tight: under 0.110 mm" in page


def test_just_over_the_maximum_is_never_closed_up_by_chance_alone(client):
    bearing = a_worn_bearing(limits=LIMITS | {"in_service_max": 206})
    client = a_mechanic(bearing)
    begin(client, bearing)
    measured(client, bearing, "0.207", "0.200")
    page = advice(client, bearing)
    assert "Advice: measure again" in page and "by another hand or method" in page


def against_a_hold(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    client.post(at(bearing, "close/"), closed("close up", why="the unit is wanted"))


def test_closing_over_a_hold_without_a_disposition_is_recorded_as_such_and_stands_first(client, bearing):
    against_a_hold(client, bearing)
    row = Closing.objects.get()
    assert (row.word, row.decided, row.without_disposition) == ("hold", "close_up", True)
    assert Visit.objects.get(closed_on=today_of(bearing))
    engineer = a_mechanic(bearing, "engineer")
    page = said(engineer.get("/"))
    assert "1 bearing was closed against the word at the pump" in page
    page = said(engineer.get("/dispositions/"))
    assert "against the word" in page and "lower half: wiped was seen".capitalize() in page
    assert "Closed against the word" in said(engineer.get(f"/bearings/{bearing.place.tag}/{bearing.name}/"))
    assert verify().faults == []


def signed(**more):
    day = (dt.date.today() + dt.timedelta(days=90)).isoformat()
    return {
        "answer": "use_as_is",
        "checked": "dye penetrant, no lift",
        "check_by": "shift fitter",
        "check_every_days": "7",
        "stop_at": "80 degrees C",
        "expires_on": day,
    } | more


def test_the_engineer_signs_what_was_closed_without_and_it_leaves_the_list(client, bearing):
    against_a_hold(client, bearing)
    (row,) = unsigned([bearing.place.site])
    engineer = a_mechanic(bearing, "engineer")
    assert engineer.post(row.address, signed()).status_code == 302
    assert unsigned([bearing.place.site]) == []
    page = said(engineer.get("/dispositions/"))
    assert "shift fitter, every 7 days, stop at 80 degrees C" in page
    assert Closing.objects.get().without_disposition, "that it was closed without one stays in the record"


def test_with_a_disposition_signed_at_the_pump_it_is_closed_up_by_the_word(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    engineer = a_mechanic(bearing, "engineer")
    engineer.post(at(bearing, "close/").replace("record/close/", "disposition/"), signed())
    assert "Advice: close up" in advice(client, bearing)
    client.post(at(bearing, "close/"), closed("close up"))
    row = Closing.objects.get()
    assert (row.word, row.without_disposition) == ("close_up", False)
    assert "Disposition: use as is" in said(client.get(at(bearing, "receipt/", visit=row.visit_id)))


def test_only_an_engineer_signs_and_says_all_of_it(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    address = at(bearing, "close/").replace("record/close/", "disposition/")
    assert client.post(address, signed()).status_code == 403
    engineer = a_mechanic(bearing, "engineer")
    for missing, words in (
        ({"expires_on": ""}, "say until when"),
        ({"check_by": ""}, "Say who makes the interim checks"),
        ({"expires_on": "2020-01-01"}, "expires after the day"),
    ):
        assert words in said(engineer.post(address, signed(**missing)))
    assert not Disposition.objects.exists()
    engineer.post(address, signed(check_by="", no_checks_why="the pump is standby"))
    assert Disposition.objects.get().no_checks_why == "the pump is standby"


def test_left_at_hold_it_waits_for_the_engineer_and_is_not_against_the_word(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    client.post(at(bearing, "seen/"), {"words lower half": ["wiped"]})
    client.post(at(bearing, "close/"), closed("hold"))
    assert not Closing.objects.get().without_disposition
    (row,) = unsigned([bearing.place.site])
    assert row.decided == "hold"


def test_closing_asks_its_list_and_keeps_what_was_not_done_and_why(client, bearing):
    measured(client, bearing, "0.205", "0.205")
    page = advice(client, bearing)
    for line in (
        "oil hole and dowel",
        "cap at its torque",
        "oil ring free",
        "end float",
        "shaft turns by hand",
    ):
        assert line in page.casefold(), line
    assert "Say of the closing list" in said(client.post(at(bearing, "close/"), {"decided": "close up"}))
    undone = closed("close up", **{"list cap_torque": "not_done"})
    assert "Say why it was not done" in said(client.post(at(bearing, "close/"), undone))
    assert not Decision.objects.exists()
    client.post(at(bearing, "close/"), undone | {"list why cap_torque": "no wrench"})
    items = Closing.objects.get().items
    assert items["cap_torque"] == {"state": "not_done", "why": "no wrench"}
    assert items["end_float"] == {"state": "done"} and items["as_left"]["state"] == "not_fitted"


def test_a_device_takes_the_hold_list_and_whom_to_ring_along(client, bearing):
    plant_choices.choose(
        name="whom_to_ring", typed="engineer on duty, 4711", site=None, from_on=None, by=makers.somebody()
    )
    (packed,) = client.get("/record/pack/").json()["bearings"]
    assert "wiped" in packed["hold"] and packed["ring"] == "engineer on duty, 4711"
