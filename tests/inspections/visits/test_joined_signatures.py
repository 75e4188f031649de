"""A visit that moves when two positions are joined keeps who signed for it and who is asked to; nobody signs
for another.
"""

import io

import pytest
from django.core.management import call_command

from fleet.models import Bearing
from inspections.models import Signature, SignatureAsked, Visit
from inspections.records import position_merge
from inspections.records.corrections import correct_reading
from inspections.visits.signature_lines import signature_lines
from inspections.visits.signature_verification import bound_signatures
from inspections.visits.signatures import asked_of
from tests import makers
from tests.inspections.bundle.test_bundle import checked
from tests.inspections.visits.test_signatures import a_closed_visit, a_signer, sign
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, said

pytestmark = pytest.mark.django_db


@pytest.fixture
def gone():
    return a_worn_bearing(place=makers.a_place(tag="L-001", positions=("IB",)), position="IB")


@pytest.fixture
def stays(gone):
    """Its pump has this position alone: joined with another in its turn, its visits go along."""
    return makers.a_bearing(place=makers.a_place(site=gone.place.site, tag="Lift 1", positions=("DE",)))


@pytest.fixture
def second(gone):
    return a_signer(gone)


@pytest.fixture
def visit(gone, second):
    """Closed at the one that goes, the second person asked."""
    a_closed_visit(gone, a_mechanic(gone), checked_by=second.account.person_id)
    return Visit.objects.get(closed_on__isnull=False)


def join(gone, stays):
    """Join the two; the visit that goes on at the one that stays."""
    position_merge.merge(gone=gone, stays=stays, by=makers.somebody(), reason="one pump, two tags")
    return (
        Visit.objects.standing().select_related("place__site").get(place=stays.place, closed_on__isnull=False)
    )


def lines_of(visit):
    return signature_lines([visit]).get(visit.pk, [])


def test_a_signature_stands_at_the_visit_that_goes_on(gone, stays, second, visit):
    sign(second, visit)
    now = join(gone, stays)
    line = next(line for line in lines_of(now) if "witness" in line.words)
    assert "B. Second signed on" in line.words and "given at L-001, before two positions" in line.words
    assert line.warning == "" and not any(line.awaits for line in lines_of(now))
    assert asked_of(second.account.person_id, stays.place_id) == []
    assert Signature.objects.get().visit_id == visit.pk and bound_signatures().faults == []


def test_what_changes_after_the_join_is_said_beside_the_signature_of_before(gone, stays, second, visit):
    sign(second, visit)
    now = join(gone, stays)
    reading = now.readings.standing().order_by("entry_n").last()
    correct_reading(reading=reading, by=makers.somebody(), reason="typed wrong", value="0.209")
    line = next(line for line in lines_of(now) if "witness" in line.words)
    assert line.warning == "2 entries of this visit came after it."  # the withdrawal and the corrected one


def test_who_was_asked_is_still_asked_and_signs_for_what_stands_now(gone, stays, second, visit):
    now = join(gone, stays)
    person, code = second.account.person_id, SignatureAsked.objects.get().code
    assert [one.pk for one in asked_of(person, stays.place_id)] == [now.pk]
    assert asked_of(person, gone.place_id) == []
    assert "Asked of you Nothing" not in said(second.get("/sign/"))
    assert second.get(f"/sign/{code}/", follow=True).context["visit"] == now
    assert "signed on" in said(sign(second, now))
    row = Signature.objects.get()
    assert row.visit_id == now.pk and f"bearing:{stays.pk}" in {end["chain"] for end in row.signs}
    assert asked_of(person, stays.place_id) == [] and "Asked of you Nothing" in said(second.get("/sign/"))
    assert not any(line.awaits for line in lines_of(now))


@pytest.fixture
def last(gone):
    return makers.a_bearing(place=makers.a_place(site=gone.place.site, tag="Lift 2"))


def again(stays, last):
    """The one that stayed is joined with a third."""
    return join(Bearing.objects.select_related("place__site").get(pk=stays.pk), last)


def test_joined_a_second_time_it_still_stands(gone, stays, last, second, visit):
    sign(second, visit)
    join(gone, stays)
    assert any("given at L-001" in line.words for line in lines_of(again(stays, last)))


def test_who_was_asked_before_two_joins_is_asked_where_the_visit_stands_now(gone, stays, last, second, visit):
    join(gone, stays)
    now = again(stays, last)
    person = second.account.person_id
    assert [row.pk for row in asked_of(person, last.place_id)] == [now.pk]
    assert asked_of(person, stays.place_id) == asked_of(person, gone.place_id) == []
    sign(second, now)
    assert asked_of(person, last.place_id) == []


def test_who_signed_between_two_joins_is_not_asked_again(gone, stays, last, second, visit):
    sign(second, join(gone, stays))
    now = again(stays, last)
    assert asked_of(second.account.person_id, last.place_id) == []
    assert not any(line.awaits for line in lines_of(now))


@pytest.mark.usefixtures("pango")
def test_the_bundle_holds_the_signature_where_it_was_given(gone, stays, second, visit, tmp_path):
    sign(second, visit)
    join(gone, stays)
    call_command("export_history", "Lift 1", "DE", out=tmp_path / "bundle", stdout=io.StringIO())
    code, words = checked(tmp_path / "bundle")
    assert code == 0, words
    assert '"kind":"signature"' in (tmp_path / "bundle" / "entries.jsonl").read_text().replace("\\", "")
