"""What a device's queue may do and may not: ids by right, nothing lost without a word, one bad entry alone
refused.
"""

import datetime as dt
import threading
import uuid
from dataclasses import replace

import pytest
from django.db import IntegrityError, OperationalError, connection
from django.test import Client

from fleet.models import Attachment, Person
from inspections.models import ContactCheck, DeviceReceipt, Event, NotMeasured, Reading, Visit
from inspections.records.recording import close_visit
from inspections.visits import device_kinds
from tests import makers
from tests.inspections.visits.test_offline_sync import an_entry, answers, send
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said, today_of

pytestmark = pytest.mark.django_db


def a_reading_of(client, bearing, **more):
    """One reading stored from a device; its entry."""
    entry = an_entry(client, bearing, **more)
    assert send(client, entry) == [("stored", "")]
    return entry


def refused(client, entry):
    """The sentence an entry is refused with; nothing is stored of it."""
    before = [
        model._base_manager.count() for model in (Reading, Event, NotMeasured, ContactCheck, Visit, Person)
    ]
    ((state, why),) = send(client, entry)
    assert state == "refused" and why
    after = [
        model._base_manager.count() for model in (Reading, Event, NotMeasured, ContactCheck, Visit, Person)
    ]
    assert after == before
    return why


# ids --------------------------------------------------------------------------------------------------------


def test_a_reading_of_another_site_is_not_taken_out_by_naming_it_as_measured_again():
    bearing, elsewhere = a_worn_bearing(), a_worn_bearing()
    stranger, owner = a_mechanic(bearing), a_mechanic(elsewhere)
    theirs = a_reading_of(owner, elsewhere)
    why = refused(stranger, an_entry(stranger, bearing, again=theirs["id"]))
    assert Reading.objects.get(pk=theirs["id"]).counts
    assert "0.205" not in why


@pytest.mark.parametrize(
    "other",
    [
        {"station": "out-12"},
        {"stage": "as_left"},
        {"quantity": "end_float", "station": "any"},
        {"visit": "another"},
    ],
)
def test_only_the_same_station_stage_quantity_and_visit_is_measured_again(other):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    first = a_reading_of(client, bearing)
    if "visit" in other:
        visit = Visit.objects.get(pk=first["visit"])
        close_visit(visit=visit, on=today_of(bearing), by=client.account.person_id)
        other = {"visit": str(uuid.uuid4())}
    refused(client, an_entry(client, bearing, visit=first["visit"], again=first["id"]) | other)
    assert Reading.objects.get(pk=first["id"]).counts


def test_somebody_elses_reading_is_not_taken_out_by_measuring_again():
    bearing = a_worn_bearing()
    mine, other = a_mechanic(bearing), a_mechanic(bearing)
    first = a_reading_of(mine, bearing)
    refused(other, an_entry(other, bearing, visit=first["visit"], again=first["id"]))
    assert Reading.objects.get(pk=first["id"]).counts


def test_ones_own_reading_is_measured_again_and_the_second_counts():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    first = a_reading_of(client, bearing)
    second = a_reading_of(client, bearing, visit=first["visit"], again=first["id"])
    assert not Reading.objects.get(pk=first["id"]).counts
    assert Reading.objects.get(pk=second["id"]).repeat == 2


def test_a_second_measurement_that_comes_before_the_first_waits_for_it():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    first = an_entry(client, bearing)
    second = an_entry(client, bearing, visit=first["visit"], again=first["id"])
    assert "has not arrived" in refused(client, second)
    assert send(client, first, second) == [("stored", "")] * 2
    assert not Reading.objects.get(pk=first["id"]).counts


