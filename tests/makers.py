"""The smallest valid things a test needs, made by the same acts the site uses. Plain functions, keyword
arguments.
"""

import datetime as dt
import struct
import zlib
from collections.abc import Mapping
from decimal import Decimal
from itertools import count
from typing import Any
from uuid import UUID

from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.models import Account, Attachment, Bearing, BearingFacts, Outage, Person, Place, Role, Site
from fleet.plant.acts import record
from fleet.plant.limits import set_limits
from fleet.plant.outages import schedule_outage
from fleet.plant.people import add_person, give_role, person_named, tell_state
from fleet.plant.register import NewPlace, position_rows, register_places, register_site, wear_class_named
from inspections.models import Event, MeterEntry, Reading
from inspections.records.recording import close_visit, open_visit, record_event, record_meter, record_reading
from inspections.visits.photos import keep_photo

_NUMBERS = count(1)
THE_DAY = dt.date(2020, 3, 9)
LIMITS = {"fitting_min": 140, "fitting_max": 170, "in_service_max": 300}


def a_person(*, name: str = "T. Ester") -> Person:
    """The person of that name."""
    return person_named(name)


def somebody() -> UUID:
    """The inner id of whoever records in tests."""
    return a_person().id


def a_site(*, name: str = "", time_zone: str = "Etc/UTC") -> Site:
    """A site; without a name one of its own, with a name the same one each time."""
    name = name or f"Site {next(_NUMBERS)}"
    found = Site.objects.filter(name=name).first()
    return found or register_site(name=name, time_zone=time_zone, by=somebody())


def a_place(
    *, site: Site | None = None, tag: str = "", positions: tuple[str, ...] = ("DE", "NDE"), **facts: Any
) -> Place:
    """A pump's place with its machine, rotor and positions; `facts` as in `PlaceFacts`."""
    site = site or a_site()
    tag = tag or f"P-{next(_NUMBERS)}"
    new = NewPlace(site=site, tag=tag, positions=positions, facts=facts or None)
    register_places([new], by=somebody())
    return Place.objects.select_related("site").get(site=site, tag=tag)


def a_bearing(
    *,
    place: Place | None = None,
    position: str = "DE",
    limits: Mapping[str, float] | None = None,
    wear_class: str = "",
    **facts: Any,
) -> Bearing:
    """A bearing position with limits in um (None: `LIMITS`; {}: none); `facts` as in `BearingFacts`.

    On a new place unless one is given; a position the place has already is that one.
    """
    place = place or a_place(positions=(position,))
    bearing = Bearing.objects.filter(place=place, name=position).first()
    if bearing is None:
        new = position_rows(place=place, rotor=None, position=position)
        record(new, by=somebody())
        bearing = Bearing.objects.get(place=place, name=position)
    facts.setdefault("journal_diameter_um", Decimal(100_000))
    facts.setdefault("scrapeable", True)
    if wear_class:
        facts["wear_class"] = wear_class_named(wear_class, by=somebody())
    record([BearingFacts(bearing=bearing, **facts)], by=somebody())
    chosen = LIMITS if limits is None else limits
    if chosen:
        typed = {use: Decimal(str(um)) for use, um in chosen.items()}
        set_limits([bearing], typed, authority="plant", by=somebody())
    return Bearing.objects.select_related("place__site").get(pk=bearing.pk)


def a_reading(
    *,
    bearing: Bearing | None = None,
    on: dt.date = THE_DAY,
    value: object = "0.150",
    unit: str = "mm",
    stage: str = "as_found",
    method: str = "bore_gauge",
    **facts: Any,
) -> Reading:
    """A reading as typed; `facts` as `recording.record_reading` takes them."""
    return record_reading(
        bearing=bearing or a_bearing(),
        on=on,
        value=str(value),
        unit=unit,
        stage=stage,
        method=method,
        by=facts.pop("by", None) or somebody(),
        **facts,
    )


def an_event(
    *, kind: str = "scrape", bearing: Bearing | None = None, on: dt.date = THE_DAY, **facts: Any
) -> Event:
    """An event of a bearing, or (with `place`) of a whole pump."""
    if bearing is None and "place" not in facts:
        bearing = a_bearing()
    return record_event(kind=kind, bearing=bearing, on=on, by=somebody(), **facts)


def a_meter_entry(*, place: Place, on: dt.date = THE_DAY, hours: float = 1000, **facts: Any) -> MeterEntry:
    """The hour meter of a pump on a day."""
    return record_meter(place=place, on=on, hours=Decimal(str(hours)), by=somebody(), **facts)


def an_outage(*, site: Site, start_on: dt.date, days: int = 14, name: str = "") -> Outage:
    """An outage of a site."""
    end = start_on + dt.timedelta(days=days)
    name = name or f"outage {next(_NUMBERS)}"
    return schedule_outage(site=site, name=name, start_on=start_on, end_on=end, by=somebody())


def an_account(*, role: str = "engineer", site: Site | None = None, username: str = "") -> Account:
    """An account with a role at a site (None: at all sites; role empty: none). Without a password:
    `force_login`.
    """
    username = username or f"{role or 'stranger'} {next(_NUMBERS)}"
    person = add_person(name=username)
    account = Account(username=username, person=person)
    account.set_unusable_password()
    account.save(force_insert=True)
    tell_state(account, "opened")
    if role:
        give_role(person=person, role=role, site=site, by=somebody())
    return account


def a_cast(*, site: Site) -> dict[str, Account]:
    """One account for every role at a site, and a `stranger` who holds a role at another site only."""
    cast = {role: an_account(role=role, site=site) for role in Role.Word.values}
    cast["stranger"] = an_account(role="engineer", site=a_site(), username=f"stranger {next(_NUMBERS)}")
    return cast


def a_sheet(text: str, *, holds: str = "history", name: str = "sheet.csv", **options: Any) -> Result:
    """Import a small CSV given as text; `options` as in `fleet.importing.options.Options`."""
    lines = "\n".join(line.strip() for line in text.strip().splitlines())
    return import_file(lines.encode(), name, holds=holds, by=somebody(), options=Options(**options))


def a_png() -> bytes:
    """The smallest picture: one black pixel, with a place written beside it that must not be shown."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
    words = chunk(b"eXIf", b"GPS 41.1 N") + chunk(b"tEXt", b"site\x00Well")
    pixel = chunk(b"IDAT", zlib.compress(b"\x00\x00"))
    return b"\x89PNG\r\n\x1a\n" + head + words + pixel + chunk(b"IEND", b"")


def a_photo(*, bearing: Bearing, data: bytes = b"") -> Attachment:
    """A photo kept with a visit of a bearing; the visit is closed again."""
    visit = open_visit(place=bearing.place, on=THE_DAY, by=somebody())
    row = keep_photo(visit=visit, bearing=bearing, data=data or a_png(), name="photo.png", by=somebody())
    close_visit(visit=visit, on=THE_DAY, by=somebody())
    return row


def a_worn_fleet(n: int = 4) -> list[Bearing]:
    """Bearings each opened three times, the later ones wearing a little faster."""
    bearings = []
    for number in range(n):
        bearing = a_bearing()
        for year, add in ((2012, 0), (2016, 20 + number), (2020, 45 + number)):
            a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=f"0.{150 + add}")
        bearings.append(bearing)
    return bearings
