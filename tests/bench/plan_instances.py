"""Invented planning instances of three capacities, and how long they take: `python -m tests.bench.plan_instances`."""

from __future__ import annotations

import argparse
import datetime as dt
import time

import numpy as np
from scipy.special import ndtr

from dashboards.outage_plan.bearing_jobs.inputs import Bearing, Hours, Inputs, Outage, Pump, Settings, Spare
from dashboards.outage_plan.bearing_jobs.opening import Outlook, with_openings
from dashboards.outage_plan.bearing_jobs.programme import solve

CAPACITIES = (1.2, 0.7, 0.4)
AS_OF = dt.date(2026, 3, 2)
GRID = np.concatenate([np.arange(0, 8000, 91.0), np.arange(8000, 15001, 500.0)])
BETWEEN_H, MOST_BETWEEN = 40.0, 4
HOURS = (Hours(8, 4, 6, 16), Hours(12, 5, 8, 24), Hours(16, 6, 10, 30))


def chances(median_days: float, spread: float) -> np.ndarray:
    """A log-normal date's chances on the grid."""
    return ndtr((np.log(np.maximum(GRID, 1e-3)) - np.log(median_days)) / spread)


def instance(
    n_bearings: int, n_outages: int, capacity: float, number: int, *, between: bool = True
) -> Inputs:
    """Pumps of two bearings, a third with a twin, eight shell types; capacity 1 would just do all work."""
    rng = np.random.default_rng([number, n_bearings])
    n_pumps = (n_bearings + 1) // 2
    pumps = [
        Pump(f"P{p:03d}", twin=f"P{p ^ 1:03d}" if p % 6 < 2 and (p ^ 1) < n_pumps else "")
        for p in range(n_pumps)
    ]
    starts = [AS_OF + dt.timedelta(days=200 + 365 * t) for t in range(n_outages)]
    horizon = 200 + 365.0 * n_outages
    bearings, medians, spreads = [], [], []
    for i in range(n_bearings):
        spread = float(rng.uniform(0.15, 0.8))
        medians.append(float(np.exp(rng.normal(np.log(0.7 * horizon), 0.6))))
        spreads.append(spread)
        left = chances(medians[-1], spread)
        bearings.append(
            Bearing(
                f"P{i // 2:03d}/{'DE' if i % 2 == 0 else 'NDE'}",
                f"P{i // 2:03d}",
                consequence=float(rng.choice([500, 2000, 8000])),
                chance_left=left,
                chance_new=chances(4000.0, 0.5),
                hours=HOURS[i // 2 % 3],
                shell_type=f"S{i % 8}",
                shell_cost=60.0,
            )
        )
    per_job = float(np.mean([h.replace_h + 0.7 * h.open_h for h in HOURS]))
    crew = capacity * 0.75 * n_bearings * per_job / n_outages
    stock = max(1, round(capacity * n_bearings / 8 / n_outages * 2))
    spares = [
        Spare(f"S{k}", on_hand=stock, lead_time_days=float(rng.integers(200, 900)), may_order=None)
        for k in range(6)
    ] + [
        Spare(f"S{k}", on_hand=2 * stock, due_back=((starts[n_outages // 3], stock),), lead_time_days=None)
        for k in (6, 7)
    ]
    outages = [
        Outage(f"O{t:02d}", start, start + dt.timedelta(days=14), float(round(crew * rng.uniform(0.6, 1.4))))
        for t, start in enumerate(starts)
    ]
    if between:
        outages = _with_between(outages, frozenset(p.name for p in pumps if p.twin))
    made = Inputs(
        AS_OF,
        GRID,
        tuple(bearings),
        tuple(outages),
        tuple(pumps),
        tuple(spares),
        relined_after_days={"S6": 240.0, "S7": 400.0},
        settings=Settings(),
    )
    return with_openings(made, _outlook(np.array(medians), np.array(spreads), rng))


def _with_between(outages: list[Outage], pumps: frozenset[str]) -> list[Outage]:
    """Before each of the next outages two weeks in which pumps with a twin may be opened, for one crew of a week."""
    made, before = [], AS_OF
    for one in outages[:MOST_BETWEEN]:
        start = before + (one.start_on - before) / 2
        name = f"between {one.name}"
        made += [
            Outage(name, start, start + dt.timedelta(days=13), BETWEEN_H, pumps=pumps, between=True),
            one,
        ]
        before = one.start_on
    return made + outages[MOST_BETWEEN:]


def _outlook(median_days: np.ndarray, spread: np.ndarray, rng: np.random.Generator) -> Outlook:
    """Forecasts that agree with the dates: part of the doubt is the clearance, the rest the rate."""
    n = len(median_days)
    room = rng.uniform(20, 110, n)
    off = 1.2816 * spread[:, None] * np.array([-1.0, 0.0, 1.0])
    level = 260.0 - room[:, None] * (1 - 0.5 * off)
    rate = room[:, None] / (median_days[:, None] * 0.024) * np.exp(0.8 * off)
    return Outlook(level, rate, np.full(n, 24.0), np.full(n, 260.0), np.full(n, 10.0))


def main() -> None:
    """Solve every instance and print what it took."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", default="60x12,500x12")
    parser.add_argument("--repeats", type=int, default=5)
    args = parser.parse_args()
    print(
        "| bearings x outages | capacity | wall s (each) | processor s (each) | median processor s | worst | worst gap | stopped by |"
    )
    for size in args.sizes.split(","):
        n, t = map(int, size.split("x"))
        every: list[float] = []
        every_used: list[float] = []
        for capacity in CAPACITIES:
            times, used, gaps, stops = [], [], [], set()
            for k in range(args.repeats):
                inputs = instance(n, t, capacity, k)
                began, busy = time.perf_counter(), time.process_time()
                plan = solve(inputs)
                times.append(time.perf_counter() - began)
                used.append(time.process_time() - busy)
                gaps.append(plan.gap)
                stops.add(plan.stopped_by)
            every += times
            every_used += used
            each, busy_each = (" ".join(f"{x:.1f}" for x in some) for some in (times, used))
            print(
                f"| {size} | {capacity} | {each} | {busy_each} | {np.median(used):.1f} | {max(used):.1f} | "
                f"{100 * max(gaps):.2f} % | {', '.join(sorted(stops))} |",
                flush=True,
            )
        print(
            f"| {size} | all | median {np.median(every):.1f}, worst {max(every):.1f} | | {np.median(every_used):.1f} | "
            f"{max(every_used):.1f} | | |",
            flush=True,
        )


if __name__ == "__main__":
    main()
