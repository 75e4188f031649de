"""Who holds a bearing above the accepted risk, and with which reason: the record's side of what the plan
says.
"""

import datetime as dt
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any
from uuid import UUID

from dashboards.outage_plan import drafts
from dashboards.outage_plan.pump_openings.above import NotFitting
from fleet.models import Person, Site

# The change by hand that stands behind a cause.
BEHIND = {"pinned": ("pin",), "refused": ("refuse",), "already": ("refuse", "pin"), "fits": ("move",)}
NAMELESS = "a person whose name was removed"


def named(
    found: Sequence[NotFitting], changes: Sequence[Mapping[str, Any]], site: Site
) -> tuple[NotFitting, ...]:
    """The same, each with who pinned, refused or moved it, when and why; what is frozen
    with who accepted it.
    """
    held = {one.bearing: _behind(one, changes) for one in found}
    accepted = drafts.accepted(site) if any(one.cause == "frozen" for one in found) else None
    people = _names(
        [said["by"] for said in held.values() if said and said.get("by")]
        + ([str(accepted.recorded_by)] if accepted else [])
    )
    made = []
    for one in found:
        said, words = held[one.bearing], ""
        if said:
            day = str(said.get("at", ""))[:10]
            words = _words(people.get(str(said.get("by")), NAMELESS), day, said.get("why", ""))
        elif one.cause == "frozen" and accepted and accepted.accepted_on:
            words = _words(
                people.get(str(accepted.recorded_by), NAMELESS), accepted.accepted_on, accepted.reason
            )
        made.append(replace(one, reason=f"{one.reason} ({words})") if words else one)
    return tuple(made)


def _behind(one: NotFitting, changes: Sequence[Mapping[str, Any]]) -> Mapping[str, Any] | None:
    """The latest change by hand that keeps the bearing where it is."""
    what = BEHIND.get(one.cause, ())
    mine = [said for said in changes if said["what"] in what and said.get("bearing") == one.bearing]
    return mine[-1] if mine else None


def _names(ids: Iterable[str]) -> dict[str, str]:
    wanted = {UUID(pk) for pk in ids if pk}
    if not wanted:
        return {}
    return {
        str(pk): name or NAMELESS
        for pk, name in Person.objects.filter(pk__in=wanted).values_list("pk", "name")
    }


def _words(who: str, day: dt.date | str, why: str) -> str:
    return f"{who}, {day}: “{why}”" if why else f"{who}, {day}, without a reason"
