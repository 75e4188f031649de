"""A plan as its pages show it: sentences, a calendar of bearings by outages, load, orders, what does not fit."""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from django.utils.safestring import SafeString

from dashboards.outage_plan import drawing, versions, words
from dashboards.outage_plan.acceptance import open_what_ifs
from dashboards.outage_plan.bearing_jobs.above import NotFitting
from dashboards.outage_plan.bearing_jobs.evaluate import Evaluation, PlannedJob
from dashboards.outage_plan.bearing_jobs.inputs import Inputs
from dashboards.outage_plan.bearing_jobs.stock import MonthOfSpares
from dashboards.outage_plan.deferrals import deferrals, waiting
from dashboards.outage_plan.drafts import REPLACE, accepted
from dashboards.outage_plan.following import FollowedOutage, carried_over, follow, moved_since
from dashboards.outage_plan.job_states import AROUND
from dashboards.outage_plan.proposal import Proposal
from fleet.clock import today_at
from fleet.formatting import day
from fleet.models import Bearing, Person, Site
from inspections.forecasts.current import current
from inspections.models import DraftPlan


@dataclass(frozen=True)
class Row:
    """One bearing; `is_first` where its pump begins."""

    bearing: str
    pump: str
    position: str
    is_first: bool
    why: str
    cells: list[SafeString]  # one for each outage
    crew_hours: float
    changed: bool


def context(hand: DraftPlan, made: Proposal, version: versions.Version, sites: list[Site]) -> dict[str, Any]:
    """What the plan's page shows of a version."""
    base = {
        "hand": hand,
        "proposal": made,
        "site": hand.site,
        "sites": sites,
        "today": hand.as_of,
        "version": version,
        "versions": versions.versions(hand),
        "is_in_hand": version.key == versions.HAND,
        "left_out": made.left_out,
        "planned": hand.solved.get("planned", []),
        "accepted": _accepted(hand.site),
        "deferrals": deferrals(hand.site, today_at(hand.site)),
        "deferrals_waiting": waiting(hand.site, today_at(hand.site)),
        "what_ifs": open_what_ifs(hand),
    } | _following(hand.site)
    if made.evaluation is None or made.inputs is None:
        return base | {"saying": "No plan can be proposed yet.", "refused": made.refused}
    found, given = made.evaluation, made.inputs
    shown = [t for t, o in enumerate(given.outages) if not o.between or found.loads[t].n_jobs]
    return base | {
        "saying": words.saying(found, given, made.orders),
        "horizon": words.horizon(given),
        "outages": [(given.outages[t], found.loads[t], drawing.load_bar(found.loads[t])) for t in shown],
        "rows": _rows(found, given, version, shown),
        "has_between": bool(given.between.any()),
        "orders": made.orders,
        "not_fitting": found.not_fitting,
        "faults": found.faults,
        "marked": found.marked,
        "gap": made.solution.gap if made.solution else None,
        "not_counted": words.NOT_COUNTED,
        "dots_once": drawing.dots_once(),
        "months": _months(found.months),
        "relined": _relined(found, given),
        "changes": _changes(version, given),
        "effect": _effect(hand, made, version),
        "left_alone": _left_alone(found, given),
        "is_stale": versions.digest_of(hand.site) != hand.digest,
        "from_accepted": _from_accepted(hand, made, version),
    }


def _following(site: Site) -> dict[str, Any]:
    """How the accepted plan is followed: job states by outage, what is carried over, which outages have moved."""
    today = today_at(site)
    followed = follow(site, today)
    return {
        "followed": [one for one in followed if one.outage.start_on - AROUND <= today],
        "carried": carried_over(followed, today),
        "moved": moved_since(site, today),
    }


def _accepted(site: Site) -> dict[str, Any] | None:
    """The accepted plan: when, by whom, why; as it was then."""
    row = accepted(site)
    if row is None:
        return None
    by = Person.objects.filter(pk=row.recorded_by).first()
    return {"plan": row, "by": by.name if by and by.name else "a person whose name was removed"}


