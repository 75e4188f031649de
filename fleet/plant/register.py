"""Sites, places with their positions, wear classes, and the dated facts that hold of each."""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any
from zoneinfo import available_timezones

from fleet import models
from fleet.formatting import day
from fleet.models import (
    Bearing,
    BearingFacts,
    Machine,
    Place,
    Recorded,
    Site,
    WearClass,
    folded,
)
from fleet.plant.acts import Refused, _filled, record, revise

# Sites and places


@cache
def _zones() -> set[str]:
    return available_timezones()


def checked_zone(name: str) -> str:
    """The name of a time zone, as the zone data spell it."""
    if name not in _zones():
        raise Refused(f"'{name}' is no time zone. Write one such as Etc/UTC or a region and city.")
    return name


def register_site(*, name: str, time_zone: str = "UTC", by: uuid.UUID, act: uuid.UUID | None = None) -> Site:
    """A new site, still setting up."""
    bare = _filled(name, "site's name")
    if Site.objects.filter(folded=folded(bare)).exists():
        raise Refused(f"A site called '{bare}' is there already. Choose another name.")
    site = Site(name=bare, folded=folded(bare), time_zone=checked_zone(time_zone))
    record([site], by=by, act=act)
    return Site.objects.get(pk=site.pk)


def open_record(site: Site, *, on: dt.date, by: uuid.UUID) -> None:
    """End a site's setting up: from now on nothing of it can be emptied."""
    if site.opened_on:
        raise Refused(f"The record of {site.name} was opened on {day(site.opened_on)} already.")
    revise(site, {"opened_on": on}, reason="the record is opened", by=by)
    site.opened_on = on


@dataclass(frozen=True)
class NewPlace:
    """A place to be registered: its tag, its positions' names, and what is known (column -> value)."""

    site: Site
    tag: str
    positions: Sequence[str] = ("DE", "NDE")
    facts: Mapping[str, Any] | None = None
    bearing_facts: Mapping[str, Mapping[str, Any]] | None = None


def place_rows(new: NewPlace) -> list[Recorded]:
    """The rows of a new place, its positions, and the unnamed machine and rotor made with it; in order of
    need.
    """
    tag = _filled(new.tag, "pump's tag")
    place = Place(site=new.site, tag=tag, folded=folded(tag))
    machine = Machine(site=new.site)
    rotor = models.Rotor(site=new.site)
    rows: list[Recorded] = [
        place,
        machine,
        models.Installation(place=place, machine=machine),
        rotor,
        models.RotorFitting(machine=machine, rotor=rotor),
    ]
    if new.facts:
        rows.append(models.PlaceFacts(place=place, **new.facts))
    for position in new.positions:
        facts = (new.bearing_facts or {}).get(position)
        rows += position_rows(place=place, rotor=rotor, position=position, facts=facts)
    return rows


def position_rows(
    *, place: Place, rotor: models.Rotor | None, position: str, facts: Mapping[str, Any] | None = None
) -> list[Recorded]:
    """The rows of a new position: bearing, the rotor's journal of the same name, what is known of both."""
    name = _filled(position, "position's name")
    bearing = Bearing(place=place, name=name, folded=folded(name))
    rows: list[Recorded] = [bearing]
    if rotor:
        journal = models.Journal(rotor=rotor, name=name)
        rows.append(journal)
        diameter = (facts or {}).get("journal_diameter_um")
        if diameter is not None:
            rows.append(models.JournalDiameter(journal=journal, diameter_um=diameter))
    if facts:
        rows.append(BearingFacts(bearing=bearing, **facts))
    return rows


def register_places(
    places: Iterable[NewPlace], *, by: uuid.UUID, act: uuid.UUID | None = None
) -> dict[str, Place]:
    """Many places with their positions in one write; tag -> place."""
    rows = [row for new in places for row in place_rows(new)]
    record(rows, by=by, act=act)
    return {row.tag: row for row in rows if isinstance(row, Place)}


def wear_class_named(name: str, *, by: uuid.UUID, act: uuid.UUID | None = None) -> WearClass:
    """The class of that name, made where there is none."""
    found = WearClass.objects.filter(folded=folded(name)).first()
    if found is None:
        bare = _filled(name, "class's name")
        found = WearClass(name=bare, folded=folded(bare))
        record([found], by=by, act=act)
    return found


def state_facts(
    thing: Place | Bearing, values: Mapping[str, Any], *, from_on: dt.date | None, by: uuid.UUID
) -> Recorded:
    """A new dated version of what is known of a place or position; what is not named stays as it was."""
    row = next_facts(thing, latest_facts(thing), values, from_on)
    record([row], by=by)
    return row


def latest_facts(thing: Place | Bearing) -> Recorded | None:
    """The version of the facts that governs last."""
    rows = list(thing.facts.standing())
    return max(rows, key=version_order, default=None)


def version_order(row: Any) -> tuple[dt.date, int]:
    """Later days govern, and of one day the later entry."""
    return (row.from_on or dt.date.min, row.entry_n or 0)


def next_facts(
    thing: Place | Bearing, before: Recorded | None, values: Mapping[str, Any], from_on: dt.date | None
) -> Recorded:
    """The row of a new version: the one before with other values."""
    is_place = isinstance(thing, Place)
    model: type[Recorded] = models.PlaceFacts if is_place else BearingFacts
    own = "place_id" if is_place else "bearing_id"
    skipped = {"id", "from_on", own, *Recorded.STAMPS}
    kept = {
        f.attname: getattr(before, f.attname)
        for f in model._meta.concrete_fields
        if before is not None and f.attname not in skipped
    }
    row = model(**({"from_on": from_on} | kept | dict(values)))
    setattr(row, own.removesuffix("_id"), thing)
    return row
