"""Which bearings come first, and why: the fleet's forecasts in order of the 1 in 10 date, grouped, filtered,
said in a sentence.
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from fleet.formatting import day
from fleet.models import Bearing, Site, folded
from fleet.web.bearing_search import holds
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.judgement_figures import Judgement, Why, Word
from inspections.forecasts.judgement.judgement_sentence import WORDS, sentence, standing_of

ORDERS = {"": "by date", "cost": "by what waiting costs"}
TWIN_APART = 2.0  # a ratio of wear between twins that is worth a word
FOLDS = {"": "none", "pump": "by pump", "outage": "by outage"}
NUMBERS = (
    "none",
    "one",
    "two",
    "three",
    "four",
    "five",
    "six",
    "seven",
    "eight",
    "nine",
    "ten",
    "eleven",
    "twelve",
)


@dataclass(frozen=True)
class Watched:
    """One bearing with its forecast's figures."""

    bearing: Bearing
    figures: Figures
    against_twin: str = ""
    judgement: Judgement | None = None
    decided: str = ""

    @property
    def word(self) -> str:
        return self.judgement.word if self.judgement else ""

    @property
    def says(self) -> str:
        """What stands and what to do, in the one sentence."""
        if self.judgement is None:
            return ""
        last = self.figures["last_reading_um"], self.figures.day("last_reading_on")
        return sentence(standing_of(self.judgement, *last))

    def costly(self) -> float:
        """Crew hours that waiting one outage longer costs, dearest first; past its
        maximum today before all.
        """
        made = self.judgement
        is_now = made is not None and made.word == Word.DECIDE_NOW
        return -((made.postponing_h or 0.0) if made else 0.0) - (1e9 if is_now else 0.0)

    @property
    def notes(self) -> list[str]:
        """What a reader should know before the date."""
        own = [self.decided] if self.decided else []
        return [*own, *(self.figures["notes"] or []), *([self.against_twin] if self.against_twin else [])]

    @property
    def has_no_life(self) -> bool:
        """Whether its maximum does not lie above its fitted clearance: nothing can be told of it."""
        return self.judgement is not None and self.judgement.why == Why.NO_LIFE

    @property
    def is_dated(self) -> bool:
        """Whether it has a date at all; without limit or reading it stands in a group of its own."""
        is_told = self.figures["outcome"] not in ("no_limit", "cannot_say") and not self.has_no_life
        return is_told and bool(self.figures["readings"])

    @property
    def is_past(self) -> bool:
        return self.figures["outcome"] == "past_limit" and not self.has_no_life

    @property
    def next_begins_on(self) -> dt.date | None:
        """The day its site's next outage begins; one that runs has begun, and nothing comes before it."""
        f = self.figures
        runs = f["next_outage_on"] is not None and f["next_outage_on"] == f["as_of"]
        return f.day("following_outage_on" if runs else "next_outage_on")

    @property
    def comes_before_next_outage(self) -> bool:
        """Whether it has at least a 1 in 10 chance of reaching its limit before its site's next outage."""
        next_on, first = self.next_begins_on, self.figures.first_on
        return self.is_dated and next_on is not None and first is not None and first < next_on

    def order(self) -> tuple:
        """By urgency; then pump and position."""
        return *self.figures.urgency(), self.bearing.place.folded, self.bearing.folded


@dataclass(frozen=True)
class Asked:
    """What a reader asked the list for; empty means all."""

    site: str = ""
    wear_class: str = ""
    pump: str = ""
    advice: str = ""
    before: str = ""  # an ISO day: 1 in 10 date before it
    find: str = ""
    fold: str = ""
    order: str = ""

    @classmethod
    def from_query(cls, query) -> "Asked":
        names = {
            "site": "site",
            "class": "wear_class",
            "pump": "pump",
            "advice": "advice",
            "before": "before",
        }
        values = {to: query.get(name, "").strip()[:80] for name, to in names.items()}
        fold = query.get("fold", "")
        order = query.get("order", "")
        return cls(
            **values,
            find=query.get("find", "").strip()[:80],
            fold=fold if fold in FOLDS else "",
            order=order if order in ORDERS else "",
        )

    @property
    def narrows(self) -> bool:
        return any((self.site, self.wear_class, self.pump, self.advice, self.before, self.find))

    def keeps(self, watched: Watched) -> bool:
        place, figures = watched.bearing.place, watched.figures
        first = figures.first_on
        names = f"{place.tag} {watched.bearing.name} {place.site.name}"
        return (
            (not self.site or folded(place.site.name) == folded(self.site))
            and (not self.wear_class or folded(figures["class"] or "") == folded(self.wear_class))
            and (not self.pump or place.folded == folded(self.pump))
            and (not self.advice or watched.word == self.advice)
            and (
                not self.before
                or (watched.is_dated and first is not None and first.isoformat() < self.before)
            )
            and (not self.find or holds(names, self.find))
        )


