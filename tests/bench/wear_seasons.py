"""Pumps that run half the year, by how their meters are entered: `python -m tests.bench.wear_seasons`.

The plain world's wear on pumps that run 24 h a day from January to June, six years of a meter behind them
(`--years`), each looked at on a day of its own. Printed for each way of entering it: shares of true dates
before the five dates, loss and "leave", without the season (its hours an uneven duty) and with what the meter
tells of it (`inspections/story/season.py`).
"""

from __future__ import annotations

import argparse
import datetime as dt
from dataclasses import replace

import numpy as np

from inspections.forecasts.planned_duty import Ahead, planned
from inspections.story.exposure import Exposure, recent_duty
from inspections.story.season import seasonal_duty
from inspections.wear.arrays import Histories
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.population import Population

from .hard_fleets import LEAVE
from .rough_fleets import in_season
from .run_worlds import dates_kh
from .score import pinball, shares, told
from .worlds import CAP_KH, World, make

BASE, MONTHS_RUN, N = dt.date(2027, 1, 1), range(1, 7), 400
OFF_DAYS = 14.0  # an entry is made up to so many days beside its day
EVERY = {
    "every month": [(m, 1) for m in range(1, 13)],
    "by the quarter": [(1, 1), (4, 1), (7, 1), (10, 1)],
    "January and July": [(1, 1), (7, 1)],
    "April and October": [(4, 1), (10, 1)],
}


def meter(rng: np.random.Generator, on: list[tuple[int, int]], as_of: dt.date, years: int) -> Exposure:
    """Entries about some days of each year, over so many years before a day."""
    days = np.sort(
        [
            dt.date(y, m, d).toordinal() + round(OFF_DAYS * rng.uniform(-1, 1))
            for y in range(as_of.year - years - 1, as_of.year + 1)
            for m, d in on
        ]
    ).astype(float)
    days = days[(days <= as_of.toordinal()) & (days > as_of.toordinal() - 365.25 * years - 30.0)]
    each = [
        24.0 * (dt.date.fromordinal(d).month in MONTHS_RUN) for d in range(int(days[0]), int(days[-1]) + 1)
    ]
    hours = np.concatenate([[0.0], np.cumsum(each)])[(days - days[0]).astype(int)]
    return Exposure(days, hours, 12.0, 12.0)


def looked_at(
    h: Histories, population: Population, runs: list[Exposure], days: list[dt.date], known: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Dates (B, 5) as kh of a full day; left closed, what is said of it and the spread of duty, each (B,)."""
    duty, spread = np.zeros(h.n_bearings), np.zeros(h.n_bearings)
    ahead: list[Ahead | None] = []
    even = h.outage_days.copy()
    for i, (run, as_of) in enumerate(zip(runs, days, strict=True)):
        season, duty[i], spread[i] = seasonal_duty(run, as_of) if known else (None, *recent_duty(run, as_of))
        ahead.append(planned([], as_of, duty[i], season))
        if one := ahead[-1]:
            even[i], duty[i] = one.even(h.outage_days[i]), one.mean
    asked = replace(h, hours_per_day=np.maximum(duty, 0.01), duty_sd=spread, outage_days=even)
    result = forecast(asked, population)
    dates = dates_kh(result)
    for i, each in enumerate(ahead):
        if each:
            dates[i] = np.where(dates[i] < CAP_KH, each.real(dates[i] / 0.024) * 0.024, CAP_KH)
    return np.minimum(dates, CAP_KH), result.advice == LEAVE, result.p_max_before_following, spread


def lines(name: str, first: int, repeats: int, years: int) -> list[str]:
    """The two lines of one way of entering a meter."""
    parts: dict[bool, list[tuple[np.ndarray, ...]]] = {False: [], True: []}
    for seed in range(first, first + repeats):
        world, rng = make(World(n=N), seed), np.random.default_rng(seed + 70_000)
        h, population = world.histories, fit_fleet(world.histories)
        on = rng.integers(0, 365, N)
        days = [BASE + dt.timedelta(days=int(day)) for day in on]
        runs = [meter(rng, EVERY[name], day, years) for day in days]
        true = in_season(world.true_kh, on.astype(float))
        passes = true < h.outage_days[:, 1] * 0.024
        for known, found in parts.items():
            dates, leave, said, spread = looked_at(h, population, runs, days, known)
            keep = world.true_kh > 0
            found.append(tuple(x[keep] for x in (dates, leave, said, spread, true, passes)))
    rows = []
    for known, found in parts.items():
        dates, leave, said, spread, true, passes = (np.concatenate(x) for x in zip(*found, strict=True))
        figures = " ".join(f"{x:.0f}" for x in shares(dates, true))
        rows.append(
            f"| {name}{', season known' if known else ''} ({len(true)}) | {np.median(spread):.2f} |"
            f" {figures} | {pinball(dates, true):.2f} | {told(leave, passes, said)} |"
        )
    return rows


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default=";".join(EVERY))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--repeats", type=int, default=2)
    parser.add_argument("--years", type=int, default=6)
    args = parser.parse_args()
    print(
        "| meter entered (scored) | spread | before 5 10 50 90 95 % | loss | leave real/said = times (of) |"
    )
    for name in args.only.split(";"):
        print("\n".join(lines(name, args.first, args.repeats, args.years)), flush=True)


if __name__ == "__main__":
    main()
