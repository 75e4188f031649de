"""A forecast in words: its dates with their chances, what it rests on, what is advised and why. Never a bare
date.
"""

import datetime as dt
from collections.abc import Mapping
from typing import Any

from django.utils.html import format_html, format_html_join
from django.utils.safestring import SafeString

from fleet.formatting import chance, counted, day, day_words, percent, um
from fleet.slip_factors import MIXED
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.sudden_failures import NO_CLASS, failures_words
from inspections.wear.forecast import DOUBTFUL

LIMIT_WORDS = {
    "plant": "its replace-rather-than-scrape limit",
    "derived": "its replace-rather-than-scrape limit",
    "lining": "the least lining it may have",
    "no_room": "its in-service maximum",
}


def dates_sentence(figures: Figures, today: dt.date) -> SafeString:
    """The dates in words, or why there is none and what would help."""
    outcome = figures["outcome"]
    if outcome == "no_limit":
        return format_html(
            "{}",
            "No date: neither an in-service maximum nor a replace limit is set for this bearing. Set one to"
            " see when it is reached.",
        )
    if outcome == "cannot_say":
        return format_html("{}", _cannot_say(figures))
    limit = LIMIT_WORDS.get(figures["replace_limit_from"] or "", "its limit")
    if outcome == "past_limit":
        return format_html("<b>Has passed</b> {}: {}.", _passed_limit(figures), _chance_now(figures))
    if figures.is_beyond("replace_date_p10"):
        return format_html(
            "Reaches {} with a 1 in 10 chance only <b>beyond 40 years</b> at the present rate.", limit
        )
    if (first := figures.day("replace_date_p10")) is not None and first <= today:
        return format_html(
            "May have reached {}: the <b>chance that it has is {}</b>{}.",
            limit,
            chance(figures["p_replace_now"]),
            _still_to_come(figures, today),
        )
    return format_html(
        "Reaches {} with a <b>1 in 10 chance {}</b>, an <b>even chance {}</b>, 9 in 10 {}.",
        limit,
        _by(figures, "p10", today),
        _by(figures, "p50", today),
        _by(figures, "p90", today),
    )


def _passed_limit(figures: Figures) -> str:
    if (figures["p_max_now"] or 0.0) >= 0.5:
        return f"its in-service maximum of {um(figures['in_service_max_um'])}"
    return f"the plant's replace limit of {um(figures['replace_limit_um'])}"


def _chance_now(figures: Figures) -> str:
    share = figures["p_max_now"] if (figures["p_max_now"] or 0.0) >= 0.5 else figures["p_replace_now"]
    return f"the chance that it has is {chance(share)}"


def _still_to_come(figures: Figures, today: dt.date) -> SafeString:
    """The even chance and 9 in 10 where their days lie ahead; nothing of those that have gone by."""
    ahead = [
        format_html(words, _by(figures, quantile, today))
        for quantile, words in (("p50", "; an <b>even chance {}</b>"), ("p90", "; 9 in 10 {}"))
        if (when := figures.day(f"replace_date_{quantile}")) is None or when > today
    ]
    return format_html_join("", "{}", ((words,) for words in ahead))


def _by(figures: Figures, quantile: str, today: dt.date) -> str:
    name = f"replace_date_{quantile}"
    if figures.is_beyond(name):
        return "beyond 40 years"
    when = figures.day(name)
    if when is None:
        return "at a date not known"
    return f"before {day_words(when, today)}"


def _cannot_say(figures: Figures) -> str:
    n = figures["readings"]
    own = "no reading" if not n else counted(n, "reading")
    return (
        f"Cannot say yet: {own} here, and the fleet holds fewer than three lives with two readings each. "
        "One more reading at the next opening would help."
    )


def rests_on(figures: Figures) -> str:
    """How much of the forecast is this bearing's own evidence."""
    share, n = figures["own_evidence"], figures["readings"]
    if figures["outcome"] in ("no_limit", "cannot_say"):
        return ""
    if not n or share is None:
        return "It has no usable reading of its own: this comes from the fleet alone."
    source = "its class" if figures["class"] else "the fleet"
    own = f"{counted(n, 'reading')}, the last of {day(figures.day('last_reading_on'))}"
    if share >= 0.85:
        words = f"nearly all this bearing's own ({own})"
    elif share >= 0.6:
        words = f"mostly this bearing's own readings ({own}), the rest {source}"
    elif share >= 0.4:
        words = f"half this bearing's own readings ({own}), half {source}"
    elif share >= 0.15:
        words = f"mostly that of {source}; {percent(share)} is this bearing's own ({own})"
    else:
        words = f"nearly all that of {source}: its own readings ({own}) show little yet"
    return f"What is believed of its wear is {words}."


def slip_sentence(figures: Figures) -> str:
    """What the last reading may have been, where it surprises."""
    factor = figures["slip_factor"]
    if factor is None:
        return ""
    nearest = min(MIXED, key=lambda known: abs(known - factor))
    likely = MIXED[nearest] if abs(nearest - factor) < 0.05 * nearest else "a slip"
    return f"The last reading may be {likely}. A second reading, or an engineer's word, settles it."


