"""What is looked at before the site serves anybody."""

import logging

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import connection

from fleet.checks import before_serving, what_is_answered_is_kept
from tests.fleet.ledger.story import guards_lifted

pytestmark = pytest.mark.django_db


def test_a_site_whose_clock_is_not_utc_does_not_start(settings):
    settings.TIME_ZONE = "Etc/GMT+5"
    with pytest.raises(ImproperlyConfigured, match="The site's own clock must be UTC"):
        before_serving()


def test_a_site_whose_ledger_can_be_changed_does_not_start():
    with (
        guards_lifted(),
        pytest.raises(ImproperlyConfigured, match=r"fleet_entry can be changed\. Run manage.py migrate"),
    ):
        before_serving()


def test_a_sound_site_starts_and_says_when_its_role_could_do_more(caplog):
    with caplog.at_level(logging.WARNING, logger="fleet"):
        before_serving()
    # The tests own the tables, and their throw-away cluster waits for no disk; on SQLite there are no roles.
    expected = ["fleet.W001", "fleet.W005"] if connection.vendor == "postgresql" else []
    assert [record.args[2] for record in caplog.records] == expected


@pytest.mark.sqlite
@pytest.mark.django_db(transaction=True)
def test_a_file_that_does_not_wait_for_its_disk_is_warned_of():
    assert what_is_answered_is_kept(None) == []
    connection.ensure_connection()
    connection.connection.execute("PRAGMA synchronous=OFF")
    try:
        (warning,) = what_is_answered_is_kept(None)
    finally:
        connection.connection.execute("PRAGMA synchronous=FULL")
    assert warning.id == "fleet.W005" and "(synchronous = off)" in warning.msg


@pytest.mark.postgresql
def test_a_server_that_does_not_wait_for_its_disk_is_warned_of():
    """The cluster of the tests has all three off; a session may turn one of them on."""
    (warning,) = what_is_answered_is_kept(None)
    assert "fsync = off, full_page_writes = off, synchronous_commit = off" in warning.msg
    with connection.cursor() as cursor:
        cursor.execute("SET LOCAL synchronous_commit = on")
    (warning,) = what_is_answered_is_kept(None)
    assert "synchronous_commit" not in warning.msg and "fsync" in warning.msg
