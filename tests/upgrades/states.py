"""The kept databases of earlier days: a backup each, made by the code of its day, and how one is laid back.

A state stands before each file of migrations that ever came; `python -m tests.upgrades keep` makes the next.
"""

import json
import zipfile
from dataclasses import dataclass
from pathlib import Path

from django.db import connection, transaction
from django.db.migrations.executor import MigrationExecutor

from fleet import backup

STATES = Path(__file__).with_name("kept")
# Came together with the file before it, or before the first tables had their shape of today: no database of
# that shape ever stood without them.
TOGETHER = frozenset(
    {
        "fleet.0002_guard_the_ledger",
        "fleet.0003_jobs_tell_how_they_ended",
        "fleet.0010_commit_to_what_is_on_file",
        "inspections.0001_initial",
    }
)


# Files of migrations that change rows, not tables alone.
CHANGE_ROWS = ("fleet.0010_commit_to_what_is_on_file",)


@dataclass(frozen=True)
class State:
    """One kept database: its file, the migrations that it had, how many rows each table, its seal's paper."""

    path: Path
    migrations: frozenset[str]
    rows: dict[str, int]

    @property
    def targets(self) -> list[tuple[str, str]]:
        """The newest migration of each app, as an executor takes it."""
        newest = dict(sorted(name.split(".", 1) for name in self.migrations))
        return list(newest.items())


def states() -> list[State]:
    """Every kept database, the oldest first."""
    return sorted((_state(path) for path in STATES.glob("*.zip")), key=lambda state: len(state.migrations))


def of_short_form() -> list[State]:
    """The oldest, which takes every step, the newest, and the last before each change of rows."""
    every = states()
    before = [[state for state in every if name not in state.migrations][-1] for name in CHANGE_ROWS]
    return [state for state in every if state in (every[0], *before, every[-1])]


def _state(path: Path) -> State:
    with zipfile.ZipFile(path) as archive:
        about = json.loads(archive.read("about.json"))
    return State(path, frozenset(about["migrations"]), about["rows"])


def unkept(known: set[str]) -> list[str]:
    """Files of migrations before which no database was kept; `known` are all there are."""
    kept = [state.migrations for state in states()]
    first = {"fleet.0001_initial"} | TOGETHER
    return sorted(
        name
        for name in known - first
        if not any(name not in had and _of_app_before(name, known) <= had for had in kept)
    )


def _of_app_before(name: str, known: set[str]) -> set[str]:
    app = name.split(".", maxsplit=1)[0]
    return {other for other in known if other.split(".")[0] == app and other < name}


def lay_back(state: State) -> None:
    """Fill the tables, which stand as they did on that day, with that day's rows."""
    executor = MigrationExecutor(connection)
    apps = executor.loader.project_state(state.targets).apps
    with zipfile.ZipFile(state.path) as archive, transaction.atomic():
        for label, n in state.rows.items():
            model = apps.get_model(label)
            with archive.open(f"tables/{label}.jsonl") as lines:
                read, _ = backup.read_rows(model, lines)
            assert read == n, f"{label}: {read} rows in the file, {n} by its own account"
        backup.reset_sequences([apps.get_model(label) for label in state.rows])
