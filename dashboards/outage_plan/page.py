"""A plan as its pages show it: sentences, pumps with their bearings on one time axis, load, orders, what does
not fit.
"""

import datetime as dt
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.utils.safestring import SafeString

from dashboards.outage_plan import drawing, plan_sentences, versions
from dashboards.outage_plan.acceptance import open_what_ifs
from dashboards.outage_plan.agreements import Undone, standing_at, undone
from dashboards.outage_plan.deferrals import deferrals, waiting
from dashboards.outage_plan.drafts import accepted
from dashboards.outage_plan.following import carried_over, follow, moved_since
from dashboards.outage_plan.job_states import AROUND
from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.pump_openings.above import NotFitting
from dashboards.outage_plan.pump_openings.evaluate import Evaluation, PlannedJob
from dashboards.outage_plan.pump_openings.inputs import NOT_COUNTED, Inputs
from dashboards.outage_plan.pump_openings.shell_orders import Order
from dashboards.outage_plan.pump_openings.stock import MonthOfSpares
from dashboards.outage_plan.stacked import Stack, stack
from fleet.clock import today_at
from fleet.formatting import counted, day
from fleet.models import Person, Site
from inspections.models import DraftPlan


@dataclass(frozen=True)
class Row:
    """One bearing of the plan, or one left closed above the accepted risk; `strip` its drawing, None where it
    has none.
    """

    bearing: str
    position: str
    why: str
    strip: SafeString | None
    job: PlannedJob | None
    changed: bool

    @property
    def dots(self) -> SafeString | str:
        """Its chance of passing before it is looked at, to count, from 1 in 20 up; below that the words say
        it.
        """
        chance = self.job.p_max_before_work if self.job else 0.0
        return drawing.dots(chance) if drawing.n_dots(chance) else ""


@dataclass(frozen=True)
class Group:
    """The pumps opened in one outage, or those left closed above the accepted risk."""

    title: str
    pumps: tuple["PumpRows", ...]
    is_open: bool


@dataclass(frozen=True)
class PumpRows:
    """A pump's bearings, with what its one opening takes."""

    pump: str
    outage: str
    rows: tuple[Row, ...]
    hours: float
    hours_p90: float


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
    drawn = stack(made)
    lacking = _not_agreed(hand, found) if version.key == versions.HAND else []
    shown = [t for t, o in enumerate(given.outages) if not o.between or found.loads[t].n_jobs]
    return base | {
        "saying": plan_sentences.saying(found, given, made.orders),
        "horizon": plan_sentences.horizon(given),
        "outages": [(given.outages[t], found.loads[t], drawing.load_bar(found.loads[t])) for t in shown],
        "pumps": _groups(_pumps(found, given, version, drawn), given),
        "axis": drawn.axis,
        "decide_now": found.decide_now,
        "opened": found.opened,
        "orders": _orders(made.orders),
        "not_fitting": found.not_fitting,
        "not_agreed": lacking,
        "may_ask_above": any(not one.waits_for for one in lacking),
        "faults": found.faults,
        "marked": found.marked,
        "gap": made.solution.gap if made.solution else None,
        "not_counted": NOT_COUNTED,
        "dots_once": drawing.dots_once(),
        "months": _months(found.months),
        "relined": _relined(found, given),
        "changes": _changes(version, given),
        "effect": _effect(hand, made, version),
        "left_alone": _left_alone(found, given),
        "is_stale": made.is_stale,
        "from_accepted": _from_accepted(hand, made, version),
    }


def _not_agreed(hand: DraftPlan, found: Evaluation) -> list[Undone]:
    """What the plan leaves undone without an agreement in force."""
    jobs = {job.bearing: job.outage for job in found.jobs}
    above = [one.bearing for one in found.not_fitting]
    return undone(hand, above, jobs, standing_at(hand.site, today_at(hand.site)))


def _following(site: Site) -> dict[str, Any]:
    """How the accepted plan is followed: job states by outage, what is carried over, which outages have
    moved.
    """
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
    return [plan_sentences.change_words(said, outages) for said in version.changes]


