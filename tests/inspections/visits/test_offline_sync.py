"""What a device sends later: each entry once, under its own id, whatever came twice; nothing lost without a
word.
"""

import datetime as dt
import hashlib
import json
import uuid

import pytest
from django.core.files.base import ContentFile

from fleet.models import Attachment, Person
from inspections.models import ContactCheck, Event, NotMeasured, Reading, Visit
from inspections.records.recording import close_visit
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, begin

pytestmark = pytest.mark.django_db


def an_entry(client, bearing, kind="reading", **more):
    fields = {"value": "0.205", "unit": "mm", "method": "bore_gauge", "basis": "diametral", "exceptions": []}
    return {
        "id": str(uuid.uuid4()),
        "kind": kind,
        "bearing": str(bearing.pk),
        "visit": str(uuid.uuid4()),
        "author": str(client.account.person_id),
        "entered_at": "2026-01-02T03:04:05Z",
        "stage": "as_found",
        "station": "in-12",
        "fields": fields if kind == "reading" else {},
    } | more


def sent(entry, photo=b""):
    """An entry as a device sends it: its text, and the hash of that text (and of the picture behind it)."""
    text = json.dumps(entry)
    return {"text": text, "sha256": hashlib.sha256(text.encode() + photo).hexdigest()}


def answers(client, *entries, photo=None):
    """What the site answers to entries of a device; a photo goes by itself."""
    if photo is not None:
        one = sent(entries[0], photo)
        body = {"entry": one["text"], "sha256": one["sha256"], "photo": ContentFile(photo, name="a.png")}
        return client.post("/record/queue/", body).json()["entries"]
    body = json.dumps({"entries": [sent(one) for one in entries]})
    answer = client.post("/record/queue/", body, content_type="application/json")
    assert answer.status_code == 200
    return answer.json()["entries"]


def send(client, *entries, photo=None):
    """State and reason of each; what is stored is answered with the entry's id and hash."""
    found = answers(client, *entries, photo=photo)
    for entry, answer in zip(entries, found, strict=True):
        assert answer["sha256"] == sent(entry, photo or b"")["sha256"]
        assert answer["state"] == "refused" or answer["id"] == entry["id"]
    return [(one["state"], one["why"]) for one in found]


def test_an_entry_sent_three_times_is_one_row_under_the_devices_own_id_with_both_dates():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    assert [send(client, entry)[0][0] for _ in range(3)] == ["stored", "already", "already"]
    row = Reading.objects.get(pk=entry["id"])
    assert (str(row.on), row.entered_at.isoformat()) == ("2026-01-02", "2026-01-02T03:04:05+00:00")
    assert row.recorded_at > row.entered_at
    assert str(row.visit_id) == entry["visit"]


def test_entries_of_every_kind_are_stored_by_the_same_acts():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    visit = str(uuid.uuid4())
    said = send(
        client,
        an_entry(client, bearing, visit=visit),
        an_entry(
            client, bearing, "could_not", visit=visit, station="out-12", fields={"because": "no_access"}
        ),
        an_entry(client, bearing, "contact", visit=visit, fields={"drawn": "both_ends", "in_place": "yes"}),
        an_entry(client, bearing, "scrape", visit=visit),
        an_entry(client, bearing, "found", visit=visit, fields={"words journal": ["scored"]}),
        an_entry(client, bearing, "opened", visit=visit, fields={"note": "looked at"}),
    )
    assert said == [("stored", "")] * 6
    assert NotMeasured.objects.get().visit_id == Visit.objects.get(pk=visit).pk
    assert ContactCheck.objects.get().event.outcome == "measure"
    assert sorted(Event.objects.values_list("kind", flat=True)) == [
        "contact_check",
        "found",
        "opened",
        "scrape",
    ]


def test_a_known_id_with_another_value_is_kept_on_the_device_with_its_reason():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    send(client, entry)
    other = entry | {"fields": entry["fields"] | {"value": "0.300"}}
    ((state, why),) = send(client, other)
    assert state == "refused" and "stored already as 0.205 mm" in why


def test_somebody_elses_entry_waits_for_them():
    bearing = a_worn_bearing()
    mine, other = a_mechanic(bearing), a_mechanic(bearing)
    ((state, why),) = send(other, an_entry(mine, bearing))
    assert state == "refused" and "somebody else" in why


def test_a_bearing_of_another_site_is_refused_and_nothing_is_stored():
    bearing, elsewhere = a_worn_bearing(), a_worn_bearing()
    client = a_mechanic(bearing)
    n = Reading.objects.count()
    ((state, why),) = send(client, an_entry(client, elsewhere))
    assert state == "refused" and "may record" in why and Reading.objects.count() == n


