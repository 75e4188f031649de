"""Entries are numbered without a gap, hashed onto their chains, and their rows are made from them."""

import json
import threading
import uuid
from datetime import date
from decimal import Decimal

import pytest
from django.db import IntegrityError, connection

from fleet.ledger.canonical import GENESIS, canonical, sha256
from fleet.ledger.verify import verify
from fleet.ledger.writing import Fact, write
from fleet.models import Chain, Entry, Limit, Outage, Site
from tests.fleet.ledger.story import told

pytestmark = pytest.mark.everyday


@pytest.mark.django_db
def test_an_act_is_one_id_in_all_its_entries_and_each_chain_counts_from_one():
    story = told()
    for chain, count in ((story.chain, 5), (f"site:{story.site.id}", 5)):
        assert list(Entry.objects.filter(chain=chain).order_by("n").values_list("n", flat=True)) == [
            *range(1, count + 1)
        ]
    assert Entry.objects.values("act").distinct().count() == 3


@pytest.mark.django_db
def test_an_entry_is_canonical_as_stored_and_names_the_hash_before_it():
    story = told()
    before = GENESIS
    for entry in Entry.objects.filter(chain=story.chain).order_by("n"):
        said = json.loads(entry.text)
        assert entry.text == canonical(said)
        assert entry.hash == sha256(entry.text)
        assert said["prev"] == before
        before = entry.hash
    head = Chain.objects.get(id=story.chain)
    assert (head.n, head.head) == (5, before)


@pytest.mark.django_db
def test_a_measured_value_stands_in_the_entry_with_the_digits_its_column_keeps():
    story = told()
    limit = Limit.objects.filter(bearing=story.bearing).first()
    said = json.loads(Entry.objects.get(chain=limit.chain, n=limit.entry_n).text)
    assert said["body"]["value_um"] == "330.2000"
    assert limit.value_um == Decimal("330.2000")


@pytest.mark.django_db
def test_a_withdrawn_row_stays_and_names_the_act_that_withdrew_it():
    story = told()
    act = Entry.objects.get(chain=story.chain, kind="withdrawal").act
    assert Limit.objects.get(pk=story.withdrawn.pk).withdrawn_by == act
    assert story.withdrawn not in Limit.objects.standing()


@pytest.mark.django_db
def test_a_kind_nobody_registered_is_refused_when_it_is_written():
    with pytest.raises(LookupError, match="no kind of entry is called 'rumour'"):
        write([Fact("plant", "rumour", body={"id": uuid.uuid4()})], by=uuid.uuid4())
    assert Entry.objects.count() == 0


@pytest.mark.django_db
def test_one_row_that_breaks_a_rule_stops_the_whole_act():
    story = told()
    n = Entry.objects.count()
    backwards = Outage(site=story.site, name="autumn", start_on=date(2027, 9, 9), end_on=date(2027, 9, 1))
    other = Site(name="South works", folded="south works")
    with pytest.raises(IntegrityError):
        write([Fact("plant", "site", other), Fact(f"site:{story.site.id}", "outage", backwards)], by=story.by)
    assert Entry.objects.count() == n
    assert not Site.objects.filter(pk=other.pk).exists()
    assert verify()


@pytest.mark.django_db(transaction=True)
def test_two_who_write_to_one_chain_at_once_leave_no_gap():
    shared, rounds, faults = f"site:{uuid.uuid4()}", 40, []
    start = threading.Barrier(2)

    def writer(number: int) -> None:
        try:
            start.wait(10)
            for i in range(rounds):
                own, site = f"site:{uuid.uuid4()}", Site(name=f"{number} {i}", folded=f"{number} {i}")
                # The two name their chains in opposite order: locks taken in any order but one would
                # deadlock.
                facts = [Fact(shared, "site", site), Fact(own, "person", body={"id": uuid.uuid4()})]
                write(facts if number else facts[::-1], by=uuid.uuid4())
        except Exception as trouble:
            faults.append(trouble)
        finally:
            connection.close()

    writers = [threading.Thread(target=writer, args=(number,)) for number in range(2)]
    for thread in writers:
        thread.start()
    for thread in writers:
        thread.join(60)
    assert faults == []
    numbers = Entry.objects.filter(chain=shared).order_by("n").values_list("n", flat=True)
    assert list(numbers) == list(range(1, 2 * rounds + 1))
    assert verify()
    # Both had their turns: nobody waited until the other was done.
    names = list(Site.objects.order_by("entry_n").values_list("name", flat=True))
    assert len({name.split()[0] for name in names[: 2 * rounds - 1]}) == 2
