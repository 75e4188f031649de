"""Receipts of a device's entries: what lets the device let go, what is a conflict, what stands on the pump's
page.
"""

import datetime as dt
import json
import random
import uuid

import pytest
from django.core.management.color import no_style
from django.db import connection

from fleet import backup
from fleet.ledger.bounds import OutOfBounds
from fleet.ledger.verify import verify
from fleet.plant.acts import Refused
from fleet.plant.gauge_register import instrument_named
from inspections.models import ContactCheck, DeviceReceipt, Event, Reading, Visit
from inspections.records.recording import close_visit
from tests import makers
from tests.inspections.visits.test_offline_sync import an_entry, answers, send, sent
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said

pytestmark = pytest.mark.django_db


def rows_of_devices() -> list[str]:
    return sorted(Reading.objects.filter(entered_at__isnull=False).values_list("typed", flat=True))


def test_an_answer_names_the_entrys_id_and_the_hash_of_the_bytes_that_came():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    (answer,) = answers(client, entry)
    assert (answer["id"], answer["sha256"], answer["state"]) == (entry["id"], sent(entry)["sha256"], "stored")
    assert DeviceReceipt.objects.get().sha256 == answer["sha256"]


def test_bytes_that_came_otherwise_than_sent_are_not_stored_and_go_again():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    one = sent(an_entry(client, bearing)) | {"sha256": "0" * 64}
    body = json.dumps({"entries": [one]})
    (answer,) = client.post("/record/queue/", body, content_type="application/json").json()["entries"]
    assert (answer["state"], answer["later"], rows_of_devices()) == ("refused", True, [])


@pytest.mark.parametrize("times", [1, 2])
def test_a_page_of_an_earlier_version_keeps_what_it_sent_though_it_is_stored(times):
    """Such a page lets go of whatever is not answered as refused, without comparing anything."""
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    for _ in range(times):
        body = json.dumps({"entries": [entry]})
        (answer,) = client.post("/record/queue/", body, content_type="application/json").json()["entries"]
        assert (
            answer["id"] == entry["id"]
            and answer["state"] == "refused"
            and "Reload this page" in answer["why"]
        )
    assert rows_of_devices() == ["0.205"]
    assert send(client, entry) == [("already", "")]  # the script of today sends it again and lets go


@pytest.mark.parametrize(("value", "state"), [("0.205", "already"), ("0.300", "refused")])
def test_a_row_of_an_earlier_version_without_receipt_is_compared_by_its_content(value, state):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    send(client, entry)
    DeviceReceipt.objects.all().delete()
    ((now, why),) = send(client, entry | {"fields": entry["fields"] | {"value": value}})
    assert now == state and ("other content" in why) == (state == "refused")


def test_what_was_typed_online_and_lost_its_answer_is_known_when_the_device_sends_it():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    entry = an_entry(client, bearing)
    read(client, bearing, "0.205", where="in-12", id=entry["id"])
    visit = Reading.objects.get(pk=entry["id"]).visit
    now = dt.datetime.now(dt.UTC).isoformat()
    assert send(client, entry | {"visit": str(visit.pk), "entered_at": now}) == [("already", "")]


def test_the_same_bytes_are_known_also_after_the_visit_was_closed():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    send(client, entry)
    visit = Visit.objects.get(pk=entry["visit"])
    close_visit(visit=visit, on=visit.opened_on, by=client.account.person_id)
    assert send(client, entry) == [("already", "")]
    assert send(client, entry | {"n": 7}) == [("already", "")]  # other bytes, the same content


def test_a_receipt_of_one_account_is_none_of_another():
    bearing = a_worn_bearing()
    mine, other = a_mechanic(bearing), a_mechanic(bearing)
    entry = an_entry(mine, bearing)
    send(mine, entry)
    assert send(other, entry)[0][0] == "refused"
    assert send(other, entry | {"author": str(other.account.person_id)})[0][0] == "refused"


# on the pump's page


