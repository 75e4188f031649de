"""A fleet's decade under the plan and under two rules: `nice python -m tests.bench.plan_decade`.

Every bearing is read in every second outage whatever the strategy, a reading beyond the maximum is always
acted on, and all strategies see the same lives and the same reading errors.
"""

from __future__ import annotations

import argparse
import datetime as dt
import time
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dashboards.outage_plan.bearing_jobs.inputs import (
    OPEN,
    REPLACE,
    Bearing,
    Hours,
    Inputs,
    Job,
    Outage,
    Pump,
    Settings,
)
from dashboards.outage_plan.bearing_jobs.opening import Outlook, with_openings
from dashboards.outage_plan.bearing_jobs.programme import solve
from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import chance_by, forecast
from inspections.wear.population import Population

LIMIT, NEW, SD = 260.0, 130.0, 10.0
BETWEEN_KH = 13.15  # 18 months on duty all day
BETWEEN_DAYS = 548
N_BEFORE, N_DECADE = 5, 7
LIVES = 12
HOURS = Hours(8, 4, 6, 16)
GRID = np.concatenate([np.arange(0, 2193, 137.0), np.array([2740.0, 3836.0, 5480.0, 8220.0, 14600.0])])
AS_OF = dt.date(2026, 1, 5)
LIFE_DAYS = 2400.0  # usual life of a new shell in this fleet
ACCEPTED = (0.02, 0.05, 0.10, 0.20, 0.35)


@dataclass(frozen=True)
class Truth:
    """What happens to n bearings whatever is done: rates and first clearances of their lives, errors."""

    rate: np.ndarray  # (n, LIVES)
    first: np.ndarray  # (n, LIVES)
    error: np.ndarray  # (n, outages, 3)

    @classmethod
    def drawn(cls, n: int, number: int) -> Truth:
        """A fleet as in the plain world: median 2.2 um/kh, two lives of a position alike to 0.49."""
        rng = np.random.default_rng([77, number])
        a = rng.normal(size=(n, 1))
        z = 0.7 * a + np.sqrt(1 - 0.49) * rng.normal(size=(n, LIVES))
        first = NEW * (1 + 0.1 * rng.normal(size=(n, LIVES)))
        return cls(2.2 * np.exp(0.6 * z), first, SD * rng.normal(size=(n, N_BEFORE + N_DECADE, 3)))


@dataclass
class Site:
    """A fleet while it runs: the truth now, what has been seen, and the count."""

    truth: Truth
    life: np.ndarray = field(init=False)
    age: np.ndarray = field(init=False)
    passed: np.ndarray = field(init=False)
    last: np.ndarray = field(init=False)  # last reading of this life
    events: list[list[dict[str, Any]]] = field(init=False)
    now_kh: float = 0.0
    k: int = 0
    counting: bool = False
    n_passed: int = 0
    n_shells: int = 0
    hours: float = 0.0
    life_used: list[float] = field(default_factory=list)

    def __post_init__(self) -> None:
        n = len(self.truth.rate)
        self.life, self.passed = np.zeros(n, int), np.zeros(n, bool)
        self.age = np.linspace(0, 30, n)[np.random.default_rng(5).permutation(n)]
        self.last = np.full(n, np.nan)
        self.events = [[{"kind": Kind.NEW_LIFE, "exposure_kh": -a}] for a in self.age]

    @property
    def clearance(self) -> np.ndarray:
        """(n,) um, now."""
        rows = np.arange(len(self.life))
        return self.truth.first[rows, self.life] + self.truth.rate[rows, self.life] * self.age

    def run(self) -> None:
        """To the next outage."""
        self.age += BETWEEN_KH
        self.now_kh += BETWEEN_KH
        over = (self.clearance >= LIMIT) & ~self.passed
        self.n_passed += int(over.sum()) * self.counting
        self.passed |= over

    def read(self, which: np.ndarray, error: int) -> None:
        """Open and measure."""
        value = self.clearance + self.truth.error[:, self.k, error]
        for i in which:
            self.last[i] = value[i]
            self.events[i].append(_reading(self.now_kh, value[i]))
        self.hours += (HOURS.measure_h + HOURS.open_h / 2) * len(which) * self.counting

    def renew(self, which: np.ndarray) -> None:
        """Fit new shells and measure them as left."""
        for i in which:
            r = self.truth.rate[i, self.life[i]]
            usual = (LIMIT - self.truth.first[i, self.life[i]]) / r
            if self.counting:
                self.life_used.append(min(self.age[i] / usual, 1.0))
            self.life[i] += 1
            self.age[i], self.passed[i] = 0.0, False
            self.last[i] = self.clearance[i] + self.truth.error[i, self.k, 2]
            self.events[i].append({"kind": Kind.NEW_LIFE, "exposure_kh": self.now_kh})
            self.events[i].append(_reading(self.now_kh, self.last[i]))
        self.n_shells += len(which) * self.counting
        self.hours += (HOURS.replace_h + HOURS.open_h / 2) * len(which) * self.counting


