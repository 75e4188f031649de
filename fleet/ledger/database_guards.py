"""What makes the database itself refuse to change or remove an entry, on both engines.

The statements may be run again at any time (a table rebuilt by a later migration loses its triggers on
SQLite), so a migration installs them and every `migrate` re-installs them.
"""

REFUSAL = "The ledger only grows: an entry is never changed or removed. Record a correction instead."


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
        "CREATE OR REPLACE FUNCTION fleet_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        f"RAISE EXCEPTION '{REFUSAL}' USING ERRCODE = 'restrict_violation'; END $$"
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
    abort = f"SELECT RAISE(ABORT, '{REFUSAL}')"
    # INSERT OR REPLACE deletes without firing a delete trigger unless recursive_triggers is on.
    same = " OR ".join(["id = NEW.id", *(f"({_all_equal(columns)})" for columns in unique)])
    return [
        f"CREATE TRIGGER IF NOT EXISTS {table}_no_update BEFORE UPDATE ON {table} BEGIN {abort}; END",
        f"CREATE TRIGGER IF NOT EXISTS {table}_no_delete BEFORE DELETE ON {table} BEGIN {abort}; END",
        (
            f"CREATE TRIGGER IF NOT EXISTS {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) BEGIN {abort}; END"
        ),
    ]


def _all_equal(columns: str) -> str:
    return " AND ".join(f"{column} = NEW.{column}" for column in columns.split())
