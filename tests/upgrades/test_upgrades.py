"""The database of every earlier day comes through the migrations whole, on the engine the suite runs on."""

import os
import subprocess
import sys
from pathlib import Path

from django.apps import apps
from django.db import connection

from tests.upgrades.states import CHANGE_ROWS, of_short_form, unkept


def test_kept_databases_are_migrated_and_verified(checkout, db):
    """The short form; the whole is `python -m tests.upgrades`."""
    environment = dict(os.environ)
    if connection.vendor != "postgresql":
        environment.pop("DATABASE_URL", None)
    command = [sys.executable, "-m", "tests.upgrades", "--short"]
    ran = subprocess.run(command, cwd=checkout, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr[-2000:]
    assert ran.stdout.count(" entries, ") == len(of_short_form()) >= 3
    assert ran.stdout.endswith("every database came through whole\n")


def test_a_database_is_kept_from_before_every_file_of_migrations():
    folders = [Path(apps.get_app_config(app).path) / "migrations" for app in ("fleet", "inspections")]
    known = {f"{folder.parent.name}.{file.stem}" for folder in folders for file in folder.glob("0*.py")}
    assert unkept(known) == []
    assert unkept(known | {"fleet.9998_now", "fleet.9999_later"}) == ["fleet.9999_later"]


def test_the_short_form_knows_every_file_of_migrations_that_changes_rows():
    folders = [Path(apps.get_app_config(app).path) / "migrations" for app in ("fleet", "inspections")]
    texts = {
        f"{one.parent.parent.name}.{one.stem}": one.read_text("utf-8")
        for f in folders
        for one in f.glob("0*.py")
    }
    changing = {name for name, text in texts.items() if "RunPython(" in text or "RunSQL(" in text}
    assert changing == {*CHANGE_ROWS, "fleet.0002_guard_the_ledger"}
