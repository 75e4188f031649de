"""What stands for one bearing and what to do, in one sentence: numbers and words in, the sentence out.

Watch list, bearing page, plan and sheets say it with the same words: "open", "leave closed", "decide now",
"set a limit", and "cannot say: the engineer decides". "Replace" is never advice from afar: it follows a
reading at the open pump.
"""

import datetime as dt
from dataclasses import dataclass, replace

from fleet.formatting import chance, day, day_words, in_unit, um
from fleet.units import up_to_step
from inspections.forecasts.judgement.judgement_figures import Column, Judgement, Word

WORDS = {
    Word.DECIDE_NOW: "decide now",
    Word.OPEN: "open",
    Word.LEAVE: "leave closed",
    Word.SET_LIMIT: "set a limit",
    Word.ENGINEER: "engineer decides",
}
LEAST_EXPECTED = 0.05  # below this chance a trigger is not expected to be met
RUNNING = "the outage that runs"
EXPECTED = 0.9  # above this chance of a new shell a replacement is expected
LIMITS = {
    "maximum": "maximum",
    "replace": "replace limit",
    "lining": "limit by the lining left",
}


@dataclass(frozen=True)
class Standing:
    """What the sentence is made of: lengths um of the larger end, costs crew hours, chances 0 to 1, days of
    outages.

    `word` one of `WORDS`; `why` what it rests on (past, early, contact, due, cost, beside, misfit, young,
    no_maximum, no_life). `opened_on`: the outage at which the pump is opened; `next_on`: its next outage;
    `is_known`: whether an outage is recorded there. `past`: chance to have passed the limit by `opened_on`.
    `trigger_is`: reading, always, never or "". `wanted_on`: the outage it would be opened at, if it was
    placed later because of `moved_for`. `open_since`: its pump stands open since that day. `unit`: in which
    lengths are said.
    """

    word: str
    why: str
    today: dt.date
    limit_um: float | None = None
    limit_from: str = "maximum"
    new_um: float | None = None
    last_um: float | None = None
    last_on: dt.date | None = None
    past_now: float | None = None
    opened_on: dt.date | None = None
    next_on: dt.date | None = None
    is_known: bool = True
    past: float | None = None
    accepted_risk: float | None = None
    trigger_um: float | None = None
    trigger_is: str = ""
    trigger_from: str = "rule"
    scrape_from_um: float | None = None
    no_room: bool = False
    new: float | None = None
    wanted_on: dt.date | None = None
    moved_for: str = "crew hours"
    waiting_h: float | None = None
    stopping_h: float | None = None
    stop_h: float | None = None
    contact_open: bool = False
    shell: str = ""
    open_since: dt.date | None = None
    unit: str = "um"


def sentence(standing: Standing) -> str:
    """The one sentence of a bearing."""
    if standing.why == "no_life":
        return _no_life(standing)
    if standing.word == Word.DECIDE_NOW:
        return _past(standing) if standing.why == "past" else _early(standing)
    says = {Word.OPEN: _open, Word.LEAVE: _leave, Word.SET_LIMIT: _set_limit, Word.ENGINEER: _engineer}
    return says[standing.word](standing)


def standing_of(judgement: Judgement, last_um: float | None, last_on: dt.date | None) -> Standing:
    """A judgement and the last reading (larger end, um) as what the sentence is made of."""
    at, coming = judgement.at, judgement.columns[0] if judgement.columns else None
    until = coming if judgement.word == Word.DECIDE_NOW else at
    return Standing(
        judgement.word,
        judgement.why,
        judgement.as_of,
        limit_um=judgement.limit_um,
        limit_from=judgement.limit_from or "maximum",
        new_um=judgement.new_um,
        last_um=last_um,
        last_on=last_on,
        past_now=judgement.past_now,
        opened_on=at.start_on if at else None,
        next_on=coming.start_on if coming and coming.known else None,
        is_known=at.known if at else True,
        past=until.past if until else None,
        accepted_risk=judgement.accepted_risk,
        trigger_um=at.trigger_um if at and at.trigger_is == "reading" else None,
        trigger_is=at.trigger_is if at else "",
        trigger_from=at.trigger_from if at else "",
        scrape_from_um=at.scrape_from_um if at else None,
        no_room=at.no_room if at else False,
        new=at.new if at else None,
        stopping_h=judgement.stopping_h,
        stop_h=judgement.stop_h,
        contact_open=judgement.contact_open,
        open_since=judgement.open_since,
    )


def reading_words(judgement: Judgement) -> str:
    """What a reading at the opening that stands decides; empty where there is nothing to decide by.

    >>> reading_words(Judgement(dt.date(2026, 11, 27), Word.ENGINEER, "misfit"))
    'The engineer decides by it.'
    """
    if judgement.word == Word.ENGINEER:
        return "The engineer decides by it."
    at = judgement.at
    if at is None or not at.trigger_is:
        return ""
    standing = opening_at(judgement, at)
    when = _when(at.start_on, judgement.as_of)
    trigger = _trigger(standing)
    if at.trigger_is == "always":
        trigger = "Replacement is expected whatever it reads."
    return f"It decides {when}: {_lower(trigger)}"


