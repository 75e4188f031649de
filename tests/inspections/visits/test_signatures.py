"""A second signature is its own person's: asked for, given signed in, bound to the entries it is for."""

import datetime as dt
import json
import uuid

import pytest
from django.db import IntegrityError, transaction
from django.test import Client

from fleet.clock import now, today_at
from fleet.ledger.verify import verify
from fleet.ledger.writing import Fact, write
from fleet.models import Entry
from fleet.plant.choices import set_setting
from inspections.models import Attendance, Reading, Signature, SignatureAsked, Visit
from inspections.records.corrections import correct_reading
from inspections.visits import signature_lines
from inspections.visits.device_entry import Sent
from inspections.visits.offline_sync import replay
from inspections.visits.signature_verification import bound_signatures
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, closed, read, said

pytestmark = pytest.mark.django_db
PASSWORD = "a quiet pump in the long hall"


def a_signer(bearing, *, role="foreman", name="B. Second"):
    client = a_mechanic(bearing, role)
    client.account.person.name = name
    client.account.person.save()
    client.account.set_password(PASSWORD)
    client.account.save()
    client.force_login(client.account)
    return client


def a_closed_visit(bearing, client, **more):
    begin(client, bearing)
    for value in ("0.205", "0.207"):
        read(client, bearing, value)
    return client.post(at(bearing, "close/"), closed(**more), follow=True)


@pytest.fixture
def bearing():
    return a_worn_bearing()


@pytest.fixture
def first(bearing):
    return a_mechanic(bearing)


@pytest.fixture
def second(bearing):
    return a_signer(bearing)


def sign(client, visit, meaning="witnessed", password=PASSWORD, seen=None):
    page = client.get(f"/sign/visit/{visit.pk}/")
    seen = page.context["seen"] if seen is None else seen
    return client.post(
        f"/sign/visit/{visit.pk}/", {"meaning": meaning, "password": password, "seen": seen}, follow=True
    )


def test_whom_the_first_signer_picks_is_asked_and_has_not_signed(bearing, first, second):
    receipt = said(a_closed_visit(bearing, first, checked_by=second.account.person_id))
    assert "Second signature: asked of B. Second by" in receipt and ", awaits." in receipt
    assert not Signature.objects.exists()
    assert not Attendance.objects.filter(part="checked").exists()
    asked = SignatureAsked.objects.get()
    assert (asked.person_id, asked.claimed) == (second.account.person_id, False)
    assert "Asked of you" in said(second.get("/sign/")) and "awaits." in said(second.get("/sign/"))
    label = second.get(f"/b/{bearing.pk}/", follow=True)
    asked_for = f'href="/sign/visit/{asked.visit_id}/"'
    assert asked_for in label.content.decode()
    assert asked_for not in first.get(f"/b/{bearing.pk}/", follow=True).content.decode()


def test_the_code_leads_the_asked_one_to_the_visit_and_their_signature_is_bound_to_its_entries(
    bearing, first, second
):
    a_closed_visit(bearing, first, checked_by=second.account.person_id)
    code, visit = SignatureAsked.objects.get().code, Visit.objects.get(closed_on__isnull=False)
    typed = f" {code[:3].upper()}-{code[3:].upper()}"
    assert second.get("/sign/", {"code": typed}, follow=True).context["visit"] == visit
    assert second.get(f"/sign/{code}/", follow=True).context["visit"] == visit
    answer = sign(second, visit)
    assert "B. Second signed on" in said(answer) and "checked as a witness" in said(answer)
    row = Signature.objects.get()
    assert row.person_id == row.recorded_by == second.account.person_id
    ends = {end["chain"]: (end["n"], end["hash"]) for end in row.signs}
    assert set(ends) == {f"bearing:{bearing.pk}", f"pump:{visit.machine_id}"}
    for chain, (n, hash) in ends.items():
        assert Entry.objects.get(chain=chain, n=n).hash == hash
    receipt = said(first.get(at(bearing, "receipt/", visit=visit.pk)))
    assert "awaits" not in receipt and "B. Second signed on" in receipt
    history = said(first.get(f"/bearings/{bearing.place.tag}/{bearing.name}/history/"))
    assert (
        "Signature: checked as a witness of the measurement" in history and "signed by B. Second" in history
    )
    page = said(first.get(f"/bearings/{bearing.place.tag}/{bearing.name}/"))
    assert "B. Second signed on" in page


