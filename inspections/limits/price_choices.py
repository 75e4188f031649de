"""What a decision counts with, as a plant chooses it: risk and consequence, and the prices of a shell, an
opening and a stop, in crew hours or in money.
"""

import datetime as dt
import re
from collections.abc import Callable, Iterator
from decimal import Decimal
from typing import Any

from fleet.clock import today_in
from fleet.formatting import grouped, hours, percent
from fleet.importing.directory import in_words, nearest
from fleet.models import Place, PlaceFacts, Setting, SettingsRead, Site, folded
from fleet.plant.acts import Refused
from inspections.forecasts.judgement.plant_prices import (
    ALL_OTHERS,
    CONSEQUENCES,
    CREW_HOUR,
    INFANT,
    OPENING,
    RISKS,
    SHELL,
    SHELL_H,
    STOPS,
)
from inspections.limits.choice_type import Choice, number_between
from inspections.wear.terms import MOST_CONSEQUENCE

MOST_H, MOST_MONEY, MOST_NAMED = 10_000, 10**9, 200
_PRICE = re.compile(r"\s*([-+]?[0-9][0-9.,]*)\s*([^\W\d_]{1,12}|[^\w\s]{1,3})\s*")
HOURS_WORDS = frozenset({"h", "hour", "hours"})


def _price(typed: str) -> Any:
    """Crew hours as text, or money with its word."""
    parts = _PRICE.fullmatch(typed)
    if parts is None:
        raise Refused(
            f"“{typed.strip()}” is no price. Write crew hours as 40 h, or money with its word, as 2400 EUR."
        )
    if parts[2].casefold() in HOURS_WORDS:
        return str(number_between(parts[1], 0, MOST_H, "h"))
    return {"money": str(number_between(parts[1], 0, MOST_MONEY, parts[2])), "word": parts[2]}


def _crew_hour(typed: str) -> dict[str, str]:
    price = _price(typed)
    if isinstance(price, str) or Decimal(price["money"]) <= 0:
        raise Refused(f"“{typed.strip()}” is no price of an hour. Write money with its word, such as 60 EUR.")
    return {"money": price["money"], "word": price["word"]}


def price_words(value: Any) -> str:
    """A price as a plant states it: "40 h", "2400 EUR"."""
    if isinstance(value, dict):
        money = Decimal(value["money"])
        return f"{grouped(float(money), 0 if money == int(money) else 2)} {value['word']}"
    return hours(value)


def _named(read: Callable[[str], Any], example: str) -> Callable[[str], dict[str, Any]]:
    """Reads "name: value; name: value"; "none" for nothing."""

    def reading(typed: str) -> dict[str, Any]:
        if typed.strip().casefold() == "none":
            return {}
        kept: dict[str, Any] = {}
        for part in re.split(r"[;\n]|,\s", typed):
            name, colon, value = part.rpartition(":")
            name = " ".join(name.split())
            if part.strip() and (not colon or not name):
                raise Refused(f"“{part.strip()}” names nothing and its value. Write it as {example}.")
            if name.casefold() in {known.casefold() for known in kept}:
                raise Refused(f"“{name}” stands there twice. Write it once.")
            if name:
                kept[name] = read(value)
        if not 0 < len(kept) <= MOST_NAMED:
            raise Refused(f"Name 1 to {MOST_NAMED}, as {example}, or write none.")
        return kept

    return reading


def _as_typed(value: Any) -> str:
    """A price as one types it: no figures set apart, nothing rounded."""
    return f"{value['money']} {value['word']}" if isinstance(value, dict) else f"{value} h"


def _share_as_typed(value: Any) -> str:
    return f"{(Decimal(value) * 100).normalize():f} %"


def listed(value: dict[str, Any], said: Callable[[Any], str]) -> str:
    """Names with their values in order of the names, all others last: a stored object keeps no order."""
    in_order = sorted(value, key=lambda name: (folded(name) == ALL_OTHERS, folded(name), name))
    return "; ".join(f"{name}: {said(value[name])}" for name in in_order)


