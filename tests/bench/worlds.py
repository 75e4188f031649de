"""Fleets whose truth is known: what happened, what was read, and when the maximum is really reached."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from scipy.special import ndtr
from scipy.stats import gamma

from inspections.wear.arrays import Histories, Kind, Method, build

LIMIT, NEW, SD = 260.0, 130.0, 10.0
CAP_KH = 350.0
STEP_UM, STEP_SHARE = 12.0, 0.5


@dataclass(frozen=True)
class World:
    """How a fleet lives; the defaults are the plain world."""

    name: str = "plain"
    n: int = 1500
    median: float = 2.2
    sd: float = 0.6
    rho_a: float = 0.7
    beta: float = 0.0
    visits: tuple[int, int] = (2, 9)
    round_to: float = 0.0
    slip: float = 0.0
    slips: tuple[float, ...] = (0.5, 2.0, 0.1)  # what a slip multiplies a reading by
    two_kinds: bool = False
    gamma_rates: bool = False
    class_size: int = 0
    class_sd: float = 0.0
    taper: float = 0.0
    duty_walk: float = 0.0
    duty_break: float = 0.0
    cause_removed: float = 0.0
    because_bad: bool = False
    why_known: bool = False
    poor_papers: bool = False
    unwritten: float = 0.0  # share of shell changes that nobody writes down; such bearings are reported apart
    written_after_all: bool = False  # the same fleet, those changes written
    as_left_lost: float = 0.0  # share of readings as left that are lost
    start_hours: float = 0.0  # run hours that a start wears like; pumps start 1 in 20 h, spread exp(1.2 N)
    outlier: float = 0.0  # how many times faster than its peers the first bearing wears; 0: none does
    run_in: float = 0.0  # um of new metal bedding in, exponential with this mean


WORLDS = {
    w.name: w
    for w in (
        World(),
        World("uneven wear", beta=4.0),
        World("two kinds", sd=0.25, two_kinds=True),
        World("gamma rates", gamma_rates=True, beta=2.0),
        World("rounded", round_to=12.7),
        World("slips", slip=0.02),
        World("few readings", visits=(2, 4)),
        World("small classes", class_size=8, class_sd=0.5, beta=2.0),
        World("fleets of 8", n=8, beta=2.0),
        World("wandering duty", duty_walk=0.15, duty_break=0.1),
        World("poor papers", poor_papers=True),
        World("two ends", taper=0.6),
        World("opened because bad", because_bad=True),
        World("cause removed", cause_removed=0.1),
        # Of our own, beside those of the design: the reason of each visit recorded, starts, running in.
        World("why recorded", because_bad=True, why_known=True),
        World("starts", start_hours=6.0),
        World("running in", run_in=10.0),
    )
}


@dataclass
class Life:
    """One bearing while it is simulated."""

    c: float
    u: float = 0.0
    day: float = 0.0
    taper: float = 0.0
    rate: float = 0.0
    bedding: float = 0.0  # um of running in still to come
    starts: float = 0.0  # an hour
    unwritten: bool = False  # whether one of its shell changes was not written down
    read_since: int = 0  # readings since the latest of them
    slips: list[float] = field(default_factory=list)  # values that no gauge showed
    events: list[dict[str, Any]] = field(default_factory=list)


@dataclass(frozen=True)
class Fleet:
    """Histories, the true kh (or days, as kh of full duty) to the maximum, and what the model knew not."""

    histories: Histories
    true_kh: np.ndarray
    rate: np.ndarray
    odd: np.ndarray  # bearings of the part reported apart
    read_since: np.ndarray  # readings since the latest shell change that nobody wrote down
    slips: np.ndarray  # values read that are slips of the pen, um


def _rate(w: World, rng: np.random.Generator, a: float, shift: float) -> float:
    z = w.rho_a * a + np.sqrt(1 - w.rho_a**2) * rng.normal()
    if w.gamma_rates:
        return float(gamma.ppf(ndtr(z), 2.5, scale=1.0))
    kind = 4.0 if w.two_kinds and a > 1 else 1.0
    return float(w.median * np.exp(w.sd * z + shift) * kind)


def _wear(w: World, rng: np.random.Generator, rate: float, du: float) -> float:
    mean = rate * du
    return float(rng.gamma(mean / w.beta, w.beta)) if w.beta > 0 and mean > 0 else mean


def _read(w: World, rng: np.random.Generator, life: Life, known: bool = True) -> float:
    value = life.c + SD * rng.normal()
    if w.slip and rng.random() < w.slip:
        value *= rng.choice(w.slips)
        life.slips.append(value)
    if w.round_to:
        value = round(value / w.round_to) * w.round_to
    row = {"kind": Kind.READING, "exposure_kh": life.u, "value_um": value, "method": "lead wire"}
    if w.taper:
        row["taper_um"] = abs(life.taper + SD * 0.7 * rng.normal())
    if known:
        life.events.append(row)
        life.read_since += 1
    return value


def _renew(w: World, rng: np.random.Generator, life: Life) -> None:
    life.bedding = w.run_in * rng.exponential() if w.run_in else 0.0
    life.c, life.taper = NEW * (1 + 0.1 * rng.normal()), 0.0
    if w.unwritten and life.u > 0 and rng.random() < w.unwritten:
        life.unwritten, life.read_since = True, 0
        if not w.written_after_all:
            return
    life.events.append({"kind": Kind.NEW_LIFE, "exposure_kh": life.u})


def _visit(w: World, rng: np.random.Generator, life: Life, a: float, shift: float) -> None:
    """As found; a new shell over 240 um, else perhaps a scrape; as left. Decided on the reading."""
    lost = w.poor_papers and rng.random() < 1 / 3
    lost = lost or bool(w.as_left_lost and rng.random() < w.as_left_lost)
    if _read(w, rng, life) > 240.0:
        _renew(w, rng, life)
        life.rate = _rate(w, rng, a, shift)
        _read(w, rng, life, not lost)
    elif rng.random() < 0.3:
        life.c += STEP_UM * max(0.1, 1 + STEP_SHARE * rng.normal())
        life.events.append({"kind": Kind.SCRAPE, "exposure_kh": life.u})
        _read(w, rng, life, not lost)


def _say_why(w: World, life: Life, because_bad: float) -> None:
    if w.because_bad and w.why_known:
        life.events.append({"kind": Kind.OPENED, "exposure_kh": life.u, "value_um": because_bad})


def _bearing(w: World, rng: np.random.Generator, shift: float) -> tuple[dict[str, Any], Life, float, bool]:
    a = rng.normal()
    life = Life(c=0.0)
    _renew(w, rng, life)
    if w.start_hours:
        life.starts = 0.05 * np.exp(1.2 * rng.normal())
    life.rate = _rate(w, rng, a, shift)
    uneven = w.taper * rng.random() if w.taper else 0.0
    n = int(rng.integers(w.visits[0], w.visits[1] + 1))
    removed = n // 2 if w.cause_removed and rng.random() < w.cause_removed else -1
    factor = 4.0 if removed >= 0 else 1.0
    log_duty, broken = 0.0, False
    for k in range(n):
        if k == removed:
            life.events.append({"kind": Kind.RATE_BREAK, "exposure_kh": life.u})
            factor = 1.0
        du = 11.0 * max(0.3, 1 + 0.3 * rng.normal())
        pieces = 4 if w.because_bad else 1
        for _ in range(pieces):
            gain = _wear(w, rng, life.rate * factor * (1 + w.start_hours * life.starts), du / pieces)
            bedded = life.bedding * (1 - np.exp(-du / pieces))
            gain, life.bedding = gain + bedded, life.bedding - bedded
            life.c, life.taper, life.u = life.c + gain, life.taper + uneven * gain, life.u + du / pieces
            early = 1 / (1 + np.exp((LIMIT - 40 - life.c) / 15.0))
            if pieces > 1 and rng.random() < 0.6 * early:
                _say_why(w, life, 1.0)
                _visit(w, rng, life, a, shift)
        _say_why(w, life, 0.0)
        _visit(w, rng, life, a, shift)
    facts: dict[str, Any] = {"fitting_um": NEW, "limit_um": LIMIT, "now_kh": life.u}
    if w.duty_walk:
        broken = bool(rng.random() < w.duty_break)
        facts |= {"hours_per_day": 12.0, "duty_drift": w.duty_walk**2, "duty_sd": 0.03}
        log_duty = 0.03 * rng.normal()
    growth = 1.0 + 0.5 * uneven
    level = life.c + 0.5 * life.taper
    ahead = life.rate * factor * growth * (1 + w.start_hours * life.starts)
    true = _future(w, rng, level + life.bedding, ahead, growth)
    if w.start_hours:
        facts["starts_per_hour"] = life.starts
        for event in life.events:
            event["starts_k"] = life.starts * event["exposure_kh"]
    if w.duty_walk:
        true = _in_days(w, rng, true, log_duty, broken)
    return facts, life, true, broken or removed >= 0 or life.unwritten


def _future(w: World, rng: np.random.Generator, level: float, rate: float, growth: float) -> float:
    """kh until the maximum, along a wear path drawn to its end."""
    if level >= LIMIT:
        return 0.0
    if w.beta <= 0:
        return min((LIMIT - level) / rate, CAP_KH)
    step = 0.25
    gain = np.cumsum(rng.gamma(rate * step / (w.beta * growth), w.beta * growth, int(CAP_KH / step)))
    over = int(np.searchsorted(gain, LIMIT - level))
    return min((over + 0.5) * step, CAP_KH)


def _in_days(w: World, rng: np.random.Generator, kh: float, log_duty: float, broken: bool) -> float:
    """The hours as days under a wandering duty of 12 h, given as kh of a full day so that one cap serves."""
    years = np.arange(0, 41, 1 / 24)
    walk = log_duty + np.cumsum(rng.normal(size=len(years)) * w.duty_walk * np.sqrt(1 / 24))
    if broken:
        walk[rng.integers(0, 240) :] += np.log(rng.uniform(0.3, 3.0))
    run = np.cumsum(12.0 * np.exp(walk) * 365.25 / 24 / 1000)
    at = np.searchsorted(run, kh)
    return min(float(at / 24 * 365.25 * 0.024), CAP_KH) if at < len(run) else CAP_KH


def make(w: World, seed: int) -> Fleet:
    """One fleet of a world."""
    rng = np.random.default_rng(seed)
    rows, true, rate, odd, since = [], [], [], [], []
    slips: list[float] = []
    shift = 0.0
    for i in range(w.n):
        if w.class_size and i % w.class_size == 0:
            shift = w.class_sd * rng.normal()
        own = shift + float(np.log(w.outlier)) if w.outlier and i == 0 else shift
        facts, life, kh, apart = _bearing(w, rng, own)
        facts["class_"] = i // w.class_size if w.class_size else 0
        if w.poor_papers:
            life.events = [_blurred(rng, e, life.u) for e in life.events]
            life.events.sort(key=lambda e: e["exposure_kh"])
        rows.append((facts, life.events))
        true.append(kh)
        rate.append(life.rate)
        odd.append(apart)
        since.append(life.read_since)
        slips += life.slips
    histories = build(rows, [Method("lead wire", SD)])
    told = (np.array(x) for x in (true, rate, odd, since, slips))
    return Fleet(histories, *told)


def _blurred(rng: np.random.Generator, event: dict[str, Any], end: float) -> dict[str, Any]:
    """Before two thirds of the record the hours are days times a duty guessed to 5 %, the
    day to the month.
    """
    u, cut = event["exposure_kh"], end / 3
    if u >= cut:
        return event
    month = 0.73 * 0.5
    off = float(np.clip((rng.random() - 0.5) * month, -u, cut - u))
    return {**event, "exposure_kh": u + off if u > 0 else 0.0}


def smaller(w: World, n: int) -> World:
    """The same world with fewer bearings."""
    return replace(w, n=n)
