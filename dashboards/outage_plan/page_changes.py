"""One bearing, one outage, two plans: what could be otherwise, and what it would do."""

from dataclasses import dataclass
from typing import Any

from dashboards.outage_plan import drafts, drawing, versions
from dashboards.outage_plan import plan_sentences as plan_words
from dashboards.outage_plan.proposal import Proposal, key
from dashboards.outage_plan.pump_openings.alternatives import Alternative, alternatives
from dashboards.outage_plan.pump_openings.changes import compare
from dashboards.outage_plan.pump_openings.inputs import LEAVE, NOT_COUNTED, Inputs, when
from dashboards.outage_plan.pump_openings.shell_orders import early_date
from fleet.clock import today_at
from fleet.formatting import chance, day
from fleet.models import Bearing, Site
from fleet.web.bearing_addresses import bearing_address
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Word
from inspections.forecasts.judgement.judgement_sentence import sentence, standing_of
from inspections.forecasts.wear_inputs import known_on
from inspections.models import DraftPlan


@dataclass(frozen=True)
class Choice:
    """One thing that could be done, as a line to choose."""

    value: str  # what the form sends: work and outage
    words: str
    one: Alternative
    passed: str  # the chance to have passed its maximum before it, in words
    dots: Any
    is_now: bool
    is_counted: bool  # crew hours of the outage are stated


def bearing(hand: DraftPlan, made: Proposal, name: str) -> dict[str, Any] | None:
    """One bearing in the plan in hand: its job, every other choice, what was said of it."""
    if made.evaluation is None or made.inputs is None or made.solution is None:
        return None
    given, found = made.inputs, made.evaluation
    if name not in given.bearing_at:
        return None
    now = next((job for job in found.jobs if job.bearing == name), None)
    current = (now.action, now.outage) if now else (LEAVE, "")
    # Of a limit that cannot be right, or readings that no belief fits, no chance is told anywhere.
    is_told = given.bearings[given.bearing_at[name]].judged.word not in (Word.SET_LIMIT, Word.ENGINEER)
    others = alternatives(made.solution.jobs, given, name)
    choices = [_choice(one, given, current, is_told) for one in others]
    row = Bearing.objects.select_related("place__site").get(pk=hand.solved["ids"]["bearings"][name])
    early = early_date(given, name) if is_told else None
    outages = {o.name: o for o in given.outages}
    own = [
        (n, plan_words.change_words(said, outages))
        for n, said in enumerate(hand.changes)
        if said.get("bearing") == name
    ]
    return {
        "hand": hand,
        "site": hand.site,
        "name": name,
        "bearing": row,
        "job": now,
        "choices": choices,
        "own": own,
        "early": early,
        "saying": _saying(now, others[0], early, is_told),
        "outages": given.outages,
        "dots_once": drawing.dots_once(),
        "today": hand.as_of,
        "is_stale": made.is_stale,
        "follows": [
            one
            for load in found.loads
            for one in load.likely_again
            if one.pump == given.bearings[given.bearing_at[name]].pump
        ],
        "missing": next((m for m in found.not_fitting if m.bearing == name), None),
        "above": given.bearings[given.bearing_at[name]].judged.accepted_risk,
        "beside": [
            b.name
            for b in given.bearings
            if b.pump == given.bearings[given.bearing_at[name]].pump and b.name != name
        ],
        "page": bearing_address(row),
    }


def bearing_outside(site: Site, name: str) -> dict[str, Any] | None:
    """A bearing of the site that the plan in hand does not hold, and what stands for it; None where there is
    none of that name.
    """
    rows = Bearing.objects.standing().at_sites([site]).in_order()
    row = next((one for one in rows if key(one) == name), None)
    if row is None:
        return None
    today = today_at(site)
    judged, last = judgements([row], today)[row.pk], known_on([row], today)[0].last
    stands = standing_of(judged, last.larger_um if last else None, last.on if last else None)
    is_limit = judged.word == Word.SET_LIMIT
    return {
        "site": site,
        "name": name,
        "page": bearing_address(row),
        "stands": sentence(stands),
        "limits": bearing_address(row, "bearing-limits") if is_limit else "",
    }


