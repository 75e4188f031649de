"""From the record to a proposed plan of one site's outages: what the solver takes, and what its answer means."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dashboards.outage_plan import between_outages, looks
from dashboards.outage_plan.bearing_jobs import inputs as plan
from dashboards.outage_plan.bearing_jobs.changes import changed
from dashboards.outage_plan.bearing_jobs.evaluate import Evaluation, evaluate
from dashboards.outage_plan.bearing_jobs.opening import Outlook, with_openings
from dashboards.outage_plan.bearing_jobs.orders import Order, orders
from dashboards.outage_plan.bearing_jobs.programme import NoPlan, Solution, Tell, solve
from dashboards.outage_plan.drafts import accepted
from dashboards.outage_plan.following import follow, settled
from fleet.clock import today_at
from fleet.formatting import hours
from fleet.measuring_methods import BEST
from fleet.models import Bearing, Outage, Site, Spare, WorkHours
from fleet.models.recorded import IN_ORDER
from inspections.forecasts.bearing_facts import planned_words
from inspections.forecasts.current import current, parameters, standing_run
from inspections.forecasts.figures import Figures
from inspections.forecasts.judgement.current import judgements
from inspections.forecasts.wear_inputs import Inputs as Record
from inspections.forecasts.wear_inputs import Known, inputs, renewed
from inspections.wear.arrays import USUAL_OUTAGE_DAYS
from inspections.wear.forecast import chance_by

MOST_OUTAGES = 8
GRID_DAYS = 45.0
# Where the plant has stated none: design assumptions with no published source, in crew hours.
USUAL_HOURS = plan.Hours(open_h=6.0, measure_h=2.0, scrape_h=8.0, replace_h=12.0)
SHELL_COST_HOURS = 40.0
USUAL_LIFE_DAYS = 4000.0
LEAD_TIME_DAYS = 240.0


@dataclass(frozen=True)
class Proposal:
    """A plan for one site's coming outages, with what it rests on; `refused` says what is short where there is none."""

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


@dataclass(frozen=True)
class Gathered:
    """What a site's record gives the solver, before any change by hand; `missing` says why there is nothing to plan."""

    as_of: dt.date
    inputs: plan.Inputs | None = None
    outlook: Outlook | None = None
    missing: str = ""
    left_out: tuple[str, ...] = ()
    bearing_ids: Mapping[str, str] = field(default_factory=dict)
    outage_ids: Mapping[str, str] = field(default_factory=dict)
    planned: tuple[str, ...] = ()  # of each pump whose duty is planned, in words


def gather(site: Site, as_of: dt.date) -> Gathered:
    """Forecasts, outages, spares and hours of one site as the solver takes them; outages over by the day are past."""
    outages = list(Outage.objects.coming(as_of).filter(site=site)[:MOST_OUTAGES])
    bearings = list(Bearing.objects.standing().at_sites([site]).in_order())
    if not outages or not bearings:
        missing = "No coming outage is recorded for this site." if bearings else "This site has no bearings."
        return Gathered(as_of, missing=missing)
    population, codes, _ = parameters(as_of, standing_run())
    record = inputs(bearings, as_of, codes)
    figures = current(bearings, as_of)
    kept = [k for k, one in enumerate(record.known) if figures[one.bearing.pk]["max_date_p50"] is not None]
    left_out = tuple(str(one.bearing) for k, one in enumerate(record.known) if k not in set(kept))
    if not kept:
        return Gathered(as_of, missing="No bearing of this site has a date.", left_out=left_out)
    given, outlook, between = _inputs(site, record, kept, figures, population, outages)
    given = replace(given, accepted=accepted_jobs(site))
    given = looks.of(given, [record.known[k].bearing for k in kept], judgements(bearings, as_of))
    ids = {key(record.known[k].bearing): str(record.known[k].bearing.pk) for k in kept}
    of_outages = {one.name: str(one.pk) for one in outages} | {one.name: pk for pk, one in between.items()}
    return Gathered(
        as_of, given, outlook, "", left_out, ids, of_outages, _planned([record.known[k] for k in kept])
    )


def _planned(known: Sequence[Known]) -> tuple[str, ...]:
    """What is planned for each pump, and what it did of late."""
    said = {
        one.bearing.place.tag: f"{one.bearing.place.tag}: {planned_words(one)} ({hours(round(one.hours_per_day, 1))} a day of late)"
        for one in known
        if one.ahead
    }
    return tuple(said.values())


