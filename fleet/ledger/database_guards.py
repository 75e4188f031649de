"""What makes the database itself refuse to change or remove an entry, on both engines.

The statements may be run again at any time (a table rebuilt by a later migration loses its triggers on
SQLite), so a migration installs them and every `migrate` re-installs them.
"""

REFUSAL = "The ledger only grows: an entry is never changed or removed. Record a correction instead."

REFUSES = f" BEGIN RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'restrict_violation'; END "
# What PostgreSQL notes of each trigger (pg_trigger.tgtype): before each row's change or removal, before a
# table is emptied.
POSTGRESQL_TYPES = {"change": 1 | 2 | 8 | 16, "truncate": 2 | 32}


def statements(vendor: str, table: str, unique: tuple[str, ...] = ()) -> list[str]:
    """The statements that guard `table`; `unique` names columns that INSERT OR REPLACE could collide on."""
    if vendor == "postgresql":
        return _postgresql(table)
    if vendor == "sqlite":
        return _sqlite(table, unique)
    raise ValueError(f"no guard is written for {vendor}; PostgreSQL and SQLite are supported")


def trigger_names(vendor: str, table: str) -> list[str]:
    """The triggers that a guarded table has."""
    kinds = ("change", "truncate") if vendor == "postgresql" else ("update", "delete", "replace")
    return [f"{table}_no_{kind}" for kind in kinds]


def _postgresql(table: str) -> list[str]:
    refuse = (
        f"CREATE OR REPLACE FUNCTION fleet_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $${REFUSES}$$"
    )
    return [
        refuse,
        f"DROP TRIGGER IF EXISTS {table}_no_change ON {table}",
        (
            f"CREATE TRIGGER {table}_no_change BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION fleet_refuse_change()"
        ),
        # ALWAYS: also when a session says it is a replica.
        f"ALTER TABLE {table} ENABLE ALWAYS TRIGGER {table}_no_change",
        f"DROP TRIGGER IF EXISTS {table}_no_truncate ON {table}",
        (
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            "FOR EACH STATEMENT EXECUTE FUNCTION fleet_refuse_change()"
        ),
    ]


def _sqlite(table: str, unique: tuple[str, ...]) -> list[str]:
    texts = sqlite_texts(table, unique)
    return [text for name in texts for text in (f"DROP TRIGGER IF EXISTS {name}", texts[name])]


def sqlite_texts(table: str, unique: tuple[str, ...]) -> dict[str, str]:
    """Each trigger's statement by its name, as SQLite keeps it."""
    abort = f"SELECT RAISE(ABORT, '{REFUSAL}')"
    # INSERT OR REPLACE deletes without firing a delete trigger unless recursive_triggers is on.
    same = " OR ".join(["id = NEW.id", *(f"({_all_equal(columns)})" for columns in unique)])
    found = f" WHEN EXISTS (SELECT 1 FROM {table} WHERE {same})"
    events = {"update": "UPDATE", "delete": "DELETE", "replace": "INSERT"}
    return {
        f"{table}_no_{kind}": f"CREATE TRIGGER {table}_no_{kind} BEFORE {event} ON {table}"
        f"{found if kind == 'replace' else ''} BEGIN {abort}; END"
        for kind, event in events.items()
    }


def _all_equal(columns: str) -> str:
    return " AND ".join(f"{column} = NEW.{column}" for column in columns.split())
