"""Installing and counting the database's own refusal to change an entry."""

from django.db import connection

from fleet.ledger.database_guards import statements, trigger_names
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
    """The guarded tables that lack one of their triggers."""
    query = (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal AND tgenabled <> 'D'"
        if connection.vendor == "postgresql"
        else "SELECT name FROM sqlite_master WHERE type = 'trigger'"
    )
    with connection.cursor() as cursor:
        cursor.execute(query)
        there = {name for (name,) in cursor.fetchall()}
    return [
        model._meta.db_table
        for model in GUARDED
        if not there.issuperset(trigger_names(connection.vendor, model._meta.db_table))
    ]