def accepted_jobs(site: Site) -> tuple[plan.Job, ...] | None:
    """What is left to be worked of the plan that stands accepted, by the names in use now; None where none was ever accepted."""
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
    """The jobs without those of which the record says that nothing is left to be worked (bearing and outage, by name)."""
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
    tell: Tell = lambda step, words: None,
) -> Proposal:
    """The plan of what was gathered; `tell` as in `solve`."""
    if found.inputs is None:
        return Proposal(site, found.as_of, None, refused=(found.missing,), left_out=found.left_out)
    given = changed(found.inputs, found.outlook, changes)
    try:
        solution = solve(given, tell=tell)
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
    return getattr(trouble, "shortages", None) or getattr(trouble, "reasons", None) or [str(trouble)]


def _inputs(
    site, record: Record, kept: list[int], figures, population, outages: list[Outage]
) -> tuple[plan.Inputs, Outlook, dict[str, plan.Outage]]:
    """The solver's inputs: chances on a common grid of days, hours, spares, pumps."""
    end = (outages[-1].start_on - record.as_of).days + USUAL_OUTAGE_DAYS
    days = np.arange(0.0, end + GRID_DAYS, GRID_DAYS)
    # The engine counts days of an even duty: where another is planned, those in which as many hours are run.
    grid = np.array([record.known[k].even_days(days) for k in kept])
    age = np.broadcast_to(days, grid.shape)
    left = chance_by(record.histories.take(kept), population, grid)[0]
    new = chance_by(renewed(record).take(kept), population, age)[0]
    known = [record.known[k] for k in kept]
    hours = _hours()
    settings = plan.Settings(accepted_risk=known[0].accepted_risk)
    interval = _interval(outages)
    weights = _weights(known)
    rows = [
        _bearing(one, figures[one.bearing.pk], left[i], new[i], hours, settings, interval, weights[i])
        for i, one in enumerate(known)
    ]
    pumps = {
        one.bearing.place.tag: plan.Pump(
            one.bearing.place.tag, one.place.block if one.place else "", one.place.twin if one.place else ""
        )
        for one in known
    }
    tags = set(pumps)
    standing = tuple(_known_twin(pump, tags) for pump in pumps.values())
    between = between_outages.slots(site, outages, standing, record.as_of)
    times = sorted([*map(_outage, outages), *between.values()], key=lambda one: one.start_on)
    given = plan.Inputs(
        as_of=record.as_of,
        days=days,
        bearings=tuple(rows),
        pumps=standing,
        outages=tuple(times),
        spares=_spares(site, rows),
        settings=settings,
        relined_after_days=_relined(site),
    )
    outlook = _outlook(known, figures)
    return with_openings(given, outlook), outlook, between


def _known_twin(pump: plan.Pump, tags: set[str]) -> plan.Pump:
    return pump if pump.twin in tags else replace(pump, twin="")


def _interval(outages: list[Outage]) -> float:
    starts = [one.start_on.toordinal() for one in outages]
    return float(np.median(np.diff(starts))) if len(starts) > 1 else USUAL_OUTAGE_DAYS


def _outage(one: Outage) -> plan.Outage:
    crew = float(one.crew_hours) if one.crew_hours is not None else 1e6  # none stated: not counted
    return plan.Outage(
        one.name, one.start_on, one.end_on, crew, one.block, frozenset(one.pumps), one.scope_freeze_on
    )


def _hours() -> dict[object, plan.Hours]:
    """By class, and under None for all others."""
    found: dict[object, plan.Hours] = {None: USUAL_HOURS}
    for row in WorkHours.objects.standing().order_by(*IN_ORDER):
        found[row.wear_class_id] = plan.Hours(
            float(row.open_hours), float(row.measure_hours), float(row.scrape_hours), float(row.replace_hours)
        )
    return found


def _bearing(
    one: Known,
    figures: Figures,
    left: np.ndarray,
    new: np.ndarray,
    hours: dict,
    settings: plan.Settings,
    interval: float,
    weight: float,
) -> plan.Bearing:
    facts = one.facts
    life = _life_days(figures)
    even = plan.even_consequence(
        shell_cost=SHELL_COST_HOURS,
        life_days=life,
        interval_days=interval,
        accepted_risk=settings.accepted_risk,
    )
    return plan.Bearing(
        name=key(one.bearing),
        pump=one.bearing.place.tag,
        consequence=even * weight,
        chance_left=left,
        chance_new=np.nan_to_num(new),
        hours=hours.get(facts.wear_class_id if facts else None, hours[None]),
        shell_type=facts.shell_type if facts else "",
        bore_um=_bore_um(one),
        shell_cost=SHELL_COST_HOURS,
        life_days=life,
        scrape_owed=one.story.contact_stands_open,
        scrapeable=bool(facts and facts.scrapeable),
    )


