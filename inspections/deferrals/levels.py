"""Who may put a bearing's work off: planner, engineer, or engineer and operations; figures in, a level with
its words out.

The planner within the accepted risk, the engineer above it, engineer and operations past the maximum; a
second deferral is one level higher. Common practice, no published source.
"""

import datetime as dt
from dataclasses import dataclass

import numpy as np

from fleet.formatting import chance as chance_words
from fleet.formatting import counted, day_words, um
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.models import Agreement, Deferral
from inspections.wear.decision import PAST

PLANNER, ENGINEER, OPERATIONS = Deferral.Level.values
LEVELS = (PLANNER, ENGINEER, OPERATIONS)
# Whose agreement each level needs before it holds.
SIDES: dict[str, tuple[str, ...]] = {
    PLANNER: (),
    ENGINEER: (Agreement.Side.ENGINEER,),
    OPERATIONS: (Agreement.Side.ENGINEER, Agreement.Side.OPERATIONS),
}
# The longest that each may last, days. Common practice, no published source.
MOST_DAYS = {PLANNER: 1096, ENGINEER: 731, OPERATIONS: 366}
MOST_CHECK_DAYS = 366
BY_LEVEL = {
    PLANNER: "within the accepted risk",
    ENGINEER: "above the accepted risk",
    OPERATIONS: "past the maximum or put off again",
}


@dataclass(frozen=True)
class Level:
    """The level a deferral needs and why; `chance` of having passed the maximum when the
    pump is opened next.
    """

    word: str
    why: str
    chance: float | None

    @property
    def sides(self) -> tuple[str, ...]:
        """Whose agreement it needs."""
        return SIDES[self.word]


def level_of(
    judgement: Judgement,
    last_um: float | None,
    *,
    until_on: dt.date,
    after: dt.date | None = None,
    earlier: int = 0,
) -> Level:
    """The level that putting a bearing's work off needs.

    Parameters
    ----------
    judgement : Judgement
        of the bearing today.
    last_um : float or None
        its last reading, larger end, um.
    until_on, after : date
        the last day of the deferral, and the first day of the outage it is not opened in (None: none in
        particular).
    earlier : int
        how often its work was put off before, since it was last done.
    """
    opened = _opened_next(judgement, until_on, after)
    risk = chance_by(judgement, opened)
    base, why = _base(judgement, last_um, risk, opened)
    if earlier and base < len(LEVELS) - 1:
        base += 1
        times = counted(earlier, "time")
        why = f"{why}; put off {times} before since it was last done, so one level higher"
    return Level(LEVELS[base], why[:200], risk)


def _opened_next(judgement: Judgement, until_on: dt.date, after: dt.date | None) -> dt.date:
    """The day the pump can be opened again: its first outage from the end of the deferral, and after the one
    left out.
    """
    later = [one.start_on for one in judgement.columns if after is None or one.start_on > after]
    return next((day for day in later if day >= until_on), until_on)


def chance_by(judgement: Judgement, on: dt.date) -> float | None:
    """The chance to have passed the maximum by a day, straight between the outages; None where nothing can be
    said.
    """
    known = [(one.start_on, one.past) for one in judgement.columns if one.past is not None]
    if judgement.past_now is None or not known:
        return None
    days = [0.0, *((day - judgement.as_of).days for day, _ in known)]
    chances = [judgement.past_now, *(past for _, past in known)]
    return float(np.interp((on - judgement.as_of).days, days, chances))


def is_past(judgement: Judgement, last_um: float | None) -> bool:
    """Whether a bearing is past its maximum today: likelier than not, or last read at or over it."""
    read_over = last_um is not None and judgement.limit_um is not None and last_um >= judgement.limit_um
    return read_over or (judgement.past_now is not None and judgement.past_now >= PAST)


def _base(
    judgement: Judgement, last_um: float | None, risk: float | None, opened: dt.date
) -> tuple[int, str]:
    limit = "its maximum" if judgement.limit_um is None else f"its maximum of {um(judgement.limit_um)}"
    if is_past(judgement, last_um):
        return 2, f"past {limit} today"
    if risk is None or judgement.accepted_risk is None:
        return 1, "its chance of passing cannot be said, so the engineer decides"
    words = f"{chance_words(risk)} to pass {limit} by {day_words(opened, judgement.as_of)}"
    accepts = f"this plant accepts {chance_words(judgement.accepted_risk)}"
    return int(risk > judgement.accepted_risk), f"{words}; {accepts}"
