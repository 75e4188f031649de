"""Every kept database migrated and verified: `python -m tests.upgrades`, on the database that DATABASE_URL
names a server of, or on SQLite. `python -m tests.upgrades keep NAME` keeps one of today, before the next file
of migrations comes.
"""

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path

WALK, ONE = "upgrades_walk", "upgrades_one"


def main() -> int:
    """Do what was asked; 1 where a kept database does not come through whole."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("keep", nargs="*", metavar="keep NAME")
    parser.add_argument(
        "--short", action="store_true", help="the oldest, the newest, and those before a change of rows"
    )
    asked = parser.parse_args()
    address = os.environ.get("DATABASE_URL", "")
    server = address.startswith("postgresql://")
    folder = tempfile.TemporaryDirectory()
    os.environ |= {
        "DATABASE_URL": address if server else f"sqlite:///{folder.name}/none.sqlite3",
        "PLAIN_HTTP": "yes",
        "SECRET_KEY": "for-the-upgrades-only-" + "0123456789" * 5,
        "DJANGO_SETTINGS_MODULE": "fleet.settings",
        "AUDIT_LOG": os.devnull,
        "ALLOWED_HOSTS": "testserver",
    }
    import django

    django.setup()
    from tests.faults.databases import Cluster, Files

    databases = Cluster(address) if server else Files()
    try:
        if asked.keep:
            return _keep(databases, Path(asked.keep[-1]))
        return _upgrade_all(databases, short=asked.short)
    finally:
        databases.drop(WALK, ONE)
        databases.done()


def _keep(databases, path: Path) -> int:
    from django.core.management import call_command

    from tests.upgrades import acts
    from tests.upgrades.states import STATES

    databases.new(WALK)
    databases.use(WALK)
    call_command("migrate", verbosity=0)
    acts.record_a_little(STATES / f"{path.stem}.zip")
    return 0


def _upgrade_all(databases, *, short: bool) -> int:
    """Walk an empty database from state to state; a copy of each is filled, migrated to the end and looked
    at.
    """
    from django.db import connection
    from django.db.migrations.executor import MigrationExecutor

    from tests.upgrades import looks
    from tests.upgrades.states import lay_back, of_short_form, states

    faults: list[str] = []
    databases.new(WALK)
    for state in of_short_form() if short else states():
        begun = time.monotonic()
        databases.use(WALK)
        MigrationExecutor(connection).migrate(state.targets)
        databases.use(ONE)  # what is copied may have no session
        databases.copy(WALK, ONE)
        lay_back(state)
        found = looks.upgraded(state, pages=not short)
        faults += found.faults
        print(f"{state.path.stem:28} {found.words} {time.monotonic() - begun:5.1f} s", flush=True)
    print("\n".join(faults) if faults else "every database came through whole")
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