def _weights(known: Sequence[Known]) -> list[float]:
    """How much more than usual a bearing's passing would cost, by the plant's own money, within a factor of four.

    Money cannot be added to crew hours without an hour's price; set against the site's usual consequence it need not.
    """
    money = [float(one.place.consequence_money or 0) if one.place else 0.0 for one in known]
    stated = [value for value in money if value > 0]
    usual = float(np.median(stated)) if stated else 1.0
    return [float(np.clip(value / usual, 0.25, 4.0)) if value > 0 else 1.0 for value in money]


def _bore_um(one: Known) -> float | None:
    """What a shell must be bored to here: the journal and the middle of the fitting range."""
    if one.facts is None or one.facts.journal_diameter_um is None:
        return None
    ends = [one.limit_um(use) for use in ("fitting_min", "fitting_max")]
    known = [end for end in ends if np.isfinite(end)]
    return float(one.facts.journal_diameter_um) + sum(known) / len(known) if known else None


def key(bearing: Bearing) -> str:
    """A bearing's name within its site."""
    return f"{bearing.place.tag} {bearing.name}"


def _life_days(figures: Figures) -> float:
    """How long a new shell usually lasts here: from new to the maximum at the even rate."""
    most, new, rate = figures["in_service_max_um"], figures["new_um"], figures["rate_um_per_kh_p50"]
    a_day = figures["hours_per_day"]
    if not (most and new and rate and a_day) or most <= new:
        return USUAL_LIFE_DAYS
    return float(np.clip((most - new) / rate * 1000.0 / a_day, 365.0, 20_000.0))


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
    """Days after which a shell that came out is back relined, by type or type and half; the slower of two rows."""
    found: dict[str, float] = {}
    rows = Spare.objects.standing().filter(site=site, relined_after_days__isnull=False)
    for kind, half, days in rows.values_list("shell_type", "half", "relined_after_days"):
        name = f"{kind} {half}" if half else kind
        found[name] = max(float(days or 0), found.get(name, 0.0))
    return found


def _outlook(known: Sequence[Known], figures) -> Outlook:
    """What the next reading could show."""
    rows = [figures[one.bearing.pk] for one in known]

    def three(name: str) -> np.ndarray:
        return np.array([[row[f"{name}_{q}"] for q in ("p10", "p50", "p90")] for row in rows], dtype=float)

    return Outlook(
        clearance_um=three("clearance_um"),
        rate_um_per_kh=three("rate_um_per_kh"),
        hours_per_day=np.array([one.hours_ahead for one in known]),
        limit_um=np.array([row["in_service_max_um"] or np.nan for row in rows], dtype=float),
        reading_sd_um=np.full(len(rows), known[0].spreads[BEST].sd_um if known else np.nan),
    )


COLUMNS = (
    "site",
    "pump",
    "position",
    "outage",
    "action",
    "crew_hours",
    "shell_type",
    "shell_from",
    "p_max_before_work",
    "p_max_if_deferred",
    "reason",
    "above_risk_because",
    "would_fit_with",
    "outage_start",
    "outage_end",
    "order_by",
    "bearing_id",
    "outage_id",
)


def rows_of(proposal: Proposal) -> list[list[Any]]:
    """The plan's jobs as rows of the plan sheet, then what is left alone although above the accepted risk."""
    if proposal.evaluation is None or proposal.inputs is None:
        return []
    above = {one.bearing: one for one in proposal.evaluation.not_fitting}
    outages = {one.name: one for one in proposal.inputs.outages}
    by_day = {
        one.bearing: one.order_by for one in reversed(proposal.orders)
    }  # the most pressing of its halves
    rows = []
    for job in proposal.evaluation.jobs:
        over = above.pop(job.bearing, None)
        rows.append(
            [
                proposal.site.name,
                job.pump,
                job.bearing.removeprefix(job.pump).strip(),
                job.outage,
                job.action,
                round(job.crew_hours, 1),
                job.shell_type,
                job.shell_from,
                job.p_max_before_work,
                job.p_max_if_deferred,
                job.reason,
                over.reason if over else "",
                over.remedy if over else "",
                outages[job.outage].start_on,
                outages[job.outage].end_on,
                by_day.get(job.bearing),
                proposal.bearing_ids.get(job.bearing, ""),
                proposal.outage_ids.get(job.outage, ""),
            ]
        )
    for one in above.values():
        pump = proposal.inputs.bearings[proposal.inputs.bearing_at[one.bearing]].pump
        rows.append(
            [
                proposal.site.name,
                pump,
                one.bearing.removeprefix(pump).strip(),
                "",
                plan.LEAVE,
                0.0,
                "",
                "",
                one.chance,
                one.chance,
                "no work, though above the accepted risk",
                one.reason,
                one.remedy,
                None,
                None,
                None,
                proposal.bearing_ids.get(one.bearing, ""),
                "",
            ]
        )
    return rows
