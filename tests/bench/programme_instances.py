"""Invented plants planned by the programme, and how long it takes: `python -m
tests.bench.programme_instances`.

Pumps of two bearings, twelve outages, a quarter of the pumps with a twin, eight shell families; crew hours
for 1.2, 0.7 and 0.4 of the work wanted. Processor seconds, because other work may run beside it.
"""

from __future__ import annotations

import argparse
import time
from functools import partial

import numpy as np

from dashboards.outage_plan.pump_openings.instance import Instance, Scope, Shells, costs, settled, shells
from dashboards.outage_plan.pump_openings.programme import Plan, priced, solve
from inspections.wear.decision import (
    Openings,
    Predictive,
    PumpOpenings,
    Terms,
    first_openings,
    pump_openings,
    tables,
    terms,
)
from tests.bench.greedy_plan import in_order

CAPACITIES = (1.2, 0.7, 0.4)
D, FAMILIES = 13.15, 8


def fleet(n: int, number: int) -> tuple[Terms, Predictive]:
    """n bearings of eight families with their own fitted medians, gauges, limits and worn to different
    levels.
    """
    rng = np.random.default_rng([number, n])
    family = np.arange(n) // 2 % FAMILIES
    median = np.log(2.2) + 0.25 * rng.normal(size=FAMILIES)[family]
    limit = rng.choice([220.0, 260.0, 300.0], FAMILIES)[family]
    t = terms(
        n,
        limit_um=limit,
        new_um=limit / 2.0,
        new_sd_um=7.0,
        interval_kh=D,
        log_rate=median,
        spread=0.6,
        reading_sd_um=np.where(rng.random(n // 2) < 0.6, 6.0, 12.5)[np.arange(n) // 2],
        scrape_um=12.0,
        scrape_sd_um=6.0,
        open_h=rng.choice([8.0, 12.0, 16.0], n // 2)[np.arange(n) // 2],
        measure_h=4.0,
        scrape_h=6.0,
        replace_h=16.0,
        infant=0.002,
    )
    e = np.linspace(-2.8, 2.8, 15)
    w = np.exp(-0.5 * e**2)
    spread = rng.uniform(0.1, 0.5, n)
    centre = median + np.sqrt(0.36 - np.minimum(spread, 0.55) ** 2) * rng.normal(size=n)
    worn = rng.beta(1.3, 1.6, n)
    level = t.new_um + worn * t.room_um
    return t, Predictive(
        np.tile(w / w.sum(), (n, 1)),
        centre[:, None] + spread[:, None] * e,
        np.repeat(level[:, None], 15, axis=1),
        np.repeat(rng.uniform(4.0, 12.0, n)[:, None] ** 2, 15, axis=1),
        t.unevenness_um,
    )


def coefficients(t: Terms, p: Predictive, outages: int) -> tuple[Openings, PumpOpenings]:
    """Openings of bearings and pumps at so many outages and one after the horizon."""
    n = len(t)
    at = np.arange(outages + 1) + 0.5
    v = tables(t)
    o = first_openings(p, t, v, np.tile(D * at, (n, 1)), np.full((n, outages + 1), D))
    return o, pump_openings(o, t, v, np.arange(n) // 2, t.open_h[::2], np.tile(at, (n // 2, 1)))


def instance(
    o: Openings, q: PumpOpenings, capacity: float, number: int, *, tight_shells: bool = False
) -> Instance:
    """The plan to be made: hours for ``capacity`` of the work wanted in the mean outage, twins, shells."""
    rng = np.random.default_rng([number, 7])
    pumps, t = q.cost.shape[0], q.cost.shape[1] - 1
    cost = costs(q)
    allowed, _ = settled(cost, Scope())
    wanted = np.where(allowed, cost, np.inf).argmin(axis=1)
    inside = np.flatnonzero(wanted < t)
    again = (q.reopening[inside, wanted[inside], :t].T @ q.again_h[inside]).sum()
    mean = (q.hours[inside, wanted[inside]].sum() + again) / t
    crew = np.round(capacity * mean * rng.uniform(0.8, 1.2, t))
    twins = tuple((p, p + 1) for p in range(0, pumps - 1, 2) if p % 8 < 2)
    return Instance(
        cost,
        allowed,
        q.hours[:, :t],
        q.variance[:, :t],
        crew,
        q.reopening[:, :t, :t],
        q.again_h,
        tuple(f"P{p:03d}" for p in range(pumps)),
        tuple(f"outage {k + 1}" for k in range(t)),
        twins=twins,
        shells=_stock(o, q, pumps, t, 0.6 if tight_shells else 1.2, rng),
    )


def _stock(
    o: Openings, q: PumpOpenings, pumps: int, t: int, share: float, rng: np.random.Generator
) -> Shells:
    pump = np.arange(2 * pumps) // 2
    family = pump % FAMILIES
    usual = np.bincount(family, q.again_new, minlength=FAMILIES) / 2.0
    due = np.cumsum(np.round(share * np.repeat(usual[:, None], t, axis=1)), axis=1)
    lead = rng.integers(1, 4, FAMILIES)
    return shells(
        o,
        q,
        pump,
        family,
        on_hand=np.ceil(2.0 * usual * share),
        due=due,
        buyable=np.arange(t)[None, :] >= lead[:, None],
        price_h=np.full(FAMILIES, 40.0),
        names=tuple(f"SL-{f}" for f in range(FAMILIES)),
    )


def horizon_gap(plan: Plan, given: Instance) -> float:
    """Gap left as a share of the horizon's part of the objective: 1 % is asked for."""
    return (plan.cost - plan.bound) / max(given.gap_h(plan.cost, 1.0), 1e-9)


def timed(work):
    """What a call gives and its processor seconds."""
    began = time.process_time()
    done = work()
    return done, time.process_time() - began


def main() -> None:
    """Solve every instance and print what it took."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", default="60x12,500x12")
    parser.add_argument("--repeats", type=int, default=10)
    args = parser.parse_args()
    for size in args.sizes.split(","):
        n, outages = map(int, size.split("x"))
        made, table_s, rest_s = [], [], []
        for k in range(args.repeats):
            t, p = fleet(n, k)
            table_s.append(timed(partial(tables, t))[1])
            got, seconds = timed(partial(coefficients, t, p, outages))
            made.append(got)
            rest_s.append(seconds)
        print(
            f"\n{size}: tables not yet cached {np.median(table_s):.2f} s (worst {max(table_s):.2f}), all"
            f" coefficients {np.median(rest_s):.2f} s (worst {max(rest_s):.2f})"
        )
        print(
            "| crew | seconds each | median | worst | worst gap of the horizon's cost | by nodes | order"
            " costs more of it | one plan priced, worst |"
        )
        print("| --- | --- | --- | --- | --- | --- | --- | --- |")
        every: list[float] = []
        for capacity in CAPACITIES:
            every += _row(made, capacity)
        print(f"| all | | {np.median(every):.1f} | {max(every):.1f} | | | | |", flush=True)


def _row(made: list[tuple[Openings, PumpOpenings]], capacity: float) -> list[float]:
    """One capacity's instances, printed; every other one has tight shells."""
    times: list[float] = []
    gaps, nodes, extra, price_s = [], 0, [], []
    for k, (o, q) in enumerate(made):
        given = instance(o, q, capacity, k, tight_shells=k % 2 == 1)
        plan, seconds = timed(partial(solve, given))
        times.append(seconds)
        gaps.append(horizon_gap(plan, given))
        nodes += plan.stopped_by == "nodes"
        by_order, seconds = timed(partial(priced, given, in_order(given)))
        price_s.append(seconds)
        extra.append((by_order.cost - plan.cost) / max(given.gap_h(plan.cost, 1.0), 1e-9))
    each = " ".join(f"{x:.1f}" for x in times)
    print(
        f"| {capacity} | {each} | {np.median(times):.1f} | {max(times):.1f} | {100 * max(gaps):.2f} % |"
        f" {nodes} | {100 * np.median(extra):.1f} % | {1000 * max(price_s):.0f} ms |",
        flush=True,
    )
    return times


if __name__ == "__main__":
    main()
