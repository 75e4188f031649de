"""From the record to a proposed plan of one site's outages: what the solver takes, and
what its answer means.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import isfinite
from typing import Any
from uuid import UUID

from dashboards.outage_plan import between_outages
from dashboards.outage_plan.drafts import accepted
from dashboards.outage_plan.following import follow, settled
from dashboards.outage_plan.pump_openings import inputs as plan
from dashboards.outage_plan.pump_openings.changes import changed
from dashboards.outage_plan.pump_openings.evaluate import Evaluation, evaluate
from dashboards.outage_plan.pump_openings.programme import NoPlan
from dashboards.outage_plan.pump_openings.proposed import Solution, Tell, proposed, quiet
from dashboards.outage_plan.pump_openings.shell_orders import Order, orders
from dashboards.outage_plan.supposed import supposed
from fleet.clock import today_at
from fleet.formatting import hours
from fleet.models import Bearing, Outage, Site, Spare
from fleet.models.recorded import IN_ORDER
from inspections.forecasts.bearing_facts import planned_words
from inspections.forecasts.current_forecasts import parameters, standing_run
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.judgement.plant_prices import Plant, plant_of
from inspections.forecasts.judgement.when import MOST_COLUMNS
from inspections.forecasts.wear_inputs import Known, inputs

LEAD_TIME_DAYS = 240.0  # where the plant has stated none: a design assumption with no published source
NO_OUTAGE, NO_BEARING, NO_DATE = (
    "No coming outage is recorded for this site.",
    "This site has no bearings.",
    "No bearing of this site has a limit and readings to decide by.",
)


@dataclass(frozen=True)
class Proposal:
    """A plan for one site's coming outages, with what it rests on; `refused` says why there is none."""

    site: Site
    as_of: dt.date
    inputs: plan.Inputs | None
    solution: Solution | None = None
    evaluation: Evaluation | None = None
    orders: tuple[Order, ...] = ()
    refused: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    bearing_ids: Mapping[str, str] = field(default_factory=dict)  # inner ids by name
    outage_ids: Mapping[str, str] = field(default_factory=dict)
    is_stale: bool = False  # of a plan in hand: something was recorded since it was worked out


@dataclass(frozen=True)
class Gathered:
    """What a site's record gives the solver, before any change by hand; `missing` says why there is nothing
    to plan.
    """

    as_of: dt.date
    inputs: plan.Inputs | None = None
    missing: str = ""
    left_out: tuple[str, ...] = ()
    bearing_ids: Mapping[str, str] = field(default_factory=dict)
    outage_ids: Mapping[str, str] = field(default_factory=dict)
    planned: tuple[str, ...] = ()  # of each pump whose duty is planned, in words


def gather(site: Site, as_of: dt.date) -> Gathered:
    """What is judged of a site's bearings, its outages, spares and hours; outages over by
    the day are past.
    """
    outages = list(Outage.objects.coming(as_of).filter(site=site)[:MOST_COLUMNS])
    bearings = list(Bearing.objects.standing().at_sites([site]).in_order())
    if not outages or not bearings:
        return Gathered(as_of, missing=NO_OUTAGE if bearings else NO_BEARING)
    _, codes, _ = parameters(as_of, standing_run())
    known = inputs(bearings, as_of, codes).known
    rows = _bearings(known, judgements(bearings, as_of), as_of)
    weighed = {row.pump for row in rows if row.is_costed or row.by_rule}
    kept = [k for k, row in enumerate(rows) if row.pump in weighed]
    left_out = tuple(
        str(one.bearing)
        for one, row in zip(known, rows, strict=True)
        if not row.judged.columns or row.judged.first is None
    )
    if not kept:
        return Gathered(as_of, missing=NO_DATE, left_out=left_out)
    given, between = _inputs(site, as_of, [known[k] for k in kept], [rows[k] for k in kept], outages)
    given = replace(given, accepted=accepted_jobs(site))
    ids = {key(known[k].bearing): str(known[k].bearing.pk) for k in kept}
    of_outages = {one.name: str(one.pk) for one in outages} | {one.name: pk for pk, one in between.items()}
    return Gathered(as_of, given, "", left_out, ids, of_outages, _planned([known[k] for k in kept]))


