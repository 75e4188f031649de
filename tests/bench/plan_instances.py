"""Invented plants as a plan's inputs, every bearing judged: what the pages' figures are
weighed and timed on.
"""

from __future__ import annotations

import datetime as dt

import numpy as np

from dashboards.outage_plan.pump_openings.inputs import Bearing, Hours, Inputs, Outage, Pump, Spare
from inspections.forecasts.judgement.judgement_figures import (
    ALWAYS,
    NEVER,
    READING,
    Column,
    Judgement,
    Why,
    Word,
)
from inspections.wear.decision import Openings, PumpOpenings, Terms
from tests.bench.programme_instances import FAMILIES, coefficients, fleet

AS_OF = dt.date(2026, 3, 2)
INTERVAL = 548


def inputs_of(n: int, outages: int, capacity: float, number: int) -> Inputs:
    """n bearings two a pump, a quarter of the pumps with a twin; crew hours for ``capacity`` of the work
    wanted.
    """
    t, p = fleet(n, number)
    o, q = coefficients(t, p, outages)
    starts = [AS_OF + dt.timedelta(days=round(INTERVAL * (k + 0.5))) for k in range(outages + 1)]
    bearings = tuple(_bearing(i, t, o, q, starts) for i in range(n))
    twin = {k: k + 1 if k % 2 == 0 else k - 1 for k in range(n // 2) if k % 8 < 2}
    inside = q.first[q.first < outages]
    crew = round(capacity * float(q.hours[q.first < outages, inside].sum()) / outages)
    return Inputs(
        as_of=AS_OF,
        bearings=bearings,
        outages=tuple(
            Outage(f"outage {k + 1}", starts[k], starts[k] + dt.timedelta(days=20), crew)
            for k in range(outages)
        ),
        pumps=tuple(Pump(f"P{k:03d}", twin=f"P{twin[k]:03d}" if k in twin else "") for k in range(n // 2)),
        spares=tuple(Spare(f"SL-{f}", on_hand=n // 60 + 1, lead_time_days=300.0) for f in range(FAMILIES)),
    )


def _bearing(i: int, t: Terms, o: Openings, q: PumpOpenings, starts: list[dt.date]) -> Bearing:
    pump, last = i // 2, len(starts) - 1
    columns = tuple(
        Column(
            name="" if k == last else f"outage {k + 1}",
            outage="" if k == last else str(k),
            start_on=start,
            end_on=start + dt.timedelta(days=20),
            known=k != last,
            past=float(o.past[i, k]),
            trigger_um=float(np.ceil(o.trigger_um[i, k])) if np.isfinite(o.trigger_um[i, k]) else None,
            trigger_is=(
                READING if np.isfinite(o.trigger_um[i, k]) else (ALWAYS if o.trigger_um[i, k] < 0 else NEVER)
            ),
            trigger_from="rule",
            new=float(o.new[i, k]),
            scraped=float(o.scraped[i, k]),
            hours=float(o.hours[i, k]),
            hours_var=float(o.variance[i, k]),
            cost_h=float(q.cost[pump, k]),
            again=tuple(float(x) for x in q.reopening[pump, k].round(3)),
        )
        for k, start in enumerate(starts)
    )
    first = int(q.first[pump])
    judged = Judgement(
        as_of=AS_OF,
        word=Word.OPEN if first == 0 else Word.LEAVE,
        why=Why.COST,
        columns=columns,
        first=first,
        limit_um=float(t.limit_um[i]),
        limit_from="maximum",
        new_um=float(t.new_um[i]),
        accepted_risk=float(t.accepted[i]),
        past_now=float(o.past_now[i]),
        open_h=float(t.open_h[i]),
        again_h=float(q.again_h[pump]),
        again_new=float(q.again_new[i]),
    )
    name = f"P{pump:03d} {'DE' if i % 2 == 0 else 'NDE'}"
    hours = Hours(float(t.measure_h[i]), float(t.scrape_h[i]), float(t.replace_h[i]))
    return Bearing(name, f"P{pump:03d}", judged, hours, shell_type=f"SL-{pump % FAMILIES}")
