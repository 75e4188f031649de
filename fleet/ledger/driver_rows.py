"""Rows as the database's driver gives them: a whole record is compared without making a Python value of each
cell, which costs more than all else.

What an entry says is put into the driver's form instead, each different value once. Only a row that is not
equal in that form is made into Python values and looked at cell by cell.
"""

import json
import re
from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import Any
from uuid import UUID

from django.core.exceptions import ValidationError
from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper

CHUNK = 5000
EXACT = 15  # so many decimal digits survive in a number of 64 bits
ABSENT = object()
_ID = re.compile("[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}")
_DECIMAL = re.compile("-?[0-9]+\\.([0-9]+)")

Row = tuple[Any, ...]


class Unreadable(str):
    """What stands where no value of the column can be made of it; equal to nothing."""

    __hash__ = None  # type: ignore[assignment]

    def __eq__(self, other: object) -> bool:
        return False

    def __ne__(self, other: object) -> bool:
        return True


class DriverRows:
    """Reads tables on one connection in its driver's form, and tells what that form is."""

    def __init__(self, connection: BaseDatabaseWrapper) -> None:
        self.connection = connection
        self.keeps_text = connection.vendor == "sqlite"
        self._converters = cache(self._read_by)

    def chunks(
        self, model: type[models.Model], names: Sequence[str], *, order: Sequence[str] = ()
    ) -> Iterator[list[Row]]:
        """These columns of a whole table, some thousand rows at a time.

        A plus before a column's name keeps SQLite's driver from making a date or an instant of it.
        """
        plus = "+" if self.keeps_text else ""
        columns = ", ".join(plus + self._column(model, name) for name in names)
        sql = f"SELECT {columns} FROM {self.connection.ops.quote_name(model._meta.db_table)}"
        if order:
            sql += " ORDER BY " + ", ".join(self._column(model, name) for name in order)
        with self.connection.chunked_cursor() as cursor:
            if not self.keeps_text:
                _gives_ids_as_text(cursor)
            cursor.execute(sql)
            while chunk := cursor.fetchmany(CHUNK):
                yield chunk

    def _column(self, model: type[models.Model], name: str) -> str:
        return self.connection.ops.quote_name(str(column_of(model, name).column))

    def id(self, text: str) -> str:
        """An inner id's form; of what is written otherwise than an id, the text itself."""
        return text.replace("-", "") if self.keeps_text and _ID.fullmatch(text) else text

    def id_text(self, form: Any) -> Any:
        """An inner id as entries write it; None of none."""
        if form is None or not self.keeps_text:
            return form
        return f"{form[:8]}-{form[8:12]}-{form[12:16]}-{form[16:20]}-{form[20:]}"

    def value(self, field: "models.Field[Any, Any]", form: Any) -> Any:
        """The Python value of what the driver gave; `Unreadable` where none can be made."""
        column, converters = self._converters(field)
        try:
            for convert in converters:
                form = convert(form, column, self.connection)
            return _target(field).to_python(form)
        except (ValueError, TypeError, AttributeError, ArithmeticError, ValidationError):
            return Unreadable(f"unreadable: {form}")

    def _read_by(self, field: "models.Field[Any, Any]") -> tuple[Any, list[Callable[..., Any]]]:
        column = models.expressions.Col(field.model._meta.db_table, field)
        own = column.get_db_converters(self.connection)
        return column, self.connection.ops.get_db_converters(column) + own

    def former(self, field: "models.Field[Any, Any]") -> Callable[[Any], Any]:
        """For a column: the form of what an entry says, or `Unreadable` where the form alone does not show
        that the two are equal.
        """
        target, forms, read = _target(field), {}, reader(field)

        def form(said: Any) -> Any:
            try:
                return forms[said]
            except KeyError:
                forms[said] = made = self._form(field, read(said))
            except TypeError:  # an altered entry: a list or dict that no such column holds
                made = Unreadable(said)
            return made

        if isinstance(field, models.JSONField):
            return lambda said: json.dumps(read(said))
        if isinstance(target, models.UUIDField):
            as_text = (lambda said: said.replace("-", "")) if self.keeps_text else str
            return lambda said: as_text(said) if type(said) is str and _ID.fullmatch(said) else form(said)
        if isinstance(target, models.DecimalField) and self.keeps_text and target.max_digits <= EXACT:
            places = target.decimal_places
            return lambda said: float(said) if _is_decimal(said, places) else form(said)
        return form

    @staticmethod
    def taken_as_it_is(field: "models.Field[Any, Any]") -> type | None:
        """The type of which what an entry says is the column's form already."""
        target = _target(field)
        if isinstance(target, models.CharField | models.TextField):
            return str
        return int if isinstance(target, models.IntegerField) else None

    def _form(self, field: "models.Field[Any, Any]", meant: Any) -> Any:
        if meant is None or isinstance(meant, Unreadable):
            return meant
        if isinstance(meant, UUID):
            return self.id(str(meant))
        if not self.keeps_text:
            return meant
        if isinstance(_target(field), models.DecimalField):
            made: Any = float(meant)
        else:
            made = field.get_db_prep_value(meant, self.connection)
        return made if self.value(field, made) == meant else Unreadable(meant)


def column_of(model: type[models.Model], name: str) -> "models.Field[Any, Any]":
    """A table's column by its name."""
    field = model._meta.get_field(name)
    assert isinstance(field, models.Field)
    return field


def reader(field: "models.Field[Any, Any]") -> Callable[[Any], Any]:
    """A column's value from what the entry says; the column's default where it says nothing."""
    target, default = _target(field), field.get_default()
    if isinstance(field, models.JSONField):
        return lambda said: default if said is ABSENT else said

    def read(said: Any) -> Any:
        if said is ABSENT:
            return default
        try:
            return target.to_python(said)
        except (ValidationError, TypeError):  # an altered entry: no column can hold it
            return Unreadable(f"unreadable: {said}")

    return read


def _target(field: "models.Field[Any, Any]") -> "models.Field[Any, Any]":
    return field.target_field if isinstance(field, models.ForeignKey) else field


def _is_decimal(said: Any, places: int) -> bool:
    """Whether a text is a decimal number that a column of so many places holds, and a float, exactly."""
    if type(said) is not str or len(said) > EXACT:
        return False
    read = _DECIMAL.fullmatch(said)
    return read is not None and len(read[1]) <= places


def _gives_ids_as_text(cursor: Any) -> None:
    from psycopg.types.string import TextLoader

    cursor.cursor.adapters.register_loader("uuid", TextLoader)
