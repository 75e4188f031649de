"""What every screen at the pump stands on: the bearing, its open visit, what is known, and what this device remembers."""

import datetime as dt
import json
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, wraps
from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.db.models import Q, prefetch_related_objects
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from fleet.access import require
from fleet.clock import today_at
from fleet.models import Bearing, Outage, Person, Setting, SettingsRead
from fleet.web.bearing_addresses import read, written
from fleet.web.bearing_search import called
from inspections.models import EFFECTS, WORK, Effect, Event, EventKind, NotMeasured, Reading, Stage, Visit
from inspections.records.openings import NotRecorded
from inspections.story import timeline
from inspections.story.conditions import USUAL_WORDS, exceptions_um
from inspections.story.happenings import effect_of
from inspections.story.timeline import Story
from inspections.story.uncertainty import NOT_NAMED, Spread, spreads
from inspections.visits import expectations, quantities, shell_words
from inspections.visits.acts import names_at, open_visit_of
from inspections.visits.cautions import Cautions, cautions_for
from inspections.visits.expectations import (
    Before,
    Setup,
    expected_for,
    found_at,
    held_for,
    last_at,
    limits_on,
    setup_of,
    work_of,
)
from inspections.visits.forms import new_id
from inspections.visits.receipts import unsettled_at
from inspections.visits.stations import Station, planned_stations, stations_of
from inspections.visits.verdict import (
    SIGN,
    Expected,
    Held,
    Verdict,
    reading_sd_um,
    verdict,
    verdict_of_interval,
)


