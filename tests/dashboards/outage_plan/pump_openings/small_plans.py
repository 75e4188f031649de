"""Small invented plans: bearings judged by hand at outages 18 months apart."""

import datetime as dt

from dashboards.outage_plan.pump_openings.inputs import Bearing, Inputs, Outage, Pump, Spare
from inspections.forecasts.judgement.judgement_figures import READING, Column, Judgement, Why, Word

AS_OF = dt.date(2026, 3, 2)
INTERVAL, FIRST = 540, 180


def day(t):
    """The first day of outage t."""
    return AS_OF + dt.timedelta(days=FIRST + INTERVAL * t)


def outage(t, **more):
    """Outage t of twenty days with many crew hours."""
    given = {"crew_hours": 500.0, "end_on": day(t) + dt.timedelta(days=19)} | more
    return Outage(f"O{t}", day(t), **given)


def judged(cost, past, *, new=0.4, known=None, **more):
    """What is judged of a bearing: its pump's cost and its chance of having passed, by outage and once after
    them.
    """
    n = len(cost) if known is None else known + 1
    columns = tuple(
        Column(
            name=f"O{t}" if t < n - 1 else "",
            outage=str(t) if t < n - 1 else "",
            start_on=day(t),
            end_on=day(t) + dt.timedelta(days=19),
            known=t < n - 1,
            past=past[t],
            trigger_um=200.0 + t,
            trigger_is=READING,
            trigger_from="rule",
            scrape_from_um=190.0 + t,
            scrape_is=READING,
            new=new,
            scraped=0.1,
            hours=10.0,
            hours_var=16.0,
            cost_h=float(cost[t]),
            again=(0.0,) * len(cost),
        )
        for t in range(len(cost))
    )
    first = min(range(len(cost)), key=lambda t: cost[t])
    facts = {
        "word": Word.OPEN if first == 0 else Word.LEAVE,
        "why": Why.COST,
        "first": first,
        "limit_um": 260.0,
        "limit_from": "maximum",
        "new_um": 130.0,
        "accepted_risk": 0.1,
        "past_now": 0.0,
        "open_h": 8.0,
        "again_h": 20.0,
        "again_new": 0.3,
    } | more
    return Judgement(as_of=AS_OF, columns=columns, **facts)


def bearing(name, made, **more):
    """A bearing "P1 DE" of pump P1."""
    return Bearing(name, name.split()[0], made, **more)


def inputs(bearings, outages, twins=(), **more):
    """The plan's inputs; `twins` pairs of pumps."""
    other = dict(twins) | {b: a for a, b in twins}
    tags = dict.fromkeys(b.pump for b in bearings)
    pumps = tuple(Pump(tag, twin=other.get(tag, "")) for tag in tags)
    return Inputs(AS_OF, tuple(bearings), tuple(outages), pumps, **more)


SPARES = (Spare("S-1", on_hand=1, lead_time_days=60.0),)