def test_an_id_replayed_by_a_stranger_answers_with_no_value():
    bearing, elsewhere = a_worn_bearing(), a_worn_bearing()
    owner, stranger = a_mechanic(elsewhere), a_mechanic(bearing)
    theirs = a_reading_of(owner, elsewhere)
    fields = theirs["fields"] | {"value": "0.111"}
    why = refused(stranger, an_entry(stranger, bearing, id=theirs["id"], fields=fields))
    assert "0.205" not in why
    same = an_entry(stranger, bearing, id=theirs["id"])
    assert send(stranger, same)[0][0] == "refused"  # not even that it would be the same


def test_a_form_sent_with_the_id_of_somebody_elses_reading_answers_with_no_value_either():
    bearing, elsewhere = a_worn_bearing(), a_worn_bearing()
    owner, stranger = a_mechanic(elsewhere), a_mechanic(bearing)
    theirs = a_reading_of(owner, elsewhere)
    begin(stranger, bearing)
    page = said(read(stranger, bearing, "0.111", id=theirs["id"]))
    assert "stands for another entry" in page and "0.205" not in page
    for screen, more in (("seen/", {"nothing": "yes"}), ("could-not/", {"because": "no_time"})):
        kind, fields = ("found", {"nothing": "yes"}) if "nothing" in more else ("could_not", more)
        row = an_entry(owner, elsewhere, kind, visit=theirs["visit"], fields=fields)
        assert send(owner, row) == [("stored", "")]
        answer = stranger.post(at(bearing, screen, at="in-12"), more | {"id": row["id"]}, follow=True)
        assert answer.status_code == 200 and "stands for another entry" in said(answer)


@pytest.mark.parametrize("part", ["measured_by", "checked_by"])
def test_a_person_nobody_knows_here_is_refused_in_a_sentence_and_the_reading_stays_on_the_device(part):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    elsewhere = makers.an_account(role="mechanic", site=a_worn_bearing().place.site).person_id
    for who in (uuid.uuid4(), elsewhere):
        assert "person" in refused(client, an_entry(client, bearing, **{part: str(who)}))


def test_who_may_be_picked_on_the_screens_may_be_named_by_a_device():
    bearing = a_worn_bearing()
    client, other = a_mechanic(bearing), a_mechanic(bearing)
    named = {"measured_by": str(other.account.person_id), "checked_by": str(client.account.person_id)}
    row = Reading.objects.get(pk=a_reading_of(client, bearing, **named)["id"])
    assert (row.measured_by, row.checked_by) == (other.account.person_id, client.account.person_id)


def test_a_visit_of_another_pump_is_not_joined():
    bearing, elsewhere = a_worn_bearing(), a_worn_bearing()
    client, owner = a_mechanic(bearing), a_mechanic(elsewhere)
    theirs = a_reading_of(owner, elsewhere)
    assert refused(client, an_entry(client, bearing, visit=theirs["visit"]))


# the same id with other content


@pytest.mark.parametrize(
    "other",
    [
        {"station": "out-12"},
        {"stage": "as_left"},
        {"quantity": "end_float"},
        {"on": "2026-01-01"},
        {"fields": {"unit": "thou"}},
        {"fields": {"value": "0.300"}},
        {"fields": {"method": "feeler"}},
        {"fields": {"basis": "radial"}},
        {"fields": {"exceptions": ["warm"]}},
        {"fields": {"instrument": "G 7"}},
        {"fields": {"less": "0.1"}},
        {"kind": "scrape", "fields": {}},
    ],
)
def test_a_known_id_with_other_content_is_a_conflict_and_changes_nothing(other):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = a_reading_of(client, bearing)
    fields = entry["fields"] | other.get("fields", {}) if other.get("fields") != {} else {}
    why = refused(client, entry | other | {"fields": fields})
    assert "other content" in why
    row = Reading.objects.get(pk=entry["id"])
    assert (row.typed, row.unit, row.stage, row.method, row.counts) == (
        "0.205",
        "mm",
        "as_found",
        "bore_gauge",
        True,
    )


