"""What a device says of an open bearing without network: the same steps and words as
inspections/visits/open_bearing.py and word_at_pump.py.
"""

import pytest

from inspections.models import EFFECTS
from tests.page_scripts import PageScripts

SCRAPE, SHIMS, NEW = ({"work": kind} for kind in ("scrape", "shim_change", "shell_change"))
OVER = {"um": 320, "sd": 6, "word": "over", "words": "pump end", "shown": "0.320 mm", "entry": "a"}
INSIDE = {**OVER, "um": 205, "word": "inside", "shown": "0.205 mm"}
TIGHT = {**OVER, "um": 120, "word": "too tight", "shown": "0.120 mm"}
UNLIKELY = {**INSIDE, "asked": True}
BOUND = {**INSIDE, "um": None, "shown": "<0.25 mm"}
FOUND, LEFT, PRINT = "as_found in-12", "as_left in-12", "print 3"
BEARING = {"may_scrape": True, "scrape_limit_um": 280}


def a_print(outcome, half="lower"):
    return {"cells": ".", "fields": {"half": half}, "print": {"outcome": outcome}}


@pytest.fixture(scope="module")
def device():
    scripts = PageScripts("open_bearing.js")
    scripts.evaluate("(effects) => { globalThis.rules = openBearing(effects); }", EFFECTS)
    yield scripts
    scripts.close()


def again(reading):
    return {**reading, "again": "a", "entry": "b"}


@pytest.mark.parametrize(
    ("done", "words"),
    [
        ({FOUND: INSIDE}, ""),
        ({FOUND: OVER}, "Measure again, by another hand or method: as found, pump end, 0.320 mm, over."),
        (
            {FOUND: again(OVER)},
            "Outside its limits, measured again and still so: as found, pump end, 0.320 mm, over. Do not"
            " close up on it before the engineer has signed. Ring: 4711.",
        ),
        ({FOUND: again(OVER), "work 2": NEW}, ""),
        ({FOUND: again(OVER), "work 2": SHIMS}, ""),
        (
            {FOUND: OVER, "work 2": SCRAPE},
            "Measure again, by another hand or method: as found, pump end, 0.320 mm, over.",
        ),
        ({FOUND: again(TIGHT), "scrape 2": SCRAPE}, ""),
        (
            {FOUND: UNLIKELY},
            "Measure again, by another hand or method: as found, pump end, 0.205 mm, not what was expected.",
        ),
        ({FOUND: again(UNLIKELY)}, ""),
        ({FOUND: UNLIKELY, "work 2": NEW}, ""),
    ],
)
def test_a_device_holds_only_what_still_lies_there_and_asks_for_a_second_reading_first(device, done, words):
    assert device.evaluate("(state) => rules.outsideWords(state, '4711')", {"done": done}) == words


def test_a_reading_doubted_on_an_earlier_page_stays_so(device):
    state = {"again": "a", "done": {FOUND: INSIDE}}
    assert device.evaluate("(state) => rules.doubted(state).length", state) == 1


