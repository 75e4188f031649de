"""Whatever is altered in any column of any table of the site is found by the check, or stands in its list of
what nothing covers. Tables and columns are the models' own: a new one cannot be forgotten.
"""

import json
import random

import pytest
from django.db import models

from fleet.ledger.committed_rows import NOT_COVERED
from fleet.ledger.outside_seals import compared, read_paper
from fleet.ledger.seal import seal_now
from fleet.ledger.verify import verify
from fleet.models.recorded import Recorded
from tests import makers
from tests.every_table import (
    ROWS,
    Alteration,
    by_the_check,
    columns,
    is_covered,
    rows_everywhere,
    tables,
    try_together,
)

pytestmark = pytest.mark.django_db


def tried(rng, alterations, look=by_the_check):
    """The same, after they were tried together."""
    try_together(rng, alterations, look)
    return alterations


def test_every_column_of_every_table_is_looked_at_or_named_as_not_covered():
    rng = random.Random(11)
    rows_everywhere()
    seal, leaves = seal_now(by=makers.somebody())
    kept = read_paper(json.dumps({"seal": seal.text, "hash": seal.hash, "leaves": leaves}), "kept.json")

    def with_the_seal_kept():
        return verify().faults + compared("kept.json", kept)

    assert with_the_seal_kept() == []
    typed = [model for model in tables() if issubclass(model, Recorded)]
    beside = [model for model in tables() if not issubclass(model, Recorded) and is_covered(model)]
    widest = max(len(model._meta.concrete_fields) for model in typed)
    made = []
    for at in range(widest):
        fields = [(model, field) for model in typed for field in model._meta.concrete_fields[at : at + 1]]
        made += tried(rng, [Alteration(*field, "another value") for field in fields])
    for way in ROWS:
        made += tried(rng, [Alteration(model, None, way) for model in typed])
    for model in beside:
        own = [field for field in model._meta.concrete_fields if is_covered(model, field)]
        for field, way in [*((field, "another value") for field in own), *((None, way) for way in ROWS)]:
            made += tried(rng, [Alteration(model, field, way)], with_the_seal_kept)
    assert [what.place for what in made if what.key is not None and not what.is_found] == []
    # What a rule of the database itself refuses needs no finding.
    assert sum(what.key is None for what in made) < len(made) / 10


def test_what_is_not_covered_is_named_by_tables_and_columns_that_are_there():
    there = {model._meta.db_table for model in tables()}
    there |= {f"{model._meta.db_table}.{field.column}" for model, field in columns()}
    assert [name for names in NOT_COVERED.values() for name in names if name not in there] == []
    assert [m._meta.db_table for m in tables() if issubclass(m, Recorded) and not is_covered(m)] == []


def test_a_column_that_no_look_reads_would_be_told():
    """The list is what keeps a column out: without it, a password altered goes by unseen."""
    rows_everywhere()
    account = next(model for model in tables() if model._meta.db_table == "fleet_account")
    password = account._meta.get_field("password")
    assert isinstance(password, models.Field) and not is_covered(account, password)
    (what,) = tried(random.Random(3), [Alteration(account, password, "another value")])
    assert what.key is not None and not what.is_found