@pytest.mark.parametrize(
    ("kind", "fields", "other"),
    [
        ("could_not", {"because": "no_access"}, {"because": "no_time"}),
        ("contact", {"drawn": "both_ends", "in_place": "yes"}, {"drawn": "full_length", "in_place": "yes"}),
        ("work", {"kind": "shim_change"}, {"kind": "oil"}),
        ("found", {"words journal": ["scored"]}, {"words journal": ["oval"]}),
        ("opened", {"note": "looked at"}, {"note": "no time"}),
    ],
)
def test_a_known_id_of_any_kind_with_other_content_is_a_conflict(kind, fields, other):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing, kind, fields=fields)
    assert [send(client, entry)[0][0] for _ in range(2)] == ["stored", "already"]
    assert "other content" in refused(client, entry | {"fields": other})


# one bad entry alone

LONG, NUL, CONTROL = "x" * 4000, "a\x00b", "a\x1bb"
BAD = {
    "method long": {"fields": {"method": LONG}},
    "method NUL": {"fields": {"method": NUL}},
    "value NUL": {"fields": {"value": "0.2\x00"}},
    "value long": {"fields": {"value": "1" * 4000}},
    "no number": {"fields": {"value": "1O5"}},
    "too large": {"fields": {"value": "99999"}},
    "gauge long": {"fields": {"instrument": LONG}},
    "gauge NUL": {"fields": {"instrument": NUL}},
    "unit": {"fields": {"unit": "ell"}},
    "year 1": {"entered_at": "0001-01-01T00:00:00Z"},
    "year 1 of a sheet": {"on": "0001-01-01"},
    "day ahead": {"on": "2999-01-01"},
    "no day": {"entered_at": "yesterday"},
    "clock": {"station": "in-99999999999"},
    "station": {"station": "up-3"},
    "stage": {"stage": NUL},
    "name NUL": {"measured_by_name": NUL},
    "name control": {"measured_by_name": CONTROL},
    "name long": {"measured_by_name": LONG},
    "nobody": {"measured_by": str(uuid.UUID(int=7))},
    "checker": {"checked_by": "me"},
    "again": {"again": "first"},
    "visit": {"visit": "x"},
    "surrogate": {"fields": {"instrument": "a\ud800"}},
    "fields": {"fields": [1]},
    "basis": {"fields": {"basis": "square"}},
    "no id": {"id": None},
    "kind": {"kind": ["reading"]},
}


def spoiled(entry, wrong):
    fields = wrong.get("fields", {})
    return entry | wrong | {"fields": entry["fields"] | fields if isinstance(fields, dict) else fields}


@pytest.mark.parametrize("wrong", BAD.values(), ids=BAD)
def test_a_bad_entry_is_refused_in_a_sentence_and_those_around_it_go_in(wrong):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    good, bad, last = (
        an_entry(client, bearing),
        spoiled(an_entry(client, bearing), wrong),
        an_entry(client, bearing),
    )
    first, second, third = send(client, good, bad, last)
    assert (first, third) == (("stored", ""), ("stored", ""))
    assert second[0] == "refused" and second[1]
    assert Reading.objects.filter(entered_at__isnull=False).count() == 2


@pytest.mark.parametrize(
    ("kind", "fields"),
    [
        ("could_not", {"because": "no_access", "note": LONG}),
        ("could_not", {"because": "lost"}),
        ("opened", {"note": LONG}),
        ("opened", {"note": ""}),
        ("work", {"kind": "shell_change", "shell": LONG}),
        ("work", {"kind": "burn"}),
        ("found", {"note journal": LONG}),
        ("found", {"words journal": ["scored"], "where journal": LONG}),
        ("found", {}),
        ("scrape", {"note": NUL}),
        ("contact", {"drawn": LONG}),
        ("contact", {"drawn": "both_ends", "cells": "+" * 9000}),
        ("contact", {"drawn": "both_ends", "worn_arc_deg": "nan"}),
    ],
)
def test_bad_fields_of_every_kind_are_refused_in_a_sentence(kind, fields):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    assert refused(client, an_entry(client, bearing, kind, fields=fields))


