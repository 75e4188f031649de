"""What a print is read with beside what the mechanic says: the plant's criteria, the seat, the clearance as
it is now.

Also what the record knows of the shell: whether it is new, scraped or has run, what its clearance gained
since its first fit, whether it may be scraped, and what earlier prints of the visit showed. Lengths are um,
diametral.
"""

import datetime as dt
import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import combinations
from typing import Any
from uuid import UUID

from fleet.models import Bearing
from fleet.models.recorded import IN_ORDER
from inspections import contact
from inspections.contact.check import Check
from inspections.contact.outcome import Earlier
from inspections.contact.places import Place
from inspections.models import (
    EFFECTS,
    ContactCheck,
    ContactCriteria,
    Effect,
    Event,
    EventKind,
    Reading,
    Stage,
    Visit,
)
from inspections.story.happenings import NEW_LIFE
from inspections.story.uncertainty import Spread, spreads
from inspections.visits.expectations import Before

AGREE = 2.0  # two readings agree within so many spreads of their difference
WIDEST = 0.2  # a wider expectation, as a share of itself, confirms no reading
TEN_TO_NINETY_SD = 2.563  # from the 10 % to the 90 % point of a normal spread, in its sd
USUAL_SD_UM = 10.0  # of a method without a spread of its own
NEW, SCRAPED, RUN_IN = "new", "scraped", "run_in"


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
    known : the record before the visit. visit : None where none is open (a device's pack).
    """
    rows: list[Reading] = []
    works: list[str] = []
    if visit is not None:
        rows = list(
            Reading.objects.standing().filter(visit=visit, bearing=bearing).order_by("on", "order", "entry_n")
        )
        events = Event.objects.standing().filter(visit=visit, bearing=bearing).order_by(*IN_ORDER)
        works = list(events.values_list("kind", flat=True))
    return Check(**{**said, **_of_record(known, rows, works)})


def _of_record(known: Before, rows: Sequence[Reading], works: Sequence[str]) -> dict[str, Any]:
    facts, measured = known.known.facts, _last_measured(rows)
    trust = spreads(known.known.as_of)
    journal = facts.journal_diameter_um if facts else None
    now_um, state = clearance_now(measured, known), _state(known, works)
    gained, gained_sd = _gained(known, now_um) if state == RUN_IN else (None, None)
    return {
        "seat": facts.seat if facts else "",
        "load_side": facts.load_side if facts else "bottom",
        "clearance_um": now_um,
        "clearance_sd_um": _sd(measured, known, trust),
        "measured_twice": measured_twice(measured, trust) or as_expected(measured, known, works, trust),
        "journal_mm": float(journal) / 1000 if journal else None,
        "state": state,
        "gained_um": gained,
        "gained_sd_um": gained_sd,
        "scrapeable": {True: "yes", False: "no", None: ""}[facts.scrapeable if facts else None],
    }


def _last_measured(rows: Iterable[Reading]) -> list[Reading]:
    """The clearances of the last stage measured in this visit that count."""
    rows = list(rows)
    for stage in (Stage.AS_LEFT, Stage.AS_FOUND):
        own = [
            r
            for r in rows
            if r.stage == stage and r.quantity == "clearance" and r.counts and r.value_um is not None
        ]
        if own:
            return own
    return []


def clearance_now(readings: Iterable[Reading], known: Before) -> float | None:
    """The vertical clearance as it is now, um: the last stage measured in this visit, else as expected."""
    values = [float(r.value_um) for r in _last_measured(readings) if r.value_um is not None]
    if values:
        return sum(values) / len(values)
    middle = known.figures["clearance_um_p50"]
    return float(middle) if middle else None


def _sd(measured: Sequence[Reading], known: Before, trust: Mapping[str, Spread]) -> float | None:
    """Standard uncertainty of the clearance now: of its method, else of what is expected; None: not known."""
    own = [trust[r.method].sd_um for r in measured if r.method in trust]
    if own:
        return max(own)
    low, high = known.figures["clearance_um_p10"], known.figures["clearance_um_p90"]
    return None if measured or not (low and high) else (float(high) - float(low)) / TEN_TO_NINETY_SD


def measured_twice(measured: Sequence[Reading], trust: Mapping[str, Spread]) -> bool:
    """Whether another hand or method gave the same clearance at the same place, within their spreads."""
    usual = Spread(USUAL_SD_UM, 0.0)
    for a, b in combinations(measured, 2):
        other = a.method != b.method or a.measured_by != b.measured_by
        if (
            (a.end, a.clock) == (b.end, b.clock)
            and other
            and a.value_um is not None
            and b.value_um is not None
        ):
            sd = math.hypot(trust.get(a.method, usual).sd_um, trust.get(b.method, usual).sd_um)
            if abs(float(a.value_um) - float(b.value_um)) <= AGREE * sd:
                return True
    return False


def as_expected(
    measured: Sequence[Reading], known: Before, works: Sequence[str], trust: Mapping[str, Spread]
) -> bool:
    """Whether what was measured is what earlier readings of the record led to expect: other hands on another
    day.

    Each scrape of this visit moves what is expected by its usual step; after new metal or a new journal
    nothing is expected. An expectation wider than a fifth of itself confirms nothing.
    """
    values = [float(r.value_um) for r in measured if r.value_um is not None]
    middle, low, high = (known.figures[f"clearance_um_{p}"] for p in ("p50", "p10", "p90"))
    if not (values and known.known.story.clearances and middle and low and high):
        return False
    if any(EFFECTS.get(kind) in (Effect.NEW_METAL, Effect.NEW_BASELINE) for kind in works):
        return False
    sd = (float(high) - float(low)) / TEN_TO_NINETY_SD
    if sd > WIDEST * float(middle):
        return False
    n_scrapes = sum(kind == EventKind.SCRAPE for kind in works)
    step, step_sd = known.step
    own = max((trust[r.method].sd_um for r in measured if r.method in trust), default=USUAL_SD_UM)
    spread = math.hypot(sd, own, math.sqrt(n_scrapes) * step_sd)
    return abs(sum(values) / len(values) - float(middle) - n_scrapes * step) <= AGREE * spread


def _state(known: Before, works: Sequence[str]) -> str:
    """New, scraped or run in: by what was done in this visit, else by what the record has of the shell; else
    not known.
    """
    done = [kind for kind in works if EFFECTS.get(kind) in (Effect.NEW_METAL, Effect.STEP)]
    if done:
        return SCRAPED if done[-1] == EventKind.SCRAPE else NEW
    return RUN_IN if known.known.story.clearances else ""


def _gained(known: Before, now_um: float | None) -> tuple[float | None, float | None]:
    """Clearance gained since this shell's first fit and its sd, um; (None, None) where the first fit is not
    known.
    """
    born = [one.on for one in known.known.story.happenings if one.effect == NEW_LIFE]
    life = [one for one in known.known.story.clearances if not born or one.on >= born[-1]]
    first = next((one for one in life if one.value_um is not None), None)
    if first is None or now_um is None or not born:
        return None, None
    return now_um - float(first.value_um), math.hypot(USUAL_SD_UM, USUAL_SD_UM)  # type: ignore[arg-type]


def earlier_prints(
    rounds: Sequence[ContactCheck], half: str, without: ContactCheck | None = None
) -> list[Earlier]:
    """What earlier prints of a half in the same visit showed, in order; those read by an older reader say
    nothing.
    """
    return [
        Earlier(str(row.conditions["code"]), tuple(_place(one) for one in row.conditions.get("places", [])))
        for row in rounds
        if (row.half or "lower") == half
        and row.conditions.get("code")
        and (without is None or (row.pk != without.pk and row.round < without.round))
    ]


def place_words(place: Place) -> list[str]:
    """One area of a print as the ledger keeps it: figures as text."""
    figures = (place.along, place.angle_deg, place.first, place.last, place.weight)
    return [f"{figure:g}" for figure in figures]


def _place(words: Sequence[str]) -> Place:
    along, angle, first, last, weight = map(float, words)
    return Place(along, angle, first, last, int(weight))
