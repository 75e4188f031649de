"""The database's refusals in words: each constraint carries its own sentence, and bulk writing goes past
validation.
"""

import re
from functools import cache

from django.apps import apps
from django.db import DatabaseError
from django.db.models import Model

from fleet.ledger.bounds import OutOfBounds


@cache
def _sentences() -> dict[str, str]:
    """Constraint name -> its sentence, for every model of the record."""
    found = {}
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            said = constraint.violation_error_message
            if said and said != constraint.default_violation_error_message:
                found[constraint.name] = str(said)
    return found


@cache
def _by_columns() -> dict[str, str]:
    """Table and columns -> sentence: SQLite names the columns of a unique index, not its name."""
    found = {}
    for model in apps.get_models():
        for constraint in model._meta.constraints:
            fields = getattr(constraint, "fields", ())
            if fields and constraint.name in _sentences():
                columns = ", ".join(f"{model._meta.db_table}.{_column(model, name)}" for name in fields)
                found[columns] = _sentences()[constraint.name]
    return found


def _column(model: type[Model], field: str) -> str:
    return str(next(one.column for one in model._meta.concrete_fields if one.name == field))


def sentence_of(error: DatabaseError) -> str:
    """What the record says of a row it refuses, without the row's own values."""
    if isinstance(error, OutOfBounds):
        return str(error)
    said = str(error).splitlines()[0]
    for name, sentence in _sentences().items():
        if re.search(rf"\b{re.escape(name)}\b", said):
            return sentence
    columns = said.partition("UNIQUE constraint failed: ")[2]
    return _by_columns().get(columns, f"the record refuses a row ({said})")
