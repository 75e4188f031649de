"""No change in the meaning of a sheet changes a stored value unseen: it is asked about, or drawn among the
first ten.
"""

import random

import pytest

from tests.imports import mutations

pytestmark = pytest.mark.django_db
ROUNDS = 3  # the bench does two thousand: python -m tests.bench.import_meaning


@pytest.fixture
def case():
    rng = random.Random(20261127)
    return mutations.case_of(rng, mutations.works(rng))


def test_every_kind_of_change_that_a_sheet_can_tell_is_asked_about_or_drawn_first(case):
    rng = random.Random(7)
    unseen = []
    for kind in mutations.TELLABLE:
        for _ in range(ROUNDS):
            mutation = kind(rng, case.rows)
            told = mutations.outcome(case, mutation)
            if told == "unseen" or (told == "same" and kind is not mutations.grouping_marks):
                unseen.append(mutation.kind)
    assert unseen == []


def test_a_bearing_halved_is_seen_where_new_metal_at_the_other_end_hides_it():
    rng = random.Random(1)
    case = mutations.case_of(rng, mutations.works(random.Random(0)))
    mutation = mutations.factor_at_pump(random.Random(1819), case.rows)
    assert mutations.outcome(case, mutation) == "drawn first"


def test_the_sheet_as_it_was_asks_nothing_and_changes_nothing(case):
    as_it_was = mutations.Mutation("none", mutations.TITLE, case.rows)
    assert mutations.outcome(case, as_it_was) == "same"