def test_what_was_refused_stands_on_the_pumps_page_with_its_place_until_somebody_settles_it():
    bearing = a_worn_bearing()
    client, other = a_mechanic(bearing), a_mechanic(bearing)
    entry = an_entry(client, bearing)
    entry["fields"]["value"] = "1O5"
    for _ in range(3):
        send(client, entry)
    page = said(other.get(at(bearing)))
    assert page.count("Reading 1O5 mm, as found, pump end") == 1 and "a plain number" in page
    assert "Sent by a device" in said(
        client.get(begin(client, bearing)["Location"].replace("reading/", "visit/"))
    )
    row = DeviceReceipt.objects.get()
    other.post(f"/record/queue/settle/{row.pk}/", {"how": "entered on its page"})
    assert "Sent by a device" not in said(other.get(at(bearing)))
    row.refresh_from_db()
    assert (row.settled_by, row.settled_how) == (other.account.person_id, "entered on its page")
    send(client, entry)  # the device still holds it: settled it stays
    assert "Sent by a device" not in said(other.get(at(bearing)))


def test_a_refused_entry_that_is_mended_on_the_device_is_settled_by_that():
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    entry = an_entry(client, bearing)
    for value in ("1O5", "99999", "0.205"):
        send(client, entry | {"fields": entry["fields"] | {"value": value}})
    assert list(DeviceReceipt.objects.filter(outcome="refused", settled_at=None)) == []
    assert rows_of_devices() == ["0.205"]


def test_a_stranger_puts_no_words_on_another_sites_page_and_settles_nothing_there():
    bearing, elsewhere = a_worn_bearing(), a_worn_bearing()
    client, stranger = a_mechanic(bearing), a_mechanic(elsewhere)
    send(stranger, an_entry(stranger, bearing, fields={"value": "1O5"}))
    assert not DeviceReceipt.objects.filter(bearing=bearing).exists()
    send(client, an_entry(client, bearing, fields={"value": "1O5"}))
    row = DeviceReceipt.objects.get(bearing=bearing)
    assert stranger.post(f"/record/queue/settle/{row.pk}/", {"how": "not wanted"}).status_code == 404
    row.refresh_from_db()
    assert row.settled_at is None


# storms


# Beside readings, which are told apart by their values: the kind of every so many-th entry, and its fields.
OTHERS = {
    17: ("found", {"nothing": "yes"}),
    23: ("contact", {"drawn": "full_length", "in_place": "yes", "half": "lower"}),
    29: ("scrape", {"note": "a little"}),
}


def test_500_entries_of_two_devices_with_losses_doubles_and_reordering_are_500_rows():
    """Three answers in ten lost, each lost one sent again, doubled or later; one visit closed before; one bad
    in twenty. None is lost, none doubled, every refusal is seen. (200 of them on PostgreSQL, where each takes
    longer.)
    """
    site, chance = makers.a_site(), random.Random(7)
    bearings = [
        a_worn_bearing(place=makers.a_place(site=site, tag=f"P{n}", positions=("DE",)), values=())
        for n in range(5)
    ]
    devices = [a_mechanic(bearings[0]) for _ in range(2)]
    closed = Visit.objects.get(pk=begin_closed(devices[0], bearings[0]))
    waiting: dict[int, list[dict]] = {0: [], 1: []}
    good, late, others = [], [], {kind: [] for kind, _ in OTHERS.values()}
    n_entries = 500 if connection.vendor == "sqlite" else 200
    for n in range(n_entries):
        device, bearing = n % 2, bearings[n % 5]
        entry = an_entry(devices[device], bearing, visit=str(uuid.UUID(int=10 * (n % 5) + device + 1)))
        entry["fields"]["value"] = f"{0.2 + n / 10000:.4f}"
        if every := next((every for every in OTHERS if n % every == 7), None):
            kind, fields = OTHERS[every]
            entry |= {"kind": kind, "fields": fields}
            others[kind].append(uuid.UUID(entry["id"]))
        elif n % 20 == 3:
            entry["fields"]["value"] = "2O5"
        elif n % 50 == 5:
            entry["visit"] = str(closed.pk)
            late.append(entry["fields"]["value"])
            good.append(entry["fields"]["value"])
        else:
            good.append(entry["fields"]["value"])
        waiting[device].append(entry)
    reasons = sent_through_losses(devices, waiting, chance)
    assert rows_of_devices() == sorted(good)
    n_others = sum(map(len, others.values()))
    assert len(reasons) == n_entries - len(good) - n_others >= 8 and all(reasons.values()) and n_others > 20
    stored = {
        "contact": ContactCheck.objects.standing().values_list("pk", flat=True),
        **{
            kind: Event.objects.standing().filter(kind=kind, pk__in=pks).values_list("pk", flat=True)
            for kind, pks in others.items()
            if kind != "contact"
        },
    }
    assert {kind: sorted(pks) for kind, pks in stored.items()} == {k: sorted(v) for k, v in others.items()}
    joined = Reading.objects.standing().filter(visit=closed, entered_at__isnull=False)
    assert sorted(reading.typed for reading in joined) == sorted(late) != []
    assert DeviceReceipt.objects.filter(outcome="refused", settled_at=None).count() == len(reasons)
    assert verify()


