"""Where one stands at the pump: the address that was asked for, as a bearing with its open visit."""

import datetime as dt
from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, wraps
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_http_methods

from fleet.access import require
from fleet.clock import today_at
from fleet.models import Bearing
from fleet.web.bearing_addresses import read
from fleet.web.bearing_search import called
from inspections.models import Visit
from inspections.records.openings import NotRecorded
from inspections.visits.acts import open_visit_of
from inspections.visits.device_memory import DeviceMemory, from_a_sheet
from inspections.visits.screen_addresses import ScreenAddresses
from inspections.visits.visit_record import VisitRecord
from inspections.visits.visit_rules import VisitRules

_OF_VISIT = ("memory", "record", "rules")


@dataclass
class Desk:
    """One bearing at the pump and who asks; each part has one duty."""

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
    def memory(self) -> DeviceMemory:
        visit = self.visit.pk if self.visit else None
        return DeviceMemory(self.request.session, visit, self.person, self.today)

    @cached_property
    def record(self) -> VisitRecord:
        return VisitRecord(self.bearing, self.visit, self.today, self.memory)

    @cached_property
    def rules(self) -> VisitRules:
        return VisitRules(self.record)

    @cached_property
    def screens(self) -> ScreenAddresses:
        return ScreenAddresses(self.bearing)

    def turn_to(self, visit: Visit) -> None:
        """Stand in another visit of the same bearing."""
        self.visit = visit
        for name in _OF_VISIT:
            self.__dict__.pop(name, None)

    def beside(self, bearing: Bearing) -> "Desk":
        """Another bearing of the pump in the same visit; what is the site's is not read again."""
        other = Desk(self.request, bearing, self.today, self.visit, aside=True)
        vars(other).update(memory=self.memory)
        vars(other.record).update(settings=self.record.settings, trust=self.record.trust)
        return other


def desk_at(request: HttpRequest, pump: str, position: str, act: str = "record") -> Desk:
    """The desk of an address: 404 for what is not seen, 403 for who may not record."""
    bearings = called(request.user, read(pump), read(position), request.GET.get("site", ""))  # type: ignore[arg-type]
    if len(bearings) != 1:
        raise Http404(
            "No bearing of this name, or not at your sites; where a tag stands at two sites, name the site."
        )
    (bearing,) = bearings
    require(request.user, act, bearing.place.site)  # type: ignore[arg-type]
    today = today_at(bearing.place.site)
    return Desk(request, bearing, today, _visit_at(request, bearing, today))


def _visit_at(request: HttpRequest, bearing: Bearing, today: dt.date) -> Visit | None:
    """The visit that a paper sheet is typed into on this device, else the one that stands
    open at the pump.
    """
    kept = request.session.get(from_a_sheet(bearing.place_id))
    rows = Visit.objects.standing().filter(pk=kept, closed_on__isnull=True) if kept else None
    return (rows.first() if rows is not None else None) or open_visit_of(bearing.place, today)


def at_the_pump(view: Callable[[Desk], HttpResponse]) -> Callable[..., HttpResponse]:
    """A screen of an open visit; without one it leads to the start, where one is opened.

    What the screen itself does not tell of a refusal is told on the overview.
    """

    @require_http_methods(["GET", "HEAD", "POST"])
    @wraps(view)
    def screen(request: HttpRequest, pump: str, position: str) -> HttpResponse:
        desk = desk_at(request, pump, position)
        if not desk.visit:
            return redirect(desk.screens.address("record"))
        try:
            return view(desk)
        except NotRecorded as fault:
            messages.error(request, str(fault))
            return redirect(desk.screens.address("record-overview"))

    return screen
