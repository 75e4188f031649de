"""What stands in the record of a bearing in one visit, and what holds there. Each row is read once."""

import datetime as dt
from dataclasses import dataclass
from functools import cached_property
from typing import Any
from uuid import UUID

from django.db.models import Q, prefetch_related_objects

from fleet.measuring_methods import Spread
from fleet.models import Bearing, LimitUse, Outage, Person, Setting, SettingsRead
from inspections.forecasts.judgement.accepted import accepted_trigger
from inspections.models import ContactCheck, Event, EventKind, NotMeasured, Reading, Signature, Visit
from inspections.story import timeline
from inspections.story.timeline import Story
from inspections.story.uncertainty import spreads
from inspections.visits import expectations
from inspections.visits.cautions import Cautions, cautions_for
from inspections.visits.contact_rounds import rounds_of
from inspections.visits.device_memory import DeviceMemory
from inspections.visits.expectations import Before, limits_on
from inspections.visits.joined_visits import earlier_ids
from inspections.visits.machine_book import MachineBook, book_of
from inspections.visits.method_cards import ApprovedCard, approved
from inspections.visits.receipts import unsettled_at
from inspections.visits.signatures import CHECKS
from inspections.visits.trigger_at_pump import Opening, opening_of, under_plan


@dataclass
class VisitRecord:
    """One bearing in one visit, as far as the database knows it."""

    bearing: Bearing
    visit: Visit | None
    today: dt.date
    memory: DeviceMemory

    @cached_property
    def before(self) -> Before:
        """What was known when the visit began."""
        return expectations.before(self.bearing, self.visit.opened_on if self.visit else self.today)

    @cached_property
    def opening(self) -> Opening:
        """What the one judgement that stood when the visit began says of this opening."""
        day = self.visit.opened_on if self.visit else self.today
        outage = self.visit.outage_id if self.visit else None
        replace_um = self.limits.get(("clearance", str(LimitUse.REPLACE)))
        made = opening_of(self.before.judgement, max(day, self.memory.on), outage, replace_um)
        return under_plan(made, accepted_trigger(self.bearing, made.at, day))

    @cached_property
    def story(self) -> Story:
        own = self.bearing
        return timeline.stories([own.pk], self.today, {own.pk: own.place_id})[own.pk]

    @cached_property
    def readings(self) -> list[Reading]:
        """The standing readings of this bearing in this visit, in order."""
        rows = list(
            Reading.objects.standing()
            .filter(visit=self.visit, bearing=self.bearing)
            .order_by("on", "order", "entry_n")
        )
        for row in rows:
            row.visit, row.bearing = self.visit, self.bearing
        return rows

    @cached_property
    def signed_checks(self) -> frozenset[UUID]:
        """Who has signed for this visit as checking it."""
        visits = earlier_ids(self.visit) if self.visit else []
        rows = Signature.objects.standing().filter(visit__in=visits, meaning__in=CHECKS)
        return frozenset(rows.values_list("person", flat=True))

    @cached_property
    def happened(self) -> list[Event]:
        """The events of this bearing in this visit, and those of the whole pump, in order."""
        rows = Event.objects.standing().filter(
            Q(bearing=self.bearing) | Q(bearing__isnull=True), visit=self.visit
        )
        events = list(rows.order_by("on", "order", "entry_n"))
        prefetch_related_objects([event for event in events if event.kind == EventKind.FOUND], "findings")
        return events

    @property
    def events(self) -> list[Event]:
        """The events of this bearing alone."""
        return [event for event in self.happened if event.bearing_id is not None]

    @cached_property
    def rounds(self) -> list[ContactCheck]:
        """The standing contact checks of this bearing in this visit, in order."""
        return rounds_of(self.visit, self.bearing) if self.visit else []

    @cached_property
    def left_out(self) -> list[NotMeasured]:
        """What was said not to be measured and was not measured since, on a device that sends late."""
        rows = NotMeasured.objects.standing().filter(visit=self.visit, bearing=self.bearing)
        measured = {(r.stage, r.quantity, r.end, r.clock) for r in self.readings}
        return [one for one in rows if (one.stage, one.quantity, one.end, one.clock) not in measured]

    @cached_property
    def refused(self) -> list[Any]:
        """What devices sent for this pump and the site did not take, until somebody settles it."""
        return list(unsettled_at(self.bearing.place))

    @cached_property
    def names(self) -> dict[UUID, str]:
        """The names of who measured, wrote down and checked in this visit, of who does now, and of who
        approved a card.
        """
        wanted = {self.memory.measured_by, self.memory.checked_by, self.memory.own}
        wanted |= {self.book.by, *(card.by for card in self.method_cards.values())}
        for row in self.readings:
            wanted |= {row.measured_by, row.checked_by, row.recorded_by}
        return {person.pk: str(person) for person in Person.objects.filter(pk__in=wanted - {None})}

    @cached_property
    def settings(self) -> SettingsRead:
        """The plant's choices, and this site's."""
        return SettingsRead(Setting.objects.of(self.bearing.place.site_id))

    @cached_property
    def limits(self) -> dict[tuple[str, str], float]:
        facts = self.before.known.facts
        own = limits_on(self.bearing, self.memory.on, facts.wear_class_id if facts else None)
        return own | self.book.limits

    @cached_property
    def cautions(self) -> Cautions:
        """What to heed at this site."""
        return cautions_for(self.bearing.place.site, self.memory.on, self.settings)

    @cached_property
    def book(self) -> MachineBook:
        """What is entered of the machine's book for this bearing."""
        return book_of(self.bearing, self.today, self.settings.rows)

    @cached_property
    def method_cards(self) -> dict[str, ApprovedCard]:
        """How to measure, by method: what this site's engineer has approved."""
        return approved(self.bearing.place.site, self.today, self.settings.rows)

    @cached_property
    def trust(self) -> dict[str, Spread]:
        """What each method can be trusted to today."""
        return spreads(self.today, self.settings)

    def forget(self, *more: str) -> None:
        """Read the visit's readings anew, and what else is named: something was added."""
        for name in ("readings", "names", *more):
            self.__dict__.pop(name, None)


def outage_now(bearing: Bearing, today: dt.date) -> Outage | None:
    """The outage that runs at the bearing's site today."""
    rows = Outage.objects.standing().filter(
        site=bearing.place.site_id, start_on__lte=today, end_on__gte=today
    )
    return next((row for row in rows if not row.pumps or bearing.place.tag in row.pumps), None)