def test_nobody_signs_for_another_not_even_past_the_page(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    row = Signature(id=uuid.uuid4(), visit=visit, person=second.account.person, meaning="witnessed", signs=[])
    with pytest.raises(IntegrityError), transaction.atomic():
        write([Fact(f"pump:{visit.machine_id}", "signature", row)], by=first.account.person_id)
    assert not Signature.objects.exists()


def test_a_page_left_open_signs_nothing_without_the_password_and_guesses_are_counted(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    assert "This is not your password" in said(sign(second, visit, password="wrong"))
    for _ in range(9):
        answer = sign(second, visit, password="wrong")
    assert answer.status_code == 429 and sign(second, visit).status_code == 429
    assert not Signature.objects.exists()


def test_who_measured_nothing_cannot_say_that_they_read_it_themselves(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    page = said(second.get(f"/sign/visit/{visit.pk}/"))
    assert "own reading stands" not in page and "I stood by" in page
    assert "from those offered" in said(sign(second, visit, meaning="own_reading"))
    assert not Signature.objects.exists()


def test_an_own_reading_beside_anothers_may_be_said(bearing, first, second):
    begin(first, bearing)
    read(first, bearing, "0.205")
    read(second, bearing, "0.206", where="out-12")
    first.post(at(bearing, "close/"), closed())
    visit = Visit.objects.get(closed_on__isnull=False)
    assert Reading.objects.filter(visit=visit, measured_by=second.account.person_id).exists()
    assert "by a reading of their own" in said(sign(second, visit, meaning="own_reading"))


def test_a_reader_sees_the_visit_and_cannot_sign_and_a_stranger_sees_nothing(bearing, first):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    reader = a_signer(bearing, role="auditor")
    assert "a mechanic, foreman or engineer" in said(reader.get(f"/sign/visit/{visit.pk}/"))
    assert sign(reader, visit).status_code == 403
    stranger = Client()
    stranger.force_login(makers.an_account(role="engineer", site=makers.a_site()))
    assert stranger.get(f"/sign/visit/{visit.pk}/").status_code == 404
    code = makers.somebody()
    assert "No signature is asked for" in said(stranger.get(f"/sign/{code}/", follow=True))


def test_a_code_of_another_site_is_told_from_none_by_nothing(bearing, first, second):
    a_closed_visit(bearing, first, checked_by=second.account.person_id)
    stranger = Client()
    stranger.force_login(makers.an_account(role="engineer", site=makers.a_site()))
    code = SignatureAsked.objects.get().code
    known = said(stranger.get(f"/sign/{code}/", follow=True)).replace(code, "")
    unknown = said(stranger.get("/sign/zzzzzz/", follow=True)).replace("zzzzzz", "")
    assert "No signature is asked for" in known
    assert known.split("No signature")[1][:200] == unknown.split("No signature")[1][:200]


def test_the_record_that_changed_while_one_looked_is_looked_at_again(bearing, first, second):
    begin(first, bearing)
    read(first, bearing, "0.205")
    visit = Visit.objects.get(opened_on=today_at(bearing.place.site))
    seen = second.get(f"/sign/visit/{visit.pk}/").context["seen"]
    read(first, bearing, "0.207")
    assert "changed while you looked" in said(sign(second, visit, seen=seen))
    assert not Signature.objects.exists()
    sign(second, visit)
    sign(second, visit, seen=seen)
    assert Signature.objects.count() == 1


def test_twice_sent_it_is_signed_once(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    seen = second.get(f"/sign/visit/{visit.pk}/").context["seen"]
    for _ in range(2):
        sign(second, visit, seen=seen)
    assert Signature.objects.count() == 1


def test_a_correction_after_the_signature_is_said_beside_it(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    sign(second, visit)
    page = said(second.get(f"/sign/visit/{visit.pk}/"))
    assert "came after it" not in page
    reading = Reading.objects.get(typed="0.205")
    correct_reading(reading=reading, value="0.215", reason="misread", by=makers.somebody())
    assert "of this visit came after it." in said(second.get(f"/sign/visit/{visit.pk}/"))


def test_measured_and_checked_by_one_person_is_flagged_on_signature_reading_and_history(bearing):
    both = a_signer(bearing, role="mechanic")
    begin(both, bearing)
    both.post(at(bearing, "people/", part="checked"), {"measured_by": both.account.person_id})
    for value in ("0.205", "0.207"):
        read(both, bearing, value)
    flag = "measured and checked by the same person"
    assert flag in said(both.get(at(bearing, "visit/")))
    both.post(at(bearing, "close/"), closed())
    visit = Visit.objects.get(closed_on__isnull=False)
    assert "Measured and checked by the same person." in said(sign(both, visit))
    assert flag in said(both.get(f"/bearings/{bearing.place.tag}/{bearing.name}/history/"))


@pytest.mark.parametrize("who", ["unknown", "without an account", "nonsense"])
def test_a_person_who_could_not_sign_is_refused_in_words_and_the_visit_stays_open(
    bearing, first, second, who
):
    set_setting(name="signatures", value=["checked"], by=makers.somebody())
    person = {"unknown": uuid.uuid4(), "without an account": makers.somebody(), "nonsense": "x'"}[who]
    answer = a_closed_visit(bearing, first, checked_by=person)
    expected = {
        "unknown": "The person asked to check is not known here",
        "without an account": "has no open account",
        "nonsense": "Choose who is asked",
    }
    assert answer.status_code == 200 and expected[who] in said(answer)
    assert not SignatureAsked.objects.exists()
    assert Visit.objects.get(opened_on=today_at(bearing.place.site)).closed_on is None


def test_what_a_device_claims_is_to_be_confirmed_by_sign_in_and_else_counts_as_named(
    bearing, first, second, monkeypatch
):
    begin(first, bearing)
    visit = Visit.objects.get(opened_on=today_at(bearing.place.site))
    sent = {
        "id": str(uuid.uuid4()),
        "kind": "reading",
        "bearing": str(bearing.pk),
        "visit": str(visit.pk),
        "author": str(first.account.person_id),
        "entered_at": now().isoformat(),
        "stage": "as_found",
        "station": "in-12",
        "checked_by": str(second.account.person_id),
        "fields": {"value": "0.205", "unit": "mm", "method": "bore_gauge"},
    }
    assert replay(Sent(json.dumps(sent)), first.account).state == "stored"
    page = said(second.get(f"/sign/visit/{visit.pk}/"))
    assert "claimed on a device of" in page and "to be confirmed by sign-in until" in page
    with monkeypatch.context() as later:
        later.setattr(signature_lines, "now", lambda: now() + dt.timedelta(hours=73))
        page = said(second.get("/sign/"))
        assert "not confirmed within 72 hours" in page and "Nobody has checked it so far." in page
    assert "confirmed to have checked" in said(sign(second, visit, meaning="confirmed"))
    assert "claimed on a device" not in said(second.get(f"/sign/visit/{visit.pk}/"))


def test_a_signature_of_earlier_days_keeps_what_it_is(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    row = Attendance(id=uuid.uuid4(), visit=visit, person=second.account.person, part="checked")
    write([Fact(f"pump:{visit.machine_id}", "attendance", row)], by=first.account.person_id)
    page = said(first.get(at(bearing, "receipt/", visit=visit.pk)))
    assert "Checked by B. Second, named by the first signer" in page
    assert "There is no signature of their own." in page


def test_entries_altered_under_a_signature_are_named(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    sign(second, visit)
    row = Signature.objects.get()
    altered = [end | {"hash": "0" * 64} for end in row.signs]
    Signature.objects.filter(pk=row.pk).update(signs=altered)
    assert "not what stands in the record now" in said(second.get(f"/sign/visit/{visit.pk}/"))


def test_the_check_of_the_record_holds_each_signature_to_the_entries_it_was_given_for(bearing, first, second):
    a_closed_visit(bearing, first)
    visit = Visit.objects.get(closed_on__isnull=False)
    sign(second, visit)
    look = bound_signatures()
    assert (look.n, look.faults) == (1, [])
    another = [{"chain": f"bearing:{bearing.pk}", "n": 1, "hash": "0" * 64}]
    row = Signature(
        id=uuid.uuid4(), visit=visit, person=second.account.person, meaning="approved", signs=another
    )
    write([Fact(f"pump:{visit.machine_id}", "signature", row)], by=second.account.person_id)
    empty = Signature(
        id=uuid.uuid4(), visit=visit, person=second.account.person, meaning="measured", signs=[{}]
    )
    write([Fact(f"pump:{visit.machine_id}", "signature", empty)], by=second.account.person_id)
    faults = bound_signatures().faults
    assert set(faults) <= set(verify().faults)
    assert [fault.partition(": ")[2] for fault in faults] == [
        f"bearing:{bearing.pk}, entry 1 is not what was signed there.",
        "it does not say which entries it is for.",
    ]
    assert str(row.pk) in faults[0] and str(empty.pk) in faults[1]
