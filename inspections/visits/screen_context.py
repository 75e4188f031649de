"""What the templates of the screens at the pump are given."""

import json
from typing import Any

from fleet.models import Person
from inspections.models import Event, EventKind, Reading
from inspections.story.measuring_conditions import USUAL_WORDS
from inspections.visits.desk import Desk
from inspections.visits.forms import new_id
from inspections.visits.quantities import with_station
from inspections.visits.site_people import names_at
from inspections.visits.stations import Station
from inspections.visits.verdict import SIGN


def screen_context(desk: Desk, **more: Any) -> dict[str, Any]:
    """What the frame of every screen shows."""
    return {
        "desk": desk,
        "bearing": desk.bearing,
        "place": desk.bearing.place,
        "visit": desk.visit,
        "today": desk.today,
        "usual": USUAL_WORDS,
        "cautions": desk.record.cautions,
        "overview": desk.screens.address("record-overview") if desk.visit else "",
        "to": desk.screens.leads,
        "new_id": new_id(),
        "device_scrape": device_facts(desk, "scrape"),
    } | more


def device_facts(
    desk: Desk, kind: str, stage: str = "", where: Station | None = None, again: Any = "", **more: Any
) -> str:
    """What the device's worker needs to keep a form that found no network."""
    memory = desk.memory
    facts = more | {
        "kind": kind,
        "bearing": desk.bearing.pk,
        "visit": desk.visit.pk if desk.visit else "",
        "author": desk.person,
        "stage": stage,
        "station": where.key if where else "",
        "again": again,
        "measured_by": memory.measured_by,
        "checked_by": memory.checked_by or "",
        "on": memory.kept.get("on", ""),
    }
    return json.dumps(facts, default=str)


def with_words(desk: Desk, reading: Reading) -> Reading:
    """A reading with what a line of it shows: its unit's sign, its station in words, where it is mended."""
    vars(reading).update(
        unit_sign=SIGN.get(reading.unit, reading.unit),
        where_words=with_station(reading.quantity, Station(reading.end, reading.clock)),
        mend_at=desk.screens.address("record-mend", reading=reading.pk),
    )
    return reading


def events_in_words(desk: Desk) -> list[Event]:
    """The bearing's events of the visit, each with its kind in words."""
    kinds: dict[str, str] = dict(EventKind.choices)  # type: ignore[arg-type]
    events = desk.record.events
    for event in events:
        shell = ", ".join(
            part for part in (event.half and f"{event.half} half", event.reason, event.shell) if part
        )
        vars(event)["detail"] = shell
        vars(event)["kind_words"] = kinds.get(event.kind, event.kind.replace("_", " "))
    return events


def people_to_pick(desk: Desk) -> list[Person]:
    """The names to pick from: those last picked on this device, then the one of this account, then the
    site's.
    """
    names = names_at(desk.bearing.place.site_id, desk.today)
    own = Person.objects.get(pk=desk.person)
    picked = desk.memory.picked
    people = [own, *(person for person in names if person.pk != own.pk)]
    known = {str(person.pk) for person in people}
    people += Person.objects.filter(pk__in=[pk for pk in picked if pk not in known]).exclude(name="")
    return sorted(
        people, key=lambda person: picked.index(str(person.pk)) if str(person.pk) in picked else len(picked)
    )
