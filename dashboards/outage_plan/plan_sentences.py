"""A plan, and what a change does to it, in sentences. Pure."""

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from dashboards.outage_plan.pump_openings.changes import Difference, compare
from dashboards.outage_plan.pump_openings.evaluate import Evaluation
from dashboards.outage_plan.pump_openings.inputs import LEAVE, NOT_COUNTED, Inputs, Outage, when
from dashboards.outage_plan.pump_openings.shell_orders import Order
from fleet.formatting import counted, day, grouped, um

WORTH_HOURS = 0.05  # less than this is no difference to anybody
WORTH_PASSINGS = 0.005


def saying(made: Evaluation, given: Inputs, orders: Sequence[Order]) -> str:
    """What is to be decided now; openings, hours and shells of the next outage; what risk is left; what to
    order first.
    """
    text = " ".join(filter(None, (_decide_now(made), _first_work(made, given), _above(made))))
    if orders:
        order = orders[0]
        when = "at once" if order.order_by <= given.as_of else f"by {day(order.order_by)}"
        text += f" Order a {order.family} shell {when} for {order.bearing}."
    return text


def _decide_now(made: Evaluation) -> str:
    names = _some([name for name, _ in made.decide_now])
    return f"Decide now, run on or open: {names}." if names else ""


def _above(made: Evaluation) -> str:
    """What is above the accepted risk before its pump is opened, and why the first of it is."""
    n = made.n_above_accepted
    if not n:
        return "No bearing is above its accepted risk before it is looked at."
    worst = (
        f"; the worst, {made.not_fitting[0].bearing}: {made.not_fitting[0].reason}"
        if made.not_fitting
        else ""
    )
    return (
        f"{counted(n, 'bearing')} {'is' if n == 1 else 'are'} above the accepted risk before"
        f" {'it is' if n == 1 else 'they are'} looked at{worst}."
    )


def _some(names: Sequence[str]) -> str:
    more = len(names) - 3
    return ", ".join(names[:3]) + (f" and {more} more" if more > 0 else "")


def _first_work(made: Evaluation, given: Inputs) -> str:
    """The next outage, and where nothing is opened in it the first one in which something is."""
    n = len(given.outages)
    text, t = "", next((k for k in range(n) if not given.outages[k].between or made.loads[k].n_jobs), 0)
    if not made.loads[t].n_jobs:
        text = _nothing_opened(made, given, t)
        t = next((k for k, load in enumerate(made.loads) if load.n_jobs), -1)
        if t < 0:
            return text if made.not_fitting else f"{text} Nor in any later outage of the plan."
    outage, load = given.outages[t], made.loads[t]
    pumps = len({job.pump for job in made.jobs if job.outage == outage.name})
    limit = f" of {grouped(load.crew_hours)}" if load.crew_hours < NOT_COUNTED else ""
    time = (
        f"{outage.name}, in {day(outage.start_on, 'month')}"
        if outage.between
        else f"in {day(outage.start_on, 'month')}"
    )
    within = f"9 in 10 within {grouped(load.used_hours + load.expected_hours)}"
    shells = (
        f"have {counted(load.shells_p90, 'new shell')} there"
        if load.shells_p90
        else "no new shell is expected"
    )
    return (
        f"{text} Open {counted(pumps, 'pump')} {time} and look at {counted(load.n_jobs, 'bearing')}: about "
        f"{grouped(load.used_hours)}{limit} crew hours, {within}; {shells}."
    ).strip()


def _nothing_opened(made: Evaluation, given: Inputs, t: int) -> str:
    """An outage that stays empty: because nothing asks for it, because it has no hours, or though some would
    need it.
    """
    outage = given.outages[t]
    month = day(outage.start_on, "month")
    if not made.not_fitting:
        return f"Nothing needs opening in {month}."
    if outage.crew_hours <= 0:
        names = _some([one.bearing for one in made.not_fitting])
        return f"Nothing is opened in {month}: {outage.name} has no crew hours, though {names} would need it."
    return f"Nothing is opened in {month}."


def horizon(given: Inputs) -> str:
    """Where the plan ends, and what it does not hold."""
    end = given.as_of + dt.timedelta(days=float(given.end_day))
    last = max((o for o in given.outages if not o.between), key=lambda o: o.start_on)
    n = sum(not o.between for o in given.outages)
    return (
        f"The plan holds {counted(n, 'outage')}, the last {last.name}, and counts risk until"
        f" {day(end, 'month')}; each pump has at most one opening in it, its next. What follows depends on"
        " what is found then."
    )


