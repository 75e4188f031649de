"""What a print is read with beside what the mechanic says: the plant's criteria, the seat, the clearance as
it is now.

Also what the record knows of the shell: whether it is new, scraped or has run, what its clearance gained
since its first fit, whether it may be scraped, and what earlier prints of the visit showed. Lengths are um,
diametral.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from itertools import takewhile
from typing import Any
from uuid import UUID

from fleet.models import Bearing
from fleet.models.recorded import IN_ORDER
from inspections import contact
from inspections.contact.check import Check
from inspections.contact.outcome import Earlier
from inspections.contact.places import Place
from inspections.models import EFFECTS, ContactCheck, ContactCriteria, Effect, Event, Reading, Visit
from inspections.story.effect_of_work import NEW_LIFE
from inspections.story.uncertainty import spreads
from inspections.visits.expectations import Before
from inspections.visits.shell_now import Measured, ShellRecord, facts_now
from inspections.visits.stations import Station

CHANGING = (Effect.STEP, Effect.NEW_METAL, Effect.NEW_BASELINE)


def criteria_for(site_id: UUID, day: dt.date) -> contact.Criteria:
    """What a site accepts as contact on a day: its own, else the plant's; the shipped default is common
    practice.
    """
    rows = ContactCriteria.objects.standing()
    held = [
        row for row in rows if row.site_id in (None, site_id) and (row.from_on is None or row.from_on <= day)
    ]
    if not held:
        return contact.Criteria()
    last = max(held, key=lambda row: (row.site_id is not None, str(row.from_on or ""), row.entry_n))
    since = last.from_on.isoformat() if last.from_on else None
    return contact.Criteria.from_dict(last.body | {"author": last.author, "from_on": since})


def check_facts(
    said: Mapping[str, Any],
    known: Before,
    visit: Visit | None,
    bearing: Bearing,
    until: dt.datetime | None = None,
) -> Check:
    """The facts of a print: what was said of it, and what the record and this visit know of the bearing.

    Parameters
    ----------
    said : how it was taken, as `ContactForm.facts` gives it.
    known : the record before the visit. visit : None where none is open.
    until : the print is of the shell as it lay then; what was read or done later is left out. None: now.
    """
    rows: list[Reading] = []
    works: list[str] = []
    if visit is not None:
        readings = Reading.objects.standing().filter(visit=visit, bearing=bearing)
        rows = [row for row in readings.order_by("on", "order", "entry_n") if _by(row, until)]
        events = Event.objects.standing().filter(visit=visit, bearing=bearing).order_by(*IN_ORDER)
        works = [event.kind for event in events if _by(event, until)]
    return Check(**{**said, **facts_now(shell_record(known), _measured(rows), works, EFFECTS)})


def taken_by(row: Reading | Event) -> dt.datetime:
    """When a row was entered: as its device says, else when it was recorded."""
    return row.entered_at or row.recorded_at


def _by(row: Reading | Event, until: dt.datetime | None) -> bool:
    return until is None or taken_by(row) <= until


def changed_after(check: ContactCheck) -> dt.datetime | None:
    """The instant before the first work after a print that changed the clearance: the mended cells of a print
    are still of the shell that lay there before it. None: nothing changed it.
    """
    first = check
    while first.supersedes is not None:
        first = ContactCheck._base_manager.select_related("event").get(pk=first.supersedes)
    events = Event.objects.standing().filter(visit=first.event.visit_id, bearing=first.event.bearing_id)
    changing = [event for event in events if EFFECTS.get(event.kind) in CHANGING]
    later = [taken_by(event) for event in changing if taken_by(event) > taken_by(first.event)]
    return min(later) - dt.timedelta(microseconds=1) if later else None


def shell_record(known: Before, trust: Mapping[str, float] | None = None) -> ShellRecord:
    """What the record knew before the visit of what a print is read with.

    `trust`: standard uncertainties by method, where they are read already for many bearings.
    """
    if trust is None:
        trust = {str(name): spread.sd_um for name, spread in spreads(known.known.as_of).items()}
    facts, story = known.known.facts, known.known.story
    journal = facts.journal_diameter_um if facts else None
    low, middle, high = (known.figures[f"clearance_um_{p}"] for p in ("p10", "p50", "p90"))
    return ShellRecord(
        seat=facts.seat if facts else "",
        load_side=facts.load_side if facts else "bottom",
        journal_mm=float(journal) / 1000 if journal else None,
        scrapeable={True: "yes", False: "no", None: ""}[facts.scrapeable if facts else None],
        low_um=float(low) if low else None,
        middle_um=float(middle) if middle else None,
        high_um=float(high) if high else None,
        measured_before=bool(story.clearances),
        first_fit_um=_first_fit(known),
        step=known.step,
        sd_um=trust,
    )


def _first_fit(known: Before) -> float | None:
    """The first clearance of the shell that lies there; None where its first fit is not known."""
    born = [one.on for one in known.known.story.happenings if one.effect == NEW_LIFE]
    if not born:
        return None
    life = [one for one in known.known.story.clearances if one.on >= born[-1]]
    first = next((one for one in life if one.value_um is not None), None)
    return None if first is None else float(first.value_um)  # type: ignore[arg-type]


def _measured(rows: Iterable[Reading]) -> list[Measured]:
    return [
        Measured(str(r.stage), Station(r.end, r.clock).key, r.method, str(r.measured_by), float(r.value_um))
        for r in rows
        if r.quantity == "clearance" and r.counts and r.value_um is not None
    ]


def clearance_now(readings: Iterable[Reading], known: Before) -> float | None:
    """The vertical clearance as it is now, um: the last stage measured in this visit, else as expected."""
    now_um = facts_now(shell_record(known, {}), _measured(readings), [], EFFECTS)["clearance_um"]
    return None if now_um is None else float(now_um)


def earlier_prints(
    rounds: Sequence[ContactCheck],
    half: str,
    without: ContactCheck | None = None,
    until: dt.datetime | None = None,
) -> list[Earlier]:
    """What earlier prints of a half in the same visit showed, in order, those after `until` left out; those
    read by an older reader say nothing.
    """
    before = list(takewhile(lambda row: without is None or row.pk != without.pk, rounds))
    before = [row for row in before if _by(row.event, until)]
    return [
        Earlier(str(row.conditions["code"]), tuple(_place(one) for one in row.conditions.get("places", [])))
        for row in before
        if (row.half or "lower") == half and row.conditions.get("code")
    ]


def place_words(place: Place) -> list[str]:
    """One area of a print as the ledger keeps it: figures as text."""
    figures = (place.along, place.angle_deg, place.first, place.last, place.weight)
    return [f"{figure:g}" for figure in figures]


def _place(words: Sequence[str]) -> Place:
    along, angle, first, last, weight = map(float, words)
    return Place(along, angle, first, last, int(weight))
