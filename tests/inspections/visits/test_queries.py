"""Opening the pump's page, a reading and closing ask the database as much in a large
fleet as in a small one.
"""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read

pytestmark = pytest.mark.django_db

# Counted 366 on SQLite and 373 on PostgreSQL on 2026-11-28, printed with `pytest -s`; one of them asks which
# pumps stand open.
MOST = 373


def _asked_on_the_walk() -> int:
    """Queries from the start page to the receipt: two as found, closed with a decision."""
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    with CaptureQueriesContext(connection) as asked:
        client.get(at(bearing))
        client.get(begin(client, bearing)["Location"])
        for value in ("0.205", "0.207"):
            client.get(read(client, bearing, value)["Location"])
        client.get(at(bearing, "close/"))
        client.post(at(bearing, "close/"), {"decided": "close up", "listed": "yes"}, follow=True)
    return len(asked)


def test_the_walk_at_the_pump_asks_as_much_in_a_fleet_of_20_as_of_4():
    for _ in range(3):
        a_worn_bearing()
    _asked_on_the_walk()  # what is read once per process
    few = _asked_on_the_walk()
    for _ in range(16):
        a_worn_bearing(place=makers.a_place())
    print(f"\nstart page to receipt: {few} queries")
    assert _asked_on_the_walk() == few <= MOST
