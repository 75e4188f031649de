"""Many rows into one table at once: COPY on PostgreSQL, one prepared statement on SQLite.

Five times faster than bulk_create on either engine (DEVELOPERS.md, benchmark tables); for rows that nothing
else needs to see one by one.
"""

import gc
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any

from django.db import DEFAULT_DB_ALIAS, connection, connections, models


def insert(rows: Sequence[models.Model]) -> None:
    """Insert new rows, all of one model, inside the caller's transaction; their primary keys must be set or
    automatic.
    """
    if not rows:
        return
    columns: dict[str, list] = {}
    for field in _fields(type(rows[0])):
        if getattr(field, "auto_now_add", False):
            columns[field.attname] = [field.pre_save(row, True) for row in rows]
        else:
            columns[field.attname] = [getattr(row, field.attname) for row in rows]
    insert_columns(type(rows[0]), columns)


def insert_columns(
    model: type[models.Model], columns: Mapping[str, Sequence[Any]], *, with_keys: bool = False
) -> None:
    """The same for rows that come column by column, every column of the table but an automatic key among
    them.

    Parameters
    ----------
    model : type of Model
    columns : mapping of attname to sequence, all of one length
        Python values as the model's fields hold them.
    with_keys : bool, optional
        automatic keys are given too: rows that come back as they were.
    """
    fields = list(model._meta.concrete_fields) if with_keys else _fields(model)
    values = _prepared(fields, columns)
    quote = connection.ops.quote_name
    names = ", ".join(quote(str(field.column)) for field in fields)
    table = quote(model._meta.db_table)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            # Django wraps what execute() raises, not what copy() does; callers look for
            # django.db.IntegrityError.
            wrapped = connections[DEFAULT_DB_ALIAS].wrap_database_errors
            with wrapped, cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy:
                for row in values:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(fields))
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks})", values)


def _fields(model: type[models.Model]) -> list[models.Field]:
    return [field for field in model._meta.concrete_fields if not isinstance(field, models.AutoField)]


def _prepared(fields: Sequence[models.Field], columns: Mapping[str, Sequence[Any]]) -> list[tuple]:
    """Column by column, each made ready for the database by its own field."""
    # The connection itself: its proxy would look it up anew for every value.
    database = connections[DEFAULT_DB_ALIAS]

    def ready(field: models.Field) -> Callable[[Any], Any]:
        return lambda value: None if value is None else field.get_db_prep_save(value, database)

    return list(zip(*(each_once(ready(field), columns[field.attname]) for field in fields), strict=True))


def each_once(convert: Callable[[Any], Any], values: Sequence[Any]) -> list[Any]:
    """Convert a column, each different value once: most columns of a sheet hold few of them.

    Values of one column are of one type, so equal ones are the same.
    """
    seen: dict[Any, Any] = {}
    found = []
    for value in values:
        try:
            found.append(seen[value])
        except KeyError:
            seen[value] = made = convert(value)
            found.append(made)
        except TypeError:  # a list or dict of a JSON column
            found.append(convert(value))
    return found


@contextmanager
def without_collecting() -> Iterator[None]:
    """No search for circles while many thousands of small things are made at once: it takes a quarter of the
    time.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