def _planned(known: Sequence[Known]) -> tuple[str, ...]:
    """What is planned for each pump, and what it did of late."""
    said = {
        one.bearing.place.tag: (
            f"{one.bearing.place.tag}: {planned_words(one)} ({hours(round(one.hours_per_day, 1))} a day of"
            " late)"
        )
        for one in known
        if one.ahead and one.ahead.periods
    }
    return tuple(said.values())


def accepted_jobs(site: Site) -> tuple[plan.Job, ...] | None:
    """What is left to be worked of the plan that stands accepted, by the names in use now; None where none
    was ever accepted.
    """
    row = accepted(site)
    if row is None:
        return None
    bearings = {
        str(one.pk): key(one) for one in Bearing.objects.select_related("place").filter(place__site=site)
    }
    outages = {str(pk): name for pk, name in Outage.objects.filter(site=site).values_list("pk", "name")}
    outages |= between_outages.names(site)
    jobs = (
        plan.Job(bearings[job["bearing"]], job["action"], outages[job["outage"]])
        for job in row.jobs
        if job["bearing"] in bearings and job["outage"] in outages
    )
    return still_open(tuple(sorted(jobs)), settled(follow(site, today_at(site))))


def still_open(jobs: tuple[plan.Job, ...], over: frozenset[tuple[str, str]]) -> tuple[plan.Job, ...]:
    """The jobs without those of which the record says that nothing is left to be worked (bearing and outage,
    by name).
    """
    return tuple(job for job in jobs if (job.bearing, job.outage) not in over)


def propose(site: Site, as_of: dt.date, changes: Sequence[Mapping[str, Any]] = ()) -> Proposal:
    """The plan of least expected cost for a site's coming outages.

    Parameters
    ----------
    site : Site
    as_of : date
        outages that end before it are past.
    changes : sequence
        what was changed by hand and must hold (`dashboards.outage_plan.drafts`).

    Returns
    -------
    Proposal
        never an exception for what the record lacks: it says what is short or missing.
    """
    return solved(site, gather(site, as_of), changes)


def solved(
    site: Site,
    found: Gathered,
    changes: Sequence[Mapping[str, Any]] = (),
    tell: Tell = quiet,
) -> Proposal:
    """The plan of what was gathered; `tell` as in `proposed`."""
    if found.inputs is None:
        return Proposal(site, found.as_of, None, refused=(found.missing,), left_out=found.left_out)
    given = changed(found.inputs, changes, supposed(found.bearing_ids, changes, found.as_of))
    try:
        solution = proposed(given, tell)
    except (NoPlan, plan.BadInputs) as trouble:
        return Proposal(site, found.as_of, given, refused=tuple(_reasons(trouble)), left_out=found.left_out)
    made = evaluate(solution.jobs, given)
    return Proposal(
        site,
        found.as_of,
        given,
        solution,
        made,
        orders(made, given),
        left_out=found.left_out,
        bearing_ids=found.bearing_ids,
        outage_ids=found.outage_ids,
    )


def _reasons(trouble: Exception) -> Sequence[str]:
    """Sentences, one for each thing that is short or wrong."""
    return getattr(trouble, "reasons", None) or [str(trouble)]