@dataclass
class Desk:
    """One bearing at the pump. Rows are read once per request."""

    request: HttpRequest
    bearing: Bearing
    today: dt.date
    visit: Visit | None
    aside: bool = False
    """One of the pump's other bearings, looked at from the one that one stands at."""

    @property
    def person(self) -> Any:
        return self.request.user.person_id  # type: ignore[union-attr]

    @cached_property
    def memory(self) -> dict[str, Any]:
        """What this device remembers of this visit: who measures, unit, method, exceptions."""
        return dict(self.request.session.get(f"at the pump {self.visit.pk if self.visit else ''}", {}))

    def remember(self, **what: Any) -> None:
        """Keep for the next screens of this visit; what is kept already is not written again."""
        assert self.visit is not None
        if what.items() <= self.memory.items():
            return
        self.memory.update(what)
        self.request.session[f"at the pump {self.visit.pk}"] = self.memory

    @property
    def on(self) -> dt.date:
        """The day that what is typed now was measured on: today, or the paper sheet's own day."""
        kept = self.memory.get("on")
        return dt.date.fromisoformat(kept) if kept else self.today

    @property
    def measured_by(self) -> UUID:
        """Who measures, as picked on this device; it stays until another name is picked."""
        return UUID(self.memory.get("measured_by") or str(self.person))

    @property
    def writes(self) -> UUID:
        """Who writes down, as picked; the account's own person unless picked. The ledger names the account's either way."""
        return UUID(self.memory.get("recorded_by") or str(self.person))

    @property
    def checked_by(self) -> UUID | None:
        """Who reads the gauge as a second person; nobody unless picked."""
        kept = self.memory.get("checked_by")
        return UUID(kept) if kept else None

    @cached_property
    def names(self) -> dict[UUID, str]:
        """The names of who measured, wrote down and checked in this visit, and of who does now."""
        wanted = {self.measured_by, self.checked_by, self.person}
        for one in self.readings:
            wanted |= {one.measured_by, one.checked_by, one.recorded_by}
        return {one.pk: str(one) for one in Person.objects.filter(pk__in=wanted - {None})}

    @cached_property
    def before(self) -> Before:
        return expectations.before(self.bearing, self.visit.opened_on if self.visit else self.today)

    @property
    def shell_words(self) -> list[str]:
        """What is said of the shell before its contact is checked."""
        return shell_words.before_check(*shell_words.of_facts(self.before.known.facts))

    @property
    def scraping_offered(self) -> bool:
        """Whether "Scraped" is one of the steps; else it is recorded with a reason."""
        return shell_words.scraping_offered(*shell_words.of_facts(self.before.known.facts))

    @cached_property
    def limits(self) -> dict[tuple[str, str], float]:
        facts = self.before.known.facts
        return limits_on(self.bearing, self.on, facts.wear_class_id if facts else None)

    @cached_property
    def settings(self) -> SettingsRead:
        """The plant's choices, and this site's."""
        return SettingsRead(Setting.objects.of(self.bearing.place.site_id))

    @cached_property
    def cautions(self) -> Cautions:
        """What to heed at this site."""
        return cautions_for(self.bearing.place.site, self.on, self.settings)

    @cached_property
    def trust(self) -> dict[str, Spread]:
        """What each method can be trusted to today."""
        return spreads(self.today, self.settings)

    @cached_property
    def stations(self) -> list[Station]:
        planned = stations_of(
            self.before.known.story,
            planned_stations(self.bearing.place.site, self.today, self.settings),
        )
        return self._with_extra(planned, "clearance")

    def usual_stations(self) -> list[Station]:
        """Where the bearing would be measured, by the record as it stands."""
        planned = planned_stations(self.bearing.place.site, self.on, self.settings)
        return stations_of(self.story, planned)

    def beside(self, bearing: Bearing) -> "Desk":
        """Another bearing of the pump in the same visit; what is the site's is not read again."""
        other = Desk(self.request, bearing, self.today, self.visit, aside=True)
        vars(other).update(settings=self.settings, trust=self.trust, memory=self.memory)
        return other

    def stations_for(self, quantity: str) -> list[Station]:
        """Where a quantity is measured: a clearance as the plant has set it, others as last time or as is usual."""
        if quantity == "clearance":
            return self.stations
        return self._with_extra(quantities.stations_of(self.before.known, quantity), quantity)

    def _with_extra(self, planned: list[Station], quantity: str) -> list[Station]:
        extra = [Station(r.end, r.clock) for r in self.readings if r.quantity == quantity]
        return list(dict.fromkeys([*planned, *extra]))

    @cached_property
    def readings(self) -> list[Reading]:
        """The standing readings of this bearing in this visit, in order."""
        rows = Reading.objects.standing().filter(visit=self.visit, bearing=self.bearing)
        found = list(rows.order_by("on", "order", "entry_n"))
        for one in found:
            one.visit, one.bearing = self.visit, self.bearing
        return [self.dressed(one) for one in found]

    @cached_property
    def events(self) -> list[Event]:
        found = [one for one in self.happened if one.bearing_id is not None]
        for one in found:
            vars(one)["kind_words"] = dict(EventKind.choices).get(one.kind, one.kind.replace("_", " "))  # type: ignore[call-overload]
        return found

    @cached_property
    def happened(self) -> list[Event]:
        """The events of this bearing in this visit, and those of the whole pump, in order."""
        rows = Event.objects.standing().filter(
            Q(bearing=self.bearing) | Q(bearing__isnull=True), visit=self.visit
        )
        found = list(rows.order_by("on", "order", "entry_n"))
        prefetch_related_objects([one for one in found if one.kind == EventKind.FOUND], "findings")
        return found

    @property
    def worked(self) -> bool:
        """Whether a work of this visit parts as found from as left: metal, shims, journal, rotor."""
        return any(one.kind in WORK for one in self.happened)

    @cached_property
    def left_out(self) -> list[NotMeasured]:
        return list(NotMeasured.objects.standing().filter(visit=self.visit, bearing=self.bearing))

    @cached_property
    def refused(self) -> list[Any]:
        """What devices sent for this pump and the site did not take, until somebody settles it."""
        return list(unsettled_at(self.bearing.place))

    @cached_property
    def story(self) -> Story:
        return timeline.story(self.bearing.pk, self.today)

    @cached_property
    def work(self) -> str:
        """`new`, `scrape` or nothing: what parts as found from as left in this visit."""
        assert self.visit is not None
        if not self.events:
            return ""
        # Only new metal in one half asks which half carries the load.
        halved = any(one.half and EFFECTS.get(one.kind) == Effect.NEW_METAL for one in self.happened)
        side = self.story.load_side if halved else ""
        return work_of(effect_of(one.kind, one.half, side) for one in self.happened)

    @cached_property
    def setup(self) -> Setup:
        return self.setup_for("clearance")

    def setup_for(self, quantity: str) -> Setup:
        """Unit and method of a quantity: as chosen on this device in this visit, else as last time."""
        mine = self.memory.get(f"setup {quantity}") or {}
        if {"unit", "method"} <= set(mine):
            return Setup(mine["unit"], mine["method"])
        known = setup_of(self.bearing, quantity)
        return Setup(mine.get("unit") or known.unit, mine.get("method") or known.method)

    def sd_um(self, method: str, step_um: float | None, conditions: dict[str, Any]) -> float:
        """Standard uncertainty of one reading."""
        return reading_sd_um(self.trust.get(method, NOT_NAMED).sd_um, step_um, exceptions_um(conditions))

    def sd_of(self, reading: Reading) -> float:
        step = None if reading.step_um is None else float(reading.step_um)
        return self.sd_um(reading.method, step, reading.conditions)

    def held(self, stage: str, quantity: str = "clearance") -> Held:
        facts = self.before.known.facts
        journal = facts.journal_diameter_um if facts else None
        work = self.work if stage == Stage.AS_LEFT else ""
        return held_for(self.limits, stage, work, quantity, journal)

    def expected(self, stage: str, where: Station, quantity: str = "clearance") -> Expected | None:
        """What is expected at a station; of another quantity than clearance roughly what it was last time."""
        if quantity != "clearance":
            return quantities.expected_of(last_at(self.before.known, where, quantity), where)
        found = found_at(self.readings, where, self.sd_of) if stage == Stage.AS_LEFT else None
        return expected_for(self.before, self.limits, stage, self.work, found)

    def verdict_on(self, reading: Reading) -> Verdict:
        """What is said of a stored reading."""
        held, sd = self.held(reading.stage, reading.quantity), self.sd_of(reading)
        where, step = Station(reading.end, reading.clock), float(reading.step_um or 0.0)
        expected = self.expected(reading.stage, where, reading.quantity) if reading.repeat == 1 else None
        if reading.value_um is None:
            low, high = (None if end is None else float(end) for end in (reading.low_um, reading.high_um))
            return verdict_of_interval(low, high, sd, reading.unit, held, expected, step)
        return verdict(float(reading.value_um), sd, reading.unit, held, expected, step)

    @cached_property
    def _done(self) -> set[tuple]:
        rows = [*self.readings, *self.left_out]
        return {(one.stage, one.quantity, one.end, one.clock) for one in rows}  # type: ignore[attr-defined]

    def open_stations(self, stage: str, quantity: str = "clearance") -> list[Station]:
        """Where a quantity is neither measured at a stage nor said not to be."""
        return [
            one
            for one in self.stations_for(quantity)
            if (stage, quantity, one.end, one.clock) not in self._done
        ]

    def forget(self) -> None:
        """Read the visit's rows anew: something was added."""
        for name in ("readings", "_done", "names", "stations"):
            self.__dict__.pop(name, None)

    def address(self, page: str, **query: Any) -> str:
        """The address of a screen of this bearing, its site in the query."""
        path = reverse(page, args=[written(self.bearing.place.tag), written(self.bearing.name)])
        return f"{path}?{urlencode({'site': self.bearing.place.site.name} | query)}"

    @cached_property
    def to(self) -> dict[str, str]:
        """The addresses of the screens that others lead to."""
        pages = (
            "check",
            "print",
            "scraped",
            "work",
            "seen",
            "opened",
            "close",
            "sheet",
            "photo",
            "people",
            "other",
        )
        found = {page: self.address(f"record-{page}") for page in pages}
        found["start"] = self.address("record")
        for stage in Stage.values:
            found[stage] = self.address("record-reading", stage=stage)
        return found

    def dressed(self, reading: Reading) -> Reading:
        """A reading with what a line of it shows: its unit's sign, its station in words, where it is mended."""
        at = Station(reading.end, reading.clock)
        vars(reading).update(
            unit_sign=SIGN.get(reading.unit, reading.unit),
            where_words=quantities.with_station(reading.quantity, at),
            mend_at=self.address("record-mend", reading=reading.pk),
        )
        return reading

    def for_device(
        self, kind: str, stage: str = "", where: Station | None = None, again: Any = "", **more: Any
    ) -> str:
        """What the device's worker needs to keep a form that found no network."""
        said = more | {
            "kind": kind,
            "bearing": self.bearing.pk,
            "visit": self.visit.pk if self.visit else "",
            "author": self.person,
            "stage": stage,
            "station": where.key if where else "",
            "again": again,
            "measured_by": self.measured_by,
            "checked_by": self.checked_by or "",
            "on": self.memory.get("on", ""),
        }
        return json.dumps(said, default=str)

    def context(self, **more: Any) -> dict[str, Any]:
        """What the frame of every screen shows."""
        return {
            "desk": self,
            "bearing": self.bearing,
            "place": self.bearing.place,
            "visit": self.visit,
            "today": self.today,
            "usual": USUAL_WORDS,
            "cautions": self.cautions,
            "overview": self.address("record-overview") if self.visit else "",
            "to": self.to,
            "new_id": new_id(),
            "device_scrape": self.for_device("scrape"),
        } | more


