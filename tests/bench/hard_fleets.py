"""Fleets that are not ideal: curved wear, outlying rates, an edge. `python -m tests.bench.hard_fleets [--only
"NAME;NAME"]`.

Printed for the bearings concerned and for the others: shares of true dates before the five dates, loss, how
many "leave" pass the maximum before the outage after the next (real, said, how many times as many), how many
are called a misfit, and how many true readings of all bearings of the case, scored or not, are set aside as
slips.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from inspections.wear.advice import ADVICE, OUTCOMES
from inspections.wear.arrays import GaugePeriod, Histories, Kind, Method, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast

from .run_worlds import dates_kh
from .score import pinball, shares, told, true_readings
from .worlds import CAP_KH, LIMIT, NEW, SD, World, make

HEAD = (
    "| case | before 5 10 50 90 95 % | loss | leave real/said = times (of) | misfit % |"
    " true readings set aside % | fleet alone % | scored |"
)
LEAVE = ADVICE.index("leave")
MISFIT, ALONE = OUTCOMES.index("misfit"), OUTCOMES.index("fleet_only")


@dataclass(frozen=True)
class Fleet:
    """Histories, the true kh to the maximum, and which bearings the case is about."""

    histories: Histories
    true_kh: np.ndarray
    affected: np.ndarray
    slips: np.ndarray = field(default_factory=lambda: np.zeros(0))  # values that are slips of the pen, um
    read_twice: np.ndarray | None = None  # which of those concerned were read twice or more since


@dataclass(frozen=True)
class Curve:
    """n bearings whose wear grows with a power of a life's exposure, read six times.

    Rates (wear by an age of 60 kh) are drawn apart from lengths of record. ``share`` of the fleet is curved,
    the rest wears straight. ``slow_are_old``: what has worn by the last reading is drawn instead, so that
    rate and length go together.
    """

    n: int
    exponent: float
    share: float = 1.0
    readings: int = 6
    known_start: bool = True
    slow_are_old: bool = False
    classes: int = 1  # of equal size; the curved bearings fill the first of them
    sd: float = SD  # of a reading, um


def curved(c: Curve, seed: int) -> Fleet:
    """One fleet of a curve."""
    rng = np.random.default_rng(seed)
    rows, true = [], []
    affected = np.arange(c.n) < round(c.share * c.n)
    for i, is_curved in enumerate(affected):
        q = c.exponent if is_curved else 1.0
        new, span = NEW * (1 + 0.1 * rng.normal()), rng.uniform(40.0, 80.0)
        gain = 55.0 * np.exp(0.4 * rng.normal()) * (1.0 if c.slow_are_old else (span / 60.0) ** q)
        at = span * np.sort(
            np.append((np.arange(1, c.readings) + 0.3 * rng.uniform(-1, 1, c.readings - 1)) / c.readings, 1.0)
        )
        events: list[dict[str, Any]] = [{"kind": Kind.NEW_LIFE, "exposure_kh": 0.0}] if c.known_start else []
        events += [_read(float(u), new + gain * (u / span) ** q + c.sd * rng.normal()) for u in at]
        facts = {"fitting_um": NEW, "limit_um": LIMIT, "now_kh": span, "fresh": c.known_start}
        rows.append(({**facts, "class_": i * c.classes // c.n}, events))
        true.append(max(span * max((LIMIT - new) / gain, 1e-9) ** (1 / q) - span, 0.0))
    return Fleet(build(rows, [Method("lead wire", c.sd)]), np.minimum(true, CAP_KH), affected)


def _read(u: float, value: float) -> dict[str, Any]:
    return {"kind": Kind.READING, "exposure_kh": u, "value_um": value, "method": "lead wire"}


def outlying(world: World, seed: int) -> Fleet:
    """A world whose first bearing wears several times faster than its peers; the first seed from ``seed`` on
    at which it has two readings in its present life, so that its own record could tell.
    """
    for k in range(1000):
        fleet = make(world, 1000 * seed + k)
        h = fleet.histories
        kinds = h.kind[: h.start[1]]
        lives = np.flatnonzero(kinds == Kind.NEW_LIFE)
        if np.sum(kinds[lives[-1] :] == Kind.READING) >= 2 and fleet.true_kh[0] > 5.0:
            return Fleet(h, fleet.true_kh, np.arange(world.n) == 0)
    raise ValueError("no fleet whose outlier is still in service with two readings")


def whole(world: World, seed: int) -> Fleet:
    """A world of ``worlds``, all bearings concerned."""
    fleet = make(world, seed)
    return Fleet(fleet.histories, fleet.true_kh, np.ones(world.n, dtype=bool), fleet.slips)


def many_lives(world: World, seed: int) -> Fleet:
    """A world of ``worlds``, the bearings concerned those in their third life or a later one."""
    fleet = make(world, seed)
    h = fleet.histories
    lives = np.bincount(h.owner[h.kind == Kind.NEW_LIFE], minlength=world.n)
    return Fleet(h, fleet.true_kh, lives >= 3)


def begun_late(world: World, seed: int) -> Fleet:
    """A world of ``worlds`` whose record begins when its first lives are under way: new metal and the first
    visit of each first life are lost where a second visit follows.
    """
    fleet = make(world, seed)
    h = fleet.histories
    lost = np.zeros(len(h.kind), dtype=bool)
    for first, end in zip(h.start[:-1], h.start[1:], strict=True):
        own = np.arange(first, end)
        read = own[(h.kind[own] == Kind.READING) & (h.exposure_kh[own] > h.exposure_kh[first])]
        later = read[h.exposure_kh[read] > h.exposure_kh[read[0]]] if len(read) else read
        if len(later):
            lost[own[h.exposure_kh[own] < h.exposure_kh[later[0]]]] = True
    begun = np.where(np.bincount(h.owner[lost], minlength=world.n) > 0, False, h.fresh)
    kept = replace(h.keep_events(~lost), fresh=begun)
    return Fleet(kept, fleet.true_kh, np.ones(world.n, dtype=bool))


def apart(world: World, seed: int) -> Fleet:
    """A world of ``worlds``, the bearings concerned those it reports apart."""
    fleet = make(world, seed)
    return Fleet(fleet.histories, fleet.true_kh, fleet.odd, read_twice=fleet.odd & (fleet.read_since >= 2))


GAUGES, YEAR_KH, OTHERS = (
    5,
    8.766,
    0.2,
)  # gauges of a fleet; run hours of a year; visits with another site's gauge


def gauged(seed: int, years: float, off_um: float = 0.0, spread_um: float = 0.0) -> Fleet:
    """The plain world, each fifth of it measured by a gauge of its own, one visit in five by another's.

    Checked every ``years``, counted back from the end: the first gauge reads ``off_um`` too much since its
    last check, and each gauge in each period N(0, spread_um). The bearings concerned are the first gauge's.
    """
    fleet = make(World(n=400), seed)
    h, rng = fleet.histories, np.random.default_rng(seed + 10_000)
    owner = h.owner
    visit = np.cumsum((np.diff(h.exposure_kh, prepend=-1.0) != 0) | (np.diff(owner, prepend=-1) != 0))
    other = rng.integers(0, GAUGES, int(visit.max()) + 1)
    elsewhere = rng.random(len(other)) < OTHERS
    gauge = np.where(elsewhere[visit], other[visit], owner % GAUGES)
    period = ((h.now_kh[owner] - h.exposure_kh) / (years * YEAR_KH)).astype(int)
    n_periods = int(period.max()) + 1
    bias = spread_um * rng.normal(size=(GAUGES, n_periods))
    bias[0, 0] += off_um
    names = [f"gauge {g}, period {k}" for g in range(GAUGES) for k in range(n_periods)]
    number = np.where(h.kind == Kind.READING, gauge * n_periods + period, -1).astype(np.int32)
    moved = replace(
        h,
        value_um=h.value_um + np.where(h.kind == Kind.READING, bias[gauge, period], 0.0),
        gauge=number,
        gauges=tuple(GaugePeriod(name) for name in names),
    )
    return Fleet(moved, fleet.true_kh, np.arange(400) % GAUGES == 0)


def nameless(fleet: Fleet) -> Fleet:
    """The same readings where nobody wrote down which gauge was used."""
    return replace(fleet, histories=replace(fleet.histories, gauge=np.full_like(fleet.histories.gauge, -1)))


Maker = Callable[[int], Fleet]
ALIKE = World("alike", n=60, median=1.0, sd=0.15)
UNWRITTEN = World(n=400, unwritten=0.15)
PAPERS_LOST = replace(UNWRITTEN, as_left_lost=0.5)
CASES: dict[str, tuple[int, Maker]] = {
    "straight": (6, lambda seed: curved(Curve(200, 1.0), seed)),
    "x^2": (6, lambda seed: curved(Curve(200, 2.0), seed)),
    "x^1.5": (6, lambda seed: curved(Curve(200, 1.5), seed)),
    "x^0.5": (6, lambda seed: curved(Curve(200, 0.5), seed)),
    "straight, start not known": (6, lambda seed: curved(Curve(200, 1.0, known_start=False), seed)),
    "x^2, start not known": (6, lambda seed: curved(Curve(200, 2.0, known_start=False), seed)),
    "x^1.5, start not known": (6, lambda seed: curved(Curve(200, 1.5, known_start=False), seed)),
    "x^0.5, start not known": (6, lambda seed: curved(Curve(200, 0.5, known_start=False), seed)),
    "plain, begun late": (2, lambda seed: begun_late(World(n=400), seed)),
    "a tenth x^2": (3, lambda seed: curved(Curve(300, 2.0, 0.1), seed)),
    "a tenth x^1.5": (3, lambda seed: curved(Curve(300, 1.5, 0.1), seed)),
    "straight, read to 2 um": (6, lambda seed: curved(Curve(200, 1.0, sd=2.0), seed)),
    "x^2, read to 2 um": (6, lambda seed: curved(Curve(200, 2.0, sd=2.0), seed)),
    "x^1.5, read to 2 um": (6, lambda seed: curved(Curve(200, 1.5, sd=2.0), seed)),
    "x^0.5, read to 2 um": (6, lambda seed: curved(Curve(200, 0.5, sd=2.0), seed)),
    "a tenth x^2, read to 2 um": (6, lambda seed: curved(Curve(200, 2.0, 0.1, sd=2.0), seed)),
    "a tenth x^1.5, read to 2 um": (6, lambda seed: curved(Curve(200, 1.5, 0.1, sd=2.0), seed)),
    "a tenth x^0.5, read to 2 um": (6, lambda seed: curved(Curve(200, 0.5, 0.1, sd=2.0), seed)),
    "four classes, straight": (6, lambda seed: curved(Curve(240, 1.0, classes=4), seed)),
    "eight classes, straight": (6, lambda seed: curved(Curve(240, 1.0, classes=8), seed)),
    "four classes, one x^2": (6, lambda seed: curved(Curve(240, 2.0, 0.25, classes=4), seed)),
    "four classes, one x^1.5": (6, lambda seed: curved(Curve(240, 1.5, 0.25, classes=4), seed)),
    "four classes, one x^0.5": (6, lambda seed: curved(Curve(240, 0.5, 0.25, classes=4), seed)),
    "one x4 in 60": (40, lambda seed: outlying(replace(ALIKE, outlier=4.0), seed)),
    "one x6 in 200": (8, lambda seed: outlying(replace(ALIKE, n=200, outlier=6.0), seed)),
    "one x5 in 330": (8, lambda seed: outlying(replace(ALIKE, n=330, sd=0.3, outlier=5.0), seed)),
    "shells unwritten": (6, lambda seed: apart(UNWRITTEN, seed)),
    "those shells written": (6, lambda seed: apart(replace(UNWRITTEN, written_after_all=True), seed)),
    "shells unwritten, as left lost": (6, lambda seed: apart(PAPERS_LOST, seed)),
    "those written, as left lost": (
        6,
        lambda seed: apart(replace(PAPERS_LOST, written_after_all=True), seed),
    ),
    "slips by 25.4": (2, lambda seed: whole(World(n=400, slip=0.05, slips=(25.4, 1 / 25.4)), seed)),
    "slips by half": (3, lambda seed: whole(World(n=400, slip=0.05, slips=(0.5,)), seed)),
    "gauge -15 um, 3 years": (2, lambda seed: gauged(seed, 3.0, -15.0)),
    "gauge -15 um, 8 years": (2, lambda seed: gauged(seed, 8.0, -15.0)),
    "gauges N(0, 10)": (2, lambda seed: gauged(seed, 4.0, spread_um=10.0)),
    "no gauge biased": (2, lambda seed: gauged(seed, 3.0)),
    "third lives": (3, lambda seed: many_lives(World(n=400, visits=(8, 16)), seed)),
    "rate kept, 400": (1, lambda seed: whole(World(n=400, rho_a=1.0, visits=(8, 8)), seed)),
    "rate kept, 1000": (1, lambda seed: whole(World(n=1000, rho_a=1.0, visits=(8, 8)), seed)),
}


def measured(fleet: Fleet) -> tuple[dict[str, np.ndarray], str]:
    """What is scored of one fleet, and what its fit says of itself."""
    population = fit_fleet(fleet.histories)
    result = forecast(fleet.histories, population)
    pool, p = population.main, population.main.designs[0]
    keep = (result.p_max_now < 0.05) & (fleet.true_kh > 0)
    read, aside = true_readings(fleet.histories, population, fleet.slips)
    rows = {
        "read twice": np.zeros(len(keep), dtype=bool) if fleet.read_twice is None else fleet.read_twice,
        "dates": dates_kh(result),
        "true": fleet.true_kh,
        "affected": fleet.affected,
        "leave": result.advice == LEAVE,
        "said": result.p_max_before_following,
        "passes": fleet.true_kh < fleet.histories.outage_days[:, 1] * 0.024,
        "misfit": result.outcome == MISFIT,
        "alone": result.outcome == ALONE,
        "scored": keep,
        "read": read,
        "aside": aside,
    }
    words = [
        f"rho {p.rho:.4f}",
        f"tau {p.tau:.3f}",
        f"exponent {p.exponent:.3f}",
        f"outlying {p.outlying:.3f}",
        *[f"{name} {b:.1f} +- {p.gauge_bias_sd[name]:.1f}" for name, b in p.gauge_bias.items() if abs(b) > 5],
    ]
    return rows, ("rests, " if pool.converged else "NOT AT REST, ") + ", ".join(words)


def line(name: str, rows: dict[str, np.ndarray]) -> str:
    """One line of the table; HEAD names its columns."""
    aside = 100 * rows["aside"].sum() / max(rows["read"].sum(), 1.0)
    rows = {key: value[rows["scored"]] for key, value in rows.items()}
    figures = " ".join(f"{x:3.0f}" for x in shares(rows["dates"], rows["true"]))
    return (
        f"| {name:26} | {figures} | {pinball(rows['dates'], rows['true']):6.2f} |"
        f" {told(rows['leave'], rows['passes'], rows['said']):22} | {100 * rows['misfit'].mean():5.1f} |"
        f" {aside:5.2f} | {100 * rows['alone'].mean():5.1f} | {len(rows['true']):5d} |"
    )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default=";".join(CASES))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--repeats", type=int, default=0, help="fewer fleets than the case has")
    parser.add_argument("--nameless", action="store_true", help="as if no reading named its gauge")
    args = parser.parse_args()
    print(HEAD)
    for name in args.only.split(";"):
        began = time.perf_counter()
        repeats, maker = CASES[name]
        parts, words = zip(
            *[
                measured(nameless(fleet) if args.nameless else fleet)
                for fleet in (maker(args.first + k) for k in range(min(args.repeats or repeats, repeats)))
            ],
            strict=True,
        )
        rows = {key: np.concatenate([p[key] for p in parts]) for key in parts[0]}
        parts_of = (
            ("", rows["affected"]),
            (": read twice since", rows["read twice"]),
            (": the others", ~rows["affected"]),
        )
        for which, mask in parts_of:
            if mask.any():
                print(line(name + which, {k: v[mask] for k, v in rows.items()}), flush=True)
        print(f"    {words[0]}; {time.perf_counter() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
