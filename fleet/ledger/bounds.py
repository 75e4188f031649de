"""What no row may hold on either database: SQLite keeps what PostgreSQL refuses, and a backup must fit into
both.

The bounds are those of the models: the length of a text column, days of the calendar that `fleet.units`
reads, and text that is text (no NUL, no half of a character). They hold where a row is written, not where it
is read back: a record of an earlier day is rebuilt as it stands.
"""

import re
from collections.abc import Mapping
from functools import cache
from typing import Any

from django.db import IntegrityError, models

from fleet import units
from fleet.ledger import kinds

_NO_TEXT = re.compile("[\x00\ud800-\udfff]")


class OutOfBounds(IntegrityError):
    """A row that would not fit into every database; the text says what was found and what is allowed."""


@cache
def _bounded(kind: str) -> tuple[dict[str, int], frozenset[str]]:
    """The text columns of a kind with their lengths, and its day columns."""
    fields = kinds.kind(kind).fields
    lengths = {f.attname: f.max_length for f in fields if isinstance(f, models.CharField) and f.max_length}
    days = {
        f.attname
        for f in fields
        if isinstance(f, models.DateField) and not isinstance(f, models.DateTimeField)
    }
    return lengths, frozenset(days)


def must_fit(kind: str, body: Mapping[str, Any]) -> None:
    """Refuse a body (as `canonical.plain` gives it) that a column of its kind cannot hold; of a revision,
    what it sets.

    Raises
    ------
    OutOfBounds
    """
    if isinstance(body.get("set"), Mapping) and "of" in body:
        kind, values = str(body["of"]), body["set"]
    else:
        values = body
    lengths, days = _bounded(kind)
    for name, value in values.items():
        if isinstance(value, str):
            _text_fits(name, value, lengths.get(name))
            if name in days and not units.FIRST_YEAR <= int(value[:4]) <= units.LAST_YEAR:
                raise OutOfBounds(
                    f"The day {value} lies outside {units.FIRST_YEAR} to {units.LAST_YEAR}. Check the year."
                )
        elif isinstance(value, list | dict):
            _inside_fits(name, value)


def _text_fits(name: str, value: str, most: int | None) -> None:
    words = name.replace("_", " ")
    if most is not None and len(value) > most:
        raise OutOfBounds(f"The {words} has {len(value)} characters; at most {most} are kept. Shorten it.")
    if _NO_TEXT.search(value):
        raise OutOfBounds(
            f"The {words} {units.shown(value)} holds a character that is no text. Type it anew."
        )


def _inside_fits(name: str, value: Any) -> None:
    if isinstance(value, str):
        _text_fits(name, value, None)
    elif isinstance(value, dict):
        for key, part in value.items():
            _text_fits(name, key, None)
            _inside_fits(name, part)
    elif isinstance(value, list):
        for part in value:
            _inside_fits(name, part)