def _reading(kh: float, value: float) -> dict[str, Any]:
    return {"kind": Kind.READING, "exposure_kh": kh, "value_um": float(value), "method": "lead wire"}


Strategy = Callable[[Site], np.ndarray]


def at_age(kh: float) -> Strategy:
    """Replace at a fixed age."""
    return lambda site: site.age >= kh


def at_share(share: float) -> Strategy:
    """Replace when the last reading exceeds a share of the limit."""
    return lambda site: np.nan_to_num(site.last) > share * LIMIT


class Planned:
    """Forecast, plan, read what the plan opens, forecast and plan again, replace what stands in this outage."""

    def __init__(self, accepted: float) -> None:
        self.accepted = accepted
        self.population: Population | None = None
        self.n_opened = 0

    def __call__(self, site: Site) -> np.ndarray:
        """(n,) which bearings get a new shell."""
        histories = _histories(site)
        self.population = fit_fleet(histories)
        inputs = self._inputs(site, histories, openings=True)
        first = inputs.outages[0].name
        opened = [j.bearing for j in solve(inputs).jobs if j.action == OPEN and j.outage == first]
        if opened:
            site.read(np.array([inputs.bearing_at[b] for b in opened]), 1)
            self.n_opened += len(opened)
            inputs = self._inputs(site, _histories(site), openings=False)
        jobs = solve(replace(inputs, refused=tuple(Job(b.name, OPEN, first) for b in inputs.bearings))).jobs
        out = np.zeros(len(site.age), bool)
        out[[inputs.bearing_at[j.bearing] for j in jobs if j.action == REPLACE and j.outage == first]] = True
        return out

    def _inputs(self, site: Site, histories: Histories, openings: bool) -> Inputs:
        n = histories.n_bearings
        days = np.tile(GRID, (n, 1))
        left = chance_by(histories, self.population, days)[0]
        fresh = chance_by(_histories(site, renewed=True), self.population, days)[0]
        # The money at which the accepted risk is what an outage's worth of shell life is worth.
        consequence = BETWEEN_DAYS / LIFE_DAYS / self.accepted
        bearings = tuple(
            Bearing(
                f"B{i:03d}",
                f"P{i // 2:03d}",
                consequence,
                left[i],
                fresh[i],
                HOURS,
                shell_cost=1.0,
                life_days=LIFE_DAYS,
            )
            for i in range(n)
        )
        starts = [AS_OF + dt.timedelta(days=BETWEEN_DAYS * t) for t in range(4)]
        outages = tuple(Outage(f"O{t}", d, d + dt.timedelta(days=14), 12.0 * n) for t, d in enumerate(starts))
        settings = Settings(accepted_risk=self.accepted, hour_cost=1e-3)
        pumps = tuple(Pump(f"P{p:03d}") for p in range((n + 1) // 2))
        inputs = Inputs(AS_OF, GRID, bearings, outages, pumps, settings=settings)
        return self._with_openings(inputs, histories) if openings else inputs

    def _with_openings(self, inputs: Inputs, histories: Histories) -> Inputs:
        made = forecast(histories, self.population)
        n = histories.n_bearings
        look = Outlook(
            made.clearance_um, made.rate_um_per_kh, np.full(n, 24.0), np.full(n, LIMIT), np.full(n, SD)
        )
        return with_openings(inputs, look)


def _histories(site: Site, renewed: bool = False) -> Histories:
    rows = []
    for events in site.events:
        more = [{"kind": Kind.NEW_LIFE, "exposure_kh": site.now_kh}] if renewed else []
        rows.append(({"fitting_um": NEW, "limit_um": LIMIT, "now_kh": site.now_kh}, [*events, *more]))
    return build(rows, [Method("lead wire", SD)])


@dataclass(frozen=True)
class Count:
    """What a decade came to, per 100 bearings."""

    passed: float
    shells: float
    hours: float
    life_used: float


def live(truth: Truth, strategy: Strategy) -> Count:
    """Seven and a half years of careful keeping, then the decade under the strategy."""
    site = Site(truth)
    n = len(site.age)
    for k in range(N_BEFORE + N_DECADE):
        site.k, site.counting = k, k >= N_BEFORE
        site.run()
        site.read(np.flatnonzero((np.arange(n) // 2 + k) % 2 == 0), 0)
        chosen = strategy(site) if site.counting else np.nan_to_num(site.last) > 0.8 * LIMIT
        site.renew(np.flatnonzero(chosen | (np.nan_to_num(site.last) > LIMIT)))
    per = 100.0 / n
    used = float(np.mean(site.life_used)) if site.life_used else np.nan
    return Count(site.n_passed * per, site.n_shells * per, site.hours * per, used)


def mean(counts: list[Count]) -> Count:
    """The mean over several fleets."""
    rows = np.array([[c.passed, c.shells, c.hours, c.life_used] for c in counts])
    return Count(*np.nanmean(rows, axis=0).tolist())


def tuned(n: int, make: Callable[[float], Strategy], grid: np.ndarray, fleets: range) -> list[float]:
    """Five settings over the range worth having: on fleets of their own, those no other setting beats."""
    found = [(x, mean([live(Truth.drawn(n, k), make(x)) for k in fleets])) for x in grid]
    good = [
        (x, c)
        for x, c in found
        if not any(o.passed < c.passed - 1e-9 and o.shells < c.shells - 1e-9 for _, o in found)
    ]
    good.sort(key=lambda pair: pair[1].shells)
    picks = np.unique(np.linspace(0, len(good) - 1, 5).round().astype(int))
    return [good[k][0] for k in picks]


def rule_curve(rows: list[Count], shells: float) -> float:
    """Passings of a rule at a number of shells, on the line between its settings."""
    rows = sorted(rows, key=lambda c: c.shells)
    return float(np.interp(shells, [c.shells for c in rows], [c.passed for c in rows]))


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--n", type=int, default=60)
    parser.add_argument("--fleets", type=int, default=4)
    parser.add_argument("--accepted", default=",".join(map(str, ACCEPTED)))
    args = parser.parse_args()
    rules = {
        "fixed age, kh": (at_age, np.arange(13, 140, 6.5)),
        "last reading, share of limit": (at_share, np.arange(0.55, 1.0, 0.02)),
    }
    print("| strategy | setting | passings | new shells | crew hours | life used |  (per 100 bearings)")
    curves = []
    for name, (make, grid) in rules.items():
        settings = tuned(args.n, make, grid, range(1000, 1030))
        rows = []
        for x in settings:
            rows.append(mean([live(Truth.drawn(args.n, k), make(x)) for k in range(args.fleets)]))
            _line(name, f"{x:.2f}", rows[-1])
        curves.append(rows)
    for a in map(float, args.accepted.split(",")):
        began, plans = time.perf_counter(), [Planned(a) for _ in range(args.fleets)]
        ours = mean([live(Truth.drawn(args.n, k), p) for k, p in enumerate(plans)])
        better = min(rule_curve(rows, ours.shells) for rows in curves)
        share = ours.passed / better if better else np.nan
        took = time.perf_counter() - began
        opened = sum(p.n_opened for p in plans)
        _line(
            "the plan",
            f"{a:.2f}",
            ours,
            f" better rule at as many shells {better:.1f}: {share:.2f} of it; {opened} opened; {took:.0f} s",
        )


def _line(name: str, setting: str, c: Count, more: str = "") -> None:
    print(
        f"| {name} | {setting} | {c.passed:.1f} | {c.shells:.1f} | {c.hours:.0f} | {c.life_used:.2f} |{more}",
        flush=True,
    )


if __name__ == "__main__":
    main()
