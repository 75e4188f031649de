"""The plan in hand accepted with a reason: the plan, and a decision for every bearing it concerns, each with
ledger entries.
"""

import datetime as dt
import uuid
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from dashboards.outage_plan.agreements import Undone, not_agreed, standing_at, words_of
from dashboards.outage_plan.drafts import (
    BEFORE,
    LEAVE,
    WHAT_IFS,
    NotPlanned,
    Weighed,
    accepted,
    locked,
)
from dashboards.outage_plan.versions import weigh
from fleet.formatting import um
from fleet.ledger.canonical import canonical_hash
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Outage
from fleet.plant.acts import Refused
from inspections.deferrals import acts
from inspections.deferrals.deferral_states import PutOff
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.forecast_figures import Figures, figures_hash
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.provenance import relied
from inspections.models import Decision, DraftPlan, Plan

FRESH_FOR = dt.timedelta(days=31)  # an older proposal is worked out anew before it is accepted


@transaction.atomic
def accept(*, draft: DraftPlan, reason: str, on: dt.date, by: UUID) -> Plan:
    """Accept the plan in hand: the plan, and a decision with the forecast relied on for every bearing it
    concerns.

    Parameters
    ----------
    reason : str
        why this plan; a change after the freeze day is named by it.
    on : date
        the site's own day.

    Returns
    -------
    Plan
        one act: the plan on the site's chain, decisions and forecasts relied on upon the bearings' chains.

    Raises
    ------
    NotPlanned
        without a reason; where a bearing stays above its accepted risk, or is taken out of the accepted plan,
        and those who must agree to put it off have not; for a plan that breaks crew hours, shells or
        twins; or one older than the record.
    """
    draft = locked(draft)
    reason = reason.strip()[:500]
    if not reason:
        raise NotPlanned("Say in a few words why this plan is accepted.")
    weighed = _fit_to_accept(draft, on)
    agreed = standing_at(draft.site, on)
    if lacking := not_agreed(draft, weighed, agreed):
        raise NotPlanned(_asks_to_agree(lacking))
    act = uuid.uuid4()
    plan = Plan(
        id=uuid.uuid4(),
        site=draft.site,
        as_of=draft.as_of,
        accepted_on=on,
        reason=reason,
        jobs=weighed.jobs,
        inputs=_rests_on(draft, weighed),
    )
    before = accepted(draft.site)
    decided = _decisions(draft, plan, weighed, before, on, agreed)
    bearings = list(Bearing.objects.select_related("place__site").filter(pk__in=decided))
    figures, judged = current(bearings, on), judgements(bearings, on)
    facts = [Fact(f"site:{draft.site_id}", "plan", plan)]
    for bearing in bearings:
        row = decided[bearing.pk]
        row.advised, row.forecast_hash = judged[bearing.pk].word, figures_hash(figures[bearing.pk])
        facts += [Fact(f"bearing:{bearing.pk}", "decision", row), relied_on(row, figures[bearing.pk])]
    write(facts, by=by, act=act)
    return Plan.objects.get(pk=plan.pk)


def _fit_to_accept(draft: DraftPlan, on: dt.date) -> Weighed:
    """The draft weighed; refused with a what-if in it, older than the record, or where it breaks a bound."""
    if what_ifs := open_what_ifs(draft):
        raise NotPlanned(what_ifs)
    weighed = weigh(draft)
    if not weighed.is_current or on - draft.as_of > FRESH_FOR:
        raise NotPlanned(
            f"The record has changed since this plan was worked out on {draft.as_of}. Plan anew, look at it,"
            " then accept it."
        )
    if weighed.faults:
        raise NotPlanned(f"This plan cannot be carried out as it is: {' '.join(weighed.faults)}")
    return weighed


@transaction.atomic
def ask_for_above(*, draft: DraftPlan, on: dt.date, by: UUID, **said: Any) -> list[PutOff]:
    """Ask that each bearing which the plan in hand leaves above its accepted risk may run on, and each that
    it takes out of its outage of the accepted plan may be put off, all or none.

    `said` as `inspections.deferrals.acts.ask_deferral`; what waits or holds already is left as it is.

    Raises
    ------
    NotPlanned
        where nothing is left undone that nobody was asked about.
    Refused
        as `ask_deferral`, naming the bearing.
    """
    weighed, agreed = weigh(locked(draft)), standing_at(draft.site, on)
    wanted = [one for one in not_agreed(draft, weighed, agreed) if not one.waits_for]
    if not wanted:
        raise NotPlanned("Nothing is left undone by this plan that nobody was asked about.")
    rows = Bearing.objects.select_related("place__site").in_bulk([one.bearing for one in wanted])
    outages = {str(one.pk): one for one in Outage.objects.standing().filter(site=draft.site)}
    asked = []
    for one in wanted:
        try:
            out_of = outages.get(one.outage)
            asked.append(acts.ask_deferral(bearing=rows[one.bearing], outage=out_of, on=on, by=by, **said))
        except Refused as trouble:
            raise Refused(f"{rows[one.bearing]}: {trouble}") from None
    return asked


