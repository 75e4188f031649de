"""Failures that no measuring foresees, counted from the record by wear class: found wiped, the bond loose,
changed as damaged.
"""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.db.models import Min

from fleet.formatting import count, counted
from fleet.models import Bearing, BearingFacts, Site
from inspections.models import Event, EventKind, Finding, Reading
from inspections.models.event import Reason
from inspections.wear.hazard import Hazard, seen

SUDDEN_WORDS = frozenset({"wiped", "loose bond"})
NO_CLASS = "no class stated"
DAYS_A_YEAR = 365.25


def failures_words(n: int, years: float, a_year: float | None) -> str:
    """What was counted in how many bearing years, and the rate a year where there is one."""
    told = f"{counted(n, 'sudden failure')} in {count(round(years))} bearing years"
    return (
        f"{told}: too few for a rate" if a_year is None else f"{told}, about {100 * a_year:.1f} in 100 a year"
    )


@dataclass(frozen=True)
class SuddenFailures:
    """Sudden failures of one wear class as counted, and the rate believed where there are enough of them."""

    name: str
    hazard: Hazard

    @property
    def sentence(self) -> str:
        """Counts always; a rate from three failures on.

        >>> " ".join(SuddenFailures("River", seen(2, 61.0)).sentence.split())
        '2 sudden failures in 61 bearing years: too few for a rate.'
        >>> " ".join(SuddenFailures("River", seen(30, 1000.0)).sentence.split())
        '30 sudden failures in 1000 bearing years, about 2.9 in 100 a year.'
        """
        rate = self.hazard.a_year if self.hazard.tells_a_rate else None
        return f"{failures_words(self.hazard.n, self.hazard.observed_years, rate)}."


def sudden_failures(sites: Sequence[Site], today: dt.date) -> list[SuddenFailures]:
    """The classes of these sites in which something failed, the most failures first; empty where nothing did.

    A visit in which several such words were said of one bearing is one failure. Years run from a bearing's
    first reading or event to `today`. A class leans on what all these bearings together have taught
    (`inspections/wear/hazard.py`).
    """
    bearings = Bearing.objects.standing().at_sites(sites).values_list("pk", flat=True)
    failures, began = _failures(sites, today), _began(sites)
    facts = BearingFacts.objects.filter(bearing__place__site__in=sites).select_related("wear_class")
    class_of = {
        pk: row.wear_class.name for pk, row in facts.holding_on(today, "bearing_id").items() if row.wear_class
    }
    n: Counter[str] = Counter()
    years: dict[str, float] = defaultdict(float)
    for pk in bearings:
        name = class_of.get(pk, NO_CLASS)
        n[name] += failures[pk]
        years[name] += max((today - began[pk]).days, 0) / DAYS_A_YEAR if pk in began else 0.0
    fleet = seen(n.total(), sum(years.values()))
    rows = [SuddenFailures(name, seen(n[name], years[name], fleet)) for name in n if n[name]]
    return sorted(rows, key=lambda row: (-row.hazard.n, row.name))


def by_site(today: dt.date) -> dict[str, dict[str, dict[str, Any]]]:
    """What a refit keeps for its bearings' pages: by site and class the failures, the years, and the rate
    where there is one.
    """
    kept: dict[str, dict[str, dict[str, Any]]] = {}
    for site in Site.objects.all():
        for row in sudden_failures([site], today):
            rate = round(row.hazard.a_year, 5) if row.hazard.tells_a_rate else None
            years = round(row.hazard.observed_years, 1)
            kept.setdefault(str(site.pk), {})[row.name] = {"n": row.hazard.n, "years": years, "a_year": rate}
    return kept


def _failures(sites: Sequence[Site], today: dt.date) -> Counter[UUID]:
    """By bearing: the visits (or days without one) until today in which something sudden was found or named
    as the reason.
    """
    worded = Finding.objects.standing().filter(event__bearing__place__site__in=sites, event__on__lte=today)
    found = {
        (bearing, visit or on)
        for bearing, visit, on, words in worded.values_list(
            "event__bearing", "event__visit", "event__on", "words"
        )
        if SUDDEN_WORDS & set(words)
    }
    damaged = Event.objects.standing().filter(
        bearing__place__site__in=sites,
        on__lte=today,
        kind__in=(EventKind.SHELL_CHANGE, EventKind.REBABBITT),
        reason=Reason.DAMAGED,
    )
    found |= {(bearing, visit or on) for bearing, visit, on in damaged.values_list("bearing", "visit", "on")}
    return Counter(bearing for bearing, _ in found)


def _began(sites: Sequence[Site]) -> dict[UUID, dt.date]:
    began: dict[UUID, dt.date] = {}
    for model in (Reading, Event):
        rows = model.objects.standing().filter(bearing__place__site__in=sites).order_by()
        for pk, first in rows.values("bearing").annotate(first=Min("on")).values_list("bearing", "first"):
            began[pk] = min(first, began.get(pk, first))
    return began
