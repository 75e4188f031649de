"""The acts: ask to put work off or to open a pump outside an outage, and answer for one side. Who may is
decided here.

Asking is the planner's and the engineer's right (`plan`); what is above the planner's level holds only once
everybody of its level has agreed. An engineer who asks has agreed by asking; nobody answers for two sides.
"""

import datetime as dt
import uuid
from collections.abc import Sequence
from decimal import Decimal
from uuid import UUID

from django.db import transaction

from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Outage
from fleet.plant.acts import Refused
from fleet.plant.second_person import holds_right, must_be_second
from inspections.deferrals.deferral_states import (
    IN_FORCE,
    RIGHT,
    WAITING,
    PutOff,
    openings,
    put_off,
    times_before,
)
from inspections.deferrals.levels import BY_LEVEL, MOST_CHECK_DAYS, MOST_DAYS, Level, level_of
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.forecast_figures import Figures, figures_hash
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.provenance import relied
from inspections.models import Agreement, Deferral, OutsideOpening

LONGEST = {"reason": 500, "late_why": 300, "check_by": 120, "stop_at": 120}
LEAST_REASON = 10  # letters: "x" says nothing to whoever has to agree
MOST_AHEAD = 366  # days to an opening outside an outage


@transaction.atomic
def ask_deferral(
    *,
    bearing: Bearing,
    on: dt.date,
    until_on: dt.date | None,
    reason: str,
    check_by: str,
    check_every_days: int | None,
    stop_at: str,
    by: UUID,
    outage: Outage | None = None,
    late_why: str = "",
) -> PutOff:
    """Ask to put a bearing's work off; holds at once where nobody else has to agree.

    Parameters
    ----------
    outage : Outage, optional
        in which it is not opened; none: it runs on, with checks.
    check_by, check_every_days, stop_at : interim checks
        person, interval, and the value at which it is stopped.
    late_why : str
        why it may outlast the early date, where it does.

    Raises
    ------
    Refused
        with all that is missing, too long or beyond what its level allows; nothing is stored then.
    """
    words = {"reason": reason, "late_why": late_why, "check_by": check_by, "stop_at": stop_at}
    words = {name: " ".join(text.split()) for name, text in words.items()}
    faults = _faults(words, check_every_days, until_on, on)
    if faults or until_on is None or check_every_days is None:
        raise Refused(" ".join(faults))
    figures, earlier = current([bearing], on)[bearing.pk], times_before(bearing, on)
    judged, after = judgements([bearing], on)[bearing.pk], outage.start_on if outage else None
    level = level_of(judged, figures["last_reading_um"], until_on=until_on, after=after, earlier=earlier)
    _within(level, until_on, on, check_every_days)
    _early(figures, until_on, words["late_why"])
    _alone(bearing, on)
    row = Deferral(
        id=uuid.uuid4(),
        bearing_id=bearing.pk,
        outage_id=outage.pk if outage else None,
        on=on,
        until_on=until_on,
        level=level.word,
        why_level=level.why,
        chance=_kept_chance(level.chance),
        earlier=earlier,
        check_every_days=check_every_days,
        forecast_hash=figures_hash(figures),
        **words,
    )
    asked = [Fact(_chain(bearing), "deferral", row), _relied_on(row, figures)]
    write(asked + _own_side(bearing, row.pk, level.sides, on, by), by=by)
    return _of(put_off([bearing], on), row.pk)


def _kept_chance(chance: float | None) -> Decimal | None:
    """A chance as the record keeps it: between 0 and 1, five decimals."""
    return None if chance is None else Decimal(f"{min(max(chance, 0.0), 1.0):.5f}")


@transaction.atomic
def ask_opening(*, bearing: Bearing, on: dt.date, opens_on: dt.date | None, reason: str, by: UUID) -> PutOff:
    """Ask to open a bearing's pump outside an outage; the engineer and operations agree before it holds.

    Raises
    ------
    Refused
        without a reason or a day within a year.
    """
    faults = []
    words = " ".join(reason.split())
    if len(words) < LEAST_REASON:
        faults.append("Say in a sentence why the pump is opened outside an outage.")
    if opens_on is None or not on <= opens_on <= on + dt.timedelta(days=MOST_AHEAD):
        faults.append(f"Give the day on which it is opened, from {on} on and within a year.")
    if faults or opens_on is None:
        raise Refused(" ".join(faults))
    if any(one.state in (WAITING, IN_FORCE) for one in openings([bearing], on)):
        raise Refused("Opening this pump outside an outage is asked for or agreed already.")
    judgement, figures = judgements([bearing], on)[bearing.pk], current([bearing], on)[bearing.pk]
    row = OutsideOpening(
        id=uuid.uuid4(),
        bearing_id=bearing.pk,
        on=on,
        opens_on=opens_on,
        reason=_bounded("reason", words),
        stop_h=_hours(judgement.stop_h),
        saved_h=_hours(judgement.stopping_h),
        forecast_hash=figures_hash(figures),
    )
    facts = [Fact(_chain(bearing), "outside_opening", row), _relied_on(row, figures)]
    write(facts + _own_side(bearing, row.pk, tuple(RIGHT), on, by), by=by)
    return _of(openings([bearing], on), row.pk)