def open_what_ifs(draft: DraftPlan) -> str:
    """Why a draft with a what-if cannot be accepted: a reading or an outage that was supposed is no record.
    Empty without one.
    """
    now = _supposed(draft.changes)
    if now:
        return (
            f"A what-if stands open in this plan: {now}. Take it back; what is accepted rests on what was"
            " measured and on the outages as they are recorded."
        )
    before = _supposed(draft.solved.get("what_ifs", ()))
    if before:
        return f"This plan was worked out under a what-if since taken back: {before}. Plan anew, then accept."
    return ""


def _supposed(changes: Sequence[Mapping[str, Any]]) -> str:
    return ", ".join(_what_if(one) for one in changes if one["what"] in WHAT_IFS)


def _what_if(change: Mapping[str, Any]) -> str:
    if change["what"] == "worse":
        return f"{change['bearing']} as if it read {um(change['um'])}"
    name = change["outage"]
    if change["what"] == "slip":
        return f"{name} as if it came {change['days']} days later"
    return f"{name} as if it " + (
        "did not take place" if change["what"] == "skip" else "had other crew hours"
    )


def _asks_to_agree(lacking: Sequence[Undone]) -> str:
    more = f" And {len(lacking) - 3} more." if len(lacking) > 3 else ""
    return (
        "Not accepted: what is not opened needs the agreement that putting it off needs."
        f" {' '.join(one.words for one in lacking[:3])}{more}"
    )


def relied_on(row: Decision, figures: Figures) -> Fact:
    """The forecast that a decision relied on: its hash and its figures as text, in the forecast sheet's
    order.
    """
    body = relied(figures, row.on, decision=row.pk)
    return Fact(f"bearing:{row.bearing_id}", "forecast_relied_on", body=body)


def _rests_on(draft: DraftPlan, weighed: Weighed) -> dict[str, Any]:
    """What an accepted plan rested on, as text; the hash stands for every chance and hour that went in."""
    coming = [pk for pk in draft.solved["ids"]["outages"].values() if not pk.startswith(BEFORE)]
    return {
        "hash": canonical_hash(draft.inputs),
        "record": draft.digest,
        "changes": draft.changes,
        "above": weighed.above,
        "marked": list(weighed.marked),
        "totals": weighed.totals,
        "outages": [
            {
                "id": str(o.pk),
                "name": o.name,
                "start_on": o.start_on.isoformat(),
                "end_on": o.end_on.isoformat(),
                "scope_freeze_on": o.scope_freeze_on.isoformat() if o.scope_freeze_on else "",
            }
            for o in Outage.objects.filter(pk__in=coming).order_by("start_on")
        ],
    }


def _decisions(
    draft: DraftPlan,
    plan: Plan,
    weighed: Weighed,
    before: Plan | None,
    on: dt.date,
    agreed: Mapping[UUID, Sequence[PutOff]],
) -> dict[UUID, Decision]:
    """One for each bearing with work; one to leave it for each above the accepted risk, or whose work is
    taken out.
    """
    common = {"plan_id": plan.pk, "on": on}
    rows: dict[UUID, Decision] = {}
    above = {
        one[
            "bearing"
        ]: f"above the accepted risk: {one['reason'][:200]}; {words_of(agreed[UUID(one['bearing'])])}"
        for one in weighed.above
    }
    for job in weighed.jobs:
        pk = UUID(job["bearing"])
        rows[pk] = Decision(
            id=uuid.uuid4(),
            bearing_id=pk,
            outage_id=_outage_of(job["outage"]),
            decided=job["action"],
            why="; ".join(filter(None, (_between(job), job["reason"], above.get(job["bearing"], ""))))[:500],
            **common,
        )
    left = dict(above)
    still = set(draft.solved["ids"]["bearings"].values())
    for job in before.jobs if before else []:
        if job["bearing"] in still:
            left.setdefault(job["bearing"], "the plan accepted before gave it work")
    for bearing, why in left.items():
        pk = UUID(bearing)
        rows.setdefault(pk, Decision(id=uuid.uuid4(), bearing_id=pk, decided=LEAVE, why=why[:500], **common))
    return rows


def _outage_of(inner_id: str) -> UUID | None:
    """The outage of a job; None for days between two."""
    return None if inner_id.startswith(BEFORE) else UUID(inner_id)


def _between(job: dict[str, Any]) -> str:
    return f"to be done {job['when']}" if job["outage"].startswith(BEFORE) else ""