def test_entries_that_are_none_do_not_stop_the_others():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    said = send(client, 7, "x", [], None, {}, an_entry(client, bearing))
    assert [state for state, _ in said] == ["refused"] * 5 + ["stored"]


def test_a_fault_of_the_sites_own_refuses_one_entry_and_not_the_batch(monkeypatch):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)

    def broken(**_):
        raise ZeroDivisionError

    monkeypatch.setattr("inspections.visits.device_kinds.could_not_measure", broken)
    said = send(
        client,
        an_entry(client, bearing, "could_not", fields={"because": "no_time"}),
        an_entry(client, bearing),
    )
    assert said[0][0] == "refused" and said[0][1] and said[1] == ("stored", "")


def test_a_photo_of_the_same_id_with_another_picture_is_a_conflict():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing, "photo", name="a.png", fields={"note": "journal"})
    assert send(client, entry, photo=makers.a_png())[0][0] == "stored"
    assert "other content" in send(client, entry | {"fields": {"note": "ring"}}, photo=makers.a_png())[0][1]
    assert Attachment.objects.get(pk=entry["id"]).note == "journal"


def test_a_devices_day_before_the_visit_is_taken_as_the_visits_first():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    first = a_reading_of(client, bearing)
    late = a_reading_of(client, bearing, visit=first["visit"], entered_at="2026-01-01T00:00:00Z")
    assert Reading.objects.get(pk=late["id"]).on == dt.date(2026, 1, 2)


# the database's own refusals


def _with_trouble(monkeypatch, trouble, times):
    """The act that stores a reading, failing that many times as the database fails."""
    left = [trouble] * times

    def store(entry):
        if left:
            raise left.pop()
        kind.store(entry)

    kind = device_kinds.KINDS["reading"]
    monkeypatch.setitem(device_kinds.KINDS, "reading", replace(kind, store=store))


def test_a_refusal_of_the_database_is_never_told_as_already(monkeypatch):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    _with_trouble(monkeypatch, IntegrityError("FOREIGN KEY constraint failed"), times=2)
    assert "FOREIGN KEY" in refused(client, an_entry(client, bearing))
    _with_trouble(monkeypatch, IntegrityError("somebody else was quicker"), times=1)
    assert send(client, an_entry(client, bearing)) == [("stored", "")]


def test_a_busy_database_refuses_for_now_and_keeps_no_receipt_of_it(monkeypatch):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    _with_trouble(monkeypatch, OperationalError("database is locked"), times=1)
    entry = an_entry(client, bearing)
    (answer,) = answers(client, entry)
    assert (answer["state"], answer["later"]) == ("refused", True) and "busy" in answer["why"]
    assert not DeviceReceipt.objects.exists()
    assert send(client, entry) == [("stored", "")]


@pytest.mark.django_db(transaction=True)
def test_the_same_entries_sent_by_two_tabs_at_the_same_moment_are_stored_once():
    bearing = a_worn_bearing(values=("0.190",))
    client = a_mechanic(bearing)
    entries = [an_entry(client, bearing, n=n, visit=str(uuid.UUID(int=9))) for n in range(6)]
    said = []

    def tab():
        own = Client()
        own.force_login(client.account)
        start.wait()
        for entry in entries:
            said.extend(answers(own, entry))
        connection.close()

    start = threading.Barrier(3)
    tabs = [threading.Thread(target=tab) for _ in range(3)]
    for one in tabs:
        one.start()
    for one in tabs:
        one.join()
    states = [one["state"] for one in said if not one["later"]]
    assert states.count("stored") == 6 and set(states) <= {"stored", "already"}
    assert Reading.objects.filter(entered_at__isnull=False).count() == 6
    assert Visit.objects.filter(entered_at__isnull=False).count() == 1