def _in_words(said: Callable[[Any], str], none: str) -> Callable[[Any], str]:
    return lambda value: listed(value, said) or none


def _share(typed: str, low: float, high: float) -> str:
    return str(number_between(typed.strip().rstrip("%").strip(), low, high, "%") / 100)


def _percent(value: Any) -> str:
    return percent(float(value))


PRICES = (
    Choice(
        RISKS,
        "Accepted risk by criticality",
        "By the register's own words of criticality; the accepted risk above holds for all others. Common"
        " practice accepts 5 % for the most critical and 10 % else, no published source.",
        "the word, a colon, 1 to 50 per cent, a semicolon between: duty: 5 %; spare: 20 %; or none",
        _named(lambda typed: _share(typed, 1, 50), "duty: 5 %"),
        _in_words(_percent, "none of its own"),
        {},
        priced=True,
        typed=_share_as_typed,
    ),
    Choice(
        CONSEQUENCES,
        "Consequence factor",
        "How much worse a pump's passing is than the usual: a factor of 2 halves its accepted risk and"
        " doubles its price. For pumps not named it follows from the register's money of a failure, against"
        " the median of the site.",
        "the pump's tag, a colon, 1 to 4: P-101: 2; P-102: 1.5; or none",
        _named(lambda typed: str(number_between(typed.strip(), 1, MOST_CONSEQUENCE, "times")), "P-101: 2"),
        _in_words(lambda value: f"{float(value):g}", "by the register's money of a failure"),
        {},
        priced=True,
        typed=str,
    ),
    Choice(
        CREW_HOUR,
        "Price of a crew hour",
        "Turns money into crew hours and back; without it every price is in crew hours. The word (such as"
        " EUR) is the one that all other prices must use.",
        "money with its word: 60 EUR",
        _crew_hour,
        lambda value: price_words(value) if value else "not stated",
        {},
        priced=True,
    ),
    Choice(
        SHELL,
        "Price of a new shell",
        "Without its fitting, whose hours are those of the work. The default is an assumption with no"
        " published source.",
        "crew hours or money: 40 h, or 2400 EUR",
        _price,
        price_words,
        str(SHELL_H),
        priced=True,
    ),
    Choice(
        OPENING,
        "Opening a pump, besides the crew's hours",
        "Crane, scaffold, seals and gaskets, once for each opening. It counts as cost, never against an"
        " outage's crew hours.",
        "crew hours or money: 4 h, or 300 EUR",
        _price,
        price_words,
        "0",
        priced=True,
    ),
    Choice(
        STOPS,
        "Stopping a pump outside its outages",
        "What a stop costs before anything is opened; decides whether “open now” is advised. Not stated: half"
        " the hours of its opening where its twin runs, else only what opening now would save is said.",
        f"the pump's tag, a colon, the price: P-101: 120 h; {ALL_OTHERS}: 900 EUR; or none",
        _named(_price, "P-101: 120 h"),
        _in_words(price_words, "not stated"),
        {},
        priced=True,
        typed=_as_typed,
    ),
    Choice(
        INFANT,
        "Openings that spoil a bearing",
        "Of 100 bearings opened and closed up, how many are spoiled by it. Counted as nothing until the plant"
        " knows.",
        "0 to 20, in per cent",
        lambda typed: _share(typed, 0, 20),
        _percent,
        "0",
        priced=True,
    ),
)


MONEYED = (SHELL, OPENING, STOPS)
LABELS = {choice.name: choice.label for choice in PRICES}
LAST = 2**62  # an entry behind all that stand


