"""Which machine stands on a place on a day, and which visit a fact belongs to: found, or made."""

import datetime as dt
import uuid
from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from fleet.ledger.writing import Fact
from fleet.models import Installation, Machine, Outage, Place, Rotor, RotorFitting, folded
from fleet.models.recorded import IN_ORDER, RecordedQuerySet
from fleet.plant.acts import fact_of
from inspections.models import NO_VISIT, EventKind, Visit
from inspections.models.visit import LONGEST_OPENING
from inspections.records.entry_bodies import new_row
from inspections.records.facts import EventFact, Happened, MeterFact


class NotRecorded(ValueError):
    """Something that cannot be recorded: what was found, what is allowed, what to do."""


@dataclass(slots=True)
class Opening:
    """A visit while facts are sorted into visits."""

    id: UUID
    place: UUID
    machine: UUID
    label: str
    opened: dt.date
    last: dt.date
    closed: dt.date
    precision: str
    stored: bool
    stretched: bool = False
    why: str = ""
    outage: str = ""
    job: str = ""

    def add(self, fact: Happened) -> None:
        """Take in a fact: its days and, where nothing was said yet, why and in which outage."""
        if fact.on < self.opened:
            self.opened, self.last, self.precision, self.stretched = fact.on, fact.to, fact.precision, True
        if fact.to > self.closed:
            self.closed, self.stretched = fact.to, True
        self.why = self.why or fact.why
        self.outage = self.outage or fact.outage
        self.job = self.job or fact.job


class Machines:
    """The machine on each place by day, pump changes among the new facts included."""

    def __init__(self, facts: Sequence[Happened]) -> None:
        places = _narrowed(Place.objects.standing(), "pk", {fact.place for fact in facts})
        known = list(places.values_list("pk", "site_id", "tag"))
        self.site: dict[UUID, UUID] = {pk: site for pk, site, _ in known}
        self.tag: dict[UUID, str] = {pk: tag for pk, _, tag in known}
        self._days: dict[UUID, list[dt.date]] = {}
        self._machines: dict[UUID, list[UUID]] = {}
        rows = _narrowed(Installation.objects.standing(), "place_id", {fact.place for fact in facts})
        for place, machine, day in rows.order_by("from_on", *IN_ORDER).values_list(
            "place_id", "machine_id", "from_on"
        ):
            self._put(place, machine, day or dt.date.min)
        self.new: list[Fact] = []
        for fact in sorted((f for f in facts if isinstance(f, EventFact)), key=lambda f: f.on):
            if fact.kind == EventKind.PUMP_CHANGE:
                self._change_pump(fact)
            elif fact.kind == EventKind.ROTOR_CHANGE:
                self._change_rotor(fact)

    def on(self, place: UUID, day: dt.date) -> UUID:
        """The machine on a place on a day; before the first one known, the first."""
        days = self._days.get(place)
        if not days:
            raise NotRecorded(
                f"No pump is known to stand at {self.tag.get(place, 'this place')}; register one there first."
            )
        return self._machines[place][max(bisect_right(days, day) - 1, 0)]

    def _put(self, place: UUID, machine: UUID, day: dt.date) -> None:
        days, machines = self._days.setdefault(place, []), self._machines.setdefault(place, [])
        at = bisect_right(days, day)
        days.insert(at, day)
        machines.insert(at, machine)

    def _change_pump(self, fact: EventFact) -> None:
        """Another machine stands there from that day, unless the plant has registered that already."""
        if fact.on in self._days.get(fact.place, ()):
            return
        site = self.site[fact.place]
        machine = Machine(id=uuid.uuid4(), site_id=site)
        row = Installation(place_id=fact.place, machine_id=machine.id, from_on=fact.on)
        self.new += [fact_of(machine), fact_of(row)]
        self._put(fact.place, machine.id, fact.on)

    def _change_rotor(self, fact: EventFact) -> None:
        site, machine = self.site[fact.place], self.on(fact.place, fact.on)
        if RotorFitting.objects.standing().filter(machine_id=machine, from_on=fact.on).exists():
            return
        rotor = Rotor(id=uuid.uuid4(), site_id=site)
        row = RotorFitting(machine_id=machine, rotor_id=rotor.id, from_on=fact.on)
        self.new += [fact_of(rotor), fact_of(row)]


