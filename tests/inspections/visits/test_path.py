"""The whole path by plain forms, without scripts: begin, read, scrape, check the contact, see, close,
receipt.
"""

import re
import uuid

import pytest

from inspections.models import ContactCheck, Decision, Event, Finding, NotMeasured, Reading, Visit
from inspections.visits.contact_rounds import rounds_of
from inspections.visits.forms import write_cells
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said

pytestmark = pytest.mark.django_db


@pytest.mark.everyday
def test_from_the_start_to_the_receipt_without_scripts():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    assert "Is this the bearing in front of you?" in said(client.get(at(bearing)))
    answer = begin(client, bearing)
    page = client.get(answer["Location"])
    assert "As found · station 1 of 2, pump end" in said(page) and "Last time 0.190" in said(page)
    page = client.get(read(client, bearing, "0.205")["Location"])
    assert "0.205 mm stored. Inside the limit of 0.300 mm" in said(page) and "station 2 of 2" in said(page)
    page = client.get(read(client, bearing, "0.207")["Location"])
    assert "What comes next?" in said(page)
    page = client.post(
        at(bearing, "contact/"),
        {"drawn": "both_ends", "in_place": "yes", "half": "lower"},
        follow=True,
    )
    assert "Measure before doing more: both ends carry" in said(page)
    scraped = {"id": uuid.uuid4(), "note": "the engineer on the phone"}
    page = client.post(at(bearing, "scraped/"), scraped, follow=True)
    assert "round 2" in said(page)
    page = client.post(
        at(bearing, "contact/"),
        {"drawn": "full_length", "in_place": "yes", "half": "lower"},
        follow=True,
    )
    assert "Acceptable" in said(page)
    page = client.get(at(bearing, "visit/"))
    assert "Measure as left" in said(page)
    read(client, bearing, "0.215", stage="as_left")
    read(client, bearing, "0.217", stage="as_left")
    client.post(at(bearing, "seen/"), {"nothing": "yes"})
    page = client.get(at(bearing, "close/"))
    assert "Advice: close up" in said(page) and "Metal removed: about" in said(page)
    page = client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"}, follow=True)
    assert "Closed and stored" in said(page) and "0.217 mm" in said(page)
    visit = Visit.objects.get(closed_on__isnull=False, label="", opened_on__gte=visit_day(bearing))
    assert Reading.objects.filter(visit=visit).count() == 4
    assert Event.objects.filter(visit=visit, kind="found", note="nothing found").exists()
    assert [c.round for c in ContactCheck.objects.order_by("round")] == [1, 2]
    assert Decision.objects.get().decided == "close_up"
    assert {a.part for a in visit.attendances.all()} == {"measured", "recorded", "signed"}


def visit_day(bearing):
    from fleet.clock import today_at

    return today_at(bearing.place.site)


def test_an_unlikely_value_is_stored_and_asked_about_and_the_second_measurement_counts():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    answer = read(client, bearing, "0.102")
    assert "again=" in answer["Location"]
    page = client.get(answer["Location"])
    assert "0.102 mm is stored." in said(page)
    assert "Did you mean 0.204 mm, the whole clearance where the reading was radial?" in said(page)
    assert "Typed wrong: make it 0.204 mm" in said(page)
    first = Reading.objects.get(typed="0.102")
    read(client, bearing, "0.204", where="in-12", query={"again": first.pk})
    first.refresh_from_db()
    second = Reading.objects.get(typed="0.204")
    assert (first.counts, second.counts, second.repeat) == (False, True, 2)
    assert first.withdrawn_by is None


def test_an_unlikely_value_that_is_true_goes_in_all_the_same():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = client.get(read(client, bearing, "0.480")["Location"])
    assert "Over the limit" in said(page) and "The first one is right" in said(page)
    assert Reading.objects.get(typed="0.480").counts


def test_the_likely_slip_is_mended_in_one_tap_and_both_versions_are_kept():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    read(client, bearing, "2.05")
    wrong = Reading.objects.get(typed="2.05")
    client.post(at(bearing, "mend/", reading=wrong.pk), {"value": "0.205", "unit": "mm"})
    wrong.refresh_from_db()
    right = Reading.objects.get(typed="0.205")
    assert wrong.withdrawn_by and right.supersedes == wrong.pk


def test_only_who_entered_a_value_mends_it_at_the_pump():
    bearing = a_worn_bearing()
    mine, other = a_mechanic(bearing), a_mechanic(bearing)
    begin(mine, bearing)
    read(mine, bearing, "0.205")
    value = Reading.objects.get(typed="0.205")
    page = other.post(at(bearing, "mend/", reading=value.pk), {"value": "0.9", "unit": "mm"})
    assert "Only who measured or recorded a value mends it here" in said(page)
    assert not Reading.objects.filter(typed="0.9").exists()


