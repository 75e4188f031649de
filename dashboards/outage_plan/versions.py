"""The plans of a site as they are kept: the one in hand, earlier and named versions, the accepted one;
weighed, not solved.
"""

import datetime as dt
import hashlib
import json
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any
from uuid import UUID

from django.db.models import Count, Exists, Max, OuterRef, Q

from dashboards.outage_plan import above_risk
from dashboards.outage_plan.deferrals import by_hand, changes_in_force, holding
from dashboards.outage_plan.drafts import (
    WHAT_IFS,
    NotPlanned,
    Solved,
    Told,
    Weighed,
    accepted,
    in_hand,
    keep,
    kept_versions,
    quiet,
)
from dashboards.outage_plan.following import finished, follow, settled
from dashboards.outage_plan.inputs_json import from_json, jobs_from_json, jobs_to_json, to_json
from dashboards.outage_plan.job_states import NEW_METAL
from dashboards.outage_plan.proposal import Proposal, accepted_jobs, gather, solved, still_open
from dashboards.outage_plan.pump_openings import inputs as plan
from dashboards.outage_plan.pump_openings.changes import changed, replayed
from dashboards.outage_plan.pump_openings.evaluate import Evaluation, PlannedJob, evaluate
from dashboards.outage_plan.pump_openings.inputs import when
from dashboards.outage_plan.pump_openings.proposed import STEPS, Solution
from dashboards.outage_plan.pump_openings.shell_orders import orders
from dashboards.outage_plan.supposed import supposed
from fleet.clock import today_at
from fleet.models import Bearing, Entry, Installation, Place, Setting, Site
from fleet.plant.choices import WORDS_AT_PUMP
from inspections.forecasts.current_forecasts import standing_run
from inspections.forecasts.judgement.when import open_since
from inspections.models import Agreement, DraftPlan, Event, EventKind, OutsideOpening

# Entries that change nothing a plan is made from.
BESIDE = (
    "role",
    "decision",
    "deferral",
    "agreement",
    "plan",
    "forecast_relied_on",
    "attendance",
    "signature_asked",
    "signature",
    "finding",
    "not_measured",
    "contact_criteria",
    "sheet",
    "attachment",
    "reading_plan",
    "answer",
    "set_aside",
)
OF_PLANT = (
    "work_hours",
    "setting",
    "wear_class",
    "journal",
    "journal_diameter",
    "shell_half",
    "shell_state",
    "rotor",
    "withdrawal",
    "revision",
)
NO_SUCH = "There is no such plan."
OF_EARLIER = (
    "This plan was worked out by bearing, before pumps were planned by their next opening; it is not shown"
    " any more. Plan anew: what was pinned and refused is kept to. An accepted plan stands and is followed as"
    " it is."
)
HAND, PROPOSED, ACCEPTED = "in-hand", "proposed", "accepted"
# What was kept as JSON, read: a plan in hand is looked at again and again while it is changed.
_READ: OrderedDict[UUID, plan.Inputs | None] = OrderedDict()
_MOST_READ = 8
# What was weighed, so that a change weighs the changed plan only, not the one before it again.
_WEIGHED: OrderedDict[tuple, tuple[plan.Inputs, Evaluation]] = OrderedDict()
_MOST_WEIGHED = 16


