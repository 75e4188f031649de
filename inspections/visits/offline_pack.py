"""What a device takes along of each bearing, to record at it without network: limits, last facts, what is
expected, its shell, cautions, last print and what the machine's book says; and of each site how to measure.
"""

import datetime as dt
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any

from fleet.clock import today_at
from fleet.end_words import END_WORDS
from fleet.formatting import day
from fleet.measuring_methods import usual_for, words_of
from fleet.models import LimitUse, Person, Setting
from fleet.models.plant import SettingsRead
from fleet.models.recorded import IN_ORDER
from inspections.forecasts.judgement.accepted import AcceptedTrigger, accepted_triggers
from inspections.models import ContactCheck, Reading, Stage
from inspections.story.measuring_conditions import EXCEPTIONS
from inspections.story.uncertainty import spreads
from inspections.visits import open_bearing
from inspections.visits.cautions import cautions_for
from inspections.visits.contact_facts import criteria_for, shell_record
from inspections.visits.expectations import NEW_METAL, Before, before_many, expected_for, held_for, last_at
from inspections.visits.forms import write_cells
from inspections.visits.machine_book import MachineBook, book_of, book_unit
from inspections.visits.method_cards import ApprovedCard, approved
from inspections.visits.shell_words import for_device
from inspections.visits.stations import Station, planned_stations, stations_of
from inspections.visits.trigger_at_pump import by_trigger, opening_of, scrape_limit_um, under_plan
from inspections.visits.word_at_pump import MEASURE


@dataclass(frozen=True)
class Pack:
    """What a device takes along of one site: its bearings in the order given, and its approved cards."""

    bearings: list[dict[str, Any]]
    cards: list[dict[str, Any]]


def packed(bearings: list[Any]) -> Pack:
    """Bearings of one site as the device keeps them; a card goes along once for all of them."""
    site = bearings[0].place.site
    today = today_at(site)
    settings = SettingsRead(Setting.objects.of(site.pk))
    cards, books = _cards_and_books(bearings, today, settings)
    rows = packed_bearings(bearings, today, settings)
    return Pack([row | {"book": books.get(row["id"])} for row in rows], cards)


Card = dict[str, Any]


def _cards_and_books(
    bearings: list[Any], today: dt.date, settings: SettingsRead
) -> tuple[list[Card], dict[str, Card]]:
    """A site's approved cards, and by bearing what is entered of the machine's book; each with author and
    day.
    """
    cards = approved(bearings[0].place.site, today, settings.rows)
    books = {str(one.pk): book_of(one, today, settings.rows) for one in bearings}
    authors = {card.by for card in cards.values()} | {book.by for book in books.values() if book.by}
    people = Person.objects.filter(pk__in=authors) if authors else []
    names = {one.pk: str(one) for one in people}
    return (
        [
            {"method": name, "words": words_of(name), **asdict(one.card), **_since(one, names)}
            for name, one in cards.items()
        ],
        {pk: {"lines": book.lines, **_since(book, names)} for pk, book in books.items() if book.lines},
    )


def _since(one: ApprovedCard | MachineBook, names: Mapping[Any, str]) -> dict[str, str]:
    return {"by": names.get(one.by, ""), "on": day(one.on) if one.on else ""}


def packed_bearings(bearings: list[Any], today: dt.date, settings: SettingsRead) -> list[dict[str, Any]]:
    """Bearings of one site as the device keeps them, in the order given, without their books."""
    known = before_many(bearings, today)
    trust = {str(name): spread.sd_um for name, spread in spreads(today, settings).items()}
    usual = _usual(bearings) | {"stations": planned_stations(bearings[0].place.site, today, settings)}
    cautions, prints = cautions_for(bearings[0].place.site, today, settings).first, _last_prints(bearings)
    planned = accepted_triggers(bearings)
    held = open_bearing.for_device(bearings[0].place.site, today, settings)
    held["criteria"] = criteria_for(bearings[0].place.site_id, today).as_dict()
    return [
        _packed(one, known[one.pk], today, trust, usual)
        | {"cautions": cautions, "print": prints.get(one.pk)}
        | _opening(
            known[one.pk],
            today,
            book_unit(known[one.pk].known) or usual.get(one.pk, usual[None])[0],
            planned.get(one.pk),
        )
        | held
        for one in bearings
    ]


