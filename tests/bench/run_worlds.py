"""Prints the table of worlds: `python -m tests.bench.run_worlds [--n 1500] [--first 11] [--worlds
plain,slips]`.
"""

from __future__ import annotations

import argparse
import time

import numpy as np

from inspections.wear.advice import ADVICE, OUTCOMES
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import Forecasts, forecast

from .line import straight_line
from .oracle import true_population
from .score import by_thirds, pinball, shares, told, true_readings
from .worlds import CAP_KH, LIMIT, WORLDS, Fleet, World, make, smaller

GOALS = np.array([5.0, 10.0, 50.0, 90.0, 95.0])


def dates_kh(result: Forecasts) -> np.ndarray:
    """(B, 5) maximum dates as kh of a full day, capped."""
    return np.minimum(np.nan_to_num(result.max_days * 0.024, nan=CAP_KH, posinf=CAP_KH), CAP_KH)


KNOWN = (
    "plain",
    "uneven wear",
    "rounded",
    "few readings",
    "fleets of 8",
    "wandering duty",
    "opened because bad",
)


def one(fleet: Fleet, world: World) -> dict[str, np.ndarray]:
    """What is scored of one fleet: our dates, the line's, the informed filter's; truths; readings."""
    population = fit_fleet(fleet.histories)
    result = forecast(fleet.histories, population)
    keep = (result.p_max_now < 0.05) & ~(fleet.odd & (world.duty_break > 0))  # broken duty: apart
    line = straight_line(fleet.histories, LIMIT, CAP_KH)
    if fleet.histories.duty_drift.any():
        line = np.minimum(line * 2.0, CAP_KH)  # 12 h a day
    informed = dates_kh(forecast(fleet.histories, true_population(world))) if world.name in KNOWN else line
    rows = {"mine": dates_kh(result), "line": line, "informed": informed, "true": fleet.true_kh}
    rows["count"] = result.readings_used
    rows["misfit"] = result.outcome == OUTCOMES.index("misfit")
    rows["leave"], rows["said"] = result.advice == ADVICE.index("leave"), result.p_max_before_following
    rows["passes"] = fleet.true_kh < fleet.histories.outage_days[:, 1] * 0.024
    rows["read"], rows["aside"] = true_readings(fleet.histories, population, fleet.slips)
    return {name: value[keep] for name, value in rows.items()}


def world_table(world: World, first: int, repeats: int) -> None:
    """One line a world: losses, shares, worst third, share called misfit."""
    began = time.perf_counter()
    parts = [one(make(world, first + k), world) for k in range(repeats)]
    all_ = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    mine, true = all_["mine"], all_["true"]
    a, b, c = (pinball(all_[name], true) for name in ("mine", "line", "informed"))
    thirds = [by_thirds(mine, true, key, CAP_KH) - GOALS for key in (mine[:, 2], all_["count"])]
    worst = max(float(np.nanmax(np.abs(t))) for t in thirds)
    figures = " ".join(f"{x:4.1f}" for x in shares(mine, true))
    informed = f"{a / c:6.3f}" if world.name in KNOWN else "      "
    leave = told(all_["leave"], all_["passes"], all_["said"])
    aside = 100 * all_["aside"].sum() / all_["read"].sum()
    print(
        f"| {world.name:18} | {b:5.2f} | {a:5.2f} | {a / b:4.2f} | {informed} | {figures} |"
        f" {worst:4.1f} | {100 * all_['misfit'].mean():4.1f} | {leave} |"
        f" {aside:5.2f} | {len(true):5d} | {time.perf_counter() - began:5.1f} s |",
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
    print(
        "| world | line | filter | ratio | to true | shares before 5 10 50 90 95 % | worst third | misfit % |"
        " leave real/said = times (of) | true readings set aside % | scored | took |"
    )
    for name in args.worlds.split(","):
        world = WORLDS[name]
        if world.n == 8:
            world_table(world, args.first, args.fleets)
        else:
            world_table(smaller(world, args.n), args.first, args.repeats)


if __name__ == "__main__":
    main()