def _changes(version: versions.Version, given: Inputs) -> list[str]:
    outages = {o.name: o for o in given.outages}
    return [words.change_words(said, outages) for said in version.changes]


def _effect(hand: DraftPlan, made: Proposal, version: versions.Version) -> list[str]:
    """What the changes do to the proposal."""
    if not version.changes or version.key != versions.HAND:
        return []
    before = versions.shown(hand, versions.version(hand, versions.PROPOSED))
    if before.evaluation is None or made.evaluation is None or made.inputs is None:
        return []
    return words.effect(before.evaluation, made.evaluation, made.inputs.outages)


def _from_accepted(hand: DraftPlan, made: Proposal, version: versions.Version) -> int | None:
    """How many jobs differ from the accepted plan; None where none is accepted or it is this one."""
    if version.key == versions.ACCEPTED or made.inputs is None or made.inputs.accepted is None:
        return None
    was = {(j.bearing, j.action, j.outage) for j in made.inputs.accepted if j.outage in made.inputs.outage_at}
    now = {(j.bearing, j.action, j.outage) for j in made.evaluation.jobs} if made.evaluation else set()
    return len({bearing for bearing, _, _ in was ^ now})


def _rows(found: Evaluation, given: Inputs, version: versions.Version, shown: Sequence[int]) -> list[Row]:
    """Bearings that have work, or stand above the accepted risk; pumps by their first work, a pump's together."""
    job_of = {job.bearing: job for job in found.jobs}
    missing = {one.bearing: one for one in found.not_fitting}
    first: dict[str, tuple[int, int]] = {}
    for n, planned in enumerate(found.jobs):
        first.setdefault(planned.pump, (given.outage_at[planned.outage], n))
    chosen = [i for i, b in enumerate(given.bearings) if b.name in job_of or b.name in missing]
    late = (len(given.outages), len(found.jobs))
    chosen.sort(key=lambda i: (first.get(given.bearings[i].pump, late), i))
    touched = {said["bearing"] for said in version.changes if said.get("bearing")}
    rows, before = [], ""
    for i in chosen:
        b = given.bearings[i]
        job: PlannedJob | None = job_of.get(b.name)
        cells = [_cell(found, given, i, t, job) for t in shown]
        why = job.reason if job else _why_not(missing[b.name])
        rows.append(
            Row(
                b.name,
                b.pump,
                b.name.removeprefix(b.pump).strip(),
                b.pump != before,
                why,
                cells,
                job.crew_hours if job else 0.0,
                b.name in touched,
            )
        )
        before = b.pump
    return rows


def _why_not(one: NotFitting) -> str:
    return f"no work, though above the accepted risk: {one.reason}"


def _cell(found: Evaluation, given: Inputs, i: int, t: int, job: Any) -> SafeString:
    outage = given.outages[t]
    here = job is not None and job.outage == outage.name
    action = job.action if here else ""
    month = day(outage.start_on, "month")
    return drawing.cell(
        f"{month}, between" if outage.between else month, action, _chance(found, given, i, t, job)
    )


def _chance(found: Evaluation, given: Inputs, i: int, t: int, job: Any) -> float:
    """The chance that a bearing has passed its maximum by an outage; once it has a new shell, that the new one has."""
    if job is not None and job.action == REPLACE:
        fitted = given.outage_at[job.outage]
        if fitted != t and given.starts[fitted] < given.starts[t]:
            age = given.starts[t] - given.starts[fitted]
            return float(np.interp(age, given.days, given.bearings[i].chance_new))
    return float(found.chance[i, t])


def _left_alone(found: Evaluation, given: Inputs) -> tuple[list[str], float]:
    """Bearings without work and within the accepted risk, and the highest chance among them by the plan's end."""
    shown = {job.bearing for job in found.jobs} | {one.bearing for one in found.not_fitting}
    rest = [i for i, b in enumerate(given.bearings) if b.name not in shown]
    return [given.bearings[i].name for i in rest], max(
        (float(found.chance[i, -1]) for i in rest), default=0.0
    )


