"""What is notable of a bearing, in a few words each: what a reader of the list should
know before the date.
"""

import datetime as dt
from collections.abc import Iterator
from itertools import pairwise

from fleet.formatting import counted, day, hours
from fleet.measuring_methods import words_of
from inspections.forecasts.wear_inputs import Known, steps_of
from inspections.models import EventKind
from inspections.story.doubled_meter import doubled
from inspections.story.effect_of_work import NEW_LIFE, RATE_BREAK, STEP, Happening
from inspections.story.exposure import CALENDAR, RECENT_DAYS, RUN_HOURS, STATED_DUTY
from inspections.story.observations import Observation
from inspections.story.season import CLOSE_DAYS, sparse
from inspections.story.wear_series import copied

STANDBY_HOURS_A_DAY = 2.0
APART = 2.0  # a ratio of wear that is worth a word
MANY = 3  # readings of a life, from which a change of gauge is worth a word
FASTER = 1.5  # how many times the fleet's rate is worth a word
UNEVEN = 0.7  # log sd of the hours a day, a factor of two either way: worth a word
COUNTS = ("", "once", "twice", "three times", "four times", "five times")


def notes(known: Known, likes: tuple[float, float] | None = None) -> list[str]:
    """What is notable, the most pressing first.

    Parameters
    ----------
    known : Known
    likes : (float, float), optional
        how many times the fleet's rate bearings like it wear, and the end of the 80 % interval that lies
        nearer to 1.
    """
    return [*_to_settle(known), *_of_life(known), *_of_place(known), *_of_class(known, likes)]


def _to_settle(known: Known) -> Iterator[str]:
    """What waits for a person."""
    if known.story.n_set_aside:
        yield f"{counted(known.story.n_set_aside, 'row')} set aside, to be settled"
    if known.story.contact_stands_open:
        last = [one for one in known.story.happenings if one.kind == EventKind.CONTACT_CHECK][-1]
        yield f"contact check of {day(last.on, 'month')} stands open"
    if looks_copied(known):
        yield "readings perhaps copied: each as found equals the last as left"
    seen = known.story.clearances
    if len(seen) < 2:
        yield "one reading only" if seen else "no reading yet"


def _of_life(known: Known) -> Iterator[str]:
    """What happened to the shell that lies there."""
    own = _present_life(known)
    n_scrapes = sum(isinstance(one, Happening) and one.effect == STEP for one in own)
    if n_scrapes > 1:
        yield (
            f"this shell was scraped {COUNTS[n_scrapes] if n_scrapes < len(COUNTS) else f'{n_scrapes} times'}"
        )
    for one in known.story.happenings:
        if one.effect == RATE_BREAK and (ratio := _before_against_after(known, one)):
            yield _changed(one, ratio)
    methods = [one.method for one in own if isinstance(one, Observation)]
    changes = sum(a != b for a, b in pairwise(methods))
    if len(methods) > MANY and 0 < changes <= 2 and methods[0] != methods[-1]:
        yield f"measured by {_method(methods[-1])} now, by {_method(methods[0])} before"


def _of_place(known: Known) -> Iterator[str]:
    """What the pump did."""
    for kind, words in ((EventKind.PUMP_CHANGE, "another pump"), (EventKind.ROTOR_CHANGE, "another rotor")):
        changes = [one for one in known.story.happenings if one.kind == kind]
        if changes:
            yield f"{words} since {day(changes[-1].on, 'month')}"
    for one in known.story.happenings:
        if one.kind == EventKind.DUTY_CHANGE and (ratio := _duty_after_against_before(known, one)):
            yield f"runs {_times(ratio)} the hours a day since {day(one.on, 'month')}"
    if words := meter_words(known):
        yield words
    if words := season_words(known):
        yield words
    if known.run.clock == CALENDAR:
        yield "no run hours known"
    elif known.hours_per_day < STANDBY_HOURS_A_DAY:
        yield f"standby, {hours(round(known.hours_per_day * 365.25))} a year"
    elif known.run.clock == STATED_DUTY:
        yield "no hour meter: by its stated duty"


def season_words(known: Known) -> str:
    """How a pump's hours go by the season, or that its meter's entries cannot tell; empty where neither is
    worth a word.
    """
    if season := known.season:
        if not season.words:
            return ""
        told = f"runs by the season, most hours from {season.words}: the dates follow it"
        return f"{told}, by its halves alone since its meter is entered so seldom" if season.halves else told
    if not (known.duty_log_sd > UNEVEN and sparse(known.run, known.as_of)):
        return ""
    return (
        "its hours a day differ widely from one meter entry to the next, and the entries lie too far apart to"
        f" tell a season: the dates keep that doubt until the meter is entered every {CLOSE_DAYS:.0f} days"
    )


