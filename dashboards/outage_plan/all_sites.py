"""The plans of all sites on one page: outages with their hours, shells and risk, and what to order this
month.
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from dashboards.outage_plan import versions
from dashboards.outage_plan.acceptance import open_what_ifs
from dashboards.outage_plan.drafts import in_hand
from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.pump_openings.evaluate import Evaluation
from dashboards.outage_plan.pump_openings.inputs import NOT_COUNTED, Inputs
from dashboards.outage_plan.pump_openings.shell_orders import Order
from fleet.clock import today_at
from fleet.formatting import counted
from fleet.models import Setting, SettingsRead, Site
from inspections.forecasts.judgement.plant_prices import CREW_HOUR
from inspections.limits.price_choices import price_words
from inspections.models import DraftPlan

HALF = 0.5  # of a shell's price for one half


@dataclass(frozen=True)
class OutageLine:
    """One outage of one site's plan. `by_then`, `put_off`: passings expected among the bearings looked at in
    it, before it and by the outage after it if they stay closed; `crew` None where no hours are stated.
    """

    site: str
    shown: str
    name: str
    start_on: dt.date
    end_on: dt.date
    bearings: int
    hours: float
    hours_p90: float
    crew: float | None
    shells: float
    shells_p90: int
    by_then: float
    put_off: float

    @property
    def over(self) -> bool:
        """Whether more is planned than there are hours."""
        return self.crew is not None and self.hours > self.crew + 0.5


@dataclass(frozen=True)
class OrderLine:
    """Halves of one kind to be ordered at a site by a day, and what they cost."""

    site: str
    by: dt.date
    family: str
    n: int
    bearings: str
    outage: str
    price_h: float
    amount: int | None  # in the site's money, at its crew hour of the plan's own day
    word: str
    is_late: bool

    @property
    def money(self) -> str:
        """The price as one writes money; blank where no crew hour is priced."""
        return "" if self.amount is None else _money_words(self.amount, self.word)


@dataclass(frozen=True)
class SitePlan:
    """A site's plan in a line: which plan, what it does to the passings expected within its horizon."""

    site: Site
    shown: str
    label: str
    closed: float
    planned: float
    above: int
    refused: str = ""
    as_of: dt.date | None = None
    warnings: tuple[str, ...] = ()


def context(sites: Iterable[Site]) -> dict[str, Any]:
    """What the page shows: every site's accepted plan, else the one in hand."""
    crew = SettingsRead(Setting.objects.standing().filter(name=CREW_HOUR))
    plans: list[SitePlan] = []
    outages: list[OutageLine] = []
    orders: list[OrderLine] = []
    for site in sites:
        hand = in_hand(site)
        found = hand and (versions.version(hand, versions.ACCEPTED) or versions.version(hand, versions.HAND))
        if hand is None or not found:
            plans.append(SitePlan(site, "", "", 0.0, 0.0, 0, "No plan has been worked out yet."))
            continue
        made, today = versions.shown(hand, found), today_at(site)
        plans.append(_site_plan(hand, found, made))
        if made.evaluation is not None and made.inputs is not None:
            outages += _outages(site, today, found.key, made.evaluation, made.inputs)
            hour = crew.in_force(CREW_HOUR, site, hand.as_of)
            orders += _orders(site, today, made.orders, made.inputs, hour)
    return {
        "saying": _saying(outages, orders),
        "plans": plans,
        "outages": sorted(outages, key=lambda one: (one.start_on, one.site)),
        "orders": sorted(orders, key=lambda one: (one.by, one.site, one.family)),
        "total_h": sum(one.price_h for one in orders),
        "total_money": _total(orders),
    }


def _site_plan(hand: DraftPlan, shown: versions.Version, made: Proposal) -> SitePlan:
    found, said = made.evaluation, (made.site, shown.key, shown.label)
    if found is None:
        return SitePlan(*said, 0.0, 0.0, 0, " ".join(made.refused))
    closed = float(found.chance[:, -1].sum()) if found.chance.size else 0.0
    return SitePlan(
        *said,
        closed,
        found.expected_passings,
        found.n_above_accepted,
        as_of=hand.as_of,
        warnings=_warnings(hand, shown, made, found),
    )