def opening_at(
    judgement: Judgement,
    column: Column,
    last: tuple[float | None, dt.date | None] = (None, None),
    *,
    wanted_on: dt.date | None = None,
    moved_for: str = "",
    waiting_h: float | None = None,
    shell: str = "",
) -> Standing:
    """The same of an opening planned at this column, wherever the judgement alone would put it; for plan and
    work list.
    """
    standing = standing_of(judgement, *last)
    word = standing.word if standing.word in (Word.SET_LIMIT, Word.ENGINEER) else Word.OPEN
    since = standing.open_since
    is_open = since is not None and column.start_on <= max(since, standing.today)
    return replace(
        standing,
        word=word,
        opened_on=column.start_on,
        next_on=column.start_on,
        is_known=True,
        past=column.past,
        trigger_um=column.trigger_um if column.trigger_is == "reading" else None,
        trigger_is=column.trigger_is,
        trigger_from=column.trigger_from,
        scrape_from_um=column.scrape_from_um,
        no_room=column.no_room,
        new=column.new,
        wanted_on=wanted_on,
        moved_for=moved_for or standing.moved_for,
        waiting_h=waiting_h,
        shell=shell,
        open_since=since if is_open else None,
    )


def _when(day_of: dt.date | None, today: dt.date) -> str:
    """ "in October 2028", "on 3 December 2026", "in the outage that runs"; without an outage "at its next
    opening".
    """
    if day_of is None:
        return "at its next opening"
    if day_of <= today:
        return f"in {RUNNING}"
    words = day_words(day_of, today)
    return f"on {words}" if words[:1].isdigit() and "\u00a0" in words else f"in {words}"


def _name(day_of: dt.date | None, today: dt.date) -> str:
    if day_of is None:
        return "its next opening"
    return RUNNING if day_of <= today else day_words(day_of, today)


def _outage(day_of: dt.date | None, today: dt.date) -> str:
    name = _name(day_of, today)
    return name if name == RUNNING else f"the outage of {name}"


def _limit(standing: Standing) -> str:
    return f"{LIMITS.get(standing.limit_from, 'maximum')} of {_length(standing, standing.limit_um)}"


def _measured(standing: Standing) -> str:
    if standing.last_um is None or standing.last_on is None:
        return "never measured"
    return f"measured {_length(standing, standing.last_um)} on {day(standing.last_on)}"


def _set_limit(standing: Standing) -> str:
    return (
        "Set a limit: neither a maximum nor a replace limit stands, so there is nothing to decide by"
        f" ({_measured(standing)})."
    )


def no_life_words(standing: Standing) -> str:
    """Why nothing can be told of a bearing whose limit does not lie above its fitted clearance."""
    return (
        f"its {_limit(standing)} does not lie above its fitted clearance of"
        f" {_length(standing, standing.new_um)}; one of the two, or the bore, is wrong."
    )


def _no_life(standing: Standing) -> str:
    return f"Set a limit: {no_life_words(standing)}"


def _engineer(standing: Standing) -> str:
    """Where no belief fits: opened by rule, decided by a person."""
    if standing.why == "young":
        return (
            "Cannot say: the engineer decides. The fleet has fewer than three lives with two readings each;"
            f" the plant's present programme stands. A reading {_when(standing.next_on, standing.today)}"
            f" helps to start one ({_measured(standing)})."
        )
    when = _when(standing.next_on, standing.today)
    if _is_moved(standing):
        when += f" (wanted {_when(standing.wanted_on, standing.today)}, moved for {standing.moved_for})"
    looks = (
        f"open {when} and look" if standing.open_since is None else f"open since {day(standing.open_since)}"
    )
    return (
        "Cannot say: the engineer decides. Its readings do not follow steady wear, so its dates are not"
        f" to be trusted and no trigger is given; {looks}"
        f" ({_measured(standing)}, {_limit(standing)})."
    )


def _past(standing: Standing) -> str:
    is_read_over = (
        standing.last_um is not None
        and standing.limit_um is not None
        and standing.last_um >= standing.limit_um
    )
    if is_read_over:
        stands = f"Over its {_limit(standing)}: {_measured(standing)}"
    else:
        stands = (
            f"Past its {_limit(standing)} with a chance of {chance(standing.past_now)}: {_measured(standing)}"
        )
    coming = "no outage recorded"
    if standing.next_on is not None:
        is_running = standing.next_on <= standing.today
        coming = (
            "an outage runs" if is_running else f"next outage {day_words(standing.next_on, standing.today)}"
        )
    return f"{stands}; {coming}. Decide now: run on with checks, or open{_worth(standing)}."


def _early(standing: Standing) -> str:
    return (
        f"Decide now: run on or open before {_outage(standing.next_on, standing.today)}"
        f"{_worth(standing)}; until then {chance(standing.past)} to pass its {_limit(standing)}"
        f" ({_measured(standing)})."
    )


