#!/usr/bin/env python
"""Run one of the site's commands. Exit 0 done, 2 refused or failed; 1 is `verify_records`' own word for
"altered".
"""

import os
import sys
import traceback
from collections.abc import MutableMapping
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent
DEMO_RECORD = CHECKOUT / "demo.sqlite3"
OWNER_COMMANDS = ("migrate", "restore")


def prepare(command: str, environment: MutableMapping[str, str]) -> None:
    """Set what must stand before the settings load: the demo's own record, and who may change tables."""
    environment.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
    if command == "demo":
        own = f"sqlite:///{DEMO_RECORD}"
        if environment.get("DATABASE_URL", own) != own:
            print(
                "DATABASE_URL is set and not used: the demo keeps a record of its own, so that invented "
                "bearings never stand in a plant's.",
                file=sys.stderr,
            )
        environment["DATABASE_URL"] = own
        environment["PLAIN_HTTP"] = "yes"
    elif command in OWNER_COMMANDS and environment.get("DATABASE_OWNER_URL"):
        environment["DATABASE_URL"] = environment["DATABASE_OWNER_URL"]


def of_the_record(fault: Exception) -> str:
    """What to do about a fault of the database that comes from the record itself; "" for any other."""
    from django.db import DatabaseError, connection
    from django.db.migrations.executor import MigrationExecutor

    if not isinstance(fault, DatabaseError):
        return ""
    try:
        connection.ensure_connection()
        executor = MigrationExecutor(connection)
        missing = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    except DatabaseError as unreachable:
        return f"The database that DATABASE_URL names cannot be used: {str(unreachable).strip()}"
    if not missing:
        return ""
    return (
        f"The record that DATABASE_URL names (without it a file in the checkout) lacks {missing} of its "
        "migrations; a new record has no tables at all. Run manage.py migrate, then this command again."
    )


def run(arguments: list[str]) -> int:
    """Run a command and return its exit code."""
    command = arguments[1] if len(arguments) > 1 else ""
    prepare(command, os.environ)
    from django.core.exceptions import ImproperlyConfigured
    from django.core.management import execute_from_command_line

    try:
        import django

        django.setup()
        execute_from_command_line(arguments)
    except ImproperlyConfigured as fault:
        print(fault, file=sys.stderr)
        return 2
    except SystemExit as end:
        code = end.code if isinstance(end.code, int) else (2 if end.code else 0)
        return code if command == "verify_records" or code != 1 else 2
    except Exception as fault:
        if said := of_the_record(fault):
            print(said, file=sys.stderr)
        else:
            traceback.print_exc()
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(run(sys.argv))
