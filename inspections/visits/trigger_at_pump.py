"""The rule below the table of `word_at_pump`: what was found, held against the trigger of the bearing's one
judgement.

The judgement is that of the visit's first day without what was recorded on it, so what is read in it is held
against what list, page and plan said of it. Lengths um, diametral, of the larger end. Numbers and words; no
Django.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fleet.formatting import chance, day, day_words
from fleet.units import up_to_step
from inspections.forecasts.judgement.judgement_figures import (
    ALWAYS,
    GUARD,
    PLANT,
    READING,
    Column,
    Judgement,
    Why,
)
from inspections.visits.verdict import with_unit
from inspections.visits.word_at_pump import CLOSE_UP, ENGINEER, MEASURE, REPLACE, Ruling, Trigger

if TYPE_CHECKING:
    from inspections.forecasts.judgement.accepted import AcceptedTrigger

# No shell is condemned on one reading: so many spreads beside the trigger a second one is asked for (common
# practice, no published source).
SPREADS = 2.0
CANNOT_SAY = {
    Why.MISFIT: (
        ENGINEER,
        "Its readings do not follow steady wear: no trigger is given, the engineer decides.",
    ),
    Why.NO_LIFE: (
        ENGINEER,
        "Its maximum does not lie above its fitted clearance; one of the two, or the bore, is wrong.",
    ),
    Why.YOUNG: (
        CLOSE_UP,
        "No trigger: the fleet has too few lives on record, and only the limits are held against it.",
    ),
    Why.NO_MAXIMUM: (CLOSE_UP, "No trigger: neither a maximum nor a replace limit is set for it."),
}
_FROM = {PLANT: ", the plant's own limit", GUARD: ", its maximum less the gauge's error"}
_BESIDE = " Measure it again, by another hand or method: no shell is condemned on one reading."

FINDING_WAITS = "A contact finding of an earlier visit waits: take the print, and scrape or replace by it."


@dataclass(frozen=True)
class Clearance:
    """What lies in the bearing by this visit's readings: the larger end `value_um` and its sd, or bounds
    (None: open).

    `again`: measured a second time. `unit`: of the gauge it was read with.
    """

    value_um: float | None
    sd_um: float
    low_um: float | None = None
    high_um: float | None = None
    again: bool = False
    unit: str = "um"


@dataclass(frozen=True)
class Opening:
    """What stands at this opening: the judgement, its column, and the first day of the pump's next outage
    (None: unknown).

    `replace_um`: the plant's own replace limit in force; alone it is the trigger of a fleet too young for
    another. `at` is as the plan accepted on `plan_on` printed it, where one opens the bearing in this outage;
    `live` is then what the judgement says by itself.
    """

    judgement: Judgement
    at: Column | None
    next_on: dt.date | None = None
    replace_um: float | None = None
    live: Column | None = None
    plan_on: dt.date | None = None

    @property
    def wrong_limit(self) -> str:
        """Why a reading over the maximum condemns no shell: that maximum cannot be right; empty elsewhere."""
        return CANNOT_SAY[Why.NO_LIFE][1] if self.judgement.why == Why.NO_LIFE else ""

    def words(self, unit: str, printed: bool = False) -> str:
        """What a reading is held against, before it is taken; empty where there is no trigger.

        `printed`: a print was taken in the visit, so a finding of an earlier one waits no longer.
        """
        at = self.at
        if self.judgement.why == Why.YOUNG and self.replace_um is not None:
            return f"Replace if found at {_from(self.replace_um, unit)} or more{_FROM[PLANT]}."
        if at is None or not at.trigger_is:
            return CANNOT_SAY[self.judgement.why][1] if self.judgement.why in CANNOT_SAY else ""
        if at.trigger_is == ALWAYS:
            return "Replacement expected, whatever is read; measure twice and call the engineer."
        if at.trigger_um is None:
            return "No reading that may be expected asks for a new shell."
        expected = "Replacement expected. " if (at.new or 0.0) > 0.9 else ""
        text = (
            f"{expected}Replace if found at {_from(at.trigger_um, unit)} or"
            f" more{_FROM.get(at.trigger_from, '')}"
        )
        if at.no_room:
            text = f"{text}; no room to scrape"
        elif at.scrape_from_um is not None and round(at.scrape_from_um) != round(at.trigger_um):
            text = f"{text}; if it must be scraped, replace from {_from(at.scrape_from_um, unit)}"
        waits = f" {FINDING_WAITS}" if self.judgement.contact_open and not printed else ""
        return f"{text}.{self._of_plan(unit)}{waits}"

    def _of_plan(self, unit: str) -> str:
        """That the trigger is the accepted plan's, where what was learned since would say another."""
        live = self.live
        if live is None or self.plan_on is None or live.trigger_um is None or self.at is None:
            return ""
        if self.at.trigger_um is not None and round(live.trigger_um) == round(self.at.trigger_um):
            return ""
        now = _from(live.trigger_um, unit)
        return f" So printed by the plan of {day(self.plan_on)}; what was recorded since says {now}."


