"""What an owner of the database could do with the guards dropped is found; what was done rightly is not
blamed.
"""

import datetime as dt
import json
import random
import uuid
from collections.abc import Callable

import pytest

from fleet.ledger.canonical import canonical, sha256
from fleet.ledger.seal import seal_now
from fleet.ledger.verify import verify
from fleet.ledger.writing import Fact, write
from fleet.models import Chain, Entry, Limit, Outage, Seal, Site
from fleet.plant.acts import revise
from tests import makers
from tests.fleet.ledger.story import Story, guards_lifted, told

pytestmark = pytest.mark.django_db


def entries(story: Story):
    return Entry.objects.filter(chain=story.chain)


def a_digit(story: Story) -> None:
    entry = entries(story).get(n=2)
    entries(story).filter(n=2).update(text=entry.text.replace("330.2000", "330.3000"))


def a_digit_hashed_anew(story: Story) -> None:
    entry = entries(story).get(n=2)
    text = entry.text.replace("330.2000", "330.3000")
    entries(story).filter(n=2).update(text=text, hash=sha256(text))


def the_whole_chain_hashed_anew(story: Story) -> None:
    """The thorough one: value, row, hashes, links and head all fit again; only a seal can tell."""
    prev = "0" * 64
    for entry in entries(story).order_by("n"):
        said = json.loads(entry.text.replace("330.2000", "330.3000"))
        said["prev"] = prev
        text = canonical(said)
        prev = sha256(text)
        entries(story).filter(n=entry.n).update(text=text, hash=prev)
    Chain.objects.filter(id=story.chain).update(head=prev)
    Limit.objects.filter(bearing=story.bearing).update(value_um="330.3")


def a_day(story: Story) -> None:
    entry = entries(story).get(n=3)
    entries(story).filter(n=3).update(text=entry.text.replace("2020-01-01", "2020-01-02"))


def the_person(story: Story) -> None:
    entries(story).filter(n=2).update(by=uuid.uuid4())


def the_instant(story: Story) -> None:
    earlier = entries(story).get(n=1).recorded_at.replace(year=2001)
    entries(story).filter(n=2).update(recorded_at=earlier)


def one_removed(story: Story) -> None:
    entries(story).filter(n=3).delete()


def one_removed_and_the_rest_numbered_anew(story: Story) -> None:
    entries(story).filter(n=3).delete()
    for n in (4, 5):
        entries(story).filter(n=n).update(n=n - 1)


def two_swapped(story: Story) -> None:
    second, third = entries(story).get(n=2), entries(story).get(n=3)
    entries(story).filter(n=2).update(n=99)
    entries(story).filter(pk=third.pk).update(n=2)
    entries(story).filter(pk=second.pk).update(n=3)


def one_put_in(story: Story) -> None:
    entry = entries(story).get(n=5)
    entry.pk, entry.n, entry.hash = None, 6, sha256(entry.text + " ")
    entry.save()


def the_last_cut(story: Story) -> None:
    entries(story).filter(n=5).delete()


def the_last_cut_and_the_head_moved_back(story: Story) -> None:
    """A consistent shorter chain, the row it withdrew standing again: only a seal can tell."""
    entries(story).filter(n=5).delete()
    Chain.objects.filter(id=story.chain).update(n=4, head=entries(story).get(n=4).hash)


def the_whole_chain_removed(story: Story) -> None:
    Limit.objects.filter(bearing=story.bearing).delete()
    entries(story).delete()
    Chain.objects.filter(id=story.chain).delete()
    story.bearing.delete()


def a_row_changed(story: Story) -> None:
    Limit.objects.filter(bearing=story.bearing, from_on=None).update(value_um="340")


def a_row_removed(story: Story) -> None:
    Limit.objects.filter(bearing=story.bearing, from_on=None).delete()


def a_row_put_in(story: Story) -> None:
    limit = Limit.objects.filter(bearing=story.bearing).first()
    limit.pk = uuid.uuid4()
    limit.save(force_insert=True)


FOUND_BY_THE_CHAINS: list[Callable[[Story], None]] = [
    a_digit,
    a_digit_hashed_anew,
    a_day,
    the_person,
    the_instant,
    one_removed,
    one_removed_and_the_rest_numbered_anew,
    two_swapped,
    one_put_in,
    the_last_cut,
    a_row_changed,
    a_row_removed,
    a_row_put_in,
]
FOUND_BY_A_SEAL: list[Callable[[Story], None]] = [
    the_whole_chain_hashed_anew,
    the_last_cut_and_the_head_moved_back,
    the_whole_chain_removed,
]


@pytest.mark.parametrize("tampering", FOUND_BY_THE_CHAINS, ids=lambda f: f.__name__)
def test_tampering_is_found_and_its_chain_named(tampering):
    story = told()
    told("South works")
    with guards_lifted():
        tampering(story)
    found = verify()
    assert not found
    # Never anything of the other site: a finding leads to the place.
    assert [f for f in found.faults if story.chain not in f and not f.startswith("limit ")] == []


