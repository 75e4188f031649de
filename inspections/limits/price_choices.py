"""What a decision counts with, as a plant chooses it: risk and consequence, and the prices of a shell, an
opening and a stop, in crew hours or in money.
"""

import datetime as dt
import re
from collections.abc import Callable
from decimal import Decimal
from typing import Any

from fleet.clock import today_in
from fleet.formatting import grouped, hours, percent
from fleet.models import Setting, Site
from fleet.plant.acts import Refused
from inspections.forecasts.judgement.plant import (
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
from inspections.limits.choice import Choice, number_between
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


def _listed(said: Callable[[Any], str], none: str) -> Callable[[Any], str]:
    return lambda value: "; ".join(f"{name}: {said(one)}" for name, one in value.items()) or none


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
        _listed(_percent, "none of its own"),
        {},
        priced=True,
    ),
    Choice(
        CONSEQUENCES,
        "Consequence factor",
        "How much worse a pump's passing is than the usual: a factor of 2 halves its accepted risk and"
        " doubles its price. For pumps not named it follows from the register's money of a failure, against"
        " the median of the site.",
        "the pump's tag, a colon, 1 to 4: P-101: 2; P-102: 1.5; or none",
        _named(lambda typed: str(number_between(typed.strip(), 1, MOST_CONSEQUENCE, "times")), "P-101: 2"),
        _listed(lambda value: f"{float(value):g}", "by the register's money of a failure"),
        {},
        priced=True,
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
        _listed(price_words, "not stated"),
        {},
        priced=True,
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


def require_one_money(name: str, value: Any, site: Site | None, from_on: dt.date | None) -> None:
    """Hold a choice in money to the price of a crew hour, which alone turns it into hours.

    Raises
    ------
    Refused
        where none holds at the site from that day, or it is in another money; likewise for a crew hour in
        another money than prices that stand.
    """
    day = from_on or today_in("UTC")
    stands = Setting.objects.standing()
    if name == CREW_HOUR:
        of_site = Setting.objects.of(site) if site else stands
        others = [row.value for row in of_site.filter(name__in=(SHELL, OPENING, STOPS))]
        foreign = sorted({word for other in others for word in _moneys(other)} - {value["word"]})
        if foreign:
            raise Refused(
                f"Prices in {', '.join(foreign)} stand; a crew hour in {value['word']} cannot be held against"
                f" them. Give it in {foreign[0]}, or state those prices in crew hours first."
            )
        return
    crew = Setting.objects.in_force(CREW_HOUR, site, day)
    for word in sorted(_moneys(value)):
        if not crew:
            raise Refused("No price of a crew hour holds there. Give it first, or this price in crew hours.")
        if crew["word"] != word:
            raise Refused(f"A crew hour is priced in {crew['word']}, this in {word}. Use one money.")


def _moneys(value: Any) -> set[str]:
    """The words of money in a price or in prices by name."""
    if not isinstance(value, dict):
        return set()
    if "money" in value:
        return {value["word"]}
    return {word for inner in value.values() for word in _moneys(inner)}
