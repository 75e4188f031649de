"""Entries of every kind and format, frozen in a file: what was once written is read the same for ever."""

import json

import pytest

from fleet.ledger import kinds
from fleet.ledger.canonical import canonical, sha256
from fleet.ledger.rebuilding import said
from tests.conftest import CHECKOUT

FROZEN = {
    (number, entry["kind"]): entry
    for number in range(1, kinds.FORMAT + 1)
    for entry in json.loads((CHECKOUT / f"tests/reference/entries_format_{number}.json").read_text("utf-8"))
}
ADD = "run tests/reference/make_entries_format_1.py, which adds it and keeps the others"


def test_there_is_a_frozen_entry_of_every_kind_in_the_format_that_is_written_now():
    missing = [known.name for known in kinds.all_kinds() if (kinds.FORMAT, known.name) not in FROZEN]
    assert missing == [], ADD


@pytest.mark.parametrize("place", FROZEN, ids=lambda place: f"{place[1]}-{place[0]}")
def test_a_frozen_entry_gives_its_hash_and_is_canonical(place):
    entry = FROZEN[place]
    assert sha256(entry["text"]) == entry["hash"]
    assert canonical(json.loads(entry["text"])) == entry["text"]


@pytest.mark.parametrize("place", FROZEN, ids=lambda place: f"{place[1]}-{place[0]}")
def test_a_frozen_entry_is_read_into_a_row_that_says_the_same(place):
    known, body, stamp = said(json.loads(FROZEN[place]["text"]))
    if known.model is None:
        assert body["id"]
        return
    row = kinds.row_of(body, stamp, known)
    assert (row.chain, row.entry_n, row.act) == (stamp.chain, stamp.n, stamp.act)
    assert canonical(kinds.body_of(row, known)) == canonical(body)
