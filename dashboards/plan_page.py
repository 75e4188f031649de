"""A proposal as its pages show it: sentences, a grid of pumps by outages, load, orders, what does not fit."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from dashboards.outage_plan.evaluate import PlannedJob
from dashboards.proposal import Proposal
from fleet.models import Bearing, Site
from fleet.templatetags.figures import counted, day, grouped
from inspections import forecasting
from inspections.charts import twenty_dots

NOT_COUNTED = 1e5  # crew hours of an outage that states none


@dataclass(frozen=True)
class Cell:
    """One pump in one outage: the work proposed and the chance of having passed before it, at its worst bearing."""

    work: list[tuple[str, str]]  # position, action
    dots: str
    chance: float


@dataclass(frozen=True)
class Line:
    pump: str
    positions: str
    under: list[str]
    cells: list[Cell]
    crew_hours: float


def context(proposal: Proposal, sites: list[Site]) -> dict[str, Any]:
    """What the plan's page shows."""
    base = {"proposal": proposal, "site": proposal.site, "sites": sites, "today": proposal.as_of}
    if proposal.evaluation is None or proposal.inputs is None or proposal.solution is None:
        return base | {"saying": "No plan can be proposed yet.", "refused": proposal.refused}
    made = proposal.evaluation
    return base | {
        "saying": _saying(proposal),
        "outages": list(zip(proposal.inputs.outages, made.loads, strict=True)),
        "lines": _lines(proposal),
        "orders": proposal.orders,
        "not_fitting": made.not_fitting,
        "gap": proposal.solution.gap,
        "not_counted": NOT_COUNTED,
        "left_out": proposal.left_out,
        "is_late": {order.bearing for order in proposal.orders if order.order_by < proposal.as_of},
    }


def _saying(proposal: Proposal) -> str:
    """Jobs, hours and shells of the next outage, what risk is left, what to order first."""
    made, given = proposal.evaluation, proposal.inputs
    assert made is not None and given is not None
    first, load = given.outages[0], made.loads[0]
    shells = sum(job.action == "replace" and job.outage == first.name for job in made.jobs)
    limit = f" of {grouped(load.crew_hours)}" if load.crew_hours < NOT_COUNTED else ""
    jobs, new = counted(load.n_jobs, "job"), counted(shells, "new shell")
    text = f"{jobs} in {day(first.start_on, 'month')}: {grouped(load.used_hours)}{limit} crew hours, {new}."
    above = made.n_above_accepted
    text += (
        f" {counted(above, 'bearing')} {'is' if above == 1 else 'are'} above the accepted risk before any work could reach {'it' if above == 1 else 'them'}."
        if above
        else " No bearing passes the accepted risk before its work."
    )
    if proposal.orders:
        order = proposal.orders[0]
        when = "at once" if order.order_by <= proposal.as_of else f"by {day(order.order_by)}"
        text += f" Order a {order.family} shell {when} for {order.bearing}."
    return text


def _lines(proposal: Proposal) -> list[Line]:
    """Pumps that have work, or a bearing above the accepted risk; the most pressing first."""
    made, given = proposal.evaluation, proposal.inputs
    assert made is not None and given is not None
    by_pump: dict[str, list[int]] = {}
    for i, bearing in enumerate(given.bearings):
        by_pump.setdefault(bearing.pump, []).append(i)
    lines = []
    for pump, members in by_pump.items():
        jobs = [job for job in made.jobs if job.pump == pump]
        if not jobs:
            continue
        cells = [_cell(proposal, members, jobs, t) for t in range(len(given.outages))]
        names = " + ".join(given.bearings[i].name.removeprefix(pump).strip() for i in members)
        lines.append(
            Line(pump, names, sorted({_short(job) for job in jobs}), cells, sum(j.crew_hours for j in jobs))
        )
    order = {job.pump: n for n, job in reversed(list(enumerate(made.jobs)))}
    return sorted(
        lines, key=lambda line: (min(n for n, cell in enumerate(line.cells) if cell.work), order[line.pump])
    )


def _cell(proposal: Proposal, members: list[int], jobs: list[PlannedJob], t: int) -> Cell:
    made, given = proposal.evaluation, proposal.inputs
    assert made is not None and given is not None
    outage = given.outages[t]
    work = [
        (job.bearing.removeprefix(job.pump).strip(), job.action) for job in jobs if job.outage == outage.name
    ]
    chance = max(_chance(proposal, i, t) for i in members)
    return Cell(work, twenty_dots(chance), chance)


def _chance(proposal: Proposal, i: int, t: int) -> float:
    """The chance that a bearing has passed its maximum by an outage; once it has a new shell, that the new one has."""
    made, given = proposal.evaluation, proposal.inputs
    assert made is not None and given is not None
    bearing = given.bearings[i]
    for job in made.jobs:
        renewed_at = given.outage_at[job.outage]
        if job.bearing == bearing.name and job.action == "replace" and renewed_at < t:
            return float(
                np.interp(given.starts[t] - given.starts[renewed_at], given.days, bearing.chance_new)
            )
    return float(made.chance[i, t])


def _short(job: PlannedJob) -> str:
    return f"{job.bearing.removeprefix(job.pump).strip()}: {job.reason}"


def work(proposal: Proposal, outage_name: str) -> dict[str, Any] | None:
    """The work list of one outage: each job with the bearing's last facts; None where nothing is proposed there."""
    made = proposal.evaluation
    jobs = [job for job in made.jobs if job.outage == outage_name] if made else []
    if not jobs or proposal.inputs is None:
        return None
    bearings = {
        f"{one.place.tag} {one.name}": one
        for one in Bearing.objects.standing().at_sites([proposal.site]).in_order()
    }
    figures = forecasting.current([bearings[job.bearing] for job in jobs], proposal.as_of)
    rows = [(job, bearings[job.bearing], figures[bearings[job.bearing].pk]) for job in jobs]
    outage = next(one for one in proposal.inputs.outages if one.name == outage_name)
    return {
        "site": proposal.site, "outage": outage, "rows": rows, "today": proposal.as_of,
        "crew_hours": sum(job.crew_hours for job in jobs),
    }  # fmt: skip
