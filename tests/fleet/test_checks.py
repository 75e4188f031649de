"""What is looked at before the site serves anybody."""

import logging

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import connection

from fleet.checks import before_serving
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
    # The tests own the tables; on SQLite there are no roles.
    expected = ["fleet.W001"] if connection.vendor == "postgresql" else []
    assert [record.args[2] for record in caplog.records] == expected
