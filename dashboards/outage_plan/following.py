"""The accepted plan as it is followed: the jobs of each outage with their states, what is carried over, what
has moved.
"""

import datetime as dt
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from uuid import UUID

from dashboards.outage_plan import job_states
from dashboards.outage_plan.deferrals import words_in
from dashboards.outage_plan.drafts import BEFORE, in_hand
from dashboards.outage_plan.job_states import AROUND, JobState, OfOutage
from fleet.clock import today_at
from fleet.formatting import counted, day
from fleet.models import Bearing, Outage, Site
from fleet.models.recorded import IN_ORDER, LAST_FIRST
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.when import closed_up
from inspections.models import Decision, Plan

MOST_OVER = 4  # outages gone by whose jobs are still followed


@dataclass(frozen=True)
class Followed:
    """One accepted job and how it stands."""

    bearing: Bearing
    action: str
    state: JobState

    @property
    def name(self) -> str:
        """The bearing's name within its site."""
        return f"{self.bearing.place.tag} {self.bearing.name}"


@dataclass(frozen=True)
class FollowedOutage:
    """One outage of an accepted plan with its jobs; `moved` says what became of the outage since."""

    outage: Outage
    jobs: tuple[Followed, ...]
    moved: str = ""

    def count(self, *words: str) -> int:
        """How many jobs stand so."""
        return sum(one.state.word in words for one in self.jobs)

    @property
    def is_running(self) -> bool:
        """Whether it has begun and work in it is still to be settled."""
        return any(one.state.word == job_states.UNDER_WAY for one in self.jobs) or bool(
            self.jobs and self.outage.start_on <= today_at(self.outage.site) <= self.outage.end_on
        )

    @property
    def adherence(self) -> str:
        """How the outage keeps to its plan, in one sentence."""
        n = Counter(one.state.word for one in self.jobs)
        parts = [f"{n[word]} {word}" for word in job_states.STATES if n[word] and word != job_states.DONE]
        done = f"{n[job_states.DONE]} of {counted(len(self.jobs), 'planned job')} done"
        return f"{'; '.join([done, *parts])}."


@dataclass(frozen=True)
class CarriedOver:
    """A job that was not done, with its bearing's risk as it is now."""

    job: Followed
    outage: str
    p_now: float | None
    p_next: float | None


def follow(site: Site, today: dt.date) -> list[FollowedOutage]:
    """The outages of a site's accepted plans with the state of each job, in time's order; none where none was
    accepted.
    """
    plans = list(
        Plan.objects.standing()
        .filter(site=site, accepted_on__isnull=False)
        .order_by("accepted_on", *IN_ORDER)
    )
    if not plans:
        return []
    named = {job["outage"] for plan in plans for job in plan.jobs if not job["outage"].startswith(BEFORE)}
    outages = list(Outage.objects.select_related("site").filter(pk__in=named).order_by("start_on", "name"))
    over = [one for one in outages if one.end_on < today]
    kept = [*over[-MOST_OVER:], *(one for one in outages if one.end_on >= today)]
    bearings = {
        str(one.pk): one for one in Bearing.objects.select_related("place__site").filter(place__site=site)
    }
    later = _later(site, plans[-1], outages, today)
    made = [_followed(one, plans, bearings, later, today) for one in kept]
    return [one for one in made if one is not None and one.jobs]


def _followed(
    outage: Outage, plans: Sequence[Plan], bearings: dict[str, Bearing], later: dict[str, str], today: dt.date
) -> FollowedOutage | None:
    scope = _scope(outage, plans)
    jobs = {pk: job for pk, job in scope.jobs.items() if pk in bearings}
    of = OfOutage(outage.name, outage.start_on, outage.end_on)
    since = _accepted_after({UUID(pk): plan for pk, (_, plan) in jobs.items()})
    begun = outage.start_on - AROUND <= today
    seen = job_states.recorded(since, of, today, outage.pk) if begun and since else {}
    put_off = words_in(outage, [bearings[pk] for pk in jobs], today)
    closed = closed_up([outage], today) if today <= outage.end_on else {}
    made = []
    for pk, (action, _) in jobs.items():
        why = scope.gone.get(pk, "")
        if outage.withdrawn_by is not None:
            why = "the outage is cancelled"
        why = why or put_off.get(UUID(pk), "")
        after = later.get(pk, "") if later.get(pk) != of.name else ""
        own = replace(of, cancelled=why, later=after, closed_on=closed.get(bearings[pk].place_id))
        state = job_states.state_of(action, own, seen.get(UUID(pk)), today)
        made.append(Followed(bearings[pk], action, state))
    made.sort(key=lambda one: (one.bearing.place.tag, one.bearing.name))
    return FollowedOutage(outage, tuple(made), moved(plans[-1], outage))


