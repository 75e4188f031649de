"""Acts on the outage plan in hand: keep a proposal, change it by hand, plan anew, keep a version.

What is in hand is a working paper (`DraftPlan`) and may be changed at will; accepting it or putting a job off
is an act with ledger entries (`acceptance.py`, `deferrals.py`).
"""

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal, InvalidOperation
from typing import Any
from uuid import UUID

from django.db import transaction

from fleet.clock import now
from fleet.models import Site
from fleet.models.recorded import LAST_FIRST
from inspections.models import DraftPlan, Plan

OPEN, SCRAPE, REPLACE, LEAVE = "open", "scrape", "replace", "leave"
# Open and look, the reading decides; scrape and replace stand in plans accepted before pumps were planned.
WORKS = (OPEN,)
# Changes that suppose what is no fact of record: they live in a draft and are never accepted.
WHAT_IFS = ("worse", "slip", "shorten", "skip")
# A change by hand and what it must name.
NEEDS: Mapping[str, tuple[str, ...]] = {
    "pin": ("bearing", "action"),
    "move": ("bearing", "action"),
    "refuse": ("bearing",),
    "worse": ("bearing", "um"),
    "slip": ("outage", "days"),
    "shorten": ("outage", "hours"),
    "skip": ("outage",),
}
MOST_DAYS, MOST_HOURS, MOST_UM = 730, Decimal(10_000_000), Decimal(10_000)
BEFORE = "before:"  # with an outage's inner id: days before it in which a pump is opened while its twin runs
KEPT_BEFORE = 10  # proposals without a name that stay to be compared with


class NotPlanned(ValueError):
    """An act on a plan that cannot be: what was found, what is allowed, what to do."""


@dataclass(frozen=True)
class Solved:
    """What a solver hands over to be kept: plain JSON."""

    digest: str
    inputs: dict[str, Any]
    solved: dict[str, Any]


@dataclass(frozen=True)
class Weighed:
    """What a plan in hand comes to, for its acceptance; figures as text, as the ledger takes them."""

    jobs: list[dict[str, Any]]
    above: list[dict[str, Any]]  # bearings above the accepted risk all the same
    faults: tuple[str, ...]
    marked: tuple[str, ...]
    is_current: bool  # nothing it rests on has been recorded since
    totals: dict[str, str] = field(default_factory=dict)


Told = Callable[[int, int, str], None]


def quiet(n: int, of: int, words: str) -> None:
    """Nobody is told how far it is."""


# looking ---------------------------------------------------------------------------------------------------


def in_hand(site: Site) -> DraftPlan | None:
    """The plan that a site works on: its latest proposal without a name."""
    # What it rests on is large and seldom needed: it is fetched when it is asked for.
    return DraftPlan.objects.filter(site=site, name="").defer("inputs").order_by("-made_at").first()


def kept_versions(site: Site) -> list[DraftPlan]:
    """Versions kept under a name and earlier proposals, the latest first; without what they rest on."""
    rows = DraftPlan.objects.filter(site=site).defer("inputs", "solved", "changes").order_by("-made_at")
    hand = in_hand(site)
    return [row for row in rows if hand is None or row.pk != hand.pk]


def accepted(site: Site) -> Plan | None:
    """The plan that stands accepted at a site."""
    rows = Plan.objects.standing().filter(site=site, accepted_on__isnull=False)
    return rows.order_by("-accepted_on", *LAST_FIRST).first()


# the plan in hand ------------------------------------------------------------------------------------------


def keep(
    site: Site, as_of: dt.date, made: Solved, *, by: UUID | None, changes: Sequence[Mapping[str, Any]] = ()
) -> DraftPlan:
    """Take a proposal in hand; of those before it that have no name, only the last few stay."""
    draft = DraftPlan.objects.create(
        site=site,
        as_of=as_of,
        made_at=now(),
        made_by=by,
        digest=made.digest,
        inputs=made.inputs,
        solved=made.solved,
        changes=[dict(one) for one in changes],
    )
    old = DraftPlan.objects.filter(site=site, name="").order_by("-made_at").values_list("pk", flat=True)
    DraftPlan.objects.filter(pk__in=list(old[KEPT_BEFORE + 1 :])).delete()
    return draft


@transaction.atomic
def change(*, draft: DraftPlan, what: str, by: UUID, **said: Any) -> DraftPlan:
    """Change the plan in hand; the rest of it stays as it is until it is planned anew.

    Parameters
    ----------
    what : str
        `pin`, `move` (a bearing's pump: `action` open, `outage`; action `leave` takes it out), `refuse`
        (`outage` blank: all), `slip` (`days`), `shorten` (`hours`), `skip` an `outage`, `worse` (a `bearing`
        as if read at `um`).
    **said
        what the change needs, as typed, and `why`.

    Raises
    ------
    NotPlanned
        for a change that names what the plan does not have, or a figure that cannot be.
    """
    draft = locked(draft)
    entry = _checked(draft, what, said)
    draft.changes = [*draft.changes, entry | {"by": str(by), "at": now().isoformat(timespec="seconds")}]
    draft.save(update_fields=["changes"])
    return draft