def test_a_form_sent_twice_is_one_reading():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    once = str(uuid.uuid4())
    for _ in range(2):
        read(client, bearing, "0.205", where="in-12", id=once)
    assert str(Reading.objects.get(typed="0.205").pk) == once


def test_the_same_id_with_another_value_is_a_question_not_an_overwriting():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    once = str(uuid.uuid4())
    read(client, bearing, "0.205", where="in-12", id=once)
    page = read(client, bearing, "0.206", where="in-12", id=once)
    assert "stored already as 0.205 mm" in said(page)
    assert not Reading.objects.filter(typed="0.206").exists()


def test_whoever_comes_next_goes_on_with_the_same_visit_and_sees_all_of_it():
    bearing = a_worn_bearing()
    first, second = a_mechanic(bearing), a_mechanic(bearing)
    begin(first, bearing)
    read(first, bearing, "0.205")
    assert "its visit stands open" in said(second.get(at(bearing))).lower()
    begin(second, bearing)
    assert Visit.objects.filter(closed_on=None, opened_on__gte=visit_day(bearing)).count() == 1
    assert "0.205 mm" in said(second.get(at(bearing, "visit/")))
    page = said(second.get(at(bearing, "reading/", stage="as_found")))
    assert "station 2 of 2" in page


def test_what_could_not_be_measured_says_why_and_is_not_asked_again():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    answer = client.post(at(bearing, "could-not/", stage="as_found", at="in-12"), {"because": "no_access"})
    assert "station 2 of 2" in said(client.get(answer["Location"]))
    row = NotMeasured.objects.get()
    assert (row.end, row.clock, row.because) == ("in", 12, "no_access")
    assert "not measured: no access to it" in said(client.get(at(bearing, "visit/")))


def test_closing_asks_why_a_station_was_not_measured():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    read(client, bearing, "0.205")
    page = client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"})
    assert "Say why this was not measured: as found, outer end." in said(page)
    client.post(
        at(bearing, "close/"), {"decided": "close up", "listed": "yes", "because as_found out-12": "no_time"}
    )
    assert NotMeasured.objects.get().because == "no_time"


def test_a_decision_against_the_advice_needs_its_reason():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    read(client, bearing, "0.205")
    read(client, bearing, "0.205")
    page = client.post(at(bearing, "close/"), {"decided": "replace"})
    assert "Say in a few words why" in said(page) and not Decision.objects.exists()
    client.post(at(bearing, "close/"), {"decided": "replace", "why": "new shell at hand"})
    assert (Decision.objects.get().advised, Decision.objects.get().decided) == ("close_up", "replace")


def test_the_second_signature_that_a_plant_asks_for_is_another_persons():
    from fleet.plant.choices import set_setting

    bearing = a_worn_bearing()
    set_setting(name="signatures", value=["checked"], by=makers.somebody())
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    page = client.post(
        at(bearing, "close/"),
        {"decided": "close up", "listed": "yes", "checked_by": client.account.person_id},
    )
    assert "must be another person" in said(page)
    client.post(
        at(bearing, "close/"),
        {"decided": "close up", "listed": "yes", "checked_by": a_mechanic(bearing).account.person_id},
    )
    assert Visit.objects.filter(closed_on=visit_day(bearing)).exists()


def test_an_opened_bearing_that_was_not_measured_is_recorded_with_its_reason():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    assert "Say in a few words why" in said(client.post(at(bearing, "opened/"), {"note": " "}))
    client.post(at(bearing, "opened/"), {"note": "no time to measure"})
    page = client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"}, follow=True)
    assert "Closed and stored" in said(page)
    assert Event.objects.get(kind="opened").note == "no time to measure"


def test_exceptions_from_the_usual_conditions_widen_the_verdict():
    bearing = a_worn_bearing(limits={"in_service_max": 215})
    client = a_mechanic(bearing)
    begin(client, bearing)
    page = said(client.get(read(client, bearing, "0.203")["Location"]))
    assert "Inside the limit of 0.215 mm" in page
    page = said(client.get(read(client, bearing, "0.203", exceptions=["cap_loose", "warm"])["Location"]))
    assert "May be over the limit of 0.215 mm" in page
    assert Reading.objects.get(end="out", typed="0.203").conditions == {"cap_loose": True, "warm": True}


def test_what_is_seen_is_kept_by_part():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(
        at(bearing, "seen/"),
        {"words journal": ["scored"], "where journal": "pump end", "words seals": ["invented"]},
    )
    found = Finding.objects.get()
    assert (found.part, found.words, found.where) == ("journal", ["scored"], "pump end")