@pytest.mark.parametrize("tampering", FOUND_BY_A_SEAL, ids=lambda f: f.__name__)
def test_what_fits_together_again_is_found_by_the_seal_before_it(tampering):
    story = told()
    chain = story.chain
    seal_now(by=story.by)
    with guards_lifted():
        tampering(story)
    assert any(fault.startswith("seal 1: ") and chain in fault for fault in verify().faults)


@pytest.mark.parametrize("tampering", FOUND_BY_A_SEAL, ids=lambda f: f.__name__)
def test_without_a_seal_it_is_not_found_which_is_why_the_claim_names_the_last_seal(tampering):
    story = told()
    with guards_lifted():
        tampering(story)
    seals = [fault for fault in verify(rows=False).faults if "seal" in fault]
    assert seals == [] and verify(rows=False)


def test_every_single_changed_character_of_an_entry_is_found():
    story = told()
    entry = entries(story).get(n=2)
    chance = random.Random(1)
    for _ in range(60):
        at = chance.randrange(len(entry.text))
        other = chance.choice([c for c in "0123456789abcdefXYZ" if c != entry.text[at]])
        with guards_lifted():
            entries(story).filter(n=2).update(text=entry.text[:at] + other + entry.text[at + 1 :])
        assert not verify(rows=False), f"character {at} became {other}"


@pytest.mark.parametrize("change", [{"root": "0" * 64}, {"text": "later"}, {"hash": "0" * 64}, {"n": 5}])
def test_a_changed_seal_is_found(change):
    story = told()
    seal, _ = seal_now(by=story.by)
    if change.get("text") == "later":
        change = {"text": seal.text.replace('"n":1', '"n":2')}
    with guards_lifted():
        Seal.objects.update(**change)
    assert any("seal" in fault for fault in verify().faults)


def test_a_seal_removed_from_between_is_found():
    story = told()
    for name in ("a", "b", "c"):
        write([Fact("plant", "site", Site(name=name, folded=name))], by=story.by)
        seal_now(by=story.by)
    with guards_lifted():
        Seal.objects.filter(n=2).delete()
    assert any("does not follow the seal before it" in fault for fault in verify().faults)


def test_what_was_done_rightly_is_not_blamed():
    story = told()
    seal_now(by=story.by)
    told("South works")
    again = {"of": "outage", "id": story.outage.id, "set": {"crew_hours": "90.0"}, "reason": "fewer hands"}
    write([Fact(f"site:{story.site.id}", "revision", body=again)], by=story.by)
    second, leaves = seal_now(by=story.by)
    assert Outage.objects.get(pk=story.outage.pk).crew_hours == 90
    found = verify()
    assert found.faults == []
    assert (found.n_entries, found.n_chains, found.n_seals) == (21, len(leaves), 2)
    assert found.last_seal_at == second.sealed_at


def test_a_seal_names_only_the_chains_that_changed_since_the_one_before():
    story = told()
    first, leaves = seal_now(by=story.by)
    write([Fact("plant", "site", Site(name="a", folded="a"))], by=story.by)
    second, _ = seal_now(by=story.by)
    assert len(json.loads(first.text)["changed"]) == len(leaves) == 2
    assert [leaf["chain"] for leaf in json.loads(second.text)["changed"]] == ["plant"]
    assert json.loads(second.text)["prev"] == first.hash


def test_a_withdrawal_undone_by_hand_is_found():
    told()
    row = Limit.objects.exclude(withdrawn_by=None).first()
    assert verify()
    Limit.objects.filter(pk=row.pk).update(withdrawn_by=None)
    assert any("withdrawn differs" in fault for fault in verify().faults)


def test_a_row_that_was_revised_is_still_compared_field_by_field():
    site = makers.a_site()
    outage = makers.an_outage(site=site, start_on=dt.date(2027, 4, 1))
    revise(outage, {"end_on": dt.date(2027, 5, 1)}, reason="longer", by=makers.somebody())
    assert verify()
    Outage.objects.filter(pk=outage.pk).update(end_on=dt.date(2027, 6, 1))
    assert any(f"outage {outage.pk}: the row differs" in fault for fault in verify().faults)


def test_a_kind_nobody_knows_and_a_garbled_seal_are_findings_and_never_stop_the_reading():
    story = told()
    seal_now(by=story.by)
    with guards_lifted():
        entries(story).filter(n=2).update(kind="polish")
        Seal.objects.update(text="no json")
    faults = verify().faults
    assert any("no kind of entry is called 'polish'" in fault for fault in faults)
    assert any("seal 1: its text cannot be read" in fault for fault in faults)