def _from(um: float, unit: str) -> str:
    """The reading from which something is done, as its unit shows it: never one that is not yet at it."""
    return with_unit(up_to_step(um, unit), unit)


def opening_of(
    judgement: Judgement, on: dt.date, outage: object = None, replace_um: float | None = None
) -> Opening:
    """The opening of a day: in the outage the visit names, else in the one that runs, else outside any."""
    named = judgement.column_of(outage) if outage else None
    at, then = judgement.opened_on(named.start_on if named else on)
    return Opening(judgement, at, then.start_on if then else None, replace_um)


def under_plan(opening: Opening, printed: AcceptedTrigger | None) -> Opening:
    """The opening held against the trigger that the accepted plan printed for it, where it opens the bearing
    in this outage.

    A plan from before triggers were kept, one of another outage, and one where the engineer decides change
    nothing.
    """
    at = opening.at
    if printed is None or at is None or not at.outage or at.outage != printed.outage:
        return opening
    if not printed.trigger_is or not at.trigger_is:
        return opening
    column = replace(at, trigger_is=printed.trigger_is, trigger_um=printed.trigger_um)
    if printed.scrape_from_um is not None:
        column = replace(column, scrape_is=READING, scrape_from_um=printed.scrape_from_um)
    return replace(opening, at=column, live=at, plan_on=printed.accepted_on)


def by_trigger(opening: Opening, found: Clearance | None, new_metal: bool = False) -> Trigger:
    """The rule as the table asks it.

    Parameters
    ----------
    opening : Opening
    found : Clearance or None
        as left where there was work, else as found; None where nothing was measured.
    new_metal : bool
        a new shell lies there: nothing has worn of it.

    Returns
    -------
    Trigger
        a reading at or over the trigger, or (a scrape owed) at or over the do-not-scrape-above reading, asks
        for a new shell; one within two spreads of it for a second measurement first.
    """

    if opening.live is not None:
        return _stricter(opening, found, new_metal)

    def trigger(scrape_owed: bool) -> Ruling:
        judgement, at = opening.judgement, opening.at
        if judgement.why == Why.YOUNG and opening.replace_um is not None and found and not new_metal:
            return _held_against(opening.replace_um, found, opening, False)
        if judgement.why in CANNOT_SAY:
            return Ruling(*CANNOT_SAY[judgement.why])
        if new_metal:
            return Ruling(CLOSE_UP, "It has new metal.")
        if at is None or not at.trigger_is:
            return Ruling(ENGINEER, "No trigger is given for this opening: the engineer decides.")
        if scrape_owed and at.no_room:
            return Ruling(ENGINEER, "There is no room to scrape below its maximum.")
        if found is None:
            return _unmeasured(at)
        limit = at.scrape_from_um if scrape_owed else at.trigger_um
        state = at.scrape_is if scrape_owed else at.trigger_is
        if state == ALWAYS:
            limit = 0.0
        return (
            Ruling(CLOSE_UP, "No reading that may be expected asks for a new shell.")
            if limit is None
            else (_held_against(limit, found, opening, scrape_owed))
        )

    return trigger