@dataclass(frozen=True)
class _Scope:
    """Jobs of one outage by bearing, each with the plan that gave it; what a later plan took out, with the
    words.
    """

    jobs: dict[str, tuple[str, Plan]]
    gone: dict[str, str]


def _scope(outage: Outage, plans: Sequence[Plan]) -> _Scope:
    """What the plan in force before the outage gave it, and what plans accepted during it
    added or took out.
    """
    known = [one for one in plans if one.accepted_on and one.accepted_on <= outage.end_on]
    before = [one for one in known if one.accepted_on and one.accepted_on <= outage.start_on - AROUND]
    used = [*before[-1:], *(one for one in known if one not in before)]
    jobs: dict[str, tuple[str, Plan]] = {}
    for plan in used:
        for job in plan.jobs:
            was = jobs.get(job["bearing"])
            if job["outage"] == str(outage.pk) and (was is None or was[0] != job["action"]):
                jobs[job["bearing"]] = (job["action"], plan)
    if not used:
        return _Scope({}, {})
    last = used[-1]
    where = {job["bearing"]: job for job in last.jobs}
    gone = {}
    for pk in jobs:
        job = where.get(pk)
        if job is None:
            gone[pk] = f"taken out by the plan accepted on {day(last.accepted_on)}"
        elif job["outage"] != str(outage.pk):
            gone[pk] = f"moved by the plan accepted on {day(last.accepted_on)}: {job['when']}"
    return _Scope(jobs, gone)


def _accepted_after(plans: Mapping[UUID, Plan]) -> dict[UUID, int | None]:
    """By bearing, the entry of its own chain by which its plan was accepted: what stands before it the plan
    knew.
    """
    rows = Decision.objects.filter(plan__in={plan.pk for plan in plans.values()}, bearing__in=list(plans))
    entries = {(row.bearing_id, row.plan_id): row.entry_n for row in rows}
    return {pk: entries.get((pk, plan.pk)) for pk, plan in plans.items()}


def _later(site: Site, plan: Plan, outages: Sequence[Outage], today: dt.date) -> dict[str, str]:
    """By bearing, the coming outage in which the accepted plan, else the plan in hand, holds a job."""
    coming = {str(one.pk): one.name for one in outages if one.end_on >= today and one.withdrawn_by is None}
    found: dict[str, str] = {}
    hand = in_hand(site)
    if hand is not None:
        ids = hand.solved["ids"]
        ahead = {one.name for one in Outage.objects.coming(today).filter(site=site)}
        for bearing, _, outage in hand.solved["jobs"]:
            if outage in ahead and bearing in ids["bearings"]:
                found[ids["bearings"][bearing]] = outage
    return found | {job["bearing"]: coming[job["outage"]] for job in plan.jobs if job["outage"] in coming}


def states_of(site: Site) -> dict[tuple[str, str], str]:
    """How each job of the accepted plan stands, by the inner ids of bearing and outage, in the words of the
    plan sheet.
    """
    followed = follow(site, today_at(site))
    return {
        (str(job.bearing.pk), str(one.outage.pk)): job.state.word.replace(" ", "_")
        for one in followed
        for job in one.jobs
    }


def settled(followed: Sequence[FollowedOutage]) -> frozenset[tuple[str, str]]:
    """Bearing and outage, by name, of each job of which nothing is left to be worked."""
    over = (job_states.DONE, job_states.OTHERWISE)
    return frozenset(
        (j.name, one.outage.name)
        for one in followed
        for j in one.jobs
        if j.state.word in over or j.state.at_closed_pump
    )


