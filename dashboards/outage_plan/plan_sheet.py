"""A plan as rows of the plan sheet: one for each bearing and opening, then what stays closed above the
accepted risk.
"""

from collections.abc import Mapping
from typing import Any

from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.pump_openings.above import NotFitting
from dashboards.outage_plan.pump_openings.evaluate import PlannedJob
from dashboards.outage_plan.pump_openings.inputs import LEAVE

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
    "trigger_um",
    "p_trigger",
    "scrape_from_um",
    "crew_hours_p90",
    "crew_hours_most",
    "shells_p90",
    "state",
    "job_id",
    "opens_on",
)


def rows_of(proposal: Proposal, states: Mapping[tuple[str, str], str] | None = None) -> list[list[Any]]:
    """The plan's jobs as rows, then what is left closed although above the accepted risk.

    `states`: how the accepted plan's jobs stand, by the inner ids of bearing and outage; others are planned.
    """
    if proposal.evaluation is None or proposal.inputs is None:
        return []
    above = {one.bearing: one for one in proposal.evaluation.not_fitting}
    # The most pressing of its halves.
    by_day = {one.bearing: one.order_by for one in reversed(proposal.orders)}
    rows = [
        _job(proposal, job, above.pop(job.bearing, None), by_day.get(job.bearing), states or {})
        for job in proposal.evaluation.jobs
    ]
    return rows + [_left(proposal, one) for one in above.values()]


def job_id(bearing_id: str, outage_id: str) -> str:
    """What a job is known by in files and calendar: the inner ids of its bearing and outage, which no new
    name changes.
    """
    return f"{bearing_id}@{outage_id}" if outage_id else ""


def _job(
    proposal: Proposal,
    job: PlannedJob,
    over: NotFitting | None,
    order_by: Any,
    states: Mapping[tuple[str, str], str],
) -> list[Any]:
    assert proposal.inputs is not None
    outage = proposal.inputs.outages[proposal.inputs.outage_at[job.outage]]
    bearing_id = proposal.bearing_ids.get(job.bearing, "")
    outage_id = proposal.outage_ids.get(job.outage, "")
    return [
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
        outage.start_on,
        outage.end_on,
        order_by,
        bearing_id,
        outage_id,
        job.trigger_um,
        job.p_trigger,
        job.scrape_from_um,
        round(job.crew_hours_p90, 1),
        round(job.crew_hours_most, 1),
        job.shells_p90,
        states.get((bearing_id, outage_id), "planned"),
        job_id(bearing_id, outage_id),
        max(outage.start_on, proposal.inputs.as_of),
    ]


def _left(proposal: Proposal, one: NotFitting) -> list[Any]:
    assert proposal.inputs is not None
    pump = proposal.inputs.bearings[proposal.inputs.bearing_at[one.bearing]].pump
    bearing_id = proposal.bearing_ids.get(one.bearing, "")
    own = [proposal.site.name, pump, one.bearing.removeprefix(pump).strip(), "", LEAVE, 0.0, "", ""]
    why = [one.chance, one.chance, "not opened, though above the accepted risk", one.reason, one.remedy]
    return [*own, *why, None, None, None, bearing_id, "", None, None, None, None, None, None, "", "", None]
