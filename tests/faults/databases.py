"""The databases of the rounds: one made and migrated once, and a copy of it for each round."""

import os
import shutil
import tempfile
import time
from pathlib import Path

import psycopg
from django.db import connections
from psycopg import sql

PATIENCE_S = 60


class Files:
    """SQLite: a copy of a file."""

    is_server = False

    def __init__(self) -> None:
        self.folder = Path(tempfile.mkdtemp())

    def use(self, name: str) -> None:
        """From now on children open this database."""
        _settings()["NAME"] = str(self.folder / name)

    def copy(self, of: str, to: str) -> None:
        """A new database with all that stands in another."""
        for end in ("", "-wal", "-shm"):
            (self.folder / f"{to}{end}").unlink(missing_ok=True)
            if (self.folder / f"{of}{end}").exists():
                shutil.copy(self.folder / f"{of}{end}", self.folder / f"{to}{end}")

    def size(self, name: str) -> int:
        """Bytes of the log that holds what was not yet moved into the file."""
        log = self.folder / f"{name}-wal"
        return log.stat().st_size if log.exists() else 0

    def new(self, name: str) -> None:
        """An empty database: a file comes with its first use."""

    def drop(self, *names: str) -> None:
        """Nothing: the files go with their folder."""

    def done(self) -> None:
        """Take everything away."""
        shutil.rmtree(self.folder, ignore_errors=True)


class Cluster:
    """PostgreSQL: a database made from another as its template. The cluster must be this run's own: it is
    killed.
    """

    is_server = True

    def __init__(self, address: str) -> None:
        self.address = address

    def remembers(self, on: bool) -> None:
        """Whether a commit waits until the log holds it, as in service; a throw-away cluster for tests may
        not wait.
        """
        self._tell(f"ALTER ROLE CURRENT_USER SET synchronous_commit = {'on' if on else 'off'}")

    def use(self, name: str) -> None:
        """From now on children open this database."""
        _settings()["NAME"] = name

    def copy(self, of: str, to: str) -> None:
        """A new database with all that stands in another."""
        self._tell(f"DROP DATABASE IF EXISTS {to} WITH (FORCE)")
        self._tell(f"CREATE DATABASE {to} TEMPLATE {of}")
        # A copied sequence believes that its next numbers stand in the log, which they do for the template
        # alone: after a crash it would give them out again. Set to where it stands, it writes them into the
        # log of its own.
        with psycopg.connect(self.address, dbname=to, autocommit=True) as told:
            told.execute(
                "SELECT setval(format('%I.%I', schemaname, sequencename)::regclass, last_value) "
                "FROM pg_sequences WHERE last_value IS NOT NULL"
            )

    def new(self, name: str) -> None:
        """An empty database."""
        self._tell(f"CREATE DATABASE {name}")

    def drop(self, *names: str) -> None:
        """Take databases away."""
        connections.close_all()
        for name in names:
            self._tell(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")

    def _tell(self, statement: str) -> None:
        """Say it, and again while the cluster recovers or a session that was killed still stands."""
        until = time.monotonic() + PATIENCE_S
        while True:
            try:
                with psycopg.connect(self.address, autocommit=True) as told:
                    told.execute(sql.SQL(statement))  # type: ignore[arg-type]
                return
            except psycopg.OperationalError:
                if time.monotonic() > until:
                    raise
                time.sleep(0.05)

    def kill_one(self) -> bool:
        """Kill one session's server process from outside; True where there was one."""
        import signal

        try:
            with psycopg.connect(self.address, autocommit=True) as told:
                row = told.execute(
                    "SELECT pid FROM pg_stat_activity WHERE backend_type = 'client backend' "
                    "AND pid <> pg_backend_pid() LIMIT 1"
                ).fetchone()
        except psycopg.OperationalError:
            return False
        if row is None:
            return False
        try:
            os.kill(row[0], signal.SIGKILL)
        except ProcessLookupError:
            return False
        return True

    def done(self) -> None:
        """Nothing: the cluster goes with the command that made it."""


def _settings() -> dict:
    connections.close_all()
    return connections["default"].settings_dict