@dataclass(frozen=True)
class Group:
    """Rows that stand together under one heading."""

    heading: str
    rows: list[Watched]
    note: str = ""


@dataclass(frozen=True)
class WatchList:
    """The whole list as it is shown."""

    all: list[Watched]
    shown: list[Watched]
    asked: Asked = field(default_factory=Asked)

    @property
    def dated(self) -> list[Watched]:
        """Those shown that have a date."""
        return [one for one in self.shown if one.is_dated]


def watch_list(watched: Iterable[Watched], asked: Asked) -> WatchList:
    """Filter, order and part the fleet's bearings."""
    everything = _with_twins(list(watched))
    kept = [one for one in everything if asked.keeps(one)]
    dated = sorted((one for one in kept if one.is_dated), key=Watched.order)
    if asked.order == "cost":
        dated.sort(key=Watched.costly)
    apart = _apart([one for one in kept if not one.is_dated])
    return WatchList(everything, [*dated, *(one for group in apart for one in group.rows)], asked)


def _with_twins(rows: list[Watched]) -> list[Watched]:
    """Where a bearing wears much faster or slower than the same position of its pump's twin, that is worth a
    word.
    """
    rates = {
        (one.bearing.place.site_id, one.bearing.place.folded, one.bearing.folded): one.figures[
            "rate_um_per_kh_p50"
        ]
        for one in rows
        if one.is_dated
    }
    found = []
    for one in rows:
        twin = one.figures["twin"] or ""
        own = one.figures["rate_um_per_kh_p50"]
        other = rates.get((one.bearing.place.site_id, folded(twin), one.bearing.folded)) if twin else None
        if other and own and one.is_dated and not 1 / TWIN_APART < own / other < TWIN_APART:
            faster = (
                f"{own / other:.1f} times as fast" if own > other else f"only {own / other:.1f} times as fast"
            )
            found.append(replace(one, against_twin=f"wears {faster} as its twin {twin}"))
        else:
            found.append(one)
    return found


def _apart(rows: Sequence[Watched]) -> list[Group]:
    """Bearings without a date, each with what is missing."""
    kinds = (
        (
            "No limit is set",
            lambda one: one.figures["outcome"] == "no_limit",
            (
                "Without an in-service maximum or a replace limit there is no date. The bearing's page"
                " suggests one."
            ),
        ),
        (
            "A limit or a bore is wrong",
            lambda one: one.has_no_life,
            (
                "The maximum does not lie above the clearance it was fitted with, so neither a date nor a"
                " passing can be told. Put right the limit or the reading after fitting."
            ),
        ),
        (
            "No reading yet",
            lambda one: (
                one.figures["outcome"] != "no_limit" and not one.has_no_life and not one.figures["readings"]
            ),
            (
                "What is known comes from the fleet alone. One reading at the next opening gives it a date of"
                " its own."
            ),
        ),
        (
            "Cannot say yet",
            lambda one: one.figures["outcome"] == "cannot_say" and bool(one.figures["readings"]),
            "The fleet holds too few lives with two readings. Each further reading helps every bearing.",
        ),
    )
    groups = []
    for heading, belongs, note in kinds:
        some = [one for one in rows if belongs(one)]
        some.sort(
            key=lambda one: (one.bearing.place.site.folded, one.bearing.place.folded, one.bearing.folded)
        )
        if some:
            groups.append(Group(heading, some, note))
    return groups