def digest_of(site: Site) -> str:
    """The entries that a site's plan rests on, as one text: other sites' and a plan's own
    do not change it.
    """
    bearings = Bearing.objects.filter(place__site=site).values_list("pk", flat=True)
    machines = Installation.objects.filter(place__site=site).values_list("machine_id", flat=True)
    chains = [f"site:{site.pk}", *(f"bearing:{pk}" for pk in bearings), *(f"pump:{pk}" for pk in machines)]
    outside = Agreement.objects.filter(chain=OuterRef("chain"), entry_n=OuterRef("n"))
    outside = outside.filter(
        thing__in=OutsideOpening.objects.values("pk")
    )  # an opening agreed to has its own days
    own = Q(chain__in=chains) & (~Q(kind__in=BESIDE) | Q(kind="agreement") & Exists(outside))
    # A note says nothing of wear: an interim check of what is put off makes no plan old.
    notes = Event.objects.filter(kind=EventKind.NOTE, chain=OuterRef("chain"), entry_n=OuterRef("n"))
    words = Setting.objects.filter(WORDS_AT_PUMP, chain=OuterRef("chain"), entry_n=OuterRef("n"))
    rests_on = (own | Q(chain="plant", kind__in=OF_PLANT)) & ~(Q(kind="setting") & Exists(words))
    seen = (
        Entry.objects.filter(rests_on)
        .exclude(Q(kind="event") & Exists(notes))
        .aggregate(n=Count("pk"), last=Max("pk"))
    )
    return hashlib.sha256(f"{site.pk}|{seen['n']}|{seen['last']}".encode()).hexdigest()


def up_to_date(site: Site, as_of: dt.date) -> DraftPlan | None:
    """The plan in hand where it is of that day and of the record and the forecast as they stand; None where
    another is needed.
    """
    hand, run = in_hand(site), standing_run()
    if hand is None or hand.as_of != as_of or (run and run.made_at > hand.made_at):
        return None
    return hand if hand.digest == digest_of(site) else None


# for `dashboards.outage_plan.drafts`


def solve_for(site: Site, as_of: dt.date, changes: Sequence[Mapping[str, Any]], tell: Told = quiet) -> Solved:
    """Gather, solve and hand over as plain JSON; `tell` hears which step of how many begins."""
    steps = STEPS + 2
    digest = digest_of(site)
    tell(0, steps, "forecasts, outages, spares and hours are gathered")
    found = gather(site, as_of)
    n = len(found.inputs.bearings) if found.inputs else 0
    tell(1, steps, f"what {n} bearings rest on is gathered")
    made = solved(site, found, changes, lambda step, words: tell(1 + step, steps, words))
    tell(1 + STEPS, steps, "the plan is weighed and kept")
    solution = made.solution
    given = {"plan": to_json(found.inputs)} if found.inputs is not None else {}
    ids = {"bearings": dict(found.bearing_ids), "outages": dict(found.outage_ids)}
    said: dict[str, Any] = {
        "refused": list(made.refused),
        "left_out": list(made.left_out),
        "planned": list(found.planned),
        "jobs": [],
        "ids": ids,
        "what_ifs": [dict(one) for one in changes if one["what"] in WHAT_IFS],
    }
    if solution:
        said |= {
            "jobs": jobs_to_json(solution.jobs),
            "cost": solution.cost,
            "bound": solution.bound,
            "stopped_by": solution.stopped_by,
        }
    return Solved(digest, given, said)


def propose(site: Site, as_of: dt.date, *, by: UUID | None, tell: Told = quiet) -> DraftPlan:
    """Plan a site's outages from the record as it stands, keeping to what was pinned, refused and said of
    outages.

    `tell` hears which step of how many begins, in words.

    Raises
    ------
    NotPlanned
        where the changes leave no plan: what is short, in sentences; the plan in hand stays as it was.
    """
    before = in_hand(site)
    # A job moved but not pinned was a look at this proposal only.
    changes = [one for one in before.changes if one["what"] != "move"] if before else []
    over = settled(follow(site, today_at(site)))
    changes = [one for one in by_hand(changes) if (one.get("bearing"), one.get("outage")) not in over]
    changes += changes_in_force(site, as_of)
    made = solve_for(site, as_of, changes, tell)
    refused = made.solved.get("refused")
    if refused and changes:
        raise NotPlanned(
            f"No plan keeps to all the changes: {' '.join(refused)} Take a change back, then plan anew."
        )
    return keep(site, as_of, made, by=by, changes=changes)


