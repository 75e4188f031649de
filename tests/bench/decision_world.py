"""A world for decisions: bearings two a pump that wear unevenly, looked at in outages, and a filter that
knows it.

The same shells, wear, readings and findings come to every rule: each is drawn by bearing, life and interval
beforehand.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import gammaincinv

from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.decision import Predictive, Terms, merged, terms
from inspections.wear.predictive import Components

MEDIAN, SPREAD, MEMORY, BETA = 2.2, 0.6, 0.5, 2.0
D, LIMIT, NEW_LOW, NEW_HIGH = 13.15, 260.0, 118.0, 142.0
NEW, NEW_SD = 130.0, 24.0 / np.sqrt(12.0)
GAUGE, LEAD, GAUGES = 6.0, 12.5, 0.6
CONTACT, SCRAPE, SCRAPE_SD, INFANT = 0.1, 12.0, 6.0, 0.002
OPEN_H, MEASURE_H, SCRAPE_H, REPLACE_H, SHELL_H = 8.0, 4.0, 6.0, 16.0, 40.0
HISTORY, OUTAGES, LIVES = 5, 6, 14
Z = np.log(MEDIAN) + SPREAD * np.linspace(-4.5, 4.5, 61)
OPENED_BEFORE, RENEWED_BEFORE = 0.5, 0.8  # of pumps at an outage of the history; of the limit


@dataclass(frozen=True)
class Chance:
    """All that happens by chance to n bearings: drawn once, the same for every rule."""

    start: FloatArray  # (n, LIVES) fitted clearance
    rate: FloatArray  # (n, LIVES)
    wear: FloatArray  # (n, T) uniform, one an interval
    error: FloatArray  # (n, T) normal: reading as found
    left: FloatArray  # (n, T) normal: reading as left
    contact: FloatArray  # (n, T) uniform
    scrape: FloatArray  # (n, T) normal
    infant: FloatArray  # (n, T) uniform
    opened: FloatArray  # (n // 2, T) uniform: whether a pump is opened in the history
    gauge: FloatArray  # (n,) sd of a reading


def drawn(
    n: int, seed: int, spread: float = SPREAD, memory: float = MEMORY, lead: float = 1.0 - GAUGES
) -> Chance:
    """The chances of one world of n bearings."""
    rng = np.random.default_rng(seed)
    t = HISTORY + OUTAGES
    z = np.empty((n, LIVES))
    z[:, 0] = rng.normal(size=n)
    for k in range(1, LIVES):
        z[:, k] = memory * z[:, k - 1] + np.sqrt(1.0 - memory**2) * rng.normal(size=n)
    gauge = np.where(np.repeat(rng.random(n // 2) < lead, 2), LEAD, GAUGE)
    return Chance(
        rng.uniform(NEW_LOW, NEW_HIGH, (n, LIVES)),
        MEDIAN * np.exp(spread * z),
        rng.random((n, t)),
        rng.normal(size=(n, t)),
        rng.normal(size=(n, t)),
        rng.random((n, t)),
        rng.normal(size=(n, t)),
        rng.random((n, t)),
        rng.random((n // 2, t)),
        gauge,
    )


@dataclass
class Beliefs:
    """A filter on 61 nodes of log rate for n bearings: log weights, level and variance (n, 61)."""

    gauge: FloatArray
    spread: float = SPREAD
    memory: float = MEMORY
    weight: FloatArray = field(init=False)
    level: FloatArray = field(init=False)
    variance: FloatArray = field(init=False)

    def __post_init__(self) -> None:
        """Every bearing begins a life of which nothing is known yet."""
        n = len(self.gauge)
        prior = -0.5 * ((Z - np.log(MEDIAN)) / self.spread) ** 2
        self.weight = np.tile(prior - np.log(np.exp(prior).sum()), (n, 1))
        self.level, self.variance = np.full((n, len(Z)), NEW), np.full((n, len(Z)), NEW_SD**2)

    def wear(self, x: float) -> None:
        """x kh pass."""
        gain = np.exp(Z) * x
        self.level += gain
        self.variance += BETA * gain

    def read(self, who: IntArray, y: FloatArray) -> None:
        """Readings y of the bearings ``who``."""
        s2 = self.gauge[who, None] ** 2
        total = self.variance[who] + s2
        off = y[:, None] - self.level[who]
        w = self.weight[who] - 0.5 * np.log(total) - 0.5 * off**2 / total
        top = w.max(axis=1, keepdims=True)
        self.weight[who] = w - top - np.log(np.exp(w - top).sum(axis=1, keepdims=True))
        self.level[who] += self.variance[who] / total * off
        self.variance[who] *= s2 / total

    def renew(self, who: IntArray) -> None:
        """New shells: the rate is half remembered."""
        u = (Z - np.log(MEDIAN)) / self.spread
        kernel = np.exp(-0.5 * (u[None, :] - self.memory * u[:, None]) ** 2 / (1.0 - self.memory**2))
        kernel /= kernel.sum(axis=1, keepdims=True)
        self.weight[who] = np.log(np.maximum(np.exp(self.weight[who]) @ kernel, 1e-300))
        self.level[who], self.variance[who] = NEW, NEW_SD**2

    def scrape(self, who: IntArray) -> None:
        """Scraped: the step and what it may be."""
        self.level[who] += SCRAPE
        self.variance[who] += SCRAPE_SD**2

    def predictive(self, nodes: int | None = 15) -> Predictive:
        """As the decision takes them; None: all 61 nodes."""
        n, k = self.weight.shape
        beta = np.full(n, BETA)
        if nodes is None:
            return Predictive(
                np.exp(self.weight), np.tile(Z, (n, 1)), self.level.copy(), self.variance.copy(), beta
            )
        begin = np.arange(n + 1) * k
        flat = (np.exp(self.weight).ravel(), np.tile(Z, n), self.level.ravel(), self.variance.ravel())
        return merged(Components(begin, *flat, beta), nodes)


def class_terms(gauge: FloatArray, risk: float, **more: float) -> Terms:
    """What a decision rests on in this world."""
    figures = {
        "limit_um": LIMIT,
        "new_um": NEW,
        "new_sd_um": NEW_SD,
        "interval_kh": D,
        "log_rate": np.log(MEDIAN),
        "spread": SPREAD,
        "memory": MEMORY,
        "unevenness_um": BETA,
        "scrape_um": SCRAPE,
        "scrape_sd_um": SCRAPE_SD,
        "contact_share": CONTACT,
        "open_h": OPEN_H,
        "bearings": 2.0,
        "measure_h": MEASURE_H,
        "scrape_h": SCRAPE_H,
        "replace_h": REPLACE_H,
        "shell_h": SHELL_H,
        "infant": INFANT,
        "accepted_risk": risk,
    }
    return terms(len(gauge), reading_sd_um=gauge, **{**figures, **more})


@dataclass
class Plant:
    """One world under one rule: truths, beliefs, plain readings, and the sums of the decade."""

    chance: Chance
    spread: float = SPREAD
    memory: float = MEMORY
    belief: Beliefs = field(init=False)
    sums: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """New shells everywhere, read as left, at the beginning of the history."""
        n = len(self.chance.gauge)
        self.belief = Beliefs(self.chance.gauge, self.spread, self.memory)
        self.rows = np.arange(n)
        self.life = np.zeros(n, dtype=np.int64)
        self.level = self.chance.start[:, 0].copy()
        self.start = self.level.copy()
        self.age = np.zeros(n)
        self.k = -1
        self.sums = dict.fromkeys(
            ("passings", "past", "shells", "openings", "hours", "used", "renewed", "scrapes"), 0.0
        )
        self.stated: list[FloatArray] = []
        self.kept: list[FloatArray] = []
        self.pending = np.full(n, np.nan)
        self.first = self.level + self.chance.gauge * self.chance.left[:, -1]
        self.belief.read(self.rows, self.first)
        self.last = self.first.copy()
        self.since = np.zeros(n // 2)
        self.counting = False

    def run(self) -> None:
        """One interval between two outages."""
        self.k += 1
        rate = self.chance.rate[self.rows, self.life]
        gain = BETA * gammaincinv(rate * D / BETA, self.chance.wear[:, self.k])
        before, after = self.level, self.level + gain
        share = np.clip((after - LIMIT) / np.maximum(gain, 1e-9), 0.0, 1.0)
        if self.counting:
            passed = (before < LIMIT) & (after >= LIMIT)
            self.sums["passings"] += passed.sum()
            self.sums["past"] += share.sum()
            closed = np.isfinite(self.pending)
            self.stated.append(self.pending[closed])
            self.kept.append(passed[closed])
        self.pending[:] = np.nan
        self.level = after
        self.age += 1.0
        self.since += 1.0
        self.belief.wear(D)

    def worn(self, who: IntArray) -> FloatArray:
        """Share of their lives used, at most 1, of the bearings ``who``."""
        return np.clip((self.level[who] - self.start[who]) / (LIMIT - self.start[who]), 0.0, 1.0)

    def read(self, who: IntArray) -> FloatArray:
        """Readings as found of the bearings ``who``, the filter told."""
        y = self.level[who] + self.chance.gauge[who] * self.chance.error[who, self.k]
        self.belief.read(who, y)
        self.last[who] = y
        return y

    def touch(self, who: IntArray) -> NDArray[np.bool_]:
        """(len(who),) whether each has a contact finding."""
        return self.chance.contact[who, self.k] < CONTACT

    def renew(self, who: IntArray) -> None:
        """New shells, read as left."""
        if self.counting:
            self.sums["used"] += self.worn(who).sum()
            self.sums["renewed"] += len(who)
            self.sums["shells"] += len(who)
            self.sums["hours"] += REPLACE_H * len(who)
        self.life[who] = np.minimum(self.life[who] + 1, LIVES - 1)
        self.level[who] = self.start[who] = self.chance.start[who, self.life[who]]
        self.age[who] = 0.0
        self.belief.renew(who)
        self._as_left(who)
        self.first[who] = self.last[who]

    def scrape(self, who: IntArray) -> None:
        """Scraped, read as left."""
        if self.counting:
            self.sums["hours"] += SCRAPE_H * len(who)
            self.sums["scrapes"] += len(who)
        self.level[who] += np.maximum(SCRAPE + SCRAPE_SD * self.chance.scrape[who, self.k], 0.0)
        self.belief.scrape(who)
        self._as_left(who)

    def _as_left(self, who: IntArray) -> None:
        y = self.level[who] + self.chance.gauge[who] * self.chance.left[who, self.k]
        self.belief.read(who, y)
        self.last[who] = y

    def open(self, pumps: NDArray[np.bool_], measured: bool = True) -> IntArray:
        """Bearings of the pumps opened; hours counted."""
        who = np.flatnonzero(np.repeat(pumps, 2))
        self.since[pumps] = 0.0
        if self.counting:
            self.sums["openings"] += pumps.sum()
            self.sums["hours"] += OPEN_H * pumps.sum() + (MEASURE_H * len(who) if measured else 0.0)
        spoiled = who[self.chance.infant[who, self.k] < INFANT]
        if measured and len(spoiled):
            self.renew(spoiled)
        return who

    def history(self) -> None:
        """Five intervals in which half the pumps are opened at each outage and shells go at 80 % of the
        limit.
        """
        for _ in range(HISTORY - 1):
            self.run()
            who = self.open(self.chance.opened[:, self.k] < OPENED_BEFORE)
            y = self.read(who)
            self.renew(who[y > RENEWED_BEFORE * LIMIT])
            rest = who[y <= RENEWED_BEFORE * LIMIT]
            self.scrape(rest[self.touch(rest)])
        self.run()
        self.counting = True
