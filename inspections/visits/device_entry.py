"""One entry of a device's queue, read strictly: every id by right, every text bounded, every day within the
calendar.

Whatever stands in the way is a `NotRecorded` with its sentence; what passes by itself is a `NotYet`.
"""

import datetime as dt
import hashlib
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet import units
from fleet.access import may, sites_for
from fleet.clock import today_at
from fleet.models import Account, Bearing, Entry, Person, folded
from fleet.plant.people import person_named
from fleet.web.bearing_search import visible
from inspections.models import Attendance, Quantity, Reading, Stage, Visit
from inspections.records.facts import read_station
from inspections.records.openings import NotRecorded
from inspections.visits.acts import MEASURED, attend, begin
from inspections.visits.late_facts import begun_in, takes_late
from inspections.visits.site_people import names_at
from inspections.visits.stations import Station, station

# What no text of an entry may hold: control characters but tab and line ends, and halves of a character.
_UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")
# No device that runs these pages has a right clock before this day.
FIRST_CLOCK = dt.date(2020, 1, 1)
MOST_CHARACTERS, DEEPEST = 20_000, 6
UNREADABLE = "The entry cannot be read. Type it in again from the bearing's record page."


class NotYet(NotRecorded):
    """An entry that cannot be stored now and may be later: the device keeps it and sends
    it again by itself.
    """


@dataclass(frozen=True)
class Sent:
    """The bytes of one entry as a device sent them; a photo's picture comes behind its entry."""

    text: str
    photo: bytes | None = None

    @cached_property
    def sha256(self) -> str:
        """The hash that a receipt names."""
        digest = hashlib.sha256(self.text.encode("utf-8", "surrogatepass"))
        digest.update(self.photo or b"")
        return digest.hexdigest()

    def body(self) -> Mapping[str, Any]:
        """The entry itself.

        Raises
        ------
        NotRecorded
            for a text that is no entry, or holds what no text may hold.
        """
        if len(self.text) > MOST_CHARACTERS:
            raise NotRecorded(
                f"The entry has {len(self.text)} characters; at most {MOST_CHARACTERS} are taken. Shorten it."
            )
        try:
            body = json.loads(self.text, parse_constant=_no_number)
        except (ValueError, RecursionError):
            raise NotRecorded(UNREADABLE) from None
        if not isinstance(body, dict):
            raise NotRecorded(UNREADABLE)
        _must_be_seen(body, DEEPEST)
        return body


def _no_number(name: str) -> Any:
    raise ValueError(name)


def _must_be_seen(value: Any, deep: int) -> None:
    if deep < 0:
        raise NotRecorded(UNREADABLE)
    if isinstance(value, str) and (unseen := _UNSEEN.search(value)):
        sign = unseen.group().encode("unicode_escape").decode()
        raise NotRecorded(
            f"{units.shown(value)} holds the unseen character {sign}. Take it out and type the text anew."
        )
    parts = [*value, *value.values()] if isinstance(value, dict) else value if isinstance(value, list) else []
    for part in parts:
        _must_be_seen(part, deep - 1)


def uuid_of(value: Any, what: str) -> UUID:
    """An id as a device sends it, letter for letter as it is answered: by that the device knows its entry."""
    try:
        read = UUID(str(value))
    except ValueError:
        read = None
    if read is None or str(read) != str(value):
        raise NotRecorded(f"{units.shown(str(value))} is no id of {what}. {UNREADABLE}")
    return read