def sent_through_losses(devices, waiting, chance) -> dict[str, str]:
    """Send until nothing waits: three answers in ten lost, some sent twice; why each was refused, by id."""
    reasons: dict[str, str] = {}
    while any(waiting.values()):
        for device, client in enumerate(devices):
            batch = chance.sample(waiting[device], min(10, len(waiting[device])))
            batch += chance.sample(batch, len(batch) // 3)
            if not batch:
                continue
            said_of = answers(client, *batch)
            if chance.random() < 0.3:
                continue  # the answer got lost: all of it goes again
            for answer in said_of:
                if answer["state"] == "refused":
                    reasons[answer["id"]] = answer["why"]
                else:
                    assert answer["sha256"] in {sent(one)["sha256"] for one in batch}
                waiting[device] = [one for one in waiting[device] if one["id"] != answer["id"]]
    return reasons


def begin_closed(client, bearing) -> str:
    """A visit of that bearing's pump that was closed."""
    entry = an_entry(client, bearing, "scrape", entered_at="2026-01-01T03:04:05Z")
    assert send(client, entry) == [("stored", "")]
    visit = Visit.objects.get(pk=entry["visit"])
    close_visit(visit=visit, on=visit.opened_on, by=client.account.person_id)
    return str(visit.pk)


# what fits into both databases


@pytest.mark.parametrize(
    "facts",
    [
        {"method": "x" * 41},
        {"note": "a\x00b"},
        {"job": "x" * 81},
        {"on": dt.date(1899, 12, 31)},
        {"conditions": {"a": "\x00"}},
    ],
)
def test_a_row_that_one_of_the_databases_could_not_hold_is_refused_in_a_sentence_on_both(facts):
    bearing = a_worn_bearing(values=("0.150",))
    n = Reading.objects.count()
    with pytest.raises(OutOfBounds, match=r"Shorten it|Check the year|Type it anew"):
        makers.a_reading(bearing=bearing, **({"on": dt.date(2026, 1, 2), "value": "0.2"} | facts))
    assert Reading.objects.count() == n


def test_an_acts_refusal_of_a_long_text_is_the_bounds_own_sentence():
    with pytest.raises(Refused, match="at most 40"):
        instrument_named("Gauge 9", by=makers.a_person().pk, method="m" * 41)


@pytest.mark.django_db(transaction=True)
def test_what_devices_brought_is_backed_up_and_restored_with_its_receipts(tmp_path):
    bearing = a_worn_bearing(values=("0.150",))
    client = a_mechanic(bearing)
    bad = an_entry(client, bearing)
    bad["fields"] |= {"value": "0.2\x00", "instrument": "g\x00"}
    send(
        client,
        an_entry(client, bearing, measured_by_name="Ä. Fitter\u200d"),
        bad,
        an_entry(client, bearing, fields={"value": "x"}),
    )
    kept = backup.back_up(tmp_path / "kept.zip", by=client.account.person_id)
    tables = [model._meta.db_table for model in backup.tables()]
    emptying = connection.ops.sql_flush(no_style(), tables, allow_cascade=True)
    connection.ops.execute_sql_flush(emptying)
    assert backup.restore(tmp_path / "kept.zip").n_rows == kept.n_rows
    assert DeviceReceipt.objects.filter(outcome="stored").count() == 1 and verify()