def weigh(draft: DraftPlan) -> Weighed:
    """What the plan in hand comes to, as text for the ledger."""
    made = shown(draft, version(draft, HAND))
    if made.evaluation is None:
        return Weighed([], [], tuple(made.refused), (), False)
    found, ids = made.evaluation, draft.solved["ids"]
    above = [
        {
            "bearing": ids["bearings"][one.bearing],
            "name": one.bearing,
            "chance": f"{one.chance:.4f}",
            "by": one.by,
            "cause": one.cause,
            "reason": one.reason,
            "would_fit_with": one.remedy,
        }
        for one in found.not_fitting
    ]
    totals = {
        "expected_passings": f"{found.expected_passings:.3f}",
        "above_accepted": str(found.n_above_accepted),
        "jobs": str(len(found.jobs)),
    } | {f"hours {load.outage}": f"{load.used_hours:.1f}" for load in found.loads}
    return Weighed(
        [_recorded(job, ids) for job in found.jobs],
        above,
        found.faults,
        found.marked,
        not made.is_stale,
        totals,
    )


def _recorded(job: PlannedJob, ids: Mapping[str, Mapping[str, str]]) -> dict[str, Any]:
    return {
        "bearing": ids["bearings"][job.bearing],
        "outage": ids["outages"][job.outage],
        "action": job.action,
        "when": when(job.outage),
        "crew_hours": f"{job.crew_hours:.1f}",
        "shell_type": job.shell_type,
        "shell_from": job.shell_from,
        "p_max_before_work": f"{job.p_max_before_work:.4f}",
        "p_max_if_deferred": f"{job.p_max_if_deferred:.4f}",
        "trigger_is": job.trigger_is,
        "trigger_um": _text(job.trigger_um, 0),
        "scrape_from_um": _text(job.scrape_from_um, 0),
        "p_trigger": _text(job.p_trigger, 4),
        "crew_hours_p90": f"{job.crew_hours_p90:.1f}",
        "crew_hours_most": f"{job.crew_hours_most:.1f}",
        "shells_p90": str(job.shells_p90),
        "reason": job.reason,
    }


def _text(value: float | None, digits: int) -> str:
    return "" if value is None else f"{value:.{digits}f}"


# versions and what they do


@dataclass(frozen=True)
class Version:
    """A plan to look at: its jobs before the changes, and the changes."""

    key: str
    label: str
    jobs: tuple[plan.Job, ...]
    changes: tuple[Mapping[str, Any], ...] = ()


def version(hand: DraftPlan, key: str) -> Version | None:
    """The version of that key at the site of the plan in hand; None where there is none."""
    if key == HAND:
        return Version(key, "the plan in hand", jobs_from_json(hand.solved["jobs"]), tuple(hand.changes))
    if key == PROPOSED:
        return Version(key, "the proposal before any change", jobs_from_json(hand.solved["jobs"]))
    if key == ACCEPTED:
        standing, jobs = accepted(hand.site), accepted_jobs(hand.site)
        if standing is None or jobs is None:
            return None
        # Its jobs are those after all changes; what was supposed of outages then is no fact of record.
        return Version(key, "the accepted plan", jobs)
    try:
        row = DraftPlan.objects.filter(site=hand.site, pk=UUID(key)).first()
    except ValueError:
        return None
    if row is None:
        return None
    return Version(key, _called(row), jobs_from_json(row.solved["jobs"]), tuple(row.changes))


def _called(row: DraftPlan) -> str:
    return f"“{row.name}”" if row.name else f"the proposal of {row.made_at:%Y-%m-%d %H:%M} UTC"


def versions(hand: DraftPlan) -> list[tuple[str, str]]:
    """Keys and labels of all that can be looked at and compared, the plan in hand first."""
    found = [(HAND, "the plan in hand")]
    if hand.changes:
        found.append((PROPOSED, "the proposal before any change"))
    if accepted(hand.site):
        found.append((ACCEPTED, "the accepted plan"))
    return found + [(str(row.pk), _called(row)) for row in kept_versions(hand.site)]


