"""Plants that are worse than any world of the engine's author: `python -m tests.bench.rough_fleets [--only
"NAME;NAME"]`.

Written from the plant's side: a pump house that runs half the year, gauges nobody trusts and shell changes
nobody wrote, all together; two bearings of a kind; years without a reading; three bearings in all; a meter
replaced and not told; all readings of one day; clearance that breeds wear; wipes; a record that falls.
Printed as `hard_fleets` prints: shares of true dates before the five dates, loss, "leave" real and said,
misfits.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.duty_drift import learned_drift
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.hazard import seen
from inspections.wear.population import CALENDAR

from .hard_fleets import HEAD, LEAVE, Fleet, Maker, gauged, line, measured
from .worlds import CAP_KH, LIMIT, World, make

YEAR_KH = 8.766
WIPES_A_YEAR = 0.03


@dataclass
class Shell:
    """A bearing as a fitter sees it, in um and kh; ``power``: wear goes with (clearance / new)^power;
    ``fast_above``: three times as fast above that clearance.
    """

    rng: np.random.Generator
    rate: float
    new: float
    power: float = 0.0
    fast_above: float = np.inf
    c: float = 0.0
    u: float = 0.0
    events: list[dict[str, Any]] = field(default_factory=list)

    def renew(self, *, written: bool = True) -> None:
        """New metal, told or not."""
        self.c = self.new * (1 + 0.08 * self.rng.normal())
        if written:
            self.events.append({"kind": Kind.NEW_LIFE, "exposure_kh": self.u})

    def run(self, kh: float) -> None:
        """Wear over some run hours, in small steps where it breeds itself."""
        steps = 20 if self.bred else 1
        for _ in range(steps):
            self.c += float(self.at(np.array(self.c))) * kh / steps
        self.u += kh

    @property
    def bred(self) -> bool:
        """Whether clearance makes it wear faster."""
        return self.power != 0.0 or bool(np.isfinite(self.fast_above))

    def at(self, c: np.ndarray) -> np.ndarray:
        """Rates at clearances, um/kh."""
        times = np.where(c > self.fast_above, 3.0, 1.0)
        return np.asarray(self.rate * (c / self.new) ** self.power * times)

    def read(self, sd: float = 10.0, off: float = 0.0, **more: Any) -> None:
        """A reading."""
        value = self.c + off + sd * self.rng.normal()
        self.events.append(
            {"kind": Kind.READING, "exposure_kh": self.u, "value_um": value, "method": "lead wire", **more}
        )

    def to_go(self, limit: float = LIMIT) -> float:
        """Kh to the maximum."""
        if self.c >= limit:
            return 0.0
        if not self.bred:
            return float(min((limit - self.c) / self.rate, CAP_KH))
        c = np.linspace(self.c, limit, 400)
        slow = 1.0 / self.at(c)
        return float(min(np.sum(0.5 * (slow[1:] + slow[:-1]) * np.diff(c)), CAP_KH))


def shell(rng: np.random.Generator, median: float = 2.2, spread: float = 0.5, power: float = 0.0) -> Shell:
    """A place with a rate of its own, its shell not yet in."""
    return Shell(rng, float(median * np.exp(spread * rng.normal())), 130.0, power)


def fleet(shells: list[Shell], affected: np.ndarray | None = None, **facts: Any) -> Fleet:
    """Histories and truths of some shells."""
    rows = [
        (
            {"fitting_um": 130.0, "limit_um": LIMIT, "now_kh": s.u, "class_": 0}
            | {key: value[k] if isinstance(value, list) else value for key, value in facts.items()},
            s.events,
        )
        for k, s in enumerate(shells)
    ]
    every = np.ones(len(shells), dtype=bool) if affected is None else affected
    return Fleet(build(rows, [Method("lead wire", 10.0)]), np.array([s.to_go() for s in shells]), every)


def lived(s: Shell, visits: int, every: float = 11.0, unwritten: float = 0.0) -> bool:
    """A life of visits, renewed when read over 230 um; whether a renewal went unwritten."""
    lost = False
    s.renew()
    for _ in range(visits):
        s.run(every * max(0.3, 1 + 0.3 * s.rng.normal()))
        s.read()
        if s.events[-1]["value_um"] > 230.0:
            hidden = bool(s.rng.random() < unwritten)
            lost |= hidden
            s.renew(written=not hidden)
            s.rate *= float(np.exp(0.3 * s.rng.normal()))
            s.read()
    return lost


def in_season(kh: np.ndarray, day_of_year: np.ndarray) -> np.ndarray:
    """(B,) kh ahead as kh of a full day by the calendar, of pumps that run the first half of each year alone,
    24 h a day; ``day_of_year`` (B,) of today.
    """
    half = 182.625
    run_today = np.minimum(day_of_year, half)
    years, rest = np.divmod(run_today + kh * 1000.0 / 24.0, half)
    days = years * 365.25 + rest - day_of_year
    return np.where(kh >= CAP_KH, CAP_KH, np.minimum(np.maximum(days, 0.0) * 0.024, CAP_KH))


def everything_at_once(seed: int) -> Fleet:
    """Gauges off by N(0, 8) um in each three years, every fourth shell change unwritten, and pumps of half a
    year: those concerned have an unwritten change or the first gauge.
    """
    world = gauged(seed, 3.0, -12.0, 8.0)
    rng = np.random.default_rng(seed + 50_000)
    h = world.histories
    h = replace(h, hours_per_day=np.full(h.n_bearings, 12.0), duty_sd=np.full(h.n_bearings, 0.05))
    changes = np.flatnonzero((h.kind == Kind.NEW_LIFE) & (h.exposure_kh > 0))
    dropped = changes[rng.random(len(changes)) < 0.25]
    gone = np.zeros(len(h.kind), dtype=bool)
    gone[dropped] = True
    hidden = np.bincount(h.owner[dropped], minlength=h.n_bearings) > 0
    true = in_season(world.true_kh, rng.uniform(0.0, 365.25, h.n_bearings))
    return Fleet(h.keep_events(~gone), true, world.affected | hidden)


def two_of_a_kind(seed: int) -> Fleet:
    """Sixty of one class, and two bearings of a class that wears three times as fast."""
    rng = np.random.default_rng(seed)
    shells = [shell(rng) for _ in range(60)] + [shell(rng, 6.6, 0.2) for _ in range(2)]
    for s in shells:
        lived(s, int(rng.integers(2, 8)), 11.0 if s.rate < 5 else 5.0)
    return fleet(shells, np.arange(62) >= 60, class_=[0] * 60 + [1] * 2)


def long_gaps(seed: int) -> Fleet:
    """Two readings soon after the fitting, then none for six to twelve years."""
    rng = np.random.default_rng(seed)
    shells = [shell(rng, 1.2) for _ in range(120)]
    for s in shells:
        s.renew()
        for _ in range(2):
            s.run(4.0 * max(0.3, 1 + 0.3 * rng.normal()))
            s.read()
        if s.rng.random() < 0.5:
            s.run(float(rng.uniform(50.0, 100.0)))
            s.read()
    quiet = np.array([float(rng.uniform(20.0, 60.0)) for _ in shells])
    for s, kh in zip(shells, quiet, strict=True):
        s.run(float(kh))
    return fleet(shells)


def three_bearings(seed: int) -> Fleet:
    """A plant of three, read three to six times."""
    rng = np.random.default_rng(seed)
    shells = [shell(rng) for _ in range(3)]
    for s in shells:
        lived(s, int(rng.integers(3, 7)))
    return fleet(shells)


def meter_replaced(seed: int) -> Fleet:
    """A fifth of the pumps got a meter that counts half the hours, half way, and nobody wrote it.

    The truth is in the new meter's hours, which is what the days ahead are counted with.
    """
    rng = np.random.default_rng(seed)
    shells = [shell(rng) for _ in range(100)]
    replaced = np.arange(100) < 20
    for s, odd in zip(shells, replaced, strict=True):
        lived(s, int(rng.integers(3, 8)))
        if odd:
            half = 0.5 * s.u
            for event in s.events:
                event["exposure_kh"] = min(event["exposure_kh"], half) + 0.5 * max(
                    event["exposure_kh"] - half, 0
                )
            s.u, s.rate = half + 0.5 * (s.u - half), 2.0 * s.rate
    return fleet(shells, replaced)


def one_day(seed: int) -> Fleet:
    """Every reading of each bearing taken on one day, of shells that have run a known time."""
    rng = np.random.default_rng(seed)
    shells = [shell(rng) for _ in range(100)]
    for s in shells:
        s.renew()
        s.run(float(rng.uniform(10.0, 40.0)))
        for _ in range(4):
            s.read()
    return fleet(shells)


def bred(power: float, fast_above: float = np.inf) -> Maker:
    """Wear that goes with a power of clearance over new, or grows above a clearance, the fleet alike."""

    def maker(seed: int) -> Fleet:
        rng = np.random.default_rng(seed)
        shells = [shell(rng, 1.5, power=power) for _ in range(200)]
        for s in shells:
            s.fast_above = fast_above
            lived(s, int(rng.integers(2, 9)))
        return fleet(shells)

    return maker


def falling(seed: int) -> Fleet:
    """All clearances read fall by 2 um a thousand hours: a fault of station or record."""
    rng = np.random.default_rng(seed)
    shells = [shell(rng) for _ in range(60)]
    for s in shells:
        s.rate = -2.0
        s.renew()
        for _ in range(5):
            s.run(10.0)
            s.read(5.0)
        s.rate = 1e-3
    return fleet(shells)


def no_meter(seed: int) -> Fleet:
    """Three hundred pumps of 24 h a day and one that runs 10 of 24 without a meter."""
    rng = np.random.default_rng(seed)
    shells = [shell(rng) for _ in range(301)]
    for s in shells:
        lived(s, int(rng.integers(3, 8)))
    odd = shells[0]
    for event in odd.events:
        event["exposure_kh"] *= 24.0 / 10.0
    odd.u, odd.rate = odd.u * 2.4, odd.rate / 2.4
    return fleet(shells, np.arange(301) == 0, clock=[CALENDAR] + [0] * 300)


def steady_duty(learned: bool) -> Maker:
    """Pumps at 24 h a day: the drift that their meters teach, or the constant before any meter speaks."""

    def maker(seed: int) -> Fleet:
        world = make(World(n=400), seed)
        days = np.arange(0.0, 8 * 365.25, 90.0)
        drift = learned_drift([(days, days * 24.0)] * 8)[1] if learned else 0.02
        h = world.histories
        told: Histories = replace(h, duty_drift=np.full(h.n_bearings, drift))
        return Fleet(told, world.true_kh, np.ones(400, dtype=bool))

    return maker


CASES: dict[str, tuple[int, Maker]] = {
    "everything at once": (2, everything_at_once),
    "two of a class": (12, two_of_a_kind),
    "gaps of years": (3, long_gaps),
    "three bearings": (30, three_bearings),
    "meter replaced, half the hours": (3, meter_replaced),
    "all read on one day": (3, one_day),
    "wear ~ clearance": (2, bred(1.0)),
    "wear ~ clearance squared": (2, bred(2.0)),
    "three times as fast above 200 um": (2, bred(0.0, 200.0)),
    "all readings fall": (1, falling),
    "one without a meter in 300": (12, no_meter),
    "24 h a day, drift 0.02": (2, steady_duty(False)),
    "24 h a day, drift learned": (2, steady_duty(True)),
}


def wipes(first: int, repeats: int) -> None:
    """ "Leave" that is past the maximum or wiped before the outage after next: real, said by wear, and said
    with the hazard of the count so far. Any wipe counts as past.
    """
    for seed in range(first, first + repeats):
        world, rng = make(World(n=400), seed), np.random.default_rng(seed + 1000)
        h = world.histories
        years = float(np.sum(h.now_kh)) / YEAR_KH
        hazard = seen(int(rng.poisson(WIPES_A_YEAR * years)), years)
        result = forecast(h, fit_fleet(h))
        ahead = h.outage_days[:, 1] / 365.25
        leave = result.advice == LEAVE
        real = (world.true_kh < ahead * YEAR_KH) | (rng.exponential(1 / WIPES_A_YEAR, 400) < ahead)
        wear = result.p_max_before_following
        told = hazard.with_wear(wear, ahead)
        figures = [f"{100 * x[leave].mean():.1f}" for x in (real, wear, told)]
        print(
            f"| wipes, seed {seed}: {hazard.n} in {years:.0f} bearing years | leave {int(leave.sum())} |"
            f" real {figures[0]} | said by wear {figures[1]} | with hazard {figures[2]} |",
            flush=True,
        )


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--only", default=";".join([*CASES, "wipes"]))
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--repeats", type=int, default=0, help="fewer fleets than the case has")
    args = parser.parse_args()
    print(HEAD)
    for name in args.only.split(";"):
        if name == "wipes":
            wipes(args.first, args.repeats or 3)
            continue
        began = time.process_time()
        repeats, maker = CASES[name]
        made = [measured(maker(args.first + k))[0] for k in range(min(args.repeats or repeats, repeats))]
        rows = {key: np.concatenate([part[key] for part in made]) for key in made[0]}
        for which, mask in (("", rows["affected"]), (": the others", ~rows["affected"])):
            if mask.any():
                print(line(name + which, {key: value[mask] for key, value in rows.items()}), flush=True)
        print(f"    {time.process_time() - began:.0f} s", flush=True)


if __name__ == "__main__":
    main()
