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
from inspections.models import EFFECTS, ContactCheck, ContactCriteria, Event, Reading, Visit
from inspections.story.happenings import NEW_LIFE
from inspections.story.uncertainty import spreads
from inspections.visits.expectations import Before
from inspections.visits.shell_now import Measured, ShellRecord, facts_now
from inspections.visits.stations import Station


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


def check_facts(said: Mapping[str, Any], known: Before, visit: Visit | None, bearing: Bearing) -> Check:
    """The facts of a print: what was said of it, and what the record and this visit know of the bearing.

    Parameters
    ----------
    said : how it was taken, as `ContactForm.facts` gives it.
    known : the record before the visit. visit : None where none is open.
    """
    rows: list[Reading] = []
    works: list[str] = []
    if visit is not None:
        rows = list(
            Reading.objects.standing().filter(visit=visit, bearing=bearing).order_by("on", "order", "entry_n")
        )
        events = Event.objects.standing().filter(visit=visit, bearing=bearing).order_by(*IN_ORDER)
        works = list(events.values_list("kind", flat=True))
    return Check(**{**said, **facts_now(shell_record(known), _measured(rows), works, EFFECTS)})


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
    rounds: Sequence[ContactCheck], half: str, without: ContactCheck | None = None
) -> list[Earlier]:
    """What earlier prints of a half in the same visit showed, in order; those read by an older reader say
    nothing.
    """
    before = list(takewhile(lambda row: without is None or row.pk != without.pk, rounds))
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
