"""The typed rows are what the entries say: emptied and made anew they are the same."""

import pytest

from fleet.ledger import kinds
from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Entry, Limit
from tests.fleet.ledger.story import guards_lifted, told

pytestmark = pytest.mark.django_db


def all_rows() -> dict[str, list[tuple]]:
    return {
        known.name: list(known.model._base_manager.order_by("pk").values_list())
        for known in kinds.all_kinds()
        if known.model
    }


def test_rows_made_anew_equal_those_that_were_written():
    told()
    told("South works")
    before = all_rows()
    assert rebuild() == 20
    assert all_rows() == before
    assert sum(map(len, before.values())) == 16


def test_a_rebuild_puts_right_what_was_changed_in_a_row_behind_the_ledgers_back():
    story = told()
    Limit.objects.filter(pk=story.withdrawn.pk).update(value_um="1", withdrawn_by=None)
    rebuild()
    limit = Limit.objects.get(pk=story.withdrawn.pk)
    assert limit.value_um == story.withdrawn.value_um
    assert limit.withdrawn_by is not None
    assert verify()


def test_a_rebuild_that_cannot_end_leaves_the_rows_as_they_were():
    story = told()
    before = all_rows()
    with guards_lifted():
        last = Entry.objects.get(chain=story.chain, n=5)
        Entry.objects.filter(pk=last.pk).update(text=last.text.replace('"withdrawal"', '"rumour"'))
    with pytest.raises(LookupError):
        rebuild()
    assert all_rows() == before
