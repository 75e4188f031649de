"""What drives wear: classes, sites, services and positions compared, as one reader may see them."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from fleet.clock import today_in
from fleet.formatting import counted
from fleet.models import Bearing, BearingFacts, PlaceFacts, Site
from inspections.forecasts.codes import Codes
from inspections.forecasts.current_forecasts import parameters, standing_run
from inspections.wear.class_curves import WHOLE
from inspections.wear.factors_against_fleet import Driver, drivers
from inspections.wear.population import Population

FACTOR_WORDS = {"class_": "class", "site": "site", "service": "service", "position": "position"}
SHOWN = 40
Words = Mapping[
    str, Mapping[str, str]
]  # by factor: the word kept with the parameters, and its name for a reader


@dataclass(frozen=True)
class Compared:
    """One group of bearings with the name a reader knows it by."""

    name: str
    also: str  # what else nearly the same bearings have
    driver: Driver


@dataclass(frozen=True)
class Trends:
    """What a reader may see of the fleet's drivers, the most remarkable first."""

    rows: Sequence[Compared]
    n_left_out: int
    population: Population
    as_of: dt.date
    curved: Sequence[str] = ()  # classes that wear along another curve than their dates are told from
    own_exponents: Sequence[tuple[str, float]] = ()  # classes whose dates follow an exponent of their own

    @property
    def apart(self) -> list[Compared]:
        """Those whose interval leaves out the fleet's own rate, the farthest first."""
        found = [row for row in self.rows if row.driver.stands_out]
        return sorted(found, key=lambda row: -row.driver.distance)


def trends_for(sites: Sequence[Site]) -> Trends:
    """The fleet's drivers under the names that bearings at these sites carry; nothing of other sites is
    named.
    """
    today = today_in("UTC")
    run = standing_run()
    population, codes, _ = parameters(today, run)
    if population.young:
        return Trends((), 0, population, run.as_of if run else today)
    words = words_at(sites, today)
    rows = compared(drivers(population.main), codes, words)
    as_of, curved = run.as_of if run else today, curved_names(population, codes, words)
    own = own_exponents(population, codes, words)
    return Trends(rows[:SHOWN], max(len(rows) - SHOWN, 0), population, as_of, curved, own)


def own_exponents(population: Population, codes: Codes, words: Words) -> list[tuple[str, float]]:
    """Classes a reader may see whose dates follow an exponent of age of their own, and which."""
    own = dict(population.main.designs[0].curve.classes)
    names = [(words["class_"].get(word, ""), own.get(n)) for word, n in codes.by_factor["class_"].items()]
    return sorted((name, q) for name, q in names if name and q is not None)


def curved_names(population: Population, codes: Codes, words: Words) -> list[str]:
    """Classes a reader may see whose records follow another curve; "" alone stands for the whole fleet."""
    if WHOLE in population.main.curved:
        return [""]
    names = [
        words["class_"].get(word, "")
        for word, n in codes.by_factor["class_"].items()
        if n in population.main.curved
    ]
    return sorted(name for name in names if name)


def words_at(sites: Sequence[Site], today: dt.date) -> Words:
    """The words of each factor that occur at these sites: a constant number of queries."""
    bearings = list(
        Bearing.objects.standing().at_sites(sites).values_list("pk", "place_id", "folded", "name")
    )
    facts = BearingFacts.objects.filter(bearing__place__site__in=sites).select_related("wear_class")
    own = facts.holding_on(today, "bearing_id")
    classes = {row.wear_class for row in own.values() if row.wear_class}
    places = PlaceFacts.objects.filter(place__site__in=sites).holding_on(today, "place_id")
    return {
        "class_": {str(one.pk): one.name for one in classes},
        "site": {str(site.pk): site.name for site in sites},
        "service": {one.service: one.service for one in places.values() if one.service},
        "position": {folded: name for _, _, folded, name in bearings},
    }


def compared(drivers: Iterable[Driver], codes: Codes, words: Words) -> list[Compared]:
    """The drivers with names, the fastest first; a level that no bearing of the reader's has is left out."""
    by_code = {factor: {n: word for word, n in known.items()} for factor, known in codes.by_factor.items()}
    rows = []
    for driver in drivers:
        names = []
        for factor, code in driver.levels:
            name = words.get(factor, {}).get(by_code.get(factor, {}).get(code, ""))
            if name:
                names.append(f"{FACTOR_WORDS[factor]} {name}")
        if names:
            rows.append(Compared(names[0], " and ".join(names[1:]), driver))
    return sorted(rows, key=lambda row: (-row.driver.ratio, row.name))


def sentence(trends: Trends) -> str:
    """The one or two that stand out, with their intervals."""
    if trends.population.young:
        return "Cannot say yet: fewer than three lives in the whole fleet hold two readings each."
    apart = trends.apart
    if not apart:
        if not trends.rows:
            return (
                "Nothing to compare: all bearings with readings are of one class, site, service and position."
            )
        return "No class, site, service or position wears measurably faster or slower than the fleet."
    said = [_said(row) for row in apart[:2]]
    rest = len(apart) - len(said)
    told = f"{said[0]}, and {said[1][0].lower()}{said[1][1:]}" if len(said) > 1 else said[0]
    if rest:
        return f"{told}; {counted(rest, 'more group')} {'stands' if rest == 1 else 'stand'} apart."
    return f"{told}; no other group stands apart."


def _said(row: Compared) -> str:
    one = row.driver
    also = f" ({row.also})" if row.also else ""
    return f"Bearings of {row.name}{also} wear {times(one.ratio)} the fleet's rate ({interval(one)})"


def times(ratio: float) -> str:
    """A ratio as a reader says it: "2.1 times", "0.7 times".

    >>> times(2.14), times(0.72), times(11.3)
    ('2.1 times', '0.7 times', '11 times')
    """
    return f"{ratio:.0f} times" if ratio >= 9.95 else f"{ratio:.1f} times"


def interval(one: Driver) -> str:
    """The 90 % interval of a ratio in words."""
    digits = 2 if one.high < 1.95 else 1
    return f"9 in 10: {one.low:.{digits}f} to {one.high:.{digits}f}"