def job_words(action: str, outage: str) -> str:
    """A job, or none, as a planner says it."""
    return "left closed" if action == LEAVE or not outage else f"{action} {when(outage)}"


def change_words(said: Mapping[str, Any], outages: Mapping[str, Outage]) -> str:
    """A change made by hand, in words, with its reason where one was given."""
    why = said.get("why", "")
    return f"{_change_words(said, outages)} (“{why}”)" if why else _change_words(said, outages)


def _change_words(said: Mapping[str, Any], outages: Mapping[str, Outage]) -> str:
    what, bearing, outage = said["what"], said.get("bearing", ""), said.get("outage", "")
    if what in ("pin", "move"):
        held = ", and stays so when it is planned anew" if what == "pin" else ""
        return f"{bearing}: {job_words(said['action'], outage)}{held}"
    if what == "refuse":
        return f"{bearing}: not opened {when(outage) if outage else 'at all'}"
    if what == "worse":
        return f"{bearing}: as if it read {um(said['um'])} today"
    if what == "skip":
        return f"{outage} does not take place"
    if what == "shorten":
        return f"{outage} has {grouped(float(said['hours']))} crew hours"
    days = int(said["days"])
    return f"{outage} comes {counted(abs(days), 'day')} {'later' if days > 0 else 'earlier'}"


def effect(first: Evaluation, second: Evaluation, outages: Sequence[Outage]) -> list[str]:
    """What the second plan does otherwise, risk first, then hours, then shells; a sentence each."""
    found = compare(first, second)
    return [risk_words(found, second), *_hours(found, second, outages), *_shells(found)]


def risk_words(found: Difference, second: Evaluation) -> str:
    """Expected passings and bearings above the accepted risk, against the first plan."""
    now, more = second.expected_passings, found.expected_passings
    passings = f"{grouped(now, 1)} bearings are expected to pass their maximum before they are looked at"
    if abs(more) < WORTH_PASSINGS:
        text = f"{passings}, as before"
    else:
        size = "under 0.1" if abs(more) < 0.05 else grouped(abs(more), 1)
        text = f"{passings}, {size} {'more' if more > 0 else 'fewer'}"
    above, by = second.n_above_accepted, found.n_above_accepted
    change = "as before" if by == 0 else f"{grouped(abs(by))} {'more' if by > 0 else 'fewer'}"
    return f"{text}; {counted(above, 'bearing')} above the accepted risk, {change}."


def _hours(found: Difference, second: Evaluation, outages: Sequence[Outage]) -> list[str]:
    loads = {load.outage: load for load in second.loads}
    said = []
    for outage in outages:
        by = found.hours.get(outage.name, 0.0)
        if abs(by) > WORTH_HOURS and outage.name in loads:
            load = loads[outage.name]
            of = f" of {grouped(load.crew_hours)}" if load.crew_hours < NOT_COUNTED else ""
            size = f"{grouped(abs(by), 0 if abs(by) >= 9.5 else 1)} {'more' if by > 0 else 'fewer'}"
            said.append(f"{outage.name}: {grouped(load.used_hours)}{of} crew hours, {size}.")
    return said


def _shells(found: Difference) -> list[str]:
    parts = [
        f"{grouped(abs(n))} {family} {'more' if n > 0 else 'fewer'}"
        for family, n in sorted(found.shells.items())
        if n
    ]
    return [f"Half shells: {', '.join(parts)}."] if parts else []


def difference_sentence(found: Difference, first: str, second: str) -> str:
    """How two plans differ, in one sentence to open the page with."""
    if not found.moved:
        return f"No job differs between {first} and {second}."
    n = len(found.moved)
    more = found.expected_passings
    text = (
        f"{counted(n, 'bearing')} {'is' if n == 1 else 'are'} treated otherwise in {second} than in {first}"
    )
    if abs(more) < WORTH_PASSINGS:
        return f"{text}; as many bearings are expected to pass their maximum."
    size = "under 0.1" if abs(more) < 0.05 else grouped(abs(more), 1)
    return (
        f"{text}; {size} {'more' if more > 0 else 'fewer'} are expected to pass their maximum before they are"
        " looked at."
    )