@pytest.mark.parametrize(
    ("done", "more", "word"),
    [
        ({}, {}, ""),
        ({}, {"may_scrape": False}, "-"),
        # Before any print only damage and a reading outside its limits speak against it.
        ({FOUND: UNLIKELY}, {}, ""),
        ({FOUND: BOUND}, {}, ""),
        ({FOUND: INSIDE}, {"scrape_limit_um": 0}, ""),
        ({FOUND: OVER}, {}, "Measure again"),
        ({FOUND: again(OVER)}, {}, "Replace"),
        ({FOUND: again(OVER)}, {"wrong_limit": "Its maximum is wrong."}, "Ask the engineer"),
        ({FOUND: again(TIGHT)}, {"wrong_limit": "Its maximum is wrong."}, "Hold"),
        ({FOUND: again(TIGHT)}, {}, "Hold"),
        ({FOUND: again(OVER), "work 2": NEW}, {}, ""),
        ({FOUND: again(TIGHT), PRINT: a_print("measure")}, {}, "Hold"),
        ({FOUND: TIGHT, PRINT: a_print("measure")}, {}, "Measure again"),
        # After a print.
        ({FOUND: INSIDE, PRINT: a_print("scrape")}, {}, ""),
        ({FOUND: INSIDE, PRINT: a_print("acceptable")}, {}, "-"),
        ({FOUND: UNLIKELY, PRINT: a_print("scrape")}, {}, "Measure again"),
        ({FOUND: BOUND, PRINT: a_print("scrape")}, {}, "Measure again"),
        ({FOUND: BOUND, PRINT: a_print("scrape")}, {"scrape_limit_um": None}, ""),
        ({FOUND: {**INSIDE, "um": 290}, PRINT: a_print("scrape")}, {}, "Ask the engineer"),
        ({PRINT: a_print("scrape")}, {"measure_first": True}, "Measure again"),
        ({PRINT: a_print("scrape")}, {"measure_first": False}, ""),
        ({PRINT: a_print("scrape"), "print 4": a_print("repeat", "upper")}, {}, "Repeat the print"),
        ({PRINT: a_print("scrape"), "print 4": a_print("seat", "upper")}, {}, "Ask the engineer"),
        ({PRINT: a_print("scrape"), "scrape 4": SCRAPE}, {}, "Repeat the print"),
        ({PRINT: a_print("scrape")}, {"may_scrape": False}, "Ask the engineer"),
        ({PRINT: a_print("scrape"), "work 4": NEW}, {}, ""),
        # Kept by an earlier version of the page: nothing has read it yet.
        ({FOUND: INSIDE, "print 2": {"shown": "Print"}}, {}, "Wait for the site"),
    ],
)
def test_scraping_is_a_step_on_a_device_where_it_is_one_on_the_site(device, done, more, word):
    """The word that stands before scraping; empty where it is a step, "-" where no print asks for it."""
    said = device.evaluate(
        "([bearing, state]) => rules.mayScrape(bearing, state) ? '' : rules.against(bearing, state) || '-'",
        [{**BEARING, **more}, {"done": done}],
    )
    assert said == word


def test_a_print_that_an_earlier_page_kept_is_one_that_waits(device):
    state = {"done": {"print 2": {"shown": "Print"}}}
    assert device.evaluate("(state) => rules.unread(state)", state) is True
    prints = device.evaluate("(state) => rules.standingPrints(state)", state)
    assert [one["half"] for one in prints] == ["lower"]


def test_a_print_read_late_is_read_with_what_was_known_when_it_was_taken(device):
    """Measured again, scraped and measured as left after it: none of that lay there when it printed."""
    first = {**INSIDE, "n": 1}
    state = {
        "done": {
            FOUND: {**again(INSIDE), "um": 260, "n": 4, "was": [{"um": 205, "method": "feeler", "n": 1}]},
            "as_found out-12": {**first, "um": 198, "n": 2},
            PRINT: {**a_print("acceptable"), "n": 3},
            "scrape 5": {**SCRAPE, "n": 5},
            LEFT: {**first, "um": 240, "n": 6},
            "print 7": {"cells": "+", "fields": {}, "n": 7},
        }
    }
    known = "([state, key]) => { const { readings, works, prints } = rules.before(state, key); return "
    known += "[readings.map(([name, { um }]) => [name, um]), works, prints.length]; }"
    assert device.evaluate(known, [state, PRINT]) == [[[FOUND, 205], ["as_found out-12", 198]], [], 0]
    readings = [[FOUND, 260], ["as_found out-12", 198], [LEFT, 240]]
    assert device.evaluate(known, [state, "print 7"]) == [readings, ["scrape"], 1]


def test_what_an_earlier_page_kept_is_told_by_its_place(device):
    state = {"done": {FOUND: INSIDE, PRINT: a_print("acceptable"), LEFT: INSIDE, "scrape 4": SCRAPE}}
    known = "([state, key]) => rules.before(state, key).readings.map(([name]) => name)"
    assert device.evaluate(known, [state, PRINT]) == [FOUND]
