"""The whole record is read as it was at one moment, and who writes meanwhile does not wait."""

import sqlite3
import threading
from copy import deepcopy

import pytest
from django.db import connection, connections
from django.db.backends.sqlite3.base import DatabaseWrapper

from fleet.ledger import verify as verifying
from fleet.ledger.one_moment import as_at_one_moment
from fleet.ledger.remembered_values import remembered_values
from fleet.models import Entry
from tests import makers


@pytest.fixture
def reader(tmp_path):
    """A connection to a file of its own, as the site's settings open one."""
    settings = deepcopy(connections["default"].settings_dict)
    options = {"transaction_mode": "IMMEDIATE", "timeout": 1, "init_command": "PRAGMA journal_mode=WAL"}
    settings |= {"ENGINE": "django.db.backends.sqlite3", "NAME": str(tmp_path / "record"), "OPTIONS": options}
    opened = DatabaseWrapper(settings, "reader")
    connections._connections.reader = opened
    yield opened
    opened.close()
    delattr(connections._connections, "reader")


def _counted(opened):
    with opened.cursor() as cursor:
        cursor.execute("SELECT count(*) FROM entry")
        return cursor.fetchone()[0]


@pytest.mark.django_db
@pytest.mark.sqlite
def test_what_is_written_meanwhile_is_not_seen_before_the_reading_ends_and_nobody_waits(reader, tmp_path):
    with reader.cursor() as cursor:
        cursor.execute("CREATE TABLE entry (n integer)")
    writer = sqlite3.connect(tmp_path / "record", timeout=1, isolation_level=None)
    with as_at_one_moment("reader"):
        assert _counted(reader) == 0
        writer.execute("INSERT INTO entry VALUES (2)")
        assert _counted(reader) == 0
    assert _counted(reader) == 1 and reader.transaction_mode == "IMMEDIATE"
    writer.close()


@pytest.mark.postgresql
@pytest.mark.django_db(transaction=True)
def test_what_is_recorded_while_the_record_is_checked_raises_no_alarm(monkeypatch):
    bearing = makers.a_bearing()
    heads = verifying._check_heads

    def recorded_meanwhile(*args):
        def write():
            makers.a_reading(bearing=bearing)
            connection.close()

        other = threading.Thread(target=write)
        other.start()
        other.join()
        heads(*args)

    monkeypatch.setattr(verifying, "_check_heads", recorded_meanwhile)
    assert verifying.verify().faults == []


@pytest.mark.django_db
@pytest.mark.sqlite
def test_an_id_that_comes_often_is_made_once_while_a_record_is_read_and_as_ever_before_and_after():
    bearing = makers.a_bearing()
    ids = Entry.objects.filter(chain=f"bearing:{bearing.pk}", thing__isnull=False)
    first = list(ids.values_list("by", "recorded_at"))
    with remembered_values(connection):
        within = list(ids.values_list("by", "recorded_at"))
        assert len({id(by) for by, _ in within}) < len(within)
        assert Entry.objects.filter(thing=None).values_list("thing", flat=True).first() is None
    assert within == first == list(ids.values_list("by", "recorded_at"))
    assert len({id(by) for by, _ in ids.values_list("by", "recorded_at")}) == len(first)


@pytest.mark.django_db
@pytest.mark.sqlite
def test_it_may_be_the_first_thing_that_a_connection_is_asked(reader):
    with as_at_one_moment("reader") as opened, opened.cursor() as cursor:
        cursor.execute("SELECT 1")
        assert cursor.fetchone() == (1,)
    assert reader.transaction_mode == "IMMEDIATE"
