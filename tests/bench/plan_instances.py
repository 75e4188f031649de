"""Invented planning instances of three capacities, and how long they take: `python -m tests.bench.plan_instances`."""

from __future__ import annotations

import argparse
import datetime as dt
import time

import numpy as np
from scipy.special import ndtr

from dashboards.outage_plan.inputs import Bearing, Hours, Inputs, Opening, Outage, Pump, Settings, Spare
from dashboards.outage_plan.programme import solve

CAPACITIES = (1.2, 0.7, 0.4)
AS_OF = dt.date(2026, 3, 2)
GRID = np.concatenate([np.arange(0, 8000, 91.0), np.arange(8000, 15001, 500.0)])
HOURS = (Hours(8, 4, 6, 16), Hours(12, 5, 8, 24), Hours(16, 6, 10, 30))


def chances(median_days: float, spread: float) -> np.ndarray:
    """A log-normal date's chances on the grid."""
    return ndtr((np.log(np.maximum(GRID, 1e-3)) - np.log(median_days)) / spread)


def instance(n_bearings: int, n_outages: int, capacity: float, number: int) -> Inputs:
    """Pumps of two bearings, a third with a twin, eight shell types; capacity 1 would just do all work."""
    rng = np.random.default_rng([number, n_bearings])
    n_pumps = (n_bearings + 1) // 2
    pumps = [
        Pump(f"P{p:03d}", twin=f"P{p ^ 1:03d}" if p % 6 < 2 and (p ^ 1) < n_pumps else "")
        for p in range(n_pumps)
    ]
    starts = [AS_OF + dt.timedelta(days=200 + 365 * t) for t in range(n_outages)]
    horizon = 200 + 365.0 * n_outages
    bearings = []
    for i in range(n_bearings):
        spread = float(rng.uniform(0.15, 0.8))
        left = chances(float(np.exp(rng.normal(np.log(0.7 * horizon), 0.6))), spread)
        opening = None
        if spread > 0.5:
            opening = _opening(rng, n_outages, 300.0 * spread)
        bearings.append(
            Bearing(
                f"P{i // 2:03d}/{'DE' if i % 2 == 0 else 'NDE'}", f"P{i // 2:03d}",
                consequence=float(rng.choice([500, 2000, 8000])), chance_left=left,
                chance_new=chances(4000.0, 0.5), hours=HOURS[i // 2 % 3], shell_type=f"S{i % 8}",
                shell_cost=60.0, opening=opening,
            )
        )  # fmt: skip
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
    return Inputs(
        AS_OF, GRID, tuple(bearings), tuple(outages), tuple(pumps), tuple(spares),
        relined_after_days={"S6": 240.0, "S7": 400.0}, settings=Settings(),
    )  # fmt: skip


def _opening(rng: np.random.Generator, n: int, size: float) -> Opening:
    """A value that falls with the outages, followed half the time by a new shell two outages on."""
    follow = np.zeros((n, n))
    for t in range(n - 2):
        follow[t, t + 2] = 0.5
    value = size * np.exp(-0.3 * np.arange(n)) * rng.uniform(0.2, 1.0)
    return Opening(value, np.full(n, 0.05), np.full(n, 0.4), follow)


def main() -> None:
    """Solve every instance and print what it took."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--sizes", default="60x12,500x12")
    parser.add_argument("--repeats", type=int, default=5)
    args = parser.parse_args()
    print("| bearings x outages | capacity | solved in s (each) | median | worst | worst gap | stopped by |")
    for size in args.sizes.split(","):
        n, t = map(int, size.split("x"))
        every = []
        for capacity in CAPACITIES:
            times, gaps, stops = [], [], set()
            for k in range(args.repeats):
                inputs = instance(n, t, capacity, k)
                began = time.perf_counter()
                plan = solve(inputs)
                times.append(time.perf_counter() - began)
                gaps.append(plan.gap)
                stops.add(plan.stopped_by)
            every += times
            each = " ".join(f"{x:.1f}" for x in times)
            print(
                f"| {size} | {capacity} | {each} | {np.median(times):.1f} | {max(times):.1f} | "
                f"{100 * max(gaps):.2f} % | {', '.join(sorted(stops))} |",
                flush=True,
            )
        print(f"| {size} | all | | {np.median(every):.1f} | {max(every):.1f} | | |", flush=True)


if __name__ == "__main__":
    main()
