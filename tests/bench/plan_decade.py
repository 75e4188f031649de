"""A decade of decisions by one rule and by its opponents: `python -m tests.bench.plan_decade`.

Worlds of 480 bearings two a pump; five outages of history, then six 18 months apart. The filter knows the
world's parameters. Per 100 bearings: passings of the maximum, intervals run past it, shells, pump openings,
crew hours, life used of renewed shells, and net cost: hours, 40 a shell, 60 for each worn life left at the
end.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from functools import partial

import numpy as np
from numpy.typing import NDArray

from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.decision import at_pump, first_openings, pump_openings, tables
from tests.bench.decision_world import LIMIT, NEW, OUTAGES, SHELL_H, D, Plant, class_terms, drawn

COLUMNS = 6  # outages looked ahead; the sixth stands for "later"
WORN_LIFE_H = 60.0
RISKS = (0.02, 0.05, 0.10, 0.20)
BINS = (0.0, 0.005, 0.03, 0.06, 0.10)
Rule = Callable[[Plant], None]


def look_and_decide(plant: Plant, pumps: NDArray[np.bool_], risk: float) -> None:
    """At the open pumps: read all, decide by the trigger with the contact findings as they come."""
    who = plant.open(pumps)
    t = class_terms(plant.chance.gauge[who], risk)
    p = plant.belief.predictive(None).take(who)
    y = plant.read(who)
    seen = at_pump(p, t, y, t.reading_sd_um, np.full(len(who), D))
    touched = plant.touch(who)
    renew = np.where(touched, seen.renew_if_scraped, seen.renew)
    plant.renew(who[renew])
    plant.scrape(who[~renew & touched])
    plant.pending[who[~renew]] = np.where(touched, seen.scraped, seen.closed)[~renew]


def one_rule(plant: Plant, risk: float, due: bool) -> None:
    """Open where cost from then on is least, with or without the due outage."""
    t = class_terms(plant.chance.gauge, risk)
    p, v, n = plant.belief.predictive(), tables(t), len(t)
    ahead = np.tile(D * np.arange(COLUMNS), (n, 1))
    o = first_openings(p, t, v, ahead, np.full(ahead.shape, D))
    times = np.tile(np.arange(float(COLUMNS)), (n // 2, 1))
    q = pump_openings(o, t, v, np.arange(n) // 2, np.full(n // 2, 8.0), times)
    first = q.first if due else (q.cost - q.late).argmin(axis=1)
    look_and_decide(plant, first == 0, risk)


def unopened(plant: Plant) -> FloatArray:
    """(n,) chance of being past the maximum before the next outage, nothing looked at."""
    n = len(plant.rows)
    return plant.belief.predictive(None).past(np.full(n, LIMIT), np.full((n, 1), D))[:, 0]


def picked(plant: Plant, risk: float) -> None:
    """Open every pump with a bearing above the accepted chance, look at both, decide by the trigger."""
    look_and_decide(plant, (unopened(plant) > risk).reshape(-1, 2).any(axis=1), risk)


def unconditional(plant: Plant, risk: float) -> None:
    """What is above the accepted chance gets a new shell unseen; nothing else of its pump is touched."""
    above = unopened(plant) > risk
    plant.open(above.reshape(-1, 2).any(axis=1), measured=False)
    plant.renew(np.flatnonzero(above))


def fixed_age(plant: Plant, intervals: int) -> None:
    """New shells at an age, nothing measured."""
    due = plant.age >= intervals
    plant.open(due.reshape(-1, 2).any(axis=1), measured=False)
    plant.renew(np.flatnonzero(due))


def by_reading(
    plant: Plant,
    above: Callable[[Plant, IntArray, FloatArray], NDArray[np.bool_]],
    every: int,
    recall: float = np.inf,
) -> None:
    """Open every so many outages (or where the last reading is above ``recall``), read,
    renew what is above.
    """
    stagger = np.arange(len(plant.since)) % every == plant.k % every
    pumps = stagger | (plant.last > recall).reshape(-1, 2).any(axis=1)
    who = plant.open(pumps)
    y = plant.read(who)
    renew = above(plant, who, y)
    plant.renew(who[renew])
    rest = who[~renew]
    plant.scrape(rest[plant.touch(rest)])


def share_of_limit(share: float, plant: Plant, who: IntArray, y: FloatArray) -> NDArray[np.bool_]:
    """Last reading above a share of the limit."""
    return y > share * LIMIT


def straight_line(
    share: float, intervals: int, plant: Plant, who: IntArray, y: FloatArray
) -> NDArray[np.bool_]:
    """A line from the new shell's reading through today's, above a share of the limit so
    many intervals on.
    """
    slope = np.maximum(y - plant.first[who], 0.0) / np.maximum(plant.age[who], 1.0)
    return y + intervals * slope > share * LIMIT


def rules() -> dict[str, Rule]:
    """Every rule of the table by its name."""
    made: dict[str, Rule] = {}
    for years, k in ((3, 2), (4.5, 3), (6, 4)):
        made[f"fixed age, {years} years"] = partial(fixed_age, intervals=k)
    for share in (0.65, 0.75, 0.85):
        made[f"last reading > {share:.0%}, read every 2nd"] = partial(
            by_reading, above=partial(share_of_limit, share), every=2, recall=share * LIMIT
        )
    for share in (0.9, 1.0):
        made[f"line to next > {share:.0%}, all opened"] = partial(
            by_reading, above=partial(straight_line, share, 1), every=1
        )
    for share in (0.9, 1.0):
        made[f"line to outage after > {share:.0%}, every 2nd"] = partial(
            by_reading, above=partial(straight_line, share, 2), every=2
        )
    for risk in (0.1, 0.3):
        made[f"unconditional jobs, a {risk:.0%}"] = partial(unconditional, risk=risk)
    for risk in (0.05, 0.1, 0.2):
        made[f"picked by chance, looked at, a {risk:.0%}"] = partial(picked, risk=risk)
    for due in (False, True):
        for risk in RISKS:
            word = "with due outage" if due else "price only"
            made[f"this, {word}, a {risk:.0%}"] = partial(one_rule, risk=risk, due=due)
    return made


def decade(rule: Rule, seed: int, n: int, **world: float) -> Plant:
    """One world under one rule from the end of its history on."""
    plant = Plant(drawn(n, seed, **world))
    plant.history()
    for _ in range(OUTAGES):
        rule(plant)
        plant.run()
    return plant


def row(plants: list[Plant]) -> dict[str, float]:
    """Sums of several worlds per 100 bearings."""
    n = sum(len(p.rows) for p in plants)
    s = {k: 100.0 * sum(p.sums[k] for p in plants) / n for k in plants[0].sums}
    worn = sum(p.worn(p.rows).sum() for p in plants)
    s["used"] = s["used"] / max(s["renewed"], 1e-9)
    s["net"] = s["hours"] + SHELL_H * s["shells"] + WORN_LIFE_H * 100.0 * worn / n
    return s


def calibration(plants: list[Plant]) -> str:
    """Chances stated at closing against what passed, in bins."""
    stated = np.concatenate([a for p in plants for a in p.stated])
    kept = np.concatenate([a for p in plants for a in p.kept])
    lines = [f"{len(stated)} closings: stated {100 * stated.mean():.1f}, passed {100 * kept.mean():.1f} %;"]
    for low, high in zip(BINS, (*BINS[1:], 1.0), strict=True):
        here = (stated >= low) & (stated < high)
        if here.sum() > 20:
            spread = 100 * np.sqrt(kept[here].mean() * (1 - kept[here].mean()) / here.sum())
            lines.append(
                f"{100 * stated[here].mean():.1f}: {100 * kept[here].mean():.1f} (+- {spread:.1f},"
                f" {here.sum()})"
            )
    return " ".join(lines)


def price(risk: float) -> float:
    """W(a) of this world."""
    return float(class_terms(np.array([6.0]), risk).price_h[0])


def main() -> None:
    """Print the table, the comparison at one price, and how far chances were kept."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--worlds", type=int, default=4)
    parser.add_argument("--bearings", type=int, default=480)
    parser.add_argument("--first", type=int, default=1)
    args = parser.parse_args()
    began = time.perf_counter()
    print("| rule | passings | past | shells | openings | hours | life used | net |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    found: dict[str, dict[str, float]] = {}
    kept: dict[str, str] = {}
    for name, rule in rules().items():
        seeds = range(args.first, args.first + args.worlds)
        plants = [decade(rule, seed, args.bearings) for seed in seeds]
        s = found[name] = row(plants)
        if name.startswith("this"):
            kept[name] = calibration(plants)
        print(
            f"| {name} | {s['passings']:.1f} | {s['past']:.1f} | {s['shells']:.0f} | {s['openings']:.0f} | "
            f"{s['hours']:.0f} | {s['used']:.2f} | {s['net']:.0f} |",
            flush=True,
        )
    print(
        "\nAt one price, net + W (passings + past), dearer than this with due outage by per cent; new metal"
        f" {NEW} um:"
    )
    for risk in RISKS:
        w = price(risk)
        cost = {k: s["net"] + w * (s["passings"] + s["past"]) for k, s in found.items()}
        own = cost[f"this, with due outage, a {risk:.0%}"]
        others = ", ".join(
            f"{k} {100 * (c / own - 1):.1f}" for k, c in cost.items() if not k.startswith("this, with")
        )
        print(f"a {risk:.0%}, W {w:.0f}: {others}")
    print("\nChances stated at closing, per cent, and what passed:")
    for name, line in kept.items():
        print(f"{name}: {line}")
    print(f"\n{time.perf_counter() - began:.0f} s")


if __name__ == "__main__":
    main()
