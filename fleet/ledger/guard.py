"""Installing and counting the database's own refusal to change an entry."""

from django.db import connection

from fleet.ledger.database_guards import (
    POSTGRESQL_TYPES,
    REFUSES,
    sqlite_texts,
    statements,
    trigger_names,
)
from fleet.models.ledger import Entry, Seal

GUARDED = (Entry, Seal)


def install_guards() -> None:
    """Install what is missing; harmless to repeat. A later migration that rebuilds a table loses its triggers
    on SQLite.
    """
    tables = set(connection.introspection.table_names())
    with connection.cursor() as cursor:
        for model in GUARDED:
            table = model._meta.db_table
            if table in tables and table in missing_guards():
                for statement in statements(connection.vendor, table, model.GUARDED):
                    cursor.execute(statement)


def missing_guards() -> list[str]:
    """The guarded tables that lack one of their triggers, or have one that does less than refuse."""
    there = _postgresql_there() if connection.vendor == "postgresql" else _sqlite_there()
    return [model._meta.db_table for model in GUARDED if not _wanted(model) <= there]


def _wanted(model: type[Entry | Seal]) -> set[tuple[str, object]]:
    table = model._meta.db_table
    if connection.vendor == "postgresql":
        names = trigger_names("postgresql", table)
        return set(zip(names, POSTGRESQL_TYPES.values(), strict=True))
    return set(sqlite_texts(table, model.GUARDED).items())


def _sqlite_there() -> set[tuple[str, object]]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {(name, text) for name, text in cursor.fetchall()}


def _postgresql_there() -> set[tuple[str, object]]:
    """Those that are on, ask no condition, look at every column and run the function that refuses."""
    query = (
        "SELECT tgname, tgtype FROM pg_trigger JOIN pg_proc ON pg_proc.oid = tgfoid JOIN pg_class ON"
        " pg_class.oid = tgrelid WHERE NOT tgisinternal AND tgenabled IN ('O', 'A') AND tgqual IS NULL AND"
        " tgattr::text = '' AND prosrc = %s AND pg_table_is_visible(tgrelid) AND tgname LIKE relname || '%%'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query, [REFUSES])
        return {(name, kind) for name, kind in cursor.fetchall()}
