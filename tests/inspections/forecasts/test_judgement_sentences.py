"""Every state of a bearing in its one sentence, with the limit and the numbers that decide."""

import datetime as dt
import re
from dataclasses import replace

import pytest

from inspections.forecasts.judgement.judgement_sentence import WORDS, Standing, sentence

TODAY = dt.date(2026, 11, 27)
MAY, OCTOBER, APRIL = dt.date(2027, 5, 8), dt.date(2028, 10, 2), dt.date(2028, 4, 3)
BASE = Standing(
    "open",
    "cost",
    TODAY,
    limit_um=345.0,
    new_um=180.0,
    last_um=268.0,
    last_on=dt.date(2026, 10, 17),
    past_now=0.01,
    opened_on=MAY,
    next_on=MAY,
    past=0.03,
    trigger_um=287.0,
    trigger_is="reading",
    scrape_from_um=275.0,
    new=0.41,
)
STATES = {
    "open, the reading decides": (
        {"shell": "SL-350"},
        (
            "Open in May 2027 and look: replace from 287 µm; 4 in 10 it will be; if it must be scraped,"
            " replace from 275 µm; have one SL-350 ready."
        ),
    ),
    "open, by the plant's limit": (
        {"trigger_um": 240.0, "trigger_from": "plant", "scrape_from_um": None},
        "Open in May 2027 and look: replace from 240 µm, the plant's own limit; 4 in 10 it will be.",
    ),
    "open, a scraped shell from the same reading": (
        {"scrape_from_um": 286.8},
        "Open in May 2027 and look: replace from 287 µm; 4 in 10 it will be.",
    ),
    "open, no room to scrape": (
        {"no_room": True},
        "Open in May 2027 and look: replace from 287 µm; 4 in 10 it will be; no room to scrape.",
    ),
    "open, nothing expected": (
        {"trigger_is": "never", "trigger_um": None, "new": 0.0},
        (
            "Open in May 2027 and look: no reading that may be expected asks for a new shell (maximum of 345"
            " µm)."
        ),
    ),
    "open, hardly any reading asks for it": (
        {"new": 0.004, "scrape_from_um": None},
        "Open in May 2027 and look: replace from 287 µm, which is not expected (under 1 in 100).",
    ),
    "open beside its neighbour": (
        {"why": "beside", "scrape_from_um": None},
        "Open in May 2027 with its pump, and look: replace from 287 µm; 4 in 10 it will be.",
    ),
    "open beside a contact finding": (
        {"why": "contact", "scrape_from_um": None},
        (
            "Open in May 2027 with its pump, where a contact finding waits, and look: replace from 287 µm; 4"
            " in 10 it will be."
        ),
    ),
    "replacement expected": (
        {"new": 0.97, "trigger_um": 222.0},
        (
            "Open in May 2027, replacement expected (from 222 µm, more than 9 in 10); if it reads under 222"
            " µm, measure again and call the engineer."
        ),
    ),
    "replacement expected whatever it reads": (
        {"new": 1.0, "trigger_um": None, "trigger_is": "always"},
        (
            "Open in May 2027, replacement expected whatever it reads (measured 268 µm on 17 Oct 2026,"
            " maximum of 345 µm)."
        ),
    ),
    "leave closed": (
        {"word": "leave", "opened_on": OCTOBER},
        "Leave closed until October 2028; until then 3 in 100 to pass its maximum of 345 µm.",
    ),
    "leave closed, no outage known": (
        {"word": "leave", "opened_on": OCTOBER, "is_known": False, "past": 0.001},
        (
            "Leave closed until October 2028 (no outage is recorded there: the usual interval); until then"
            " under 1 in 100 to pass its maximum of 345 µm."
        ),
    ),
    "placed later than wanted": (
        {"opened_on": OCTOBER, "wanted_on": MAY, "waiting_h": 12.0, "past": 0.06, "scrape_from_um": None},
        (
            "Open in October 2028; wanted in May 2027, moved for crew hours; waiting costs 12 h and 6 in 100"
            " to pass its maximum of 345 µm. Replace from 287 µm; 4 in 10 it will be."
        ),
    ),
    "placed later than wanted, replacement expected whatever it reads": (
        {
            "why": "past",
            "opened_on": OCTOBER,
            "wanted_on": MAY,
            "moved_for": "shells",
            "waiting_h": 395.0,
            "past": 1.0,
            "last_um": 353.0,
            "trigger_is": "always",
            "trigger_um": None,
            "new": 1.0,
        },
        (
            "Open in October 2028; wanted in May 2027, moved for shells; waiting costs 395 h and more than 9"
            " in 10 to pass its maximum of 345 µm. Replacement expected whatever it reads (measured 353 µm"
            " on 17 Oct 2026, maximum of 345 µm)."
        ),
    ),
    "misfit placed later than wanted": (
        {
            "word": "engineer",
            "why": "misfit",
            "opened_on": OCTOBER,
            "next_on": OCTOBER,
            "wanted_on": MAY,
            "moved_for": "shells",
        },
        (
            "Cannot say: the engineer decides. Its readings do not follow steady wear, so its dates are not"
            " to be trusted and no trigger is given; open in October 2028 (wanted in May 2027, moved for"
            " shells) and look (measured 268 µm on 17 Oct 2026, maximum of 345 µm)."
        ),
    ),
    "contact stands open": (
        {"why": "contact", "contact_open": True},
        "Open in May 2027: a contact finding waits; scrape if found below 275 µm, else replace.",
    ),
    "contact stands open without room": (
        {"why": "contact", "contact_open": True, "no_room": True},
        (
            "Open in May 2027: a contact finding waits; no room to scrape below its maximum of 345 µm: ask"
            " the engineer."
        ),
    ),
    "past its maximum, measured": (
        {"word": "decide_now", "why": "past", "last_um": 353.0, "next_on": APRIL, "past_now": 0.9},
        (
            "Over its maximum of 345 µm: measured 353 µm on 17 Oct 2026; next outage April 2028. Decide now:"
            " run on with checks, or open."
        ),
    ),
    "past its maximum, believed, with the price": (
        {
            "word": "decide_now",
            "why": "past",
            "next_on": APRIL,
            "past_now": 0.6,
            "stopping_h": 44.0,
            "stop_h": 120.0,
        },
        (
            "Past its maximum of 345 µm with a chance of 6 in 10: measured 268 µm on 17 Oct 2026; next outage"
            " April 2028. Decide now: run on with checks, or open (about 44 h of later cost saved; a stop"
            " here costs 120 h)."
        ),
    ),
    "past, never measured, no outage": (
        {"word": "decide_now", "why": "past", "last_um": None, "next_on": None, "past_now": 0.55},
        (
            "Past its maximum of 345 µm with a chance of 6 in 10: never measured; no outage recorded. Decide"
            " now: run on with checks, or open."
        ),
    ),
    "opening early pays": (
        {"word": "decide_now", "why": "early", "next_on": APRIL, "past": 0.3, "stopping_h": 44.0},
        (
            "Decide now: run on or open before the outage of April 2028 (about 44 h of later cost saved; the"
            " cost of a stop here is not stated); until then 3 in 10 to pass its maximum of 345 µm (measured"
            " 268 µm on 17 Oct 2026)."
        ),
    ),
    "no limit": (
        {"word": "set_limit", "why": "no_maximum", "limit_um": None},
        (
            "Set a limit: neither a maximum nor a replace limit stands, so there is nothing to decide by"
            " (measured 268 µm on 17 Oct 2026)."
        ),
    ),
    "wrong bore": (
        {"word": "set_limit", "why": "no_life", "limit_um": 170.0},
        (
            "Set a limit: its maximum of 170 µm does not lie above its fitted clearance of 180 µm; one of the"
            " two, or the bore, is wrong."
        ),
    ),
    "misfit": (
        {"word": "engineer", "why": "misfit"},
        (
            "Cannot say: the engineer decides. Its readings do not follow steady wear, so its dates are not"
            " to be trusted and no trigger is given; open in May 2027 and look (measured 268 µm on 17 Oct"
            " 2026, maximum of 345 µm)."
        ),
    ),
    "too young a fleet": (
        {"word": "engineer", "why": "young"},
        (
            "Cannot say: the engineer decides. The fleet has fewer than three lives with two readings each;"
            " the plant's present programme stands. A reading in May 2027 helps to start one (measured 268 µm"
            " on 17 Oct 2026)."
        ),
    ),
    "a replace limit stands in": (
        {"word": "leave", "opened_on": OCTOBER, "limit_from": "replace"},
        "Leave closed until October 2028; until then 3 in 100 to pass its replace limit of 345 µm.",
    ),
    "the outage is near": (
        {"opened_on": dt.date(2026, 12, 3), "scrape_from_um": None},
        "Open on 3 December 2026 and look: replace from 287 µm; 4 in 10 it will be.",
    ),
}


