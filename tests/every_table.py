"""A record with rows in every table of the site, and any cell or row of it altered behind its back.

The tables and columns are those of the installed models, so that a new one cannot be forgotten: what is
altered in it is found, or it stands in the list of what nothing covers.
"""

import datetime as dt
import random
import tempfile
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import nullcontext
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pyotp
from django.apps import apps
from django.db import DataError, IntegrityError, models, transaction

from fleet.clock import now
from fleet.ledger import kinds
from fleet.ledger.committed_rows import NOT_COVERED
from fleet.ledger.guard import GUARDED
from fleet.ledger.verify import verify
from fleet.ledger.writing import Fact, write
from fleet.models import Account, Bearing
from fleet.plant import second_factor
from fleet.web.one_time_codes import new_salt, secret_of
from inspections.forecasts.refit import refit
from tests import makers
from tests.fleet.ledger.story import guards_lifted
from tests.upgrades.acts import record_a_little

WAYS = ("another value", "emptied", "another row's", "taken out", "put in")
CELLS, ROWS = WAYS[:3], WAYS[3:]
RANGES = ("0.150-0.170", "0.150-0.180")
# What a table asks of its rows beyond their columns.
MUST_BE: dict[str, dict[str, Any]] = {"fleet_journaldiameter": {"diameter_um": Decimal(100_000)}}
NOON = dt.datetime(2026, 3, 9, 12, tzinfo=dt.UTC)


def tables() -> list[type[models.Model]]:
    """The model of every table."""
    return list(apps.get_models(include_auto_created=True))


def columns() -> Iterator[tuple[type[models.Model], Any]]:
    """Every column of every table."""
    for model in tables():
        for field in model._meta.concrete_fields:
            yield model, field


def is_covered(model: type[models.Model], field: Any = None) -> bool:
    """Whether the check covers a column, or the rows of a table: what its list leaves out is covered."""
    named = {name for names in NOT_COVERED.values() for name in names}
    table = model._meta.db_table
    return table not in named and (field is None or f"{table}.{field.column}" not in named)


def rows_everywhere() -> None:
    """Two rows at least in every table that is covered, of everyday acts where they make some."""
    by = makers.somebody()
    refit(by=by, as_of=dt.date(2026, 1, 5))  # of no bearing yet: rows of earlier runs are not covered
    with tempfile.TemporaryDirectory() as folder:
        record_a_little(Path(folder) / "kept.zip")
    account = Account.objects.get(username="engineer")
    code_salt = new_salt()
    code = pyotp.TOTP(secret_of(account.pk, code_salt)).at(now())
    assert second_factor.set_up(account, salt=code_salt, code=code)
    bearing = Bearing.objects.in_order()[0]
    for typed in RANGES:
        makers.a_reading(bearing=bearing, on=dt.date(2024, 5, 5), value=typed)
    refit(by=by)
    number = 0
    for known in kinds.all_kinds():
        while known.model is not None and known.model._base_manager.count() < 2:
            number += 1
            row = _made(known.model, known.fields, number)
            same = known.model._base_manager.values_list("recorded_by", flat=True).first()
            write([Fact("plant", known.name, row)], by=same or by)
    for model in filter(is_covered, tables()):
        while model._base_manager.count() < 2:
            number += 1
            fields = [
                field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)
            ]
            _made(model, fields, number).save(force_insert=True)


def _made(model: type[models.Model], fields: Any, number: int) -> Any:
    """A row as another one that is there, or such as its columns take."""
    there = model._base_manager.order_by("pk").values().first()
    values = {}
    for field in fields:
        is_like = there is not None and not field.unique
        values[field.attname] = there[field.attname] if is_like else _some_value(field, number)
    if there is not None:
        for name in _unique_together(model):
            field = model._meta.get_field(name)
            values[field.attname] = another(field, values[field.attname], random.Random(number))
    values |= MUST_BE.get(model._meta.db_table, {})
    return model(**{name: value for name, value in values.items() if value is not None})


def _unique_together(model: type[models.Model]) -> list[str]:
    """Of the columns that no two rows share together, one of each set, a word or number where it has one."""
    sets = [rule.fields for rule in model._meta.constraints if isinstance(rule, models.UniqueConstraint)]
    fields = model._meta.get_field
    return [
        min(reversed(names), key=lambda name: _is_hard_to_change(fields(name))) for names in sets if names
    ]


def _is_hard_to_change(field: Any) -> tuple[bool, bool]:
    return field.is_relation, bool(field.choices)


def _some_value(field: Any, number: int) -> Any:
    if isinstance(field, models.ForeignKey):
        taken = field.model._base_manager.values(field.attname) if field.unique else []
        there = field.related_model._base_manager.exclude(pk__in=taken).order_by("pk")
        return there.values_list(field.target_field.attname, flat=True).first()
    if field.choices:
        return next(key for key, _ in field.flatchoices if key not in ("", None))
    if field.has_default() and not field.unique:
        return field.get_default()
    if field.null:
        return None
    return another(field, None, random.Random(number))


def another(field: Any, value: Any, rng: random.Random) -> Any:
    """Another value that the column may hold."""
    if isinstance(field, models.ForeignKey):
        field = field.target_field
    if field.choices:
        return rng.choice([key for key, _ in field.flatchoices if key not in ("", None, value)])
    for known, changed in CHANGES.items():
        if isinstance(field, known):
            return changed(field, value, rng)
    raise TypeError(f"no alteration is written for {field!r}")


def _decimal(field: Any, value: Any, rng: random.Random) -> Decimal:
    step = Decimal(1).scaleb(-field.decimal_places)
    return Decimal(value or 1) + step * rng.choice((1, 2, 30, -1, -20))


