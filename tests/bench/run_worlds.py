"""Prints the table of worlds: `python -m tests.bench.run_worlds [--n 1500] [--first 11] [--worlds plain,slips]`."""

from __future__ import annotations

import argparse
import time

import numpy as np

from inspections.wear.forecast import Forecasts, forecast
from inspections.wear.population import fit_fleet

from .line import straight_line
from .score import by_thirds, pinball, shares
from .worlds import CAP_KH, LIMIT, WORLDS, Fleet, World, make, smaller

GOALS = np.array([5.0, 10.0, 50.0, 90.0, 95.0])


def dates_kh(result: Forecasts) -> np.ndarray:
    """(B, 5) maximum dates as kh of a full day, capped."""
    return np.minimum(np.nan_to_num(result.max_days * 0.024, nan=CAP_KH, posinf=CAP_KH), CAP_KH)


def one(fleet: Fleet, **options) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, Forecasts]:
    """Dates, the line's dates, truths and number of readings of the bearings that are scored."""
    population = fit_fleet(fleet.histories, **options)
    result = forecast(fleet.histories, population)
    keep = result.p_max_now < 0.05
    line = straight_line(fleet.histories, LIMIT, CAP_KH)
    if fleet.histories.duty_drift.any():
        line = line * 2.0  # 12 h a day
    return (
        dates_kh(result)[keep],
        np.minimum(line, CAP_KH)[keep],
        fleet.true_kh[keep],
        result.readings_used[keep],
        result,
    )


def world_table(world: World, first: int, repeats: int, fleets: int = 1) -> None:
    """One line a world: losses, shares, worst third."""
    began = time.perf_counter()
    parts = [one(make(world, first + k)) for k in range(repeats * fleets)]
    mine, line, true, count = (np.concatenate([p[i] for p in parts]) for i in range(4))
    a, b, s = pinball(mine, true), pinball(line, true), shares(mine, true)
    thirds = [by_thirds(mine, true, key) - GOALS for key in (mine[:, 2], count)]
    worst = max(float(np.abs(t).max()) for t in thirds)
    figures = " ".join(f"{x:5.1f}" for x in s)
    took = time.perf_counter() - began
    print(
        f"| {world.name:19} | {b:6.2f} | {a:6.2f} | {a / b:4.2f} | {figures} | {worst:4.1f} | {len(true):5d} | {took:5.1f} s |",
        flush=True,
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--n", type=int, default=1500)
    parser.add_argument("--first", type=int, default=11)
    parser.add_argument("--repeats", type=int, default=1)
    parser.add_argument("--fleets", type=int, default=100)
    parser.add_argument("--worlds", default=",".join(WORLDS))
    args = parser.parse_args()
    print("| world               | line   | filter | ratio | 5 10 50 90 95 % | worst third | scored | took |")
    for name in args.worlds.split(","):
        world = WORLDS[name]
        if world.n == 8:
            world_table(world, args.first, 1, args.fleets)
        else:
            world_table(smaller(world, args.n), args.first, args.repeats)


if __name__ == "__main__":
    main()