UNWRITTEN = ("a new shell", "another gauge or way of measuring", "a wrong reading")
SURE_OF_NOTHING = 0.9  # chance of no change from which nothing is asked


def unwritten_sentence(figures: Figures) -> str:
    """Where a clearance fell with nothing written: what is likeliest there, and the question to the person
    who knows.
    """
    chances = figures["unwritten"]
    if not chances or chances[2] >= SURE_OF_NOTHING:
        return ""
    order = sorted(range(3), key=lambda k: -chances[k])
    first, second, third = (UNWRITTEN[k] for k in order)
    shares = " to ".join(f"{100 * chances[k]:.0f}" for k in order)
    until, began = figures.day("unwritten_until"), figures.day("unwritten_from")
    when = f"Between {day(began)} and {day(until)}" if began else f"Before {day(until)}"
    surprises = figures["surprise"] is not None and figures["surprise"] < DOUBTFUL
    dates = "the earliest of its dates is shown" if surprises else "the dates keep the doubt"
    return (
        f"{when} the clearance fell and nothing is written: {first} is likelier than {second} or {third}"
        f" ({shares}). Was the shell changed then? Record what was done; until then {dates}."
    )


def gauge_sentence(figures: Figures) -> str:
    """Which of its readings a gauge took that disagrees with its peers, and what the dates make of it."""
    return " ".join(_of_gauge(one) for one in figures["gauges"] or ())


def _of_gauge(one: Mapping[str, Any]) -> str:
    size, n = um(abs(one["bias_um"])), one["n"]
    way = "too high" if one["bias_um"] > 0 else "too low"
    since = f" since its check of {day(dt.date.fromisoformat(one['since']))}" if one["since"] else ""
    return (
        f"{counted(n, 'reading')} here {'was' if n == 1 else 'were'} taken with gauge {one['label']}, which"
        f" reads about {size} {way}{since}, held against other gauges; the dates count"
        f" {'it' if n == 1 else 'them'} corrected. Have the gauge checked."
    )


def misfit_sentence(figures: Figures) -> str:
    """Why a bearing's dates are not to be trusted: its own readings bend, or those of all its class together.

    >>> misfit_sentence(Figures({"outcome": "misfit", "peers_curved": "class"}))[:40]
    'The bearings of its class together wear '
    """
    if figures["outcome"] != "misfit":
        return ""
    wait = "Do not trust the dates before it is opened and measured."
    peers = {"class": "bearings of its class", "fleet": "bearings of the whole fleet"}
    if peers_words := peers.get(figures["peers_curved"] or ""):
        return (
            f"The {peers_words} together wear along another curve than the one its dates are told from,"
            f" whether or not its own readings show it. {wait}"
        )
    return f"Its readings do not follow steady wear: they bend more than their errors explain. {wait}"


def curve_sentence(figures: Figures) -> str:
    """How wear goes with a shell's age where it does not go evenly; empty where it does.

    >>> curve_sentence(Figures({"exponent": 1.5}))[:39]
    'Shells wear faster as they grow older: '
    """
    exponent = figures["exponent"]
    if not exponent:
        return ""
    how = "faster" if exponent > 1.0 else "slower"
    if figures["exponent_of"] == "own":
        return (
            f"Its own readings bend: it wears {how} as it grows older, about with its age to the power"
            f" {exponent:.2f}, and the dates weigh that curve beside the one of bearings like it."
        )
    where = "among bearings of its class" if figures["exponent_of"] == "class" else "in this fleet"
    return (
        f"Shells wear {how} as they grow older: {where} wear goes with a shell's age to the power"
        f" {exponent:.2f}, and the dates follow that curve."
    )


def sudden_sentence(figures: Figures) -> str:
    """What failed suddenly in the bearing's class at its site, as counts, and as a rate from three on.

    >>> sudden_sentence(Figures({"sudden": {"n": 2, "years": 61.0}})).endswith("for wear alone.")
    True
    """
    told = figures["sudden"]
    if not told:
        return ""
    among = (
        "In its class here" if told.get("class") != NO_CLASS else "Among the bearings here without a class"
    )
    return (
        f"{among}, {failures_words(told['n'], told['years'], told.get('a_year'))}. Measuring cannot foresee"
        " these: the dates are for wear alone."
    )


def room_sentence(figures: Figures) -> str:
    """Whether a scrape would fit, and how many."""
    if figures["replace_limit_from"] == "no_room":
        return (
            "No room to scrape: if it has to be scraped, replace. The dates are those of the in-service"
            " maximum."
        )
    left = figures["scrapes_left"]
    if left is None:
        return ""
    n = int(left)
    return (
        "One more scrape would be too much."
        if n <= 0
        else f"Room for {counted(n, 'more scrape')} at the class's usual step."
    )