def _checked(draft: DraftPlan, what: str, said: Mapping[str, Any]) -> dict[str, Any]:
    """The change as it is kept: names that the plan has, figures within their bounds, as text or whole
    numbers.
    """
    if what not in NEEDS:
        raise NotPlanned(f"'{what}' is no change of a plan; it is one of: {', '.join(NEEDS)}.")
    entry: dict[str, Any] = {"what": what, "why": str(said.get("why", "")).strip()[:300]}
    entry |= {name: str(said[name]) for name in ("deferral", "until") if said.get(name)}
    names = draft.solved["ids"]
    for part, word in (("bearing", "bearings"), ("outage", "outages")):
        name = str(said.get(part) or "").strip()
        if name and name not in names[word]:
            raise NotPlanned(f"This plan has no {part} called '{name}'. Choose one that it lists.")
        if part in NEEDS[what] and not name:
            raise NotPlanned(f"Choose the {part} that changes.")
        if name:
            entry[part] = name
    action = str(said.get("action") or "").strip()
    if action and action not in (*WORKS, LEAVE):
        raise NotPlanned(f"'{action}' is no work of a plan; choose one of: {', '.join((*WORKS, LEAVE))}.")
    if "action" in NEEDS[what]:
        if not action:
            raise NotPlanned("Choose the work.")
        if action in WORKS and "outage" not in entry:
            raise NotPlanned("Choose the outage in which to open it.")
    if action:
        entry["action"] = action
    if action == LEAVE and "action" in NEEDS[what]:
        entry.pop("outage", None)
    return entry | _figures(what, said)


def _figures(what: str, said: Mapping[str, Any]) -> dict[str, Any]:
    if what == "slip":
        days = _number(said.get("days"), "days", Decimal(-MOST_DAYS), Decimal(MOST_DAYS))
        if days == 0 or days != days.to_integral_value():
            raise NotPlanned("Give whole days by which the outage slips; a minus sign brings it forward.")
        return {"days": int(days)}
    if what == "shorten":
        return {"hours": str(_number(said.get("hours"), "crew hours", Decimal(0), MOST_HOURS))}
    if what == "worse":
        return {"um": str(_number(said.get("um"), "micrometres of clearance", Decimal(0), MOST_UM))}
    return {}


def _number(typed: Any, of: str, low: Decimal, high: Decimal) -> Decimal:
    try:
        value = Decimal(str(typed).strip())
        is_number = value.is_finite()
    except InvalidOperation:
        is_number = False
    if not is_number or not low <= value <= high:
        raise NotPlanned(f"'{typed}' is no number of {of} between {low} and {high}. Give one, such as 40.")
    return value


@transaction.atomic
def take_back(*, draft: DraftPlan, number: int) -> DraftPlan:
    """Take one change back, by its place in their order; number -1 takes back all."""
    draft = locked(draft)
    if number != -1 and not 0 <= number < len(draft.changes):
        raise NotPlanned("This change is taken back already. Look at the list again.")
    draft.changes = [] if number == -1 else [c for n, c in enumerate(draft.changes) if n != number]
    draft.save(update_fields=["changes"])
    return draft


def keep_version(*, draft: DraftPlan, name: str, by: UUID) -> DraftPlan:
    """Keep the plan in hand as it is now under a name, to be compared with later."""
    name = name.strip()[:80]
    if not name:
        raise NotPlanned("Give the version a name, such as 'with the night shift'.")
    if DraftPlan.objects.filter(site=draft.site, name=name).exists():
        raise NotPlanned(f"A version called '{name}' is kept already. Choose another name.")
    return DraftPlan.objects.create(
        site_id=draft.site_id,
        name=name,
        as_of=draft.as_of,
        made_at=now(),
        made_by=by,
        digest=draft.digest,
        inputs=draft.inputs,
        solved=draft.solved,
        changes=draft.changes,
    )


def locked(draft: DraftPlan) -> DraftPlan:
    """The plan in hand, locked; a form filled in before it was planned anew is refused."""
    rows = (
        DraftPlan.objects.select_for_update()
        .select_related("site")
        .defer("inputs")
        .filter(site=draft.site_id, name="")
    )
    row = rows.order_by("-made_at").first()
    if row is None or row.pk != draft.pk:
        raise NotPlanned("The plan was worked out anew meanwhile. Look at it again, then change it.")
    return row