def _inputs(
    site: Site, as_of: dt.date, known: Sequence[Known], rows: Sequence[plan.Bearing], outages: list[Outage]
) -> tuple[plan.Inputs, dict[str, plan.Outage]]:
    """The solver's inputs, and the days between outages by their inner ids."""
    pumps = {
        one.bearing.place.tag: plan.Pump(
            one.bearing.place.tag, one.place.block if one.place else "", one.place.twin if one.place else ""
        )
        for one in known
    }
    standing = tuple(_known_twin(pump, set(pumps)) for pump in pumps.values())
    between = between_outages.slots(site, outages, standing, as_of)
    times = sorted([*map(_outage, outages), *between.values()], key=lambda one: one.start_on)
    given = plan.Inputs(
        as_of=as_of,
        bearings=tuple(rows),
        pumps=standing,
        outages=tuple(times),
        spares=_spares(site, rows),
        relined_after_days=_relined(site),
    )
    return given, between


def _known_twin(pump: plan.Pump, tags: set[str]) -> plan.Pump:
    return pump if pump.twin in tags else replace(pump, twin="")


def _outage(one: Outage) -> plan.Outage:
    crew = float(one.crew_hours) if one.crew_hours is not None else 1e6  # none stated: not counted
    return plan.Outage(
        one.name, one.start_on, one.end_on, crew, one.block, frozenset(one.pumps), one.scope_freeze_on
    )


def _bearings(known: Sequence[Known], judged: Mapping[UUID, Judgement], as_of: dt.date) -> list[plan.Bearing]:
    """Each bearing with what is judged of it, its work's hours and its shell."""
    plant = plant_of(known, as_of)
    return [_bearing(one, judged[one.bearing.pk], plant) for one in known]


def _bearing(one: Known, judged: Judgement, plant: Plant) -> plan.Bearing:
    work, last = plant.hours_of(one), one.last
    return plan.Bearing(
        name=key(one.bearing),
        pump=one.bearing.place.tag,
        judged=judged,
        hours=plan.Hours(work.measure_h, work.scrape_h, work.replace_h),
        shell_type=one.facts.shell_type if one.facts else "",
        bore_um=_bore_um(one),
        shell_h=plant.shell_h(one),
        last_um=last.larger_um if last else None,
        last_on=last.on if last else None,
    )


def _bore_um(one: Known) -> float | None:
    """What a shell must be bored to here: the journal and the middle of the fitting range."""
    if one.facts is None or one.facts.journal_diameter_um is None:
        return None
    ends = [one.limit_um(use) for use in ("fitting_min", "fitting_max")]
    known = [end for end in ends if isfinite(end)]
    return float(one.facts.journal_diameter_um) + sum(known) / len(known) if known else None


def key(bearing: Bearing) -> str:
    """A bearing's name within its site."""
    return f"{bearing.place.tag} {bearing.name}"


def _spares(site: Site, rows: Sequence[plan.Bearing]) -> tuple[plan.Spare, ...]:
    """Spares in store and on order; a type nobody has stated can be ordered at the usual lead time."""
    found = []
    for spare in Spare.objects.standing().filter(site=site).order_by(*IN_ORDER):
        bore = float(spare.bore_um) if spare.bore_um is not None and spare.bored else None
        due = ((spare.due_back_on, 1),) if spare.due_back_on else ()
        lead = float(spare.lead_time_days) if spare.lead_time_days is not None else LEAD_TIME_DAYS
        found.append(plan.Spare(spare.shell_type, spare.half, bore, spare.on_hand, due, lead))
    stated = {spare.shell_type for spare in found}
    types = {row.shell_type for row in rows if row.shell_type} - stated
    found += [plan.Spare(name, lead_time_days=LEAD_TIME_DAYS) for name in sorted(types)]
    return tuple(found)


def _relined(site: Site) -> dict[str, float]:
    """Days after which a shell that came out is back relined, by type or type and half; the slower of two
    rows.
    """
    found: dict[str, float] = {}
    rows = Spare.objects.standing().filter(site=site, relined_after_days__isnull=False)
    for kind, half, days in rows.values_list("shell_type", "half", "relined_after_days"):
        name = f"{kind} {half}" if half else kind
        found[name] = max(float(days or 0), found.get(name, 0.0))
    return found
