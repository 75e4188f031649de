"""While a whole record is read, each inner id and each instant is made from its text once, however often it
comes.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from typing import Any

from django.db.backends.base.base import BaseDatabaseWrapper

CONVERTERS = ("convert_uuidfield_value", "convert_datetimefield_value")


@contextmanager
def remembered_values(connection: BaseDatabaseWrapper) -> Iterator[None]:
    """SQLite keeps ids and instants as text, and making a UUID of one costs more than all else of reading it.

    Inside, the connection's own converters answer from memory; PostgreSQL's driver needs none of it.
    """
    if connection.vendor != "sqlite":
        yield
        return
    ops = connection.ops
    for name in CONVERTERS:
        setattr(ops, name, _remembered(getattr(ops, name), connection))
    try:
        yield
    finally:
        for name in CONVERTERS:
            delattr(ops, name)


def _remembered(convert: Callable[..., Any], connection: BaseDatabaseWrapper) -> Callable[..., Any]:
    made = cache(lambda value: convert(value, None, connection))
    return lambda value, expression, connection: made(value)
