"""The database of every earlier day comes through the migrations whole, on the engine the suite runs on."""

import os
import subprocess
import sys
from pathlib import Path

from django.apps import apps
from django.db import connection

from tests.upgrades.states import states, unkept


def test_every_kept_database_is_migrated_and_verified(checkout, db):
    environment = dict(os.environ)
    if connection.vendor != "postgresql":
        environment.pop("DATABASE_URL", None)
    command = [sys.executable, "-m", "tests.upgrades"]
    ran = subprocess.run(command, cwd=checkout, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr[-2000:]
    assert ran.stdout.count(" entries, ") == len(states())
    assert ran.stdout.endswith("every database came through whole\n")


def test_a_database_is_kept_from_before_every_file_of_migrations():
    folders = [Path(apps.get_app_config(app).path) / "migrations" for app in ("fleet", "inspections")]
    known = {f"{folder.parent.name}.{file.stem}" for folder in folders for file in folder.glob("0*.py")}
    assert unkept(known) == []
    assert unkept(known | {"fleet.9998_now", "fleet.9999_later"}) == ["fleet.9999_later"]