def _choice(one: Alternative, given: Inputs, current: tuple[str, str], is_told: bool) -> Choice:
    job, passed = one.job, chance(one.chance_before) if is_told else "cannot say"
    dots = drawing.dots(one.chance_before) if is_told else ""
    if job.action == LEAVE:
        return Choice(
            f"{LEAVE}|",
            "leave it closed",
            one,
            passed,
            dots,
            current == (LEAVE, ""),
            False,
        )
    outage = given.outages[given.outage_at[job.outage]]
    words = f"{job.action} in {day(outage.start_on, 'month')}, {job.outage}"
    return Choice(
        f"{job.action}|{job.outage}",
        words,
        one,
        passed,
        dots,
        current == (job.action, job.outage),
        outage.crew_hours < NOT_COUNTED,
    )


def _saying(now: Any, alone: Alternative, early: Any, is_told: bool) -> str:
    if not is_told:
        return f"Planned: {now.action} {when(now.outage)}." if now else "The plan leaves it closed."
    first = (
        f"Planned: {now.action} {when(now.outage)}; {chance(now.p_max_before_work)} would have passed its"
        " maximum by then."
        if now
        else "The plan leaves it closed."
    )
    risk = f" It reaches the accepted risk {day(early)}." if early else ""
    return f"{first} Left closed, {chance(alone.chance_before)} by the end of the plan.{risk}"


def outage(hand: DraftPlan, made: Proposal, name: str) -> dict[str, Any] | None:
    """One outage in the plan in hand: its jobs, its hours, its days, and what may be said of it."""
    if made.evaluation is None or made.inputs is None or name not in made.inputs.outage_at:
        return None
    t = made.inputs.outage_at[name]
    one, load = made.inputs.outages[t], made.evaluation.loads[t]
    jobs = [job for job in made.evaluation.jobs if job.outage == name]
    outages = {o.name: o for o in made.inputs.outages}
    own = [
        (n, plan_words.change_words(said, outages))
        for n, said in enumerate(hand.changes)
        if said["what"] in ("slip", "shorten", "skip") and said["outage"] == name
    ]
    freeze = one.scope_freeze_on
    return {
        "hand": hand,
        "site": hand.site,
        "outage": one,
        "load": load,
        "follows": load.likely_again,
        "bar": drawing.load_bar(load),
        "jobs": jobs,
        "own": own,
        "today": hand.as_of,
        "is_stale": made.is_stale,
        "is_frozen": made.inputs.frozen(t),
        "freeze": freeze,
        "faults": [f for f in made.evaluation.faults if f.startswith(f"{name}:")],
        "is_counted": load.crew_hours < NOT_COUNTED,
        "marked": [m for m in made.evaluation.marked if m.startswith(f"{name}:")],
    }


def two(hand: DraftPlan, first: versions.Version, second: versions.Version) -> dict[str, Any] | None:
    """Two plans side by side, both weighed on what the plan in hand was made from."""
    one, other = versions.shown(hand, first), versions.shown(hand, second)
    if one.evaluation is None or other.evaluation is None or other.inputs is None or one.inputs is None:
        return None
    found = compare(one.evaluation, other.evaluation)
    of_first, of_second = (
        {load.outage: load for load in made.evaluation.loads} for made in (one, other) if made.evaluation
    )
    loads = [(o, of_first.get(o.name), of_second.get(o.name)) for o in other.inputs.outages]
    # Days between outages that neither plan uses are left out.
    loads = [one for one in loads if not one[0].between or any(load and load.n_jobs for load in one[1:])]
    return {
        "first": first,
        "second": second,
        "a": one.evaluation,
        "b": other.evaluation,
        "found": found,
        "loads": loads,
        "saying": plan_words.difference_sentence(found, first.label, second.label),
        "as_of": hand.as_of,
        "moved": [(bearing, _plain(was), _plain(now)) for bearing, was, now in found.moved],
        "shells": [(family, n) for family, n in sorted(found.shells.items()) if n],
    }


def _plain(words: str) -> str:
    return "left closed" if words == drafts.LEAVE else words
