"""What a plan leaves undone needs the agreement that putting work off needs: which bearings, and whose is
missing.

The levels and rights are `inspections.deferrals`; nobody accepts a plan past them with words alone.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from uuid import UUID

from dashboards.outage_plan.drafts import Weighed, accepted
from dashboards.outage_plan.proposal import accepted_jobs
from fleet.models import Site
from inspections.deferrals.standing import IN_FORCE, WAITING, PutOff, at_sites
from inspections.models import DraftPlan

BY_HAND = ("refuse", "pin", "move")


def standing_at(site: Site, on: dt.date) -> dict[UUID, list[PutOff]]:
    """By bearing, the deferrals and openings outside an outage that hold or wait on a day."""
    found: dict[UUID, list[PutOff]] = {}
    for some in at_sites([site], on):
        for one in some:
            if one.state in (IN_FORCE, WAITING):
                found.setdefault(one.bearing.pk, []).append(one)
    return found


def not_agreed(draft: DraftPlan, weighed: Weighed, agreed: Mapping[UUID, Sequence[PutOff]]) -> list[str]:
    """A sentence for each bearing that the plan leaves above its accepted risk, or takes out, without an
    agreement.
    """
    ids = draft.solved["ids"]["bearings"]
    names = {pk: name for name, pk in ids.items()}
    lacking = {UUID(one["bearing"]): "stays above its accepted risk" for one in weighed.above}
    for name, outage in _taken_out(draft, weighed):
        lacking.setdefault(UUID(ids[name]), f"is taken out of {outage}, where the accepted plan opens it")
    return [
        f"{names[str(pk)]} {why}: {_to_do(agreed.get(pk, ()))}."
        for pk, why in lacking.items()
        if not holds(agreed.get(pk, ()))
    ]


def holds(agreed: Sequence[PutOff]) -> bool:
    """Whether an agreement for a bearing is in force."""
    return any(one.state == IN_FORCE for one in agreed)


def words_of(agreed: Sequence[PutOff]) -> str:
    """Who asked, why and who agreed, of what holds; empty where nothing does."""
    held = [one for one in agreed if one.state == IN_FORCE]
    if not held:
        return ""
    last = held[-1]
    what = "to be opened on" if last.is_opening else "runs on until"
    return "; ".join(
        [
            f"{what} {last.until_on}, asked by {last.asked_by}: “{last.reason}”",
            *(a.words for a in last.answers),
        ]
    )


def _to_do(agreed: Sequence[PutOff]) -> str:
    waiting = [one for one in agreed if one.state == WAITING]
    if waiting:
        return f"what was asked waits for {waiting[-1].missing_words}"
    return "ask to put it off or to open it, or change the plan"


def _taken_out(draft: DraftPlan, weighed: Weighed) -> list[tuple[str, str]]:
    """Bearing and outage of each job of the accepted plan whose pump somebody moved to later, or refused, by
    hand.

    Where the plan worked out anew moves a job by itself, the rule did, and nobody puts anything off.
    """
    if accepted(draft.site) is None:
        return []
    ids = draft.solved["ids"]
    names = {pk: name for name, pk in ids["bearings"].items()}
    outages = {pk: name for name, pk in ids["outages"].items()}
    starts = {one[0]: one[1] for one in draft.inputs["plan"]["outages"]} if "plan" in draft.inputs else {}
    now = {names[job["bearing"]]: outages.get(job["outage"], "") for job in weighed.jobs}
    pumps = {one["name"]: one["pump"] for one in draft.inputs["plan"]["bearings"]} if starts else {}
    by_hand = {
        pumps.get(change["bearing"])
        for change in draft.changes
        if change["what"] in BY_HAND and not change.get("deferral")
    }
    return [
        (job.bearing, job.outage)
        for job in accepted_jobs(draft.site) or ()
        if pumps.get(job.bearing) in by_hand
        and job.outage in starts
        and starts.get(now.get(job.bearing, ""), "9999") > starts[job.outage]
    ]