class Openings:
    """Visits by place and day, or by place and the plant's own label."""

    def __init__(self, machines: Machines, facts: Sequence[Happened]) -> None:
        self._machines = machines
        self._by_day: dict[tuple[UUID, dt.date, dt.date], Opening] = {}
        self._by_label: dict[tuple[UUID, str], list[Opening]] = {}
        self._long: dict[UUID, list[Opening]] = {}
        self.used: dict[UUID, Opening] = {}
        self._closing = True
        rows = _narrowed(Visit.objects.standing(), "place_id", {fact.place for fact in facts})
        for place, machine, pk, label, opened, last, closed, precision in rows.order_by(
            "opened_on", *IN_ORDER
        ).values_list(
            "place_id", "machine_id", "pk", "label", "opened_on", "last_on", "closed_on", "precision"
        ):
            known = Opening(pk, place, machine, label, opened, last, closed or last, precision, stored=True)
            self._know(known)

    def assign(self, facts: Sequence[Happened]) -> None:
        """Give every fact its visit's id; labelled rows first, then those that open a pump, then what opens
        nothing.
        """
        labelled = [f for f in facts if f.visit and f.visit_id is None and _opens(f)]
        for fact in sorted(labelled, key=lambda f: f.on):
            self._use(fact, self._labelled(fact) or self._made(fact))
        for fact in facts:
            if fact.visit_id is None and not fact.visit and _opens(fact):
                self._use(fact, self._of_day(fact) or self._made(fact))
        for fact in facts:
            if fact.visit_id is None and not _opens(fact):
                found = (self._labelled(fact) if fact.visit else None) or self._of_day(fact)
                fact.visit_id = found.id if found else None

    def rows(self, *, closed: bool) -> list[Fact]:
        """New visits, and revisions of stored ones whose days a later row has stretched."""
        outages = self._outages()
        return [fact for opening in self.used.values() if (fact := self._row(opening, outages, closed))]

    def _row(self, opening: Opening, outages: dict[tuple[UUID, str], UUID], closed: bool) -> Fact | None:
        chain = f"pump:{opening.machine}"
        if opening.stored:
            if not opening.stretched:
                return None
            days = {"opened_on": opening.opened, "last_on": opening.last, "closed_on": opening.closed}
            body = {"of": "visit", "id": opening.id, "set": days, "reason": "a later row of this visit"}
            return Fact(chain, "revision", body=body)
        outage = outages.get((self._machines.site[opening.place], folded(opening.outage)))
        values = {
            "machine_id": opening.machine,
            "place_id": opening.place,
            "label": opening.label,
            "why": opening.why,
            "outage_id": outage,
            "outage_words": "" if outage else opening.outage[:80],
            "job": opening.job,
            "opened_on": opening.opened,
            "last_on": opening.last,
            "precision": opening.precision,
            "closed_on": opening.closed if closed else None,
        }
        return new_row(chain, "visit", values, opening.id)

    def _outages(self) -> dict[tuple[UUID, str], UUID]:
        if not any(opening.outage for opening in self.used.values()):
            return {}
        rows = Outage.objects.standing().values_list("site_id", "name", "pk")
        return {(site, folded(name)): pk for site, name, pk in rows}

    def _use(self, fact: Happened, opening: Opening) -> None:
        opening.add(fact)
        fact.visit_id = opening.id
        self.used[opening.id] = opening
        self._by_day.setdefault((fact.place, fact.on, fact.to), opening)
        if opening.opened != opening.closed and opening.precision == "day":
            long = self._long.setdefault(fact.place, [])
            if opening not in long:
                long.append(opening)

    def _know(self, opening: Opening) -> None:
        self._by_day.setdefault((opening.place, opening.opened, opening.last), opening)
        if opening.label:
            self._by_label.setdefault((opening.place, opening.label), []).append(opening)
        if opening.opened != opening.closed and opening.precision == "day":
            self._long.setdefault(opening.place, []).append(opening)

    def _labelled(self, fact: Happened) -> Opening | None:
        for opening in self._by_label.get((fact.place, fact.visit), ()):
            if opening.opened - LONGEST_OPENING <= fact.on <= opening.closed + LONGEST_OPENING:
                return opening
        return None

    def _of_day(self, fact: Happened) -> Opening | None:
        found = self._by_day.get((fact.place, fact.on, fact.to))
        if found is None and fact.precision == "day":
            for opening in self._long.get(fact.place, ()):
                if opening.opened <= fact.on <= opening.closed:
                    return opening
        return found

    def _made(self, fact: Happened) -> Opening:
        machine = self._machines.on(fact.place, fact.on)
        made = Opening(
            uuid.uuid4(),
            fact.place,
            machine,
            fact.visit,
            fact.on,
            fact.to,
            fact.to,
            fact.precision,
            stored=False,
        )
        self._know(made)
        return made


def _opens(fact: Happened) -> bool:
    """Whether a fact alone is an opening: hours, meter resets, oil and notes are none."""
    return not isinstance(fact, MeterFact) and not (isinstance(fact, EventFact) and fact.kind in NO_VISIT)


def _narrowed(rows: RecordedQuerySet, column: str, keys: Iterable[Any]) -> RecordedQuerySet:
    """Rows of these keys; of very many keys, all rows: a list of thousands costs more than it spares."""
    wanted = list(keys)
    return rows.filter(**{f"{column}__in": wanted}) if len(wanted) <= 5000 else rows