@dataclass
class DeviceEntry:
    """An entry of an account, with what it names looked up by the same right as on the screens."""

    raw: Mapping[str, Any]
    account: Account
    photo: bytes | None = None

    @cached_property
    def id(self) -> UUID:
        return uuid_of(self.raw.get("id"), "an entry")

    @property
    def by(self) -> UUID:
        return self.account.person_id

    def word(self, name: str, most: int = 40) -> str:
        """A text beside the fields."""
        return _text(self.raw.get(name), name, most)

    @cached_property
    def fields(self) -> Mapping[str, Any]:
        found = self.raw.get("fields") or {}
        if not isinstance(found, dict):
            raise NotRecorded(UNREADABLE)
        return found

    def text(self, name: str, most: int) -> str:
        """A field that is one text."""
        return _text(self.fields.get(name), name, most)

    def texts(self, name: str) -> list[str]:
        """A field that may have been ticked many times."""
        found = self.fields.get(name) or []
        found = found if isinstance(found, list) else [found]
        return [_text(one, name, 120) for one in found]

    def form_data(self) -> dict[str, Any]:
        """The fields as a form takes them."""
        return {
            str(name): (
                self.texts(name) if isinstance(value, list) else _text(value, str(name), MOST_CHARACTERS)
            )
            for name, value in self.fields.items()
        }

    @cached_property
    def bearing(self) -> Bearing:
        """Of all bearings that the account may record for."""
        found = visible(self.account).filter(pk=uuid_of(self.raw.get("bearing"), "a bearing")).first()
        if found is None or not may(self.account, "record", found.place.site):
            raise NotRecorded("This bearing is not one that you may record for.")
        return found

    @cached_property
    def stage(self) -> str:
        name = self.word("stage") or str(Stage.AS_FOUND)
        if name not in Stage.values:
            raise NotRecorded(f"{units.shown(name)} is no stage; stages are as_found and as_left.")
        return name

    @cached_property
    def station(self) -> Station:
        key = self.word("station") or "any"
        if key != "any" and read_station(key) is None:
            raise NotRecorded(
                f"{units.shown(key)} is no station; stations are written as in-12, out-6, mid or any."
            )
        return station(key)

    @cached_property
    def quantity(self) -> str:
        name = self.word("quantity") or str(Quantity.CLEARANCE)
        if name not in Quantity.values:
            raise NotRecorded(
                f"{units.shown(name)} is no quantity; quantities are {', '.join(Quantity.values)}."
            )
        return name

    # days

    @cached_property
    def today(self) -> dt.date:
        return today_at(self.bearing.place.site)

    @cached_property
    def sheet_day(self) -> dt.date | None:
        """A paper sheet's own day; it goes before the day of typing."""
        typed = self.word("on")
        if not typed:
            return None
        try:
            day = units.parse_day(typed)
        except units.Unreadable as fault:
            raise NotRecorded(f"{str(fault)[:1].upper()}{str(fault)[1:]}.") from None
        if day.precision != "day":
            raise NotRecorded(
                f"{units.shown(typed)} is no day. Give year, month and day, such as 2026-03-09."
            )
        if day.first > self.today:
            raise NotRecorded(f"{day.first} lies ahead; today is {self.today}. Give the day it was measured.")
        return day.first

    @cached_property
    def claimed(self) -> dt.datetime | None:
        """The instant a device claims, in UTC; nothing beside a sheet's own day."""
        return None if self.sheet_day else self._instant("entered_at")

    @cached_property
    def begun(self) -> dt.datetime | None:
        """The instant at which the device began the visit it names; of an earlier version of its pages the
        entry's own.
        """
        return self._instant("begun_at") or self.claimed

    def _instant(self, name: str) -> dt.datetime | None:
        typed = self.word(name)
        if not typed:
            return None
        try:
            instant = dt.datetime.fromisoformat(typed)
            instant = instant.replace(tzinfo=dt.UTC) if instant.tzinfo is None else instant.astimezone(dt.UTC)
        except (ValueError, OverflowError):
            raise NotRecorded(
                f"{units.shown(typed)} is no instant of a clock. Give the day it was measured."
            ) from None
        if instant.date() < FIRST_CLOCK:
            raise NotRecorded(
                f"The device's clock stood at {instant.date()}. Set it, and give the day it was measured."
            )
        return instant

    @cached_property
    def claimed_day(self) -> dt.date:
        """The site's own day of it; a day ahead of the site's is taken as today."""
        return self.sheet_day or self._day_of(self.claimed)

    def _day_of(self, instant: dt.datetime | None) -> dt.date:
        if instant is None:
            return self.today
        try:
            day = instant.astimezone(ZoneInfo(self.bearing.place.site.time_zone)).date()
        except OverflowError:
            return self.today
        return min(day, self.today)

    # people

    @cached_property
    def measured_name(self) -> str:
        """Who measured, where a name was typed on the device."""
        return " ".join(self.word("measured_by_name", 120).split())

    def measured_by(self) -> UUID:
        """Who measured; a name that was typed becomes a person, as on the screens."""
        if self.measured_name:
            return person_named(self.measured_name, by=self.by).pk
        return self.person("measured_by") or self.by

    def person(self, part: str) -> UUID | None:
        """A person that an entry names by id: one of those to pick from on the screens.

        Raises
        ------
        NotRecorded
            for anybody else; whether the id is known elsewhere is not said.
        """
        if not self.raw.get(part):
            return None
        pk = uuid_of(self.raw[part], "a person")
        if pk == self.by or self._may_name(pk):
            return pk
        does = {"measured_by": "measured", "checked_by": "checked"}[part]
        raise NotRecorded(
            f"Who {does} is no person known at this site. Choose who {does} from the names of the site."
        )

    def _may_name(self, pk: UUID) -> bool:
        """Names of the site; who took part in a visit at one's sites; whom this account named first."""
        sites = sites_for(self.account, "record")
        named = Entry.objects.filter(kind="person", thing=pk, by=self.by)
        return (
            Attendance.objects.standing().filter(person=pk, visit__place__site__in=sites).exists()
            or (named.exists() and Person.objects.filter(pk=pk).exists())
            or any(one.pk == pk for one in names_at(self.bearing.place.site_id, self.today))
        )

    def is_measured_by(self, pk: UUID | None) -> bool:
        """Whether a stored row names the same person; nobody is made."""
        if self.measured_name:
            row = Person.objects.filter(pk=pk).select_related("account").first() if pk else None
            names = (
                {row.folded, folded(getattr(getattr(row, "account", None), "username", ""))} if row else set()
            )
            return folded(self.measured_name) in names
        return pk == (
            uuid_of(self.raw["measured_by"], "a person") if self.raw.get("measured_by") else self.by
        )

    # what it belongs to

    def visit(self, measured_by: UUID) -> tuple[Visit, dt.date]:
        """The visit an entry belongs to, and its day: the one it names, the one that stood open when the
        device began (closed since or not), the one open, or a new one under the device's id.
        """
        pk = uuid_of(self.raw.get("visit"), "a visit")
        known = Visit._base_manager.filter(pk=pk).first()
        begun = None if self.sheet_day else self.begun
        if known is None and (closed := begun_in(self.bearing.place, begun, self._day_of(begun))):
            visit = closed
            attend(visit=visit, person=measured_by, part=MEASURED, by=self.by)
        elif known is None:
            visit = begin(
                bearing=self.bearing,
                on=self.claimed_day,
                by=self.by,
                measured_by=measured_by,
                id=pk,
                entered_at=self.claimed,
            )
        elif known.place_id != self.bearing.place_id or known.withdrawn_by:
            raise NotRecorded(
                "The visit it names is none of this pump. Enter it again from the bearing's record page."
            )
        elif known.closed_on is not None and not takes_late(known, self.claimed_day):
            raise NotRecorded(
                f"The visit it was begun in was closed on {known.closed_on}, long before. Enter it again from"
                " the bearing's record page, in a visit of its own."
            )
        else:
            visit = known
        if self.sheet_day and self.sheet_day < visit.opened_on:
            raise NotRecorded(f"This visit was opened on {visit.opened_on}; give that day or a later one.")
        return visit, max(self.claimed_day, visit.opened_on)

    def measured_before(self, visit: Visit) -> Reading | None:
        """The reading that this one repeats: standing, of the same bearing, visit, station, stage and
        quantity, one's own.

        Raises
        ------
        NotYet
            where it has not arrived: the wrong one of two would count.
        NotRecorded
            for any other reading; nothing of it is said.
        """
        if not self.raw.get("again"):
            return None
        pk = uuid_of(self.raw["again"], "a reading")
        row = Reading._base_manager.filter(pk=pk).first()
        if row is None:
            raise NotYet(
                "The first measurement, which this one repeats, has not arrived. This one is sent after it."
            )
        same = (row.bearing_id, row.visit_id, row.stage, row.quantity, row.end, row.clock) == (
            self.bearing.pk,
            visit.pk,
            self.stage,
            self.quantity,
            self.station.end,
            self.station.clock,
        )
        if not same or row.withdrawn_by or self.by not in (row.recorded_by, row.measured_by):
            raise NotRecorded(
                "The measurement it repeats is none of this station that you may mend, or was changed"
                " meanwhile. Look at the bearing's record page, then send this one as a measurement of its"
                " own, or remove it."
            )
        return row


def _text(value: Any, name: str, most: int) -> str:
    if value is None:
        return ""
    if isinstance(value, bool | dict | list):
        raise NotRecorded(UNREADABLE)
    typed = str(value)
    if len(typed) > most:
        raise NotRecorded(
            f"'{name.replace('_', ' ')[:40]}' has {len(typed)} characters; at most {most} are kept."
            " Shorten it."
        )
    return typed
