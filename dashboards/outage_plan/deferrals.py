"""A bearing's job put off: who answers for it, why, until when, what is checked meanwhile; and what stands put off at a site."""

import datetime as dt
import uuid
from dataclasses import dataclass
from uuid import UUID

from django.db import transaction

from dashboards.outage_plan.acceptance import relied_on
from dashboards.outage_plan.drafts import (
    NotPlanned,
    change,
    in_hand,
)
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Outage, Role, Site
from inspections.forecasts.current import current
from inspections.forecasts.figures import figures_hash
from inspections.models import Decision, DraftPlan, Event, EventKind

DEFER = "defer"


@transaction.atomic
def defer(
    *,
    bearing: Bearing,
    outage: Outage,
    on: dt.date,
    owner_role: str,
    reason: str,
    until_on: dt.date | None,
    extra_checks: str,
    by: UUID,
    action: str = "",
) -> Decision:
    """Put a bearing's job off: who answers for it, why, until when, and what is checked meanwhile; the plan in hand follows.

    Raises
    ------
    NotPlanned
        where one of these is missing, or the last day is not ahead.
    """
    faults = []
    if owner_role not in Role.Word.values:
        faults.append("Choose the role that answers for it.")
    if not reason.strip():
        faults.append("Say why it is put off.")
    if not extra_checks.strip():
        faults.append("Say what is checked meanwhile, such as 'oil sample and temperature every week'.")
    if until_on is None or until_on <= on:
        faults.append("Give the day on which the deferral expires; it lies ahead.")
    if faults:
        raise NotPlanned(" ".join(faults))
    figures = current([bearing], on)[bearing.pk]
    row = Decision(
        id=uuid.uuid4(),
        bearing_id=bearing.pk,
        outage_id=outage.pk,
        on=on,
        advised=action[:10],
        decided=DEFER,
        why=reason.strip()[:500],
        until_on=until_on,
        owner_role=owner_role,
        extra_checks=extra_checks.strip()[:300],
        forecast_hash=figures_hash(figures),
    )
    write([Fact(f"bearing:{bearing.pk}", "decision", row), relied_on(row, figures)], by=by)
    draft = in_hand(bearing.place.site)
    names = _name_of(draft, bearing.pk, outage.pk) if draft else None
    no = {"what": "refuse", "bearing": names[0], "outage": names[1]} if names else {}
    if (
        draft
        and names
        and not any(no.items() <= one.items() and not one.get("action") for one in draft.changes)
    ):
        change(draft=draft, what="refuse", bearing=names[0], outage=names[1], why=f"put off: {reason}", by=by)
    return Decision.objects.get(pk=row.pk)


def _name_of(draft: DraftPlan, bearing: UUID, outage: UUID) -> tuple[str, str] | None:
    """What the plan in hand calls them; None where it has not both."""
    by_id = [{pk: name for name, pk in draft.solved["ids"][of].items()} for of in ("bearings", "outages")]
    found = by_id[0].get(str(bearing)), by_id[1].get(str(outage))
    return (found[0], found[1]) if found[0] and found[1] else None


@dataclass(frozen=True)
class Deferral:
    """A bearing's latest deferral, and how many times its work was put off since it was last done."""

    decision: Decision
    n_times: int
    first_on: dt.date

    def is_expired(self, today: dt.date) -> bool:
        """Whether it has run out without the work being done."""
        return self.decision.until_on is not None and self.decision.until_on < today


def deferrals(site: Site) -> list[Deferral]:
    """What stands put off at a site: the most often first, then the soonest to expire."""
    rows = Decision.objects.standing().filter(decided=DEFER, bearing__place__site=site)
    by_bearing: dict[UUID, list[Decision]] = {}
    for row in rows.select_related("bearing__place", "outage").order_by("on", "recorded_at", "entry_n"):
        by_bearing.setdefault(row.bearing_id, []).append(row)
    work = Event.objects.standing().filter(
        bearing__in=by_bearing, kind__in=(EventKind.SHELL_CHANGE, EventKind.REBABBITT, EventKind.SCRAPE)
    )
    done: dict[UUID, dt.date] = {}
    for bearing_id, day in work.order_by("on").values_list("bearing_id", "on"):
        done[bearing_id] = day
    found = []
    for pk, mine in by_bearing.items():
        since = [row for row in mine if pk not in done or row.on > done[pk]]
        if since:
            found.append(Deferral(since[-1], len(since), since[0].on))
    return sorted(found, key=lambda one: (-one.n_times, one.decision.until_on or dt.date.max))
