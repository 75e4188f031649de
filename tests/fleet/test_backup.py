"""A backup holds the whole site; restored into an empty database it is the same record; anything else is
refused whole.
"""

import json
import os
import shutil
import sqlite3
import stat
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest
from django.db import connection

from fleet import backup as backing_up
from fleet.backup import NotDone
from inspections.records.corrections import correct_reading
from tests import makers

CHECKOUT = Path(__file__).resolve().parents[2]
pytestmark = pytest.mark.django_db


@pytest.fixture
def backup(tmp_path):
    """A file of a record with a correction, a photo (bytes), an account and a sheet."""
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    first = makers.a_reading(bearing=bearing, value="0.150")
    correct_reading(reading=first, by=makers.somebody(), reason="typed wrong", value="0.155")
    makers.a_photo(bearing=bearing)
    makers.an_account(username="somebody")
    path = tmp_path / "site.zip"
    backing_up.back_up(path, by=makers.somebody())
    return path


@pytest.fixture(scope="module")
def empty(tmp_path_factory):
    """A database file with every table and no row, made once and copied."""
    path = tmp_path_factory.mktemp("empty") / "record.sqlite3"
    assert manage("migrate", database=path).returncode == 0
    return path


def manage(*arguments, database):
    environment = os.environ | {"DATABASE_URL": f"sqlite:///{database}"}
    environment.pop("DATABASE_OWNER_URL", None)
    return subprocess.run(
        [sys.executable, "manage.py", *map(str, arguments)],
        cwd=CHECKOUT,
        env=environment,
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.mark.sqlite
@pytest.mark.django_db(transaction=True)
def test_nobody_waits_to_write_while_a_backup_reads(monkeypatch, tmp_path):
    makers.a_reading()
    rows = backing_up._write_rows

    def written_meanwhile(*args):
        other = sqlite3.connect(connection.settings_dict["NAME"], timeout=0.2, isolation_level=None)
        other.execute("BEGIN IMMEDIATE")
        other.execute("ROLLBACK")
        other.close()
        return rows(*args)

    monkeypatch.setattr(backing_up, "_write_rows", written_meanwhile)
    assert backing_up.back_up(tmp_path / "site.zip", by=makers.somebody()).n_entries


def about(path):
    with zipfile.ZipFile(path) as archive:
        return json.loads(archive.read("about.json"))


def test_every_table_of_the_record_is_in_it(backup):
    said = about(backup)
    assert set(said["rows"]) == {model._meta.label_lower for model in backing_up.tables()}
    assert said["rows"]["inspections.reading"] == 2 and said["rows"]["fleet.storedfile"] == 1
    assert said["rows"]["fleet.account"] == 1


def test_only_its_owner_may_read_it(backup):
    assert stat.S_IMODE(backup.stat().st_mode) == 0o600


def test_a_file_that_is_there_is_never_written_over(backup):
    before = backup.read_bytes()
    with pytest.raises(NotDone, match="there already"):
        backing_up.back_up(backup, by=makers.somebody())
    assert backup.read_bytes() == before


def test_a_backup_that_fails_half_way_leaves_no_file(tmp_path, monkeypatch):
    monkeypatch.setattr(backing_up, "_write_rows", lambda *_: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        backing_up.back_up(tmp_path / "site.zip", by=makers.somebody())
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_restored_over_a_record_that_holds_something(backup):
    with pytest.raises(NotDone, match="not empty"):
        backing_up.restore(backup)


@pytest.mark.slow
def test_a_restored_record_verifies_and_backs_up_to_the_same_rows(backup, tmp_path):
    new = tmp_path / "new.sqlite3"
    done = manage("restore", backup, database=new)
    assert done.returncode == 0, done.stderr
    assert "every chain verified" in done.stdout
    again = tmp_path / "again.zip"
    assert manage("backup", again, database=new).returncode == 0
    first, second = about(backup), about(again)
    # The second backup's own seal, and who asked for it, are all that came in between.
    grown = {name for name in first["rows"] if first["sha256"][name] != second["sha256"][name]}
    assert grown <= {"fleet.seal", "fleet.person", "fleet.entry", "fleet.chain"}
    assert manage("verify_records", database=new).returncode == 0


@pytest.mark.slow
@pytest.mark.parametrize("what", ["a row changed", "cut off", "another version", "no zip at all"])
def test_a_changed_or_foreign_file_is_refused_and_nothing_stays(backup, empty, tmp_path, what):
    bad = tmp_path / "bad.zip"
    if what == "cut off":
        bad.write_bytes(backup.read_bytes()[:-2000])
    elif what == "no zip at all":
        bad.write_text("not a backup")
    else:
        with zipfile.ZipFile(backup) as old, zipfile.ZipFile(bad, "w") as new:
            for name in old.namelist():
                data = old.read(name)
                if what == "a row changed" and name == "tables/inspections.reading.jsonl":
                    assert b"0.155" in data
                    data = data.replace(b"0.155", b"0.145")
                if what == "another version" and name == "about.json":
                    said = json.loads(data)
                    said["migrations"].append("fleet.9999_later")
                    data = json.dumps(said).encode()
                new.writestr(name, data)
    new = shutil.copy(empty, tmp_path / "new.sqlite3")
    done = manage("restore", bad, database=new)
    assert done.returncode == 2
    assert (
        ("no backup" in done.stderr) or ("was changed" in done.stderr) or ("another version" in done.stderr)
    )
    with sqlite3.connect(new) as record:
        kept = [
            record.execute(f"SELECT count(*) FROM {name}").fetchone()
            for name in ("fleet_entry", "fleet_site")
        ]
    assert kept == [(0,), (0,)]