def test_a_new_shell_is_held_against_the_fitting_range():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    client.post(
        at(bearing, "work/"), {"kind": "shell_change", "half": "both", "reason": "worn", "shell": "S-9"}
    )
    page = said(client.get(read(client, bearing, "0.155", stage="as_left")["Location"]))
    assert "Inside 0.140 to 0.170 mm" in page
    page = said(client.get(read(client, bearing, "0.190", stage="as_left")["Location"]))
    assert "the fitting range of 0.170 mm" in page


@pytest.mark.parametrize("role", ["planner", "auditor", "reader"])
def test_who_may_only_read_may_not_record(role):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing, role)
    assert client.get(at(bearing)).status_code == 403
    assert begin(client, bearing).status_code == 403
    assert not Visit.objects.filter(opened_on__gte=visit_day(bearing)).exists()


def test_nothing_is_added_to_a_closed_visit():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"})
    answer = read(client, bearing, "0.3", where="in-12")
    assert answer.status_code == 302 and answer["Location"].split("?")[0] == at(bearing)
    assert not Reading.objects.filter(typed="0.3").exists()


def test_the_bearings_page_shows_the_visit_with_its_prints_its_findings_and_its_receipt():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    for drawn in ("both_ends", "full_length"):
        client.post(at(bearing, "contact/"), {"drawn": drawn, "in_place": "yes", "half": "lower"})
    client.post(at(bearing, "seen/"), {"words journal": ["scored"]})
    client.post(at(bearing, "could-not/", stage="as_left", at="in-12"), {"because": "no_time"})
    page = client.get(f"/bearings/{bearing.place.tag}/{bearing.name}/")
    assert page.content.decode().count('class="print-heavy"') == 6 + 7
    text = said(page)
    assert "Round 1, 29 % of the length" in text or "Round 1, 57 % of the length" in text
    assert "Measure before doing more: both ends carry" in text and "journal: scored" in text
    assert text.count("Likely ") >= 1, "what made the print stands with it"
    assert "Not measured as left, pump end: no time in this outage" in text
    reader = a_mechanic(bearing, "auditor")
    address = page.content.decode().split("receipt and verdicts")[0].rsplit('href="', 1)[1].split('"')[0]
    receipt = said(reader.get(address.replace("&amp;", "&")))
    assert "0.205 mm" in receipt and "Inside the limit of 0.300 mm" in receipt


def test_cells_mended_after_the_first_tap_are_read_anew_and_both_prints_are_kept():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    client.post(at(bearing, "contact/"), {"drawn": "both_ends", "in_place": "yes", "half": "lower"})
    first = ContactCheck.objects.get()
    page = client.post(at(bearing, "print/"), {"cell": "2,3", "cells": ""})
    assert "column 4: light" in page.content.decode() and ContactCheck.objects.count() == 1
    full = "/".join([".......", "+++++++", "#######", "+++++++", "......."])
    page = client.post(
        at(bearing, "print/"), {"keep": "yes", "cells": full, "in_place": "yes", "half": "lower"}, follow=True
    )
    assert "Acceptable" in said(page)
    first.refresh_from_db()
    second = ContactCheck.objects.standing().get()
    assert first.withdrawn_by and second.supersedes == first.pk and second.round == 1
    assert Event.objects.standing().filter(kind="contact_check").count() == 1


def test_the_print_can_be_mended_as_a_table():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    client.post(at(bearing, "contact/"), {"drawn": "narrow", "in_place": "yes", "half": "lower"})
    page = client.get(at(bearing, "print/", **{"as": "table"}))
    assert page.content.decode().count('<select name="cell-') == 35
    cells = {f"cell-{i}-{k}": "2" if i in (1, 2, 3) else "0" for i in range(5) for k in range(7)}
    client.post(at(bearing, "print/"), cells | {"keep": "yes", "in_place": "yes", "half": "lower"})
    assert ContactCheck.objects.standing().get().pattern["cells"][1] == [2] * 7


def test_the_third_round_is_followed_by_a_caution_and_a_shell_that_must_not_be_scraped_says_so():
    bearing = a_worn_bearing(scrapeable=False)
    client = a_mechanic(bearing)
    begin(client, bearing)
    for n in range(3):
        if n:
            client.post(at(bearing, "scraped/"), {"id": uuid.uuid4(), "note": "the engineer on the phone"})
        page = client.post(
            at(bearing, "contact/"), {"drawn": "both_ends", "in_place": "yes", "half": "lower"}, follow=True
        )
    text = said(page)
    assert "Round 3: stop and think." in text and "This shell must not be scraped" in text