def _effect(hand: DraftPlan, made: Proposal, version: versions.Version) -> list[str]:
    """What the changes do to the proposal."""
    if not version.changes or version.key != versions.HAND:
        return []
    before = versions.shown(hand, versions.version(hand, versions.PROPOSED))
    if before.evaluation is None or made.evaluation is None or made.inputs is None:
        return []
    return plan_sentences.effect(before.evaluation, made.evaluation, made.inputs.outages)


def _from_accepted(hand: DraftPlan, made: Proposal, version: versions.Version) -> int | None:
    """How many jobs differ from the accepted plan; None where none is accepted or it is this one."""
    if version.key == versions.ACCEPTED or made.inputs is None or made.inputs.accepted is None:
        return None
    was = {(j.bearing, j.action, j.outage) for j in made.inputs.accepted if j.outage in made.inputs.outage_at}
    now = {(j.bearing, j.action, j.outage) for j in made.evaluation.jobs} if made.evaluation else set()
    return len({bearing for bearing, _, _ in was ^ now})


def _pumps(found: Evaluation, given: Inputs, version: versions.Version, drawn: Stack) -> list[PumpRows]:
    """Pumps that are opened, by their day, then those left closed above the accepted risk."""
    touched = {one["bearing"] for one in version.changes if one.get("bearing")}
    missing = {one.bearing: one for one in found.not_fitting}
    jobs: dict[tuple[str, str], list[PlannedJob]] = {}
    for job in found.jobs:
        jobs.setdefault((job.pump, job.outage), []).append(job)
        missing.pop(job.bearing, None)
    made = [
        PumpRows(
            pump,
            outage,
            tuple(_row(job.bearing, pump, job.reason, job, touched, drawn) for job in mine),
            sum(job.crew_hours for job in mine),
            mine[0].crew_hours_p90,
        )
        for (pump, outage), mine in jobs.items()
    ]
    left: dict[str, list[NotFitting]] = {}
    for one in missing.values():
        left.setdefault(given.bearings[given.bearing_at[one.bearing]].pump, []).append(one)
    for pump, mine_left in left.items():
        rows = tuple(_row(one.bearing, pump, _why_not(one), None, touched, drawn) for one in mine_left)
        made.append(PumpRows(pump, "", rows, 0.0, 0.0))
    return made


@dataclass(frozen=True)
class OrderLine:
    """Shells of one kind to be ordered by one day for one outage, for so many bearings."""

    first: Order
    bearings: str
    n: int


def _orders(orders: Sequence[Order]) -> list[OrderLine]:
    """Orders that go out together, the most pressing first."""
    lines: dict[tuple[dt.date, str, str], list[Order]] = {}
    for order in orders:
        lines.setdefault((order.order_by, order.family, order.outage), []).append(order)
    return [OrderLine(own[0], ", ".join(x.bearing for x in own), len(own)) for own in lines.values()]


def _groups(pumps: Sequence[PumpRows], given: Inputs) -> list[Group]:
    """By outage in time's order; the first is open, and what is left closed above the risk."""
    groups: dict[str, list[PumpRows]] = {}
    for one in pumps:
        groups.setdefault(one.outage, []).append(one)
    made: list[Group] = []
    for name, mine in groups.items():
        size, looked = counted(len(mine), "pump"), counted(sum(len(one.rows) for one in mine), "bearing")
        title = f"Not opened, above the accepted risk: {looked}"
        if name:
            month = day(given.outages[given.outage_at[name]].start_on, "month")
            title = f"{month}, {name}: {size}, {looked}"
        made.append(Group(title, tuple(mine), not made or not name))
    return made


def _row(bearing: str, pump: str, why: str, job: PlannedJob | None, touched: set[str], drawn: Stack) -> Row:
    position = bearing.removeprefix(pump).strip()
    return Row(bearing, position, why, drawn.strips.get(bearing), job, bearing in touched)


def _why_not(one: NotFitting) -> str:
    return f"Not opened, though above the accepted risk: {one.reason}."


def _left_alone(found: Evaluation, given: Inputs) -> tuple[list[str], float]:
    """Bearings without work and within the accepted risk, and the highest chance among them by the plan's
    end.
    """
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
    """A kind of half shell that comes back relined, and what of it this plan takes out: outage, how many,
    back by, in time for.
    """

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