def groups(rows: Sequence[Watched], fold: str = "") -> list[Group]:
    """Rows under their headings: dated ones together or folded, then those without a date
    by what is missing.
    """
    dated = [one for one in rows if one.is_dated]
    if fold == "pump":
        parted = _by_pump(dated)
    elif fold == "outage":
        parted = _by_outage(dated)
    else:
        parted = [Group("", dated)] if dated else []
    return parted + _apart([one for one in rows if not one.is_dated])


def _by_pump(rows: Sequence[Watched]) -> list[Group]:
    found: dict[object, list[Watched]] = {}
    for one in rows:
        found.setdefault(one.bearing.place_id, []).append(one)
    return [
        Group(f"{some[0].bearing.place.tag}, {some[0].bearing.place.site.name}", some)
        for some in found.values()
    ]


def _by_outage(rows: Sequence[Watched]) -> list[Group]:
    """Under the last known outage that starts before the 1 in 10 date: work planned there is in time."""
    none, later = "No outage left: 1 in 10 is reached before the next", "In time at a later outage"
    found: dict[str, list[Watched]] = {none: []}
    for one in rows:
        first = one.figures.first_on or dt.date.max
        next_on, following_on = one.figures.day("next_outage_on"), one.figures.day("following_outage_on")
        if next_on is None or first < next_on:
            heading = none
        elif following_on is None or first < following_on:
            heading = f"In time at the outage of {day(next_on, 'month')}, {one.bearing.place.site.name}"
        else:
            heading = later
        found.setdefault(heading, []).append(one)
    return [Group(heading, some) for heading, some in found.items() if some]


def saying(listed: WatchList) -> str:
    """What the list says first: how many reach their limit before the next outage, and whether they sit
    together.
    """
    dated = listed.dated
    if not dated:
        return f"None of {_bearings(len(listed.shown))} has a date yet: each lacks a limit or readings."
    soon = [one for one in dated if one.comes_before_next_outage]
    past = sum(one.is_past for one in dated)
    outage = _one_outage(soon or dated)
    text = (
        f"{len(soon) or 'None'} of {_bearings(len(listed.shown))} {_has(len(soon) or 1)} at least a 1 in 10"
        f" chance of reaching {'its' if len(soon) < 2 else 'their'} limit before {outage}"
    )
    text += f"; {past} {_has(past)} passed it already." if past else "; none has passed it yet."
    return text + _together(soon)


def _bearings(n: int) -> str:
    return f"{n} bearing" if n == 1 else f"{n} bearings"


def _has(n: int) -> str:
    return "has" if n == 1 else "have"


def _one_outage(rows: Sequence[Watched]) -> str:
    starts = {one.next_begins_on for one in rows if one.next_begins_on}
    return (
        f"the outage of {day(starts.pop(), 'month')}" if len(starts) == 1 else "the next outage of their site"
    )


def _together(soon: Sequence[Watched]) -> str:
    """Whether several of them sit on one pump."""
    pumps = Counter(one.bearing.place.tag for one in soon)
    shared = [(tag, n) for tag, n in pumps.most_common(2) if n > 1]
    if not shared:
        return ""
    said = [
        f"{_in_words(n)} {'of them sit ' if first else ''}on {tag}"
        for first, (tag, n) in zip((True, False), shared, strict=False)
    ]
    text = ", ".join(said)
    return f" {text[:1].upper()}{text[1:]}."


def _in_words(n: int) -> str:
    return NUMBERS[n] if n < len(NUMBERS) else str(n)


def choices(watched: Iterable[Watched], sites: Iterable[Site]) -> dict[str, list]:
    """What the filters offer: the sites, classes, pumps and coming outages that are there."""
    rows = list(watched)
    return {
        "sites": [site.name for site in sites],
        "classes": sorted({one.figures["class"] for one in rows if one.figures["class"]}, key=str.casefold),
        "pumps": sorted({one.bearing.place.tag for one in rows}, key=str.casefold),
        "advice": [(word, said) for word, said in WORDS.items() if any(one.word == word for one in rows)],
    }