def _months(months: Sequence[MonthOfSpares]) -> list[MonthOfSpares]:
    """Months in which a shell comes or goes."""
    return [one for one in months if one.arrived or one.used]


@dataclass(frozen=True)
class Relined:
    """A kind of half shell that comes back relined, and what of it this plan takes out: outage, how many, back by, in time for."""

    family: str
    days: float
    out: list[tuple[str, int, dt.date, str]]


def _relined(found: Evaluation, given: Inputs) -> list[Relined]:
    """What is counted with of shells that come out: back relined by which day, in time for which outage."""
    made = []
    families = sorted({(b.shell_type, half) for b in given.bearings if b.shell_type for half in b.halves})
    for kind, half in families:
        days = given.relined_after(kind, half)
        if days is None:
            continue
        counted = Counter(
            x.outage for x in found.shells if x.family == f"{kind} {half}" and x.source != "short"
        )
        out = []
        for t in sorted(counted):
            back = given.outages[t].start_on + dt.timedelta(days=days)
            ready = back + dt.timedelta(days=given.settings.margin_days)
            after = next((o.name for o in given.outages if o.start_on >= ready and not o.skipped), "")
            out.append((given.outages[t].name, counted[t], back, after))
        made.append(Relined(f"{kind} {half}", days, out))
    return made


def work(made: Proposal, outage_name: str) -> dict[str, Any] | None:
    """The work list of one outage: each job with the bearing's last facts; None where nothing is planned there."""
    found = made.evaluation
    jobs = [job for job in found.jobs if job.outage == outage_name] if found else []
    today = today_at(made.site)
    own = next((one for one in follow(made.site, today) if one.outage.name == outage_name), None)
    if not jobs and own is not None:
        return _nothing_left(made, own)
    if not jobs or made.inputs is None or found is None:
        return None
    bearings = {
        f"{one.place.tag} {one.name}": one
        for one in Bearing.objects.standing().at_sites([made.site]).in_order()
    }
    jobs = [job for job in jobs if job.bearing in bearings]
    figures = current([bearings[job.bearing] for job in jobs], made.as_of)
    above = {one.bearing: one for one in found.not_fitting}
    states = {one.name: one.state for one in own.jobs} if own else {}
    rows = [
        (
            job,
            bearings[job.bearing],
            figures[bearings[job.bearing].pk],
            above.pop(job.bearing, None),
            states.get(job.bearing),
        )
        for job in jobs
    ]
    given = made.inputs
    # Whatever is above the risk with no work planned, or with later work, concerns who stands at the open pumps.
    waiting = [
        one
        for one in above.values()
        if one.by not in given.outage_at
        or given.starts[given.outage_at[one.by]] > given.starts[given.outage_at[outage_name]]
    ]
    outage = next(one for one in made.inputs.outages if one.name == outage_name)
    t = made.inputs.outage_at[outage_name]
    shells = Counter((x.family, x.source) for x in found.shells if x.outage == t)
    return {
        "site": made.site,
        "outage": outage,
        "rows": rows,
        "today": made.as_of,
        "crew_hours": sum(job.crew_hours for job in jobs),
        "marked": found.marked,
        "waiting": waiting,
        "shells": [(family, source, n) for (family, source), n in sorted(shells.items())],
        "settled": [one for one in own.jobs if one.state.is_settled] if own else [],
        "moved": own.moved if own else "",
    }


def _nothing_left(made: Proposal, own: FollowedOutage) -> dict[str, Any]:
    """The work list of an outage in which this plan has no job left: how each accepted one stands."""
    return {
        "site": made.site,
        "outage": own.outage,
        "rows": [],
        "today": made.as_of,
        "crew_hours": 0.0,
        "settled": own.jobs,
        "moved": own.moved,
    }