def _worth(standing: Standing) -> str:
    if standing.stopping_h is None or standing.stopping_h <= 0:
        return ""
    stop = (
        "the cost of a stop here is not stated"
        if standing.stop_h is None
        else f"a stop here costs {_h(standing.stop_h)}"
    )
    return f" (about {_h(standing.stopping_h)} of later cost saved; {stop})"


def _length(standing: Standing, value_um: float | None) -> str:
    return um(value_um) if standing.unit == "um" else in_unit(value_um, standing.unit)


def _from(standing: Standing, value_um: float) -> str:
    """The reading from which something is done, as its unit shows it: never one that is not yet at it."""
    return _length(standing, up_to_step(value_um, standing.unit))


def _h(value: float) -> str:
    return f"{value:.0f}\u00a0h"


def _leave(standing: Standing) -> str:
    until = _name(standing.opened_on, standing.today)
    usual = "" if standing.is_known else " (no outage is recorded there: the usual interval)"
    return (
        f"Leave closed until {until}{usual}; until then {chance(standing.past)} to pass its"
        f" {_limit(standing)}."
    )


def _open(standing: Standing) -> str:
    if standing.open_since is not None:
        since = day(standing.open_since)
        return f"Open since {since}: measuring goes on ({_measured(standing)}, {_limit(standing)})."
    when = _when(standing.opened_on, standing.today)
    is_expected = (standing.new or 0.0) > EXPECTED or standing.trigger_is == "always"
    if _is_moved(standing):
        decides = f"R{_expected(standing)[1:]}." if is_expected else _trigger(standing)
        return f"Open {when}; {_moved(standing)}. {decides}"
    if _is_looked_at(standing):
        decides = _expected(standing) if is_expected else _lower(_trigger(standing)).rstrip(".")
        return (
            f"Looked at in {RUNNING} ({_measured(standing)}); its pump is wanted there for another bearing:"
            f" {decides}."
        )
    if standing.contact_open:
        return f"Open {when}: a contact finding waits; {_scrape(standing)}."
    if is_expected:
        return f"Open {when}, {_expected(standing)}."
    text = f"Open {when} and look: {_lower(_trigger(standing))}"
    beside = {
        "beside": "with its pump, and look:",
        "contact": "with its pump, where a contact finding waits, and look:",
    }
    return text.replace("and look:", beside.get(standing.why, "and look:"), 1)


def _is_looked_at(standing: Standing) -> bool:
    """Whether it was measured in the very outage that it is named for, which runs."""
    on, last = standing.opened_on, standing.last_on
    return on is not None and last is not None and on <= last and on <= standing.today


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]


def _is_moved(standing: Standing) -> bool:
    return standing.wanted_on is not None and standing.wanted_on != standing.opened_on


def _moved(standing: Standing) -> str:
    wanted = _when(standing.wanted_on, standing.today)
    costs = [_h(standing.waiting_h)] if standing.waiting_h is not None else []
    costs += [f"{chance(standing.past)} to pass its {_limit(standing)}"] if standing.past is not None else []
    return f"wanted {wanted}, moved for {standing.moved_for}" + (
        f"; waiting costs {' and '.join(costs)}" if costs else ""
    )


def _trigger(standing: Standing) -> str:
    if standing.trigger_is == "never":
        return f"No reading that may be expected asks for a new shell ({_limit(standing)})."
    if standing.trigger_um is None:
        return f"The reading decides against its {_limit(standing)}."
    source = {"plant": ", the plant's own limit", "guard": ", its maximum less the gauge's error"}
    text = f"Replace from {_from(standing, standing.trigger_um)}{source.get(standing.trigger_from, '')}"
    if standing.new is not None:
        is_expected = standing.new >= LEAST_EXPECTED
        text += f"; {chance(standing.new)} it will be" if is_expected else f", {_unlikely(standing.new)}"
    if standing.no_room:
        text += "; no room to scrape"
    elif standing.scrape_from_um is not None and round(standing.scrape_from_um) != round(standing.trigger_um):
        text += f"; if it must be scraped, replace from {_from(standing, standing.scrape_from_um)}"
    return f"{text}; have one {standing.shell} ready." if standing.shell else f"{text}."


def _unlikely(new: float) -> str:
    """Of a trigger that hardly any reading will meet."""
    return f"which is not expected ({chance(new)})"


def _scrape(standing: Standing) -> str:
    if standing.no_room or standing.scrape_from_um is None:
        return f"no room to scrape below its {_limit(standing)}: ask the engineer"
    return f"scrape if found below {_from(standing, standing.scrape_from_um)}, else replace"


def _expected(standing: Standing) -> str:
    if standing.trigger_um is None:
        return f"replacement expected whatever it reads ({_measured(standing)}, {_limit(standing)})"
    at = _from(standing, standing.trigger_um)
    ready = f"; have one {standing.shell} ready" if standing.shell else ""
    return (
        f"replacement expected (from {at}, more than 9 in 10); if it reads under {at}, measure again and call"
        f" the engineer{ready}"
    )