@transaction.atomic
def answer(*, thing: UUID, side: str, agreed: bool, on: dt.date, by: UUID, reason: str = "") -> PutOff:
    """Agree to what was asked for one side, or refuse it.

    Raises
    ------
    Refused
        for whoever may not, for one who asked or answered for the other side, for what waits no more, and for
        a refusal without a reason.
    """
    row = (
        Deferral.objects.select_for_update(of=("self",)).standing().filter(pk=thing).first()
        or OutsideOpening.objects.select_for_update(of=("self",)).standing().filter(pk=thing).first()
    )
    if row is None or side not in RIGHT:
        raise Refused("Nothing of this kind waits for an answer.")
    bearing = Bearing.objects.select_related("place__site").get(pk=row.bearing_id)
    among = put_off([bearing], on) if isinstance(row, Deferral) else openings([bearing], on)
    asked = _of(among, thing)
    if asked.state != WAITING or side not in asked.missing:
        raise Refused(f"This waits for {_waits_for(asked)}; look at it again.")
    right = RIGHT[Agreement.Side(side)]
    must_be_second(by, author=row.recorded_by, site=bearing.place.site, act=right)
    if by in {one.by for one in asked.answers}:
        raise Refused("You have answered for another side. Another person must answer for this one.")
    words = " ".join(reason.split())
    if not agreed and not words:
        raise Refused("A refusal needs a reason: say in a few words what is to be done instead.")
    made = _agreement(bearing, thing, side, agreed, on, words[:300])
    write([Fact(_chain(bearing), "agreement", made)], by=by)
    return _of(put_off([bearing], on) if isinstance(row, Deferral) else openings([bearing], on), thing)


def _waits_for(asked: PutOff) -> str:
    return asked.missing_words if asked.state == WAITING else f"nobody any more ({asked.state})"


def _own_side(bearing: Bearing, thing: UUID, sides: Sequence[str], on: dt.date, by: UUID) -> list[Fact]:
    """The asker's own agreement, on the first side that is theirs: asking is agreeing."""
    for side in sides:
        if holds_right(by, site=bearing.place.site, act=RIGHT[Agreement.Side(side)]):
            return [Fact(_chain(bearing), "agreement", _agreement(bearing, thing, side, True, on))]
    return []


def _agreement(
    bearing: Bearing, thing: UUID, side: str, agreed: bool, on: dt.date, reason: str = ""
) -> Agreement:
    return Agreement(
        id=uuid.uuid4(),
        bearing_id=bearing.pk,
        thing=thing,
        side=side,
        agreed=agreed,
        on=on,
        reason=reason,
    )


def _faults(words: dict[str, str], every: int | None, until_on: dt.date | None, on: dt.date) -> list[str]:
    faults = []
    if len(words["reason"]) < LEAST_REASON:
        faults.append("Say in a sentence why it is put off, for whoever has to agree.")
    for name, most in LONGEST.items():
        if len(words[name]) > most:
            faults.append(f"{name.replace('_', ' ').capitalize()}: at most {most} characters.")
    if not words["check_by"]:
        faults.append("Name the person who makes the interim checks.")
    if every is None or not 1 <= every <= MOST_CHECK_DAYS:
        faults.append(f"Say every how many days it is checked, 1 to {MOST_CHECK_DAYS}.")
    if not any(letter.isdigit() for letter in words["stop_at"]):
        faults.append("Say at what value it is stopped, such as 'bearing metal 95 °C'.")
    if until_on is None or until_on <= on:
        faults.append("Give the day on which the deferral expires; it lies ahead.")
    return faults


def _within(level: Level, until_on: dt.date, on: dt.date, every: int) -> None:
    """The bounds of a level, and checks that fall within the deferral."""
    last = on + dt.timedelta(days=MOST_DAYS[level.word])
    if until_on > last:
        raise Refused(
            f"It is {BY_LEVEL[level.word]} ({level.why}): there a deferral lasts {MOST_DAYS[level.word]} days"
            f" at most. Give a day until {last}."
        )
    if every > (until_on - on).days:
        raise Refused("The first interim check would fall after the deferral has expired. Check more often.")


def _early(figures: Figures, until_on: dt.date, late_why: str) -> None:
    early = figures.day("max_date_p10")
    if early is not None and until_on >= early and len(late_why) < LEAST_REASON:
        raise Refused(
            f"It expires on {until_on}, not before the day on which 1 in 10 would have passed the maximum,"
            f" {early}. Choose an earlier day, or say in a sentence why not."
        )


def _alone(bearing: Bearing, on: dt.date) -> None:
    if any(one.state == WAITING for one in put_off([bearing], on)):
        raise Refused("A deferral of this bearing waits for an answer already. Have it answered first.")


def _bounded(name: str, words: str) -> str:
    if len(words) > LONGEST[name]:
        raise Refused(f"{name.capitalize()}: at most {LONGEST[name]} characters.")
    return words


def _hours(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{min(max(value, -1e7), 1e7):.1f}")


def _chain(bearing: Bearing) -> str:
    return f"bearing:{bearing.pk}"


def _relied_on(row: Deferral | OutsideOpening, figures: Figures) -> Fact:
    return Fact(
        f"bearing:{row.bearing_id}", "forecast_relied_on", body=relied(figures, row.on, decision=row.pk)
    )


def _of(found: Sequence[PutOff], pk: UUID) -> PutOff:
    return next(one for one in found if one.id == pk)


def cost_words(judgement: Judgement) -> str:
    """What opening the pump now costs and saves, in crew hours."""
    stop = (
        "what a stop costs here is not stated"
        if judgement.stop_h is None
        else f"the stop {judgement.stop_h:.0f} h"
    )
    opening = f"opening the pump {judgement.open_h:.0f} h" if judgement.open_h is not None else ""
    saved = (
        f"about {judgement.stopping_h:.0f} h of later cost saved"
        if judgement.stopping_h is not None and judgement.stopping_h > 0
        else ""
    )
    return "; ".join(part for part in (stop, opening, saved) if part)