def desk_at(request: HttpRequest, pump: str, position: str, act: str = "record") -> Desk:
    """The desk of an address: 404 for what is not seen, 403 for who may not record."""
    found = called(request.user, read(pump), read(position), request.GET.get("site", ""))  # type: ignore[arg-type]
    if len(found) != 1:
        raise Http404(
            "No bearing of this name, or not at your sites; where a tag stands at two sites, name the site."
        )
    (one,) = found
    require(request.user, act, one.place.site)  # type: ignore[arg-type]
    today = today_at(one.place.site)
    return Desk(request, one, today, _visit_at(request, one, today))


def _visit_at(request: HttpRequest, bearing: Bearing, today: dt.date) -> Visit | None:
    """The visit that a paper sheet is typed into on this device, else the one that stands open at the pump."""
    kept = request.session.get(from_a_sheet(bearing.place_id))
    rows = Visit.objects.standing().filter(pk=kept, closed_on__isnull=True) if kept else None
    return (rows.first() if rows is not None else None) or open_visit_of(bearing.place, today)


def from_a_sheet(place: UUID) -> str:
    """Where the session keeps the visit of a pump that is being typed in from paper."""
    return f"from a sheet {place}"


def at_the_pump(view: Callable[[Desk], HttpResponse]) -> Callable[..., HttpResponse]:
    """A screen of an open visit; without one it leads to the start, where one is opened.

    What the screen itself does not tell of a refusal is told on the overview.
    """

    @require_http_methods(["GET", "HEAD", "POST"])
    @wraps(view)
    def screen(request: HttpRequest, pump: str, position: str) -> HttpResponse:
        desk = desk_at(request, pump, position)
        if not desk.visit:
            return redirect(desk.address("record"))
        try:
            return view(desk)
        except NotRecorded as fault:
            messages.error(request, str(fault))
            return redirect(desk.address("record-overview"))

    return screen