@pytest.mark.parametrize(
    "broken",
    [
        {"id": "x"},
        {"id": "0000000000000000000000000000000\u0661"},
        {"bearing": None},
        {"fields": {"value": "six"}},
        {"kind": "burn"},
        {"fields": 7},
    ],
)
def test_a_broken_entry_is_refused_with_a_sentence_and_the_rest_goes_in(broken):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    said = send(client, an_entry(client, bearing) | broken, an_entry(client, bearing, station="out-12"))
    assert said[0][0] == "refused" and said[0][1] and said[1] == ("stored", "")


def test_entries_join_the_visit_that_was_opened_meanwhile():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    open_one = Visit.objects.get(closed_on=None, attendances__part="measured")
    today = open_one.opened_on.isoformat()
    entry = an_entry(client, bearing, entered_at=f"{today}T00:00:01Z")
    send(client, entry)
    assert Reading.objects.get(pk=entry["id"]).visit_id == open_one.pk


def test_a_device_whose_clock_runs_ahead_is_taken_at_todays_day():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing, entered_at="2099-01-01T00:00:00Z")
    assert send(client, entry) == [("stored", "")]
    assert Reading.objects.get(pk=entry["id"]).on.year < 2099


def test_what_comes_long_after_a_visit_was_closed_is_refused_not_dropped():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    reading = makers.a_reading(bearing=bearing, on=dt.date(2025, 9, 9), value="0.205", station="mid")
    close_visit(visit=reading.visit, on=dt.date(2025, 9, 10), by=client.account.person_id)
    ((state, why),) = send(client, an_entry(client, bearing, visit=str(reading.visit_id)))
    assert state == "refused" and "closed" in why


def test_a_list_that_is_none_is_refused():
    client = a_mechanic(a_worn_bearing())
    assert client.post("/record/queue/", "[]", content_type="application/json").status_code == 400


def test_the_pack_holds_limits_last_values_and_what_is_expected_with_constant_questions(
    django_assert_max_num_queries,
):
    site = makers.a_site()
    for n in range(2):
        a_worn_bearing(place=makers.a_place(site=site, tag=f"P{n}", positions=("DE",)))
    client = a_mechanic(a_worn_bearing(place=makers.a_place(site=site, tag="P9", positions=("DE",))))
    with django_assert_max_num_queries(57) as three:
        first, *rest = client.get(f"/record/pack/?site={site.name}").json()["bearings"]
    assert len(rest) == 2
    a_worn_bearing(place=makers.a_place(site=site, tag="P8", positions=("DE",)))
    with django_assert_max_num_queries(57) as four:
        client.get(f"/record/pack/?site={site.name}")
    assert len(four) == len(three)
    held = {"low_um": None, "high_um": 300.0, "name": "limit"}
    assert first["held"]["as_found"] == held | {"most_um": 1000.0}  # 10 per mille of the journal's 100 mm
    assert [one["key"] for one in first["stations"]] == ["in-12", "out-12"]
    one = first["stations"][0]
    assert one["last_um"] == 190.0 and one["expected"]["low_um"] < 205 < one["expected"]["high_um"] + 15


def test_a_photo_comes_by_itself_and_sent_twice_is_kept_once():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing, "photo", name="a.png", fields={"note": "journal"})
    for expected in ("stored", "already"):
        assert send(client, entry, photo=makers.a_png()) == [(expected, "")]
    assert Attachment.objects.get(pk=entry["id"]).note == "journal"


def test_work_a_typed_name_a_quantity_and_a_sheets_day_go_along():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    visit = str(uuid.uuid4())
    shared = {"visit": visit, "on": "2026-01-01", "measured_by_name": "A. Fitter"}
    fields = {"value": "12.054", "unit": "mm", "method": "crown_thickness", "less": "5"}
    said = send(
        client,
        an_entry(client, bearing, station="in-6", quantity="wall", **shared) | {"fields": fields},
        an_entry(client, bearing, "work", **shared)
        | {"fields": {"kind": "shell_change", "half": "both", "reason": "worn", "no_serial": "yes"}},
        an_entry(client, bearing, quantity="weight", **shared),
    )
    assert said[:2] == [("stored", "")] * 2 and "is no quantity" in said[2][1]
    row = Reading.objects.get(quantity="wall")
    assert (row.typed, str(row.on)) == ("7.054", "2026-01-01")
    assert Person.objects.get(pk=row.measured_by).name == "A. Fitter"
    assert Event.objects.get(kind="shell_change").visit_id == uuid.UUID(visit)