def _opening(
    known: Before, today: Any, unit: str, planned: AcceptedTrigger | None
) -> dict[str, str | float | None]:
    """What stands at this opening in words, and the reading from which a shell is not scraped."""
    limit = known.known.limits.get(LimitUse.REPLACE)
    replace_um = float(limit.value_um) if limit and limit.value_um is not None else None
    opening = under_plan(opening_of(known.judgement, today, replace_um=replace_um), planned)
    return {
        "opening": opening.words(unit),
        "scrape_limit_um": scrape_limit_um(opening),
        "measure_first": by_trigger(opening, None)(True).word == MEASURE,
        "wrong_limit": opening.wrong_limit,
    }


def _last_prints(bearings: list[Any]) -> dict[Any, Any]:
    """The last contact print of each bearing: its cells, what it said, its day."""
    rows = ContactCheck.objects.standing().filter(event__bearing__in=bearings).select_related("event")
    found = {}
    for one in rows.order_by("event__on", "round", "entry_n"):
        if cells := one.pattern.get("cells"):
            found[one.event.bearing_id] = {
                "cells": write_cells(cells),
                "said": one.conditions.get("headline", ""),
                "on": one.event.on.isoformat(),
                "half": one.half,
                "left": END_WORDS["in" if one.pattern.get("first_end") == "in" else "out"],
            }
    return found


def _usual(bearings: list[Any]) -> dict[Any, Any]:
    """Unit and method of the last reading of each bearing; under None that of the site."""
    rows = Reading.objects.standing().filter(bearing__in=bearings, quantity="clearance")
    found: dict[Any, Any] = {None: ("mm", usual_for("clearance"))}
    for pk, unit, method in rows.order_by("on", *IN_ORDER).values_list("bearing_id", "unit", "method"):
        found[pk] = found[None] = (unit, method)
    return found


def _packed(
    bearing: Any, known: Before, today: Any, trust: dict[Any, Any], usual: dict[Any, Any]
) -> dict[str, Any]:
    facts = known.known.facts
    limits = {
        ("clearance", str(use)): float(one.value_um)
        for use, one in known.known.limits.items()
        if one.value_um is not None
    }
    last_unit, method = usual.get(bearing.pk, usual[None])
    stages = ((Stage.AS_FOUND, ""), (Stage.AS_LEFT, ""), (Stage.AS_LEFT, NEW_METAL))
    new = expected_for(known, limits, Stage.AS_LEFT, NEW_METAL, None)
    journal = facts.journal_diameter_um if facts else None
    return {
        "expected_new": vars(new) if new else None,
        "id": str(bearing.pk),
        "pump": bearing.place.tag,
        "position": bearing.name,
        "site": bearing.place.site.name,
        "unit": book_unit(known.known) or last_unit,
        "method": method,
        "sd": trust,
        "exceptions": {name: sd for name, (_, sd) in EXCEPTIONS.items()},
        "step": known.step,
        **for_device(facts),
        "shell": asdict(shell_record(known, trust)),
        "held": {
            f"{stage} {work}".strip(): vars(held_for(limits, stage, work, journal_um=journal))
            for stage, work in stages
        },
        "stations": [
            _station(known, limits, one) for one in stations_of(known.known.story, usual["stations"])
        ],
    }


def _station(known: Before, limits: dict[tuple[str, str], float], where: Station) -> dict[str, Any]:
    last = last_at(known.known, where)
    expected = expected_for(known, limits, Stage.AS_FOUND, "", None)
    return {
        "key": where.key,
        "words": where.words,
        "last_um": last.value_um if last else None,
        "expected": vars(expected) if expected else None,
    }
