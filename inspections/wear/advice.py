"""What to do at the next outage, and why; rules in the order they are stated for people outside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

OUTCOMES = ("no_limit", "cannot_say", "fleet_only", "past_limit", "misfit", "ok")
ADVICE = ("leave", "open", "scrape", "replace")
REASONS = (
    "no_limit",  # neither limit is stated
    "cannot_say",  # the fleet is too young
    "fleet_only",  # no usable reading of its own, or a fit that failed
    "misfit",  # readings do not follow steady wear
    "surprising_reading",  # the last reading does not fit the ones before
    "old_reading",  # the last reading is older than two outages and the chance is near the accepted risk
    "replace_limit",  # the plant's replace limit is reached by the next outage more likely than not
    "maximum_risk",  # the chance of passing the maximum before the following outage is above the accepted one
    "scrape_refused",  # a scrape is owed and this shell must not be scraped, or nobody has said that it may
    "scrape_no_room",  # a scrape is owed and would not fit below the maximum
    "contact_open",  # the last contact check asks for scraping
    "within_risk",  # nothing asks for work
)
REPLACE_FROM = ("plant", "derived", "lining", "no_room", "")


def outcomes(
    *,
    has_limit: NDArray[np.bool_],
    young: NDArray[np.bool_],
    alone: NDArray[np.bool_],
    past: NDArray[np.bool_],
    misfit: NDArray[np.bool_],
) -> NDArray[np.int8]:
    """(B,) the first outcome that holds."""
    return np.select([~has_limit, young, alone, past, misfit], [0, 1, 2, 3, 4], default=5).astype(np.int8)


def advise(
    *,
    outcome: NDArray[np.int8],
    surprising: NDArray[np.bool_],
    age_outages: NDArray[np.float64],
    p_following: NDArray[np.float64],
    p_replace_next: NDArray[np.float64],
    plant_replace: NDArray[np.bool_],
    no_room: NDArray[np.bool_],
    scrape_owed: NDArray[np.bool_],
    scrapeable: NDArray[np.bool_],
    accepted_risk: float,
    misfit: NDArray[np.bool_],
) -> tuple[NDArray[np.int8], NDArray[np.int8]]:
    """(B,) codes into ADVICE and REASONS: the first rule that holds.

    p_following: chance that the maximum is passed before the outage after the next; p_replace_next: that
    the plant's replace limit is reached by the next. Scraping answers a contact finding, never a clearance.
    """
    near = (p_following >= 0.5 * accepted_risk) & (p_following <= 2.0 * accepted_risk)
    rules = [
        (outcome == 0, "leave", "no_limit"),
        (outcome == 1, "open", "cannot_say"),
        (outcome == 2, "open", "fleet_only"),
        (misfit, "open", "misfit"),
        (surprising, "open", "surprising_reading"),
        ((age_outages > 2.0) & near, "open", "old_reading"),
        (plant_replace & (p_replace_next >= 0.5), "replace", "replace_limit"),
        (p_following > accepted_risk, "replace", "maximum_risk"),
        (scrape_owed & ~scrapeable, "open", "scrape_refused"),
        (scrape_owed & no_room, "replace", "scrape_no_room"),
        (scrape_owed, "scrape", "contact_open"),
    ]
    holds = [rule[0] for rule in rules]
    word = np.select(holds, [ADVICE.index(rule[1]) for rule in rules], default=0)
    why = np.select(holds, [REASONS.index(rule[2]) for rule in rules], default=len(REASONS) - 1)
    return word.astype(np.int8), why.astype(np.int8)