def scrape_limit_um(opening: Opening) -> float | None:
    """The reading from which a shell is not scraped, um, for a device that asks the rule by itself.

    0.0: whatever is read, since the rule gives another word or cannot say; None: no such reading.
    """
    if opening.live is not None:
        both = (scrape_limit_um(replace(opening, at=at, live=None)) for at in (opening.at, opening.live))
        return min((limit for limit in both if limit is not None), default=None)
    at, why = opening.at, opening.judgement.why
    if why == Why.YOUNG and opening.replace_um is not None:
        return opening.replace_um
    if why in CANNOT_SAY:
        return None if CANNOT_SAY[why][0] == CLOSE_UP else 0.0
    if at is None or not at.trigger_is or at.no_room or at.scrape_is == ALWAYS:
        return 0.0
    return at.scrape_from_um


def _stricter(opening: Opening, found: Clearance | None, new_metal: bool) -> Trigger:
    """The printed trigger governs, unless the judgement of today is stricter: then hold, and the engineer is
    called.
    """
    printed = by_trigger(replace(opening, live=None), found, new_metal)
    today = by_trigger(replace(opening, at=opening.live, live=None), found, new_metal)

    def trigger(scrape_owed: bool) -> Ruling:
        ruling, live = printed(scrape_owed), today(scrape_owed)
        if ruling.word != CLOSE_UP or live.word not in (REPLACE, MEASURE):
            return ruling
        if live.word == MEASURE:
            return live
        since = "but what was recorded since the plan was accepted is stricter: hold, and call the engineer."
        return Ruling(ENGINEER, f"{ruling.why} So by the accepted plan, {since} {live.why}")

    return trigger


def _unmeasured(at: Column) -> Ruling:
    if (at.new or 0.0) > 0.5:
        return Ruling(
            MEASURE, f"It was not measured, and {chance(at.new)} readings there would ask for a new shell."
        )
    return Ruling(CLOSE_UP, "Its trigger was not asked: no clearance was measured.")


def _held_against(limit: float, found: Clearance, opening: Opening, scrape_owed: bool) -> Ruling:
    """A reading against the reading from which it is replaced; `limit` 0: whatever is read."""
    of, value = _from(limit, found.unit), found.value_um
    name = "the reading from which it is not scraped" if scrape_owed else "its trigger"
    name = f"{name} of {of}"
    if value is None:
        low, high = found.low_um, found.high_um
        if low is not None and low >= limit:
            return Ruling(REPLACE, f"Found over {with_unit(low, found.unit)}: over {name}.{_risk(opening)}")
        if high is not None and high < limit:
            return Ruling(CLOSE_UP, f"Found under {with_unit(high, found.unit)}: below {name}.")
        return Ruling(MEASURE, f"The bounds that were read leave open whether it is over {name}.{_BESIDE}")
    text = with_unit(value, found.unit)
    if limit <= 0.0:
        why = f"Found {text}: replacement is expected whatever is read."
        return Ruling(REPLACE, why) if found.again else Ruling(MEASURE, f"{why}{_BESIDE}")
    if abs(value - limit) < SPREADS * found.sd_um and not found.again:
        side = "at or over" if value >= limit else "below"
        return Ruling(MEASURE, f"Found {text}: {side} {name}, and so near that the gauge may err.{_BESIDE}")
    if value >= limit:
        return Ruling(REPLACE, f"Found {text}: at or over {name}.{_risk(opening)}")
    return Ruling(CLOSE_UP, f"Found {text}: below {name}.")


def _risk(opening: Opening) -> str:
    """What being over the trigger means, where the rule itself set it."""
    judgement, at = opening.judgement, opening.at
    if at is None or at.trigger_from in _FROM or judgement.accepted_risk is None:
        return ""
    until = day_words(opening.next_on, judgement.as_of) if opening.next_on else "its next opening"
    return (
        f" Closed up so, more than {chance(judgement.accepted_risk)} pass their maximum before {until}, which"
        " this plant does not accept."
    )
