"""The trigger that an accepted plan printed for a bearing: a fact of record, which the pump reads beside
today's judgement.
"""

import datetime as dt
import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from fleet.models.recorded import IN_ORDER
from inspections.forecasts.judgement.judgement_figures import Column
from inspections.models import Plan


@dataclass(frozen=True)
class AcceptedTrigger:
    """What the standing accepted plan says of one bearing's opening; lengths um of the larger end, chance 0
    to 1.

    `trigger_is`: "reading" (new shell at or over `trigger_um`), "always" (replacement expected whatever is
    read), "never" (no reading that may be expected asks for it) or "" (the engineer decides, or a plan from
    before triggers were kept).
    """

    plan: uuid.UUID
    accepted_on: dt.date
    accepted_by: uuid.UUID | None
    outage: str  # its key, or of days between two outages
    when: str  # in words: "in spring 2027"
    action: str
    trigger_is: str = ""
    trigger_um: float | None = None
    scrape_from_um: float | None = None
    p_trigger: float | None = None


def accepted_triggers(bearings: Iterable[Any]) -> dict[uuid.UUID, AcceptedTrigger]:
    """By bearing (with its place fetched), what the plan that stands accepted at its site printed for it; one
    query.

    Bearings that the plan does not open are left out.
    """
    own = {bearing.pk: bearing.place.site_id for bearing in bearings}
    plans: dict[uuid.UUID, Plan] = {}
    rows = Plan.objects.standing().filter(site__in=set(own.values()), accepted_on__isnull=False)
    for plan in rows.order_by("accepted_on", *IN_ORDER):
        plans[plan.site_id] = plan
    found = {}
    for plan in plans.values():
        for job in plan.jobs:
            pk = uuid.UUID(job["bearing"])
            if pk in own:
                found[pk] = _read(plan, job)
    return found


def accepted_trigger(bearing: Any, at: Column | None, day: dt.date) -> AcceptedTrigger | None:
    """What the plan accepted by a day printed for a bearing opened in a column; asked only where that is an
    outage.
    """
    if at is None or not at.outage:
        return None
    found = accepted_triggers([bearing]).get(bearing.pk)
    return found if found and found.outage == at.outage and found.accepted_on <= day else None


def _read(plan: Plan, job: Mapping[str, Any]) -> AcceptedTrigger:
    assert plan.accepted_on is not None
    return AcceptedTrigger(
        plan.pk,
        plan.accepted_on,
        plan.recorded_by,
        job["outage"],
        job.get("when", ""),
        job["action"],
        job.get("trigger_is", ""),
        _number(job.get("trigger_um")),
        _number(job.get("scrape_from_um")),
        _number(job.get("p_trigger")),
    )


def _number(text: Any) -> float | None:
    return float(text) if text not in (None, "") else None
