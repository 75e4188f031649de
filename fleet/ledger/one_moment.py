"""Reading the whole record as it is at one moment, however many write meanwhile and
without making them wait.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import DEFAULT_DB_ALIAS, connections, transaction
from django.db.backends.base.base import BaseDatabaseWrapper


@contextmanager
def as_at_one_moment(using: str = DEFAULT_DB_ALIAS) -> Iterator[BaseDatabaseWrapper]:
    """Inside, every question is answered from what stood when the first was asked; nothing may be written.

    Inside another transaction the isolation of that one holds.
    """
    connection = connections[using]
    if connection.in_atomic_block:
        yield connection
    elif connection.vendor == "sqlite":
        # A transaction that only reads keeps its snapshot in the write-ahead log; IMMEDIATE would keep
        # writers out.
        connection.ensure_connection()  # which sets the mode that is put aside here
        mode, connection.transaction_mode = connection.transaction_mode, "DEFERRED"  # type: ignore[attr-defined]
        try:
            with transaction.atomic(using=using):
                yield connection
        finally:
            connection.transaction_mode = mode  # type: ignore[attr-defined]
    else:
        with transaction.atomic(using=using):
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
            yield connection