def outage_now(bearing: Bearing, today: dt.date) -> Outage | None:
    """The outage that runs at the bearing's site today."""
    rows = Outage.objects.standing().filter(
        site=bearing.place.site_id, start_on__lte=today, end_on__gte=today
    )
    fitting = [one for one in rows if not one.pumps or bearing.place.tag in one.pumps]
    return fitting[0] if fitting else None


USED_HERE = "picked on this device"


def people_for(desk: Desk) -> list[Person]:
    """The names to pick from: those last picked on this device, then the one of this account, then the site's."""
    names = names_at(desk.bearing.place.site_id, desk.today)
    own = Person.objects.get(pk=desk.person)
    used = list(desk.request.session.get(USED_HERE, []))
    rest = [own, *(one for one in names if one.pk != own.pk)]
    known = {str(one.pk) for one in rest}
    rest += Person.objects.filter(pk__in=[pk for pk in used if pk not in known]).exclude(name="")
    return sorted(rest, key=lambda one: used.index(str(one.pk)) if str(one.pk) in used else len(used))


def pick(desk: Desk, person: UUID) -> None:
    """Remember a name as picked on this device: it comes first from now on."""
    used = [pk for pk in desk.request.session.get(USED_HERE, []) if pk != str(person)]
    desk.request.session[USED_HERE] = [str(person), *used][:6]