def _text(field: Any, value: Any, rng: random.Random) -> str:
    longest = field.max_length or 200
    if not value:
        return uuid.UUID(int=rng.getrandbits(128)).hex[: min(longest, 32)]
    at = rng.randrange(len(value))
    letter = rng.choice([c for c in "abcdefghij0123456789" if c != value[at]])
    return f"{value[:at]}{letter}{value[at + 1 :]}"


def _instant(_: Any, value: Any, rng: random.Random) -> dt.datetime:
    off = (dt.timedelta(days=400), dt.timedelta(hours=-3), dt.timedelta(days=-9000))
    return (value or NOON) + rng.choice(off)


def _json(_: Any, value: Any, rng: random.Random) -> Any:
    """One leaf of it changed; a truth becomes a number that compares as equal to it."""
    if isinstance(value, dict) and value:
        key = rng.choice(sorted(value))
        return value | {key: _json(_, value[key], rng)}
    if isinstance(value, list) and value:
        at = rng.randrange(len(value))
        return [*value[:at], _json(_, value[at], rng), *value[at + 1 :]]
    if isinstance(value, bool):
        return rng.choice((int(value), not value))
    if isinstance(value, int | float):
        return value + rng.choice((1, -1, 0.25))
    return "another" if isinstance(value, str) else {"put": "in"}


def _bytes(_: Any, value: Any, rng: random.Random) -> bytes:
    data = bytearray(value or b"some bytes")
    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
    return bytes(data)


# In this order, for some are kinds of others.
CHANGES: dict[type, Callable[[Any, Any, random.Random], Any]] = {
    models.UUIDField: lambda _, value, rng: uuid.UUID(int=rng.getrandbits(128), version=4),
    models.DecimalField: _decimal,
    models.BooleanField: lambda _, value, rng: not value,
    models.DateTimeField: _instant,
    models.DateField: lambda _, value, rng: (value or NOON.date()) + dt.timedelta(rng.choice((1, -30, 365))),
    models.JSONField: _json,
    models.BinaryField: _bytes,
    models.GenericIPAddressField: lambda _, value, rng: f"10.0.0.{rng.randrange(1, 250)}",
    models.FloatField: lambda _, value, rng: (value or 0.0) + rng.choice((1e-6, 0.5)),
    models.IntegerField: lambda field, value, rng: (
        (value or 0) + (rng.randrange(1000, 5000) if field.unique else rng.choice((1, 2, 40)))
    ),
    models.CharField: _text,
    models.TextField: _text,
}


class Undo(Exception):
    """Ends a transaction so that nothing of it stays."""


@dataclass
class Alteration:
    """One cell (`field`) or row of a table to be altered in a way. After: the row's key, None where the
    database refused or nothing else can stand there; whether a fault was found, and named it.
    """

    model: type[models.Model]
    field: Any
    way: str
    key: Any = None
    is_found: bool = False

    @property
    def place(self) -> str:
        return f"{self.model._meta.db_table}.{self.field.column if self.field else 'a row'}, {self.way}"


def by_the_check() -> list[str]:
    """The faults that the check finds."""
    return verify().faults


def try_together(
    rng: random.Random, alterations: Sequence[Alteration], look: Callable[[], list[str]] = by_the_check
) -> None:
    """Make alterations at once, one of a table, look once, and undo them: of several each must be named by
    the key of its row, one alone be found.
    """
    try:
        with transaction.atomic():
            for what in alterations:
                lifted = guards_lifted() if what.model in GUARDED else nullcontext()
                try:
                    with transaction.atomic(), lifted:
                        what.key = alter(rng, what.model, what.field, what.way)
                except (IntegrityError, DataError):
                    what.key = None
            faults = look() if any(what.key is not None for what in alterations) else []
            said = " ".join(faults)
            for what in alterations:
                what.is_found = bool(faults) if len(alterations) == 1 else str(what.key) in said
            raise Undo
    except Undo:
        pass


def alter(rng: random.Random, model: type[models.Model], field: Any, way: str) -> Any:
    """Alter one cell (`field`) or row of a table in a way; gives the row's key, None where it cannot be done
    so (an empty table, a cell that is empty already).
    """
    rows = model._base_manager.order_by("pk")
    keys = list(rows.values_list("pk", flat=True))
    if not keys:
        return None
    key = rng.choice(keys)
    row = rows.filter(pk=key)
    if way == "taken out":
        row._raw_delete("default")
    elif way == "put in":
        return _put_in(rng, model, row.values().get())
    else:
        before = row.values_list(field.attname, flat=True).get()
        after = _new_cell(rng, rows, field, before, way)
        if _same(after, before) or row.update(**{field.attname: after}) != 1:
            return None
    return key


def _new_cell(rng: random.Random, rows: Any, field: Any, before: Any, way: str) -> Any:
    """What is put into a cell: `before` where nothing else can."""
    if way == "another value":
        return another(field, before, rng)
    if way == "emptied":
        return (
            None if field.null else "" if isinstance(field, models.CharField | models.TextField) else before
        )
    others = [value for value in rows.values_list(field.attname, flat=True)[:200] if not _same(value, before)]
    return rng.choice(others) if others else before


def _same(one: Any, other: Any) -> bool:
    return type(one) is type(other) and bool(one == other)


def _put_in(rng: random.Random, model: type[models.Model], values: dict[str, Any]) -> Any:
    """A copy of a row under another key; columns that only one row may hold are changed with it."""
    for field in model._meta.concrete_fields:
        if isinstance(field, models.AutoField):
            values.pop(field.attname)
        elif field.unique or field.name in _unique_together(model):
            values[field.attname] = another(field, values[field.attname], rng)
    row = model(**values)
    row.save_base(raw=True, force_insert=True)
    return row.pk
