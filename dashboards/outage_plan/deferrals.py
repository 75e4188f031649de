"""Work put off, as the plan follows it: in force it takes a job out of its outage, refused or run out the job
is back.

Who must agree and what stands is `inspections.deferrals`; here is what the plan in hand makes of it.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import transaction

from dashboards.outage_plan.drafts import change, in_hand
from fleet.models import Bearing, Outage, Site
from inspections.deferrals import acts
from inspections.deferrals.deferral_states import IN_FORCE, WAITING, PutOff, at_sites, latest, put_off


@transaction.atomic
def defer(*, bearing: Bearing, outage: Outage | None, on: dt.date, by: UUID, **said: Any) -> PutOff:
    """Ask to put a bearing's work off; where nobody else has to agree it holds, and the plan in hand follows.

    Raises
    ------
    fleet.plant.acts.Refused
        as `inspections.deferrals.acts.ask_deferral`.
    """
    asked = acts.ask_deferral(bearing=bearing, outage=outage, on=on, by=by, **said)
    _follow(asked, by)
    return asked


@transaction.atomic
def answer(*, thing: UUID, side: str, agreed: bool, on: dt.date, by: UUID, reason: str = "") -> PutOff:
    """Agree or refuse for one side; with the last agreement the plan in hand follows."""
    asked = acts.answer(thing=thing, side=side, agreed=agreed, on=on, by=by, reason=reason)
    _follow(asked, by)
    return asked


def deferrals(site: Site, today: dt.date) -> list[PutOff]:
    """What stands put off or has run out at a site: the most often first, then the soonest to expire."""
    return latest(at_sites([site], today)[0])


def waiting(site: Site, today: dt.date) -> list[PutOff]:
    """What waits for somebody's agreement at a site: deferrals and openings outside an outage."""
    return [one for some in at_sites([site], today) for one in some if one.state == WAITING]


def words_in(outage: Outage, bearings: Sequence[Bearing], today: dt.date) -> dict[UUID, str]:
    """By bearing, what a deferral in force says of its job in this outage; what has run out says nothing any
    more.
    """
    return {
        one.bearing.pk: f"put off until {one.until_on}: {one.reason}"
        for one in put_off(bearings, today)
        if one.state == IN_FORCE and one.outage_id == outage.pk
    }


def changes_in_force(site: Site, today: dt.date) -> list[dict[str, Any]]:
    """The deferrals in force as changes that a plan keeps to; each ends by itself on its day."""
    coming = {one.pk: one.name for one in Outage.objects.coming(today).filter(site=site)}
    return [
        _change(one, coming[one.outage_id]) | {"by": str(one.asker), "at": one.on.isoformat()}
        for one in at_sites([site], today)[0]
        if one.state == IN_FORCE and one.outage_id in coming
    ]


def by_hand(changes: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """The changes that no deferral made."""
    return [one for one in changes if not one.get("deferral")]


def holding(changes: Sequence[Mapping[str, Any]], today: dt.date) -> tuple[Mapping[str, Any], ...]:
    """The changes that hold on a day: a deferral's only until it expires."""
    return tuple(one for one in changes if one.get("until", "9999") >= today.isoformat())


def _change(one: PutOff, outage: str) -> dict[str, Any]:
    return {
        "what": "refuse",
        "bearing": f"{one.bearing.place.tag} {one.bearing.name}",
        "outage": outage,
        "why": f"put off until {one.until_on}: {one.reason}"[:300],
        "deferral": str(one.id),
        "until": one.until_on.isoformat(),
    }


def _follow(one: PutOff, by: UUID) -> None:
    """A deferral in force takes the job out of the plan in hand, if that has both."""
    draft = in_hand(one.bearing.place.site)
    if one.state != IN_FORCE or one.outage_id is None or draft is None:
        return
    ids = {
        word: {pk: name for name, pk in draft.solved["ids"][word].items()} for word in ("bearings", "outages")
    }
    bearing, outage = ids["bearings"].get(str(one.bearing.pk)), ids["outages"].get(str(one.outage_id))
    if bearing and outage:
        change(draft=draft, by=by, **_change(one, outage) | {"bearing": bearing})
