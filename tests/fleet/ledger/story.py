"""A small record to look at, and a way round the guards that only a test may take."""

import datetime as dt
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal

from django.db import connection

from fleet.ledger.database_guards import trigger_names
from fleet.ledger.guard import GUARDED, install_guards
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Limit, Machine, Outage, Place, Site, folded


@dataclass
class Story:
    """A site with a pump, a bearing, limits of which one is withdrawn, and an outage
    whose end was put right.
    """

    by: uuid.UUID
    site: Site
    outage: Outage
    bearing: Bearing
    withdrawn: Limit

    @property
    def chain(self) -> str:
        return f"bearing:{self.bearing.id}"


def told(name: str = "North works") -> Story:
    """Write the story through the ledger, in three acts."""
    by = uuid.uuid4()
    site = Site(name=name, folded=folded(name))
    place = Place(site=site, tag="P-101A", folded="p-101a")
    bearing = Bearing(place=place, name="DE", folded="de")
    outage = Outage(
        site=site,
        name="spring",
        start_on=dt.date(2027, 4, 1),
        end_on=dt.date(2027, 4, 9),
        crew_hours=Decimal("120.0"),
    )
    limits = [
        Limit(
            bearing=bearing, use="in_service_max", value_um=Decimal("330.2"), authority="plant", from_on=day
        )
        for day in (None, dt.date(2020, 1, 1), dt.date(2024, 1, 1))
    ]
    plant, place_chain = f"site:{site.id}", f"bearing:{bearing.id}"
    rows = [
        (plant, "site", site),
        (plant, "place", place),
        (plant, "machine", Machine(site=site, label="no 4")),
    ]
    rows += [(place_chain, "bearing", bearing), (plant, "outage", outage)]
    write([Fact(chain, kind, row) for chain, kind, row in rows], by=by)
    write([Fact(place_chain, "limit", limit) for limit in limits], by=by)
    late = {"of": "limit", "id": limits[2].id, "reason": "typed for another bearing"}
    longer = {"of": "outage", "id": outage.id, "set": {"end_on": "2027-04-12"}, "reason": "more work"}
    write([Fact(place_chain, "withdrawal", body=late), Fact(plant, "revision", body=longer)], by=by)
    return Story(by, site, outage, bearing, limits[2])


@contextmanager
def guards_lifted() -> Iterator[None]:
    """What an owner of the database could do: drop the triggers, change, and put them back."""
    with connection.cursor() as cursor:
        for model in GUARDED:
            table = model._meta.db_table
            for name in trigger_names(connection.vendor, table):
                cursor.execute(
                    f"DROP TRIGGER {name}" + (f" ON {table}" if connection.vendor == "postgresql" else "")
                )
    yield
    install_guards()