def require_one_money(name: str, value: Any, site: Site | None, from_on: dt.date | None) -> None:
    """Hold prices in money to the price of a crew hour, which alone turns them into hours: as they would
    hold from that day on, at the site, or for the plant and every site with a price of its own.

    Raises
    ------
    Refused
        where at one of them, on that day or a later one, no crew hour would be priced, or in another money,
        or the price would be more than `MOST_H` crew hours; what was so before hinders nothing.
    """
    if name not in (CREW_HOUR, *MONEYED):
        return
    day = from_on or today_in("UTC")
    stand = Setting.objects.standing().filter(name__in=(CREW_HOUR, *MONEYED)).select_related("site")
    rows = list(stand)
    new = Setting(site=site, name=name, value=value, from_on=from_on, entry_n=LAST)
    own = {row.site_id: row.site for row in rows if row.site_id}
    days = sorted({day, *(row.from_on for row in rows if row.from_on and row.from_on > day)})
    before, after = SettingsRead(rows), SettingsRead([*rows, new])
    for where in (site,) if site else (None, *own.values()):
        for on in days:
            there = f"{f' at {where.name}' if where else ''}{f' from {on} on' if on > day else ''}"
            stood = list(_unlike(before, where, on))
            for price, crew in _unlike(after, where, on):
                if (price, crew) not in stood:
                    raise Refused(_against(name, price, crew, there))


def _unlike(held: SettingsRead, site: Site | None, day: dt.date) -> Iterator[tuple[Any, Any]]:
    """Each price in money that holds at a site on a day and comes to no allowed hours, with the crew's."""
    crew = held.in_force(CREW_HOUR, site, day)
    for name in MONEYED:
        for price in _in_money(held.in_force(name, site, day)):
            is_one = bool(crew) and crew["word"] == price["word"]
            if not is_one or Decimal(price["money"]) > MOST_H * Decimal(crew["money"]):
                yield price, crew


def _against(name: str, price: Any, crew: Any, there: str) -> str:
    """What speaks against a price beside a crew hour; `name` is what was to be chosen."""
    if not crew:
        return f"No price of a crew hour holds there{there}. Give it first, or this price in crew hours."
    if crew["word"] == price["word"]:
        return (
            f"{price_words(price)}, a crew hour at {price_words(crew)}{there}, is more than"
            f" {grouped(MOST_H)} crew hours. Check both."
        )
    if name != CREW_HOUR:
        return f"A crew hour{there} is priced in {crew['word']}, this in {price['word']}. Use one money."
    return (
        f"Prices in {price['word']} stand{there} ({price_words(price)}); a crew hour in {crew['word']} cannot"
        f" be held against them. Give it in {price['word']}, or state those prices in crew hours first,"
        " for the same site and from the same day."
    )


def _in_money(value: Any) -> list[Any]:
    """What is in money of a price or of prices by name."""
    if not isinstance(value, dict):
        return []
    return [value] if "money" in value else [price for inner in value.values() for price in _in_money(inner)]


def names_of(name: str, site: Site | None) -> list[str]:
    """What a choice by name may name at a site, or at all: tags, or the register's words of criticality."""
    places = Place.objects.standing().filter(**({"site": site} if site else {}))
    if name == RISKS:
        facts = PlaceFacts.objects.standing().filter(place__in=places).exclude(criticality="")
        return sorted(set(facts.values_list("criticality", flat=True)))
    return [*places.values_list("tag", flat=True), *([ALL_OTHERS] if name == STOPS else [])]


def require_known_names(name: str, value: Any, site: Site | None) -> None:
    """Hold a choice by name to the pumps and words of criticality that are there.

    Raises
    ------
    Refused
        for a name that nothing has, with the nearest that are there.
    """
    known = names_of(name, site) if value else []
    there = {folded(one) for one in known}
    for word in value:
        if folded(word) not in there:
            what = "criticality" if name == RISKS else "pump"
            near = in_words(nearest(word, known) or known[:3])
            raise Refused(
                f"No {what} {f'at {site.name}' if site else 'of the register'} is called “{word}”."
                f" {f'Is {near} meant?' if near else 'Bring the register first.'}"
            )