def meter_words(known: Known) -> str:
    """Years in which the hour meter counted twice what it counted else; empty where there are none, or where
    a change of duty or of pump is written at either end of them.
    """
    found = doubled(known.run)
    kinds = (EventKind.DUTY_CHANGE, EventKind.PUMP_CHANGE)
    written = [one.on.toordinal() for one in known.story.happenings if one.kind in kinds]
    if found is None or any(
        abs(on - end) < RECENT_DAYS / 2 for on in written for end in (found.begins, found.ends)
    ):
        return ""
    begins, ends = (day(dt.date.fromordinal(round(at)), "month") for at in (found.begins, found.ends))
    told = (
        f"its hour meter counted {found.inside:.0f} h a day from {begins} to {ends}, else {found.outside:.0f}"
    )
    if found.impossible:
        return f"{told}: no day has so many hours, so it counted double; its entries are to be corrected"
    return f"{told}: if it counted double its entries are to be corrected, else the change of duty written"


def _duty_after_against_before(known: Known, one: Happening) -> float | None:
    """Hours a day in the two years after a day against the two before; None without a meter or where they are
    near.
    """
    if known.run.clock != RUN_HOURS:
        return None
    day_of = one.on.toordinal()
    before, now, after = known.run.at([day_of - RECENT_DAYS, day_of, day_of + RECENT_DAYS])
    if now <= before or after <= now:
        return None
    ratio = float((after - now) / (now - before))
    return ratio if ratio >= APART or ratio <= 1 / APART else None


def _of_class(known: Known, likes: tuple[float, float] | None) -> Iterator[str]:
    if likes and known.facts and known.facts.wear_class:
        ratio, nearer = likes
        if ratio >= FASTER and nearer > 1.0:
            yield f"bearings like it ({known.facts.wear_class.name}) wear {_times(ratio)} the fleet's rate"


def _clearances(known: Known) -> list[Observation | Happening]:
    """The clearance readings and the work, without wall and shaft drop."""
    steps = steps_of(known)
    return [one for one in steps if isinstance(one, Happening) or one.series == "clearance"]


def _present_life(known: Known) -> list[Observation | Happening]:
    entries = _clearances(known)
    begins = [i for i, one in enumerate(entries) if isinstance(one, Happening) and one.effect == NEW_LIFE]
    return entries[begins[-1] :] if begins else entries


def _before_against_after(known: Known, broke: Happening) -> float | None:
    """Wear a thousand hours before against after a day, from the readings alone; None where either shows none
    or they are near.
    """
    before = after = (0.0, 0.0)
    last: Observation | None = None
    for entry in _clearances(known):
        if isinstance(entry, Happening):
            last = None
            continue
        if last is not None and entry.value_um is not None and last.value_um is not None:
            spent = float(known.run.at(_middle(entry)) - known.run.at(_middle(last)))
            step = (entry.value_um - last.value_um, spent)
            if entry.on <= broke.on:
                before = (before[0] + step[0], before[1] + step[1])
            elif last.on >= broke.on:
                after = (after[0] + step[0], after[1] + step[1])
        last = entry
    if min(before[1], after[1]) <= 0 or min(before[0], after[0]) <= 0:
        return None
    ratio = (before[0] / before[1]) / (after[0] / after[1])
    return ratio if ratio >= APART or ratio <= 1 / APART else None


def _middle(entry: Observation) -> float:
    return (entry.on.toordinal() + entry.last_on.toordinal()) / 2


def _changed(one: Happening, ratio: float) -> str:
    what = {
        EventKind.ALIGNMENT: "the alignment",
        EventKind.OIL: "the oil was seen to",
        EventKind.DUTY_CHANGE: "its duty changed",
    }.get(EventKind(one.kind), "that")
    when = day(one.on, "month")
    if ratio > 1:
        return (
            f"wore {_times(ratio)} as fast until {what}{' of' if one.kind == EventKind.ALIGNMENT else ','}"
            f" {when}"
        )
    return (
        f"wears {_times(1 / ratio)} as fast since {what}{' of' if one.kind == EventKind.ALIGNMENT else ','}"
        f" {when}"
    )


def _times(ratio: float) -> str:
    """ "about twice", "about 3.5 times", "about half"."""
    if 0.45 <= ratio <= 0.55:
        return "about half"
    if 1.8 <= ratio <= 2.2:
        return "about twice"
    shown = f"{ratio:.0f}" if abs(ratio - round(ratio)) < 0.2 and ratio >= 1 else f"{ratio:.1f}"
    return f"about {shown} times"


def _method(name: str) -> str:
    return words_of(name, "a way not named").lower()


def looks_copied(known: Known) -> bool:
    """Whether every as-found reading equals the as-left reading before it, more often than chance and
    rounding allow.
    """
    return bool(copied(steps_of(known), known.spreads))