def finished(followed: Sequence[FollowedOutage]) -> frozenset[str]:
    """Bearings whose job is done: what was forecast before it holds no longer."""
    return frozenset(j.name for one in followed for j in one.jobs if j.state.word == job_states.DONE)


def carried_over(followed: Sequence[FollowedOutage], today: dt.date) -> list[CarriedOver]:
    """What was planned in outages gone by, not done then nor since: each bearing once, the highest risk
    first.
    """
    undone: dict[UUID, tuple[Followed, Outage]] = {}
    for one in followed:
        for job in one.jobs:
            if one.outage.end_on < today:
                undone.pop(job.bearing.pk, None)
                if job.state.word in (job_states.NOT_DONE, job_states.CARRIED_OVER):
                    undone[job.bearing.pk] = (job, one.outage)
    for pk in [pk for pk, (_, outage) in undone.items() if _done_since(pk, outage, today)]:
        del undone[pk]
    figures = current([job.bearing for job, _ in undone.values()], today) if undone else {}
    made = [
        CarriedOver(job, outage.name, figures[pk]["p_max_now"], figures[pk]["p_max_before_next_outage"])
        for pk, (job, outage) in undone.items()
    ]
    return sorted(made, key=lambda one: -(one.p_next or 0.0))


def _done_since(bearing: UUID, outage: Outage, today: dt.date) -> bool:
    """Whether the bearing was opened after the outage and the days around it."""
    after = OfOutage(outage.name, outage.end_on + 2 * AROUND + dt.timedelta(days=1), today)
    return bool(job_states.recorded({bearing: None}, after, today))


def moved(plan: Plan, outage: Outage) -> str:
    """What became of an outage since a plan was accepted on it, in words; empty where it stands as it did."""
    was = next((one for one in plan.inputs.get("outages", ()) if one["id"] == str(outage.pk)), None)
    if was is None:
        return ""
    jobs = counted(sum(job["outage"] == was["id"] for job in plan.jobs), "accepted job")
    if outage.withdrawn_by is not None:
        return f"{was['name']} is cancelled: its {jobs} have no outage any more. Plan anew and accept."
    parts = []
    if was["name"] != outage.name:
        parts.append(f"is called {outage.name} now")
    for key, word in (("start_on", "starts"), ("end_on", "ends"), ("scope_freeze_on", "freezes its scope")):
        if key in was and was[key] != _iso(getattr(outage, key)):
            parts.append(f"{word} {_day_words(_iso(getattr(outage, key)))}, not {_day_words(was[key])}")
    if not parts:
        return ""
    first = was["start_on"] != _iso(outage.start_on)
    rests = f": the chances, hours and order dates of its {jobs} were of the day before" if first else ""
    freeze = ""
    if first and outage.scope_freeze_on and was.get("scope_freeze_on") == _iso(outage.scope_freeze_on):
        freeze = f" Its freeze day did not move with it: still {day(outage.scope_freeze_on)}."
    return f"{was['name']} {', '.join(parts)}{rests}.{freeze} Plan anew and accept."


def _iso(value: dt.date | None) -> str:
    return value.isoformat() if value else ""


def _day_words(text: str) -> str:
    return f"on {day(dt.date.fromisoformat(text))}" if text else "on no stated day"


def moved_since(site: Site, today: dt.date) -> list[str]:
    """Of each coming outage of the accepted plan that moved, was renamed or cancelled
    since: what, in words.
    """
    plans = Plan.objects.standing().filter(site=site, accepted_on__isnull=False)
    plan = plans.order_by("-accepted_on", *LAST_FIRST).first()
    if plan is None:
        return []
    named = {job["outage"] for job in plan.jobs if not job["outage"].startswith(BEFORE)}
    rows = Outage.objects.filter(pk__in=named, end_on__gte=today).order_by("start_on", "name")
    return [words for row in rows if (words := moved(plan, row))]
