"""Which kinds of entry there are, and how each becomes a typed row: the same way when written and when
rebuilt.

Each app registers its kinds in its `AppConfig.ready()`. An unknown kind is an error when it is written.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from django.db import models

from fleet.bulk import each_once
from fleet.models.recorded import Recorded
from fleet.registry import ByName

FORMAT = 1
# Fields that hold JSON are taken as they are; all others are read back by their own field.
Body = dict[str, Any]


@dataclass(frozen=True)
class Stamp:
    """Where an entry stands: what a typed row keeps of it."""

    chain: str
    n: int
    act: UUID
    by: UUID
    recorded_at: Any


Apply = Callable[[Sequence[tuple[Body, Stamp]]], None]


@dataclass(frozen=True)
class Kind:
    """A kind of entry: it adds a row of `model`, or changes rows by `apply`, or (neither) only stands in the
    ledger.

    `words` is what a reader sees instead of the name.
    """

    name: str
    words: str
    model: type[Recorded] | None = None
    apply: Apply | None = None
    fields: "tuple[models.Field[Any, Any], ...]" = field(default=())


KINDS = ByName[Kind]("kind of entry")


def register(
    name: str, words: str, model: type[Recorded] | None = None, *, apply: Apply | None = None
) -> None:
    """Make a kind known, with its words for a reader. Registering the same kind twice is refused: two apps
    would read each other's entries.
    """
    fields = _own_fields(model) if model else ()
    KINDS.add(name, Kind(name, words, model, apply, fields))


def kind(name: str) -> Kind:
    """The kind of that name.

    Raises
    ------
    LookupError
        for a name nobody registered; an entry that nothing can read must not be written.
    """
    return KINDS[name]


def words_of(name: str) -> str:
    """What a reader sees instead of a kind's name; of one that nobody registered, the name as it stands."""
    return KINDS[name].words if name in KINDS else name


def all_kinds() -> list[Kind]:
    """Every kind, in the order of registration: rows that others point to come first."""
    return list(KINDS.values())


def _own_fields(model: type[Recorded]) -> "tuple[models.Field[Any, Any], ...]":
    return tuple(f for f in model._meta.concrete_fields if f.name not in Recorded.STAMPS)


def body_of(row: Recorded, known: Kind) -> Body:
    """What an entry says of a row: every field that holds something, by its column's name."""
    body: Body = {}
    for f in known.fields:
        value = getattr(row, f.attname)
        if not _says_nothing(f, value):
            body[f.attname] = _quantised(f, value)
    return body


def _says_nothing(f: "models.Field[Any, Any]", value: Any) -> bool:
    """A value that is left out of an entry, for the column falls back on it; an empty list is none of these
    where the column would fall back on something else.
    """
    if value is None or value == "":
        return True
    return isinstance(value, list | dict) and not value and (f.null or value == f.get_default())


def _quantised(f: "models.Field[Any, Any]", value: Any) -> Any:
    """A decimal with exactly the digits its column keeps, so that the entry and the row say the same."""
    if isinstance(f, models.DecimalField):
        return f.to_python(value).quantize(f.to_python(10) ** -(f.decimal_places or 0))
    return value


def row_of(body: Body, stamp: Stamp, known: Kind) -> Recorded:
    """The typed row that an entry stands for."""
    assert known.model is not None
    values: dict[str, Any] = {
        "act": stamp.act,
        "chain": stamp.chain,
        "entry_n": stamp.n,
        "recorded_at": stamp.recorded_at,
        "recorded_by": stamp.by,
    }
    for f in known.fields:
        if f.attname in body:
            target = f.target_field if isinstance(f, models.ForeignKey) else f
            values[f.attname] = target.to_python(body[f.attname])
    return known.model(**values)


def columns_of(items: Sequence[tuple[Body, Stamp]], known: Kind) -> dict[str, list[Any]]:
    """The typed rows that entries stand for, column by column: what `row_of` gives, for many at once."""
    assert known.model is not None
    stamps = [stamp for _, stamp in items]
    columns: dict[str, list[Any]] = {
        "act": [stamp.act for stamp in stamps],
        "chain": [stamp.chain for stamp in stamps],
        "entry_n": [stamp.n for stamp in stamps],
        "recorded_at": [stamp.recorded_at for stamp in stamps],
        "recorded_by": [stamp.by for stamp in stamps],
        "withdrawn_by": [None] * len(stamps),
    }
    for f in known.fields:
        # A body leaves out what is empty: it reads back as the field's own default.
        columns[f.attname] = each_once(_reader(f), [body.get(f.attname, _ABSENT) for body, _ in items])
    return columns


_ABSENT = object()


def _reader(f: "models.Field[Any, Any]") -> Callable[[Any], Any]:
    target = f.target_field if isinstance(f, models.ForeignKey) else f
    return lambda value: f.get_default() if value is _ABSENT else target.to_python(value)
