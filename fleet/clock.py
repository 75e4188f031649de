"""The only reader of the clock. Everything else takes the day or the instant as an argument."""

import datetime as dt
from zoneinfo import ZoneInfo

from django.db import connection


def now() -> dt.datetime:
    """This instant, UTC, by the machine's clock."""
    return dt.datetime.now(dt.UTC)


def recorded_now() -> dt.datetime:
    """The instant of recording, UTC, by the database's clock where it has one of its own."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT clock_timestamp()")
            return cursor.fetchone()[0].astimezone(dt.UTC)
    return now()


def today_in(zone: str) -> dt.date:
    """The day it is now in the time zone named `zone`."""
    return now().astimezone(ZoneInfo(zone)).date()


def today_at(site) -> dt.date:
    """The day it is now at a site."""
    return today_in(site.time_zone)
