"""A bearing with a past, and a mechanic who walks through the screens by plain forms."""

import datetime as dt
import re
from typing import Any

from django.test import Client

from fleet.clock import today_at, today_in
from fleet.models import Bearing
from tests import makers


def a_worn_bearing(
    *, limits: dict | None = None, values: tuple[str, ...] = ("0.150", "0.170", "0.190"), **facts: Any
) -> Bearing:
    """Measured at both ends every three years, the last time three years ago."""
    bearing = makers.a_bearing(limits=limits, **facts)
    today = today_in("UTC")
    for n, value in enumerate(values):
        on = dt.date(today.year - 3 * (len(values) - n), 3, 9)
        for station in ("in-12", "out-12"):
            makers.a_reading(bearing=bearing, on=on, value=value, station=station)
    return bearing


def a_mechanic(bearing: Bearing, role: str = "mechanic") -> Client:
    """A client signed in with a role at the bearing's site."""
    client = Client()
    client.account = makers.an_account(role=role, site=bearing.place.site)
    client.force_login(client.account)
    return client


def at(bearing: Bearing, page: str = "", **query: Any) -> str:
    """The address of a screen."""
    asked = "&".join(f"{name}={value}" for name, value in query.items())
    return f"/bearings/{bearing.place.tag}/{bearing.name}/record/{page}{'?' + asked if asked else ''}"


def begin(client: Client, bearing: Bearing, **said: Any) -> Any:
    """Post the start screen."""
    return client.post(at(bearing), {"measured_by": client.account.person_id} | said)


def read(
    client: Client, bearing: Bearing, value: str, *, where: str = "", stage: str = "as_found", **said: Any
) -> Any:
    """Post one reading at the next station, or at `where`."""
    query = {"stage": stage} | ({"at": where} if where else {}) | said.pop("query", {})
    usual = {"value": value, "unit": "mm", "method": "bore_gauge", "basis": "diametral"}
    return client.post(at(bearing, "reading/", **query), usual | said)


def closed(word: str = "close up", **more: Any) -> dict[str, Any]:
    """What the closing page posts: the decision, the closing list signed as it stands."""
    return {"decided": word, "listed": "yes"} | more


def said(answer: Any) -> str:
    """A page's text without its tags, spaces made single."""
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).replace("\xa0", " ").split())


def today_of(bearing: Bearing) -> dt.date:
    """The day it is at the bearing's site."""
    return today_at(bearing.place.site)