@pytest.mark.parametrize("state", STATES)
def test_every_state_speaks_in_the_unit_of_the_machines_book(state):
    standing = replace(BASE, **STATES[state][0])
    assert "µm" not in sentence(replace(standing, unit="thou"))
    assert sentence(standing).count("µm") == sentence(replace(standing, unit="thou")).count("thou")


@pytest.mark.parametrize(("changes", "said"), STATES.values(), ids=STATES)
def test_each_state_says_what_stands_and_what_to_do(changes, said):
    assert sentence(replace(BASE, **changes)).replace("\u00a0", " ") == said


def test_every_word_of_the_list_is_said_in_some_state():
    assert {changes.get("word", "open") for changes, _ in STATES.values()} == set(WORDS)


@pytest.mark.parametrize(("changes", "said"), STATES.values(), ids=STATES)
def test_no_state_repeats_already_or_writes_a_chance_in_another_way(changes, said):
    text = sentence(replace(BASE, **changes))
    assert "already" not in text and "%" not in text and " of 10" not in text and "None" not in text
    for found in re.findall(r"\d+ in (\d+)", text):
        assert found in ("10", "100")


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({}, "Open in the outage that runs and look: replace from 287 µm"),
        ({"new": 0.95}, "Open in the outage that runs, replacement expected"),
        (
            {"last_on": dt.date(2026, 11, 25), "scrape_from_um": None},
            (
                "Looked at in the outage that runs (measured 268 µm on 25 Nov 2026); its pump is wanted there"
                " for another bearing: replace from 287 µm; 4 in 10 it will be."
            ),
        ),
        ({"wanted_on": TODAY, "opened_on": MAY, "next_on": MAY}, "wanted in the outage that runs, moved for"),
        (
            {"word": "decide_now", "why": "past", "last_um": 353.0},
            "measured 353 µm on 17 Oct 2026; an outage runs. Decide now: run on with checks, or open",
        ),
        ({"word": "decide_now", "why": "early"}, "Decide now: run on or open before the outage that runs"),
        ({"word": "engineer", "why": "misfit"}, "open in the outage that runs and look"),
        (
            {"word": "engineer", "why": "misfit", "open_since": dt.date(2026, 11, 26)},
            "no trigger is given; open since 26 Nov 2026 (measured 268 µm on 17 Oct 2026",
        ),
        (
            {"open_since": dt.date(2026, 11, 26), "last_on": dt.date(2026, 11, 27)},
            "Open since 26 Nov 2026: measuring goes on (measured 268 µm on 27 Nov 2026, maximum of 345 µm).",
        ),
    ],
)
def test_an_outage_under_way_is_said_to_run_not_to_begin_on_a_day_gone_by(changes, said):
    begun = {"opened_on": dt.date(2026, 11, 24), "next_on": dt.date(2026, 11, 24)}
    assert said in sentence(replace(BASE, **begun | changes)).replace("\u00a0", " ")