def _warnings(hand: DraftPlan, shown: versions.Version, made: Proposal, found: Evaluation) -> tuple[str, ...]:
    """What speaks against reading this plan as it stands."""
    return tuple(
        words
        for words, holds in (
            ("the record has changed since: plan anew", made.is_stale),
            ("with what is only supposed", shown.key == versions.HAND and bool(open_what_ifs(hand))),
            ("it cannot be carried out as it is", bool(found.faults)),
        )
        if holds
    )


def _outages(
    site: Site, today: dt.date, shown: str, found: Evaluation, given: Inputs
) -> Iterator[OutageLine]:
    """Outages that are not over, and times between them in which something is opened."""
    for outage, load in zip(given.outages, found.loads, strict=True):
        if outage.skipped or outage.end_on < today or (outage.between and not load.n_jobs):
            continue
        jobs = [job for job in found.jobs if job.outage == outage.name]
        yield OutageLine(
            site.name,
            shown,
            outage.name,
            outage.start_on,
            outage.end_on,
            load.n_jobs,
            load.used_hours,
            load.within_hours,
            outage.crew_hours if outage.crew_hours < NOT_COUNTED else None,
            load.new_shells,
            load.shells_p90,
            sum(job.p_max_before_work for job in jobs),
            sum(job.p_max_if_deferred for job in jobs),
        )


def _orders(
    site: Site, today: dt.date, orders: Iterable[Order], given: Inputs, hour: Any
) -> Iterator[OrderLine]:
    """What must be out by the end of this month, that of one kind for one outage together; `hour`: what a
    crew hour cost on the plan's own day, None where it is not priced.
    """
    next_month = (today.replace(day=1) + dt.timedelta(days=32)).replace(day=1)
    over = {one.name for one in given.outages if one.end_on < today}
    lines: dict[tuple[dt.date, str, str], list[Order]] = {}
    for order in orders:
        if order.order_by < next_month and order.outage not in over:
            lines.setdefault((max(order.order_by, today), order.family, order.outage), []).append(order)
    for (by, family, outage), own in lines.items():
        price = sum(HALF * given.bearings[given.bearing_at[one.bearing]].shell_h for one in own)
        names = ", ".join(dict.fromkeys(one.bearing for one in own))
        amount = round(Decimal(price) * Decimal(hour["money"])) if hour else None
        word = hour["word"] if hour else ""
        yield OrderLine(site.name, by, family, len(own), names, outage, price, amount, word, by <= today)


def _money_words(amount: int, word: str) -> str:
    return price_words({"money": str(amount), "word": word})


def _total(orders: Iterable[OrderLine]) -> str:
    """All orders in money, one sum for each money; blank where one has none."""
    sums: Counter[str] = Counter()
    for one in orders:
        if one.amount is None:
            return ""
        sums[one.word] += one.amount
    return " and ".join(_money_words(amount, word) for word, amount in sums.items())


def _saying(outages: Iterable[OutageLine], orders: Iterable[OrderLine]) -> str:
    busy = [one for one in outages if one.bearings]
    if not busy:
        return "No outage of these sites has a bearing to be looked at."
    sites = len({one.site for one in busy})
    text = (
        f"{counted(len(busy), 'outage')} at {counted(sites, 'site')} with"
        f" {counted(sum(one.bearings for one in busy), 'bearing')} to be looked at."
    )
    over = sum(one.over for one in busy)
    if over:
        text += f" {counted(over, 'outage')} {'has' if over == 1 else 'have'} more work than hours."
    halves = sum(one.n for one in orders)
    due = counted(halves, "half shell", "half shells") if halves else "nothing"
    return f"{text} To order this month: {due}."