def given_to(hand: DraftPlan) -> plan.Inputs | None:
    """What the plan in hand was made from, before any change, with the accepted plan as it stands now.

    None where it was kept by an earlier version of the site, which planned by bearing.
    """
    if hand.pk not in _READ:
        _READ[hand.pk] = from_json(hand.inputs["plan"]) if "plan" in hand.inputs else None
        while len(_READ) > _MOST_READ:
            _READ.popitem(last=False)
    base = _READ[hand.pk]
    return replace(base, accepted=accepted_jobs(hand.site)) if base else None


def _renewed_since(hand: DraftPlan) -> frozenset[str]:
    """Bearings that were given new metal after the plan in hand was worked out, planned or not."""
    ids = {pk: name for name, pk in hand.solved["ids"]["bearings"].items()}
    works = Event.objects.standing().filter(kind__in=NEW_METAL, recorded_at__gt=hand.made_at)
    return frozenset(ids[str(pk)] for pk in works.filter(bearing__in=ids).values_list("bearing", flat=True))


def _opened(site: Site) -> dict[str, dt.date]:
    """By pump of a site that stands open today: the day it was opened."""
    since = open_since([site.pk], today_at(site))
    return {tag: since[pk] for pk, tag in Place.objects.filter(pk__in=since).values_list("pk", "tag")}


def _with_open_pumps(given: plan.Inputs, opened: Mapping[str, dt.date]) -> plan.Inputs:
    """The same where a pump was opened or closed after the plan was worked out."""
    rows = (replace(b, judged=b.judged.with_pump_open(opened.get(b.pump))) for b in given.bearings)
    return replace(given, bearings=tuple(rows))


def shown(hand: DraftPlan, one: Version | None) -> Proposal:
    """A version weighed on what the plan in hand was made from: risk, hours, shells; nothing is solved."""
    refused, left_out = tuple(hand.solved["refused"]), tuple(hand.solved["left_out"])
    given = given_to(hand)
    if one is None or given is None or refused:
        words = NO_SUCH if one is None else OF_EARLIER
        return Proposal(hand.site, hand.as_of, None, refused=refused or (words,), left_out=left_out)
    holds = holding(one.changes, today_at(hand.site))
    # What is finished at the pumps is planned no more, whatever a plan made before says of it.
    followed = follow(hand.site, today_at(hand.site))
    over, done, renewed = settled(followed), frozenset[str](), frozenset[str]()
    is_stale = digest_of(hand.site) != hand.digest
    if is_stale:
        renewed = _renewed_since(hand)
        done = finished(followed) | renewed
        over |= {(name, outage.name) for name in renewed for outage in given.outages}
    what_ifs = supposed(hand.solved["ids"]["bearings"], holds, hand.as_of)
    opened = _opened(hand.site)
    key = (
        hand.pk,
        one.jobs,
        json.dumps(holds),
        given.accepted,
        over,
        done,
        hand.digest,
        tuple(opened.items()),
    )
    if key not in _WEIGHED:
        inputs = _with_open_pumps(changed(given, holds, what_ifs), opened)
        left = still_open(replayed(one.jobs, holds, inputs), over)
        _WEIGHED[key] = inputs, evaluate(left, inputs, done)
        while len(_WEIGHED) > _MOST_WEIGHED:
            _WEIGHED.popitem(last=False)
    inputs, made = _WEIGHED[key]
    # Only new metal ends what is to be decided now; what was measured over its maximum stays to be decided.
    now, opened_of = (
        tuple(one for one in some if one[0] not in renewed) for some in (made.decide_now, made.opened)
    )
    made = replace(made, decide_now=now, opened=opened_of)
    made = replace(made, not_fitting=above_risk.named(made.not_fitting, holds, hand.site))
    jobs = tuple(plan.Job(job.bearing, job.action, job.outage) for job in made.jobs)
    said = hand.solved
    solution = Solution(jobs, said.get("cost", 0.0), said.get("bound", 0.0), said.get("stopped_by", ""))
    ids = hand.solved["ids"]
    return Proposal(
        hand.site,
        hand.as_of,
        inputs,
        solution,
        made,
        orders(made, inputs),
        left_out=left_out,
        bearing_ids=ids["bearings"],
        outage_ids=ids["outages"],
        is_stale=is_stale,
    )