def test_checking_again_with_nothing_scraped_is_no_round():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    printed = {"drawn": "both_ends", "in_place": "yes", "half": "lower", "first_end": "out"}
    client.post(at(bearing, "contact/"), printed)
    again = client.post(at(bearing, "print/"), printed | {"leave": "again"}, follow=True)
    assert "Contact check · round 1" in said(again)
    client.post(at(bearing, "contact/"), printed)
    page = client.post(at(bearing, "contact/"), printed | {"drawn": "one_end", "half": "upper"}, follow=True)
    assert [c.round for c in ContactCheck.objects.standing()] == [1, 1, 1] and "stop and think" not in said(
        page
    )
    # A mend of the first print stays before the second one; metal that came off begins a round.
    first, second, _ = ContactCheck.objects.order_by("entry_n")
    cells = write_cells(first.pattern["cells"]).replace("#", "+")
    client.post(at(bearing, "print/"), printed | {"check": first.pk, "cells": cells, "keep": "yes"})
    visit = first.event.visit
    lower = [c for c in rounds_of(visit, bearing) if c.half == "lower"]
    assert len(lower) == 2 and lower[0].supersedes == first.pk and lower[1] == second
    client.post(at(bearing, "scraped/"), {"id": uuid.uuid4(), "note": "the engineer on the phone"})
    client.post(at(bearing, "contact/"), printed)
    assert rounds_of(visit, bearing)[-1].round == 2


def test_each_scrape_of_a_visit_moves_what_is_expected_as_left():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    expected = []
    for _ in range(2):
        client.post(at(bearing, "scraped/"), {"id": uuid.uuid4(), "note": "the engineer on the phone"})
        page = said(client.get(at(bearing, "reading/", stage="as_left")))
        expected.append([float(v) for v in re.findall(r"expected (0\.\d+) to (0\.\d+)", page)[0]])
    (low, high), (second_low, second_high) = expected
    assert second_high - high > second_low - low > 0.003


def test_one_more_scrape_that_may_pass_the_replace_limit_is_warned_of():
    bearing = a_worn_bearing(limits={"in_service_max": 300, "replace": 212})
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    page = client.post(
        at(bearing, "contact/"), {"drawn": "both_ends", "in_place": "yes", "half": "lower"}, follow=True
    )
    assert "on it is replaced rather than scraped" in said(page)


def test_a_value_beyond_the_range_of_its_strip_is_kept_as_a_bound():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    read(client, bearing, "0.240", method="plastic_strip", instrument="PB-1")
    row = Reading.objects.get(method="plastic_strip")
    assert (row.typed, row.value_um, float(row.low_um)) == (">0.2286", None, 228.6)
    assert "typed 0.240 mm" in row.note


@pytest.mark.parametrize(
    ("missing", "words"),
    [
        ("half", "Say which half is new, or that both are."),
        ("reason", "Say why it was replaced, or that it is not known."),
        ("shell", "Give the serial of the new shell, or tick that it is not known."),
    ],
)
def test_a_new_shell_counts_once_half_reason_and_serial_are_said_or_not_known(missing, words):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    whole = {"kind": "shell_change", "half": "lower", "reason": "worn", "shell": "S-9"}
    page = client.post(at(bearing, "work/"), whole | {missing: ""})
    assert words in said(page) and not Event.objects.filter(kind="shell_change").exists()
    known_not = {"half": "both"} if missing == "half" else {"reason": "unknown"}
    known_not = {"shell": "", "no_serial": "yes"} if missing == "shell" else known_not
    client.post(at(bearing, "work/"), whole | known_not)
    event = Event.objects.get(kind="shell_change")
    stored = {"half": event.half, "reason": event.reason, "shell": event.shell, "note": event.note}
    assert stored[missing] == ("unknown" if missing == "reason" else "")
    assert event.note == ("serial not known" if missing == "shell" else "")


def test_both_halves_are_said_and_shims_are_asked_for_none_of_it():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    both = {"kind": "shell_change", "half": "both", "reason": "worn", "shell": "S-9"}
    client.post(at(bearing, "work/"), both)
    client.post(at(bearing, "work/"), {"kind": "shim_change", "note": "0.05 out"})
    assert [(e.half, e.note) for e in Event.objects.order_by("entry_n") if e.kind != "found"] == [
        ("", ""),
        ("", "0.05 out"),
    ]


def test_a_pump_with_a_slash_in_its_name_leads_to_its_other_bearing():
    place = makers.a_place(tag="Makeup A/B", positions=("DE", "N/DE"))
    bearing = makers.a_bearing(place=place, position="DE")
    makers.a_bearing(place=place, position="N/DE")
    page = a_mechanic(bearing).get("/bearings/Makeup A~B/DE/record/").content.decode()
    assert "/bearings/Makeup%20A~B/N~DE/record/" in page
