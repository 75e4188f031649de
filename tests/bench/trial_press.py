"""A press for trials of the contact reader, apart from the reader's own library: scattered points, um,
people.

It shares no code with `inspections.contact.press` or its library: other shapes of crown, spot and pinch,
three waves, mottled metal, uneven film, people who tap by darkness, slips and dabs, wrong facts.
Prints its tables: `python -m tests.bench.trial_press [--n 2000] [--first 41]`.
"""

from __future__ import annotations

import argparse
import collections
import math
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy.optimize import minimize_scalar

from inspections.contact.check import Check
from inspections.contact.reader import read_print

POINTS = 6000
# kind: how many of a hundred, outcomes a careful fitter would allow on a first print and on a repeated one.
KINDS: dict[str, tuple[float, set[str], set[str]]] = {
    "good": (15, {"acceptable"}, {"acceptable"}),
    "large clearance known": (4, {"acceptable"}, {"acceptable"}),
    "small clearance known": (3, {"acceptable"}, {"acceptable"}),
    "run in": (8, {"acceptable"}, {"acceptable"}),
    "run in and tilted": (2, {"alignment"}, {"alignment"}),
    "run in and pinched": (2, {"seat", "measure"}, {"seat", "measure"}),
    "run in with a spot": (2, {"repeat", "measure"}, {"scrape", "repeat", "measure"}),
    "tilt": (8, {"alignment"}, {"alignment"}),
    "slight tilt": (3, {"alignment", "repeat"}, {"alignment", "repeat"}),
    "taper": (4, {"alignment", "measure"}, {"alignment", "measure"}),
    "skew": (2.5, {"alignment"}, {"alignment"}),
    "side": (3, {"alignment"}, {"alignment"}),
    "hollow bore": (2.5, {"measure"}, {"measure", "scrape"}),
    "hollow journal": (3, {"measure"}, {"measure"}),
    "proud bore": (3.5, {"measure"}, {"measure", "scrape"}),
    "barrel journal": (3.5, {"measure"}, {"measure"}),
    "one spot": (5, {"repeat", "measure"}, {"scrape", "repeat"}),
    "spot at one end": (3, {"repeat", "measure"}, {"scrape", "repeat"}),
    "spots": (5, {"repeat", "measure"}, {"scrape", "repeat"}),
    "dirt": (3, {"repeat", "measure"}, {"acceptable", "repeat"}),
    "pinched": (4, {"seat", "measure"}, {"seat", "measure"}),
    "unlike sides": (3, {"seat", "measure"}, {"seat", "measure"}),
    "pinched and wide": (3, {"seat", "measure"}, {"seat", "measure"}),
    "thick dye": (3, {"repeat", "measure"}, {"repeat", "measure"}),
    "tight": (4, {"measure", "seat"}, {"measure", "seat"}),
    "bore under size": (4, {"measure", "seat"}, {"measure", "seat"}),
    "large": (4, {"measure"}, {"measure"}),
    "uneven dye": (3, {"repeat"}, {"repeat"}),
    "nothing": (2.5, {"repeat"}, {"repeat"}),
}
PERMISSIVE = {"acceptable", "scrape"}
# Right whatever the cause: nothing printed, or thick dye where the shaft lies well.
ASKS = {"bare", "film_heavy"}
OUTCOMES = ("acceptable", "scrape", "alignment", "seat", "measure", "repeat")
GROUPS = {
    "pinch": ("pinched", "unlike sides", "pinched and wide", "run in and pinched"),
    "tightness": ("tight", "bore under size"),
    "looseness": ("large",),
}


@dataclass
class Trial:
    """One shaft in one shell, lengths in um, angles in radians."""

    kind: str
    radius: float = 75.0
    film: float = 10.0
    tilt: float = 0.0
    skew: float = 0.0
    at: float = 0.0
    friction: float = 0.1
    held: bool = False
    taper: float = 0.0
    crown: float = 0.0
    crown_power: float = 2.0
    spots: list[tuple[float, float, float, float, float]] = field(default_factory=list)
    pinch: float = 0.0
    pinch_power: float = 2.0
    pinch_unlike: float = 0.0
    relief: float = math.inf
    groove: tuple[float, float] | None = None
    worn: float = 0.0
    worn_at: float = 0.0
    worn_tilt: float = 0.0
    missing: float = 0.0
    dabbed: float = 0.0
    stated: float = 150.0
    waves: list[tuple[float, float, float, float]] = field(default_factory=list)
    check: Check = field(default_factory=Check)
    rows: int = 5
    columns: int = 7


def draw(kind: str, rng: np.random.Generator) -> Trial:
    """One trial of a kind with the facts somebody wrote down beside it."""
    t, stated = straight(kind, rng)
    facts = noted(t, rng)
    t.stated = stated
    sign = float(rng.choice([-1, 1]))
    for kinds, fault in FAULTS:
        if kind in kinds:
            fault(t, sign, rng)
    if kind in RUN_IN:
        facts |= {"state": "run_in", "gained_um": t.worn + float(rng.normal(0, 12)), "gained_sd_um": 12.0}
    if rng.random() < 0.5:
        facts["relief_deg"] = math.degrees(t.relief) if math.isfinite(t.relief) else 90.0
    sd = float(rng.uniform(6, 14))
    facts |= {"clearance_um": max(t.stated + float(rng.normal(0, sd)), 20.0), "clearance_sd_um": sd}
    facts["diameters_um"] = diameters(t, str(facts["first_end"]), rng)
    t.check = Check(**facts)
    return t


def straight(kind: str, rng: np.random.Generator) -> tuple[Trial, float]:
    """A shaft that lies straight but for small things, and the diametral clearance that is written down."""
    film, clearance = float(np.exp(rng.uniform(math.log(4), math.log(20)))), float(rng.uniform(90, 260))
    t = Trial(kind, radius=clearance / 2, film=film)
    t.rows, t.columns = (10, 14) if rng.random() < 0.35 else (5, 7)
    t.tilt, t.skew = film * float(rng.normal(0, 0.25)), t.radius * float(rng.normal(0, 0.05))
    t.at = t.radius * math.sin(math.radians(float(rng.normal(0, 5))))
    t.held, t.friction = bool(rng.random() < 0.4), float(rng.uniform(0.05, 0.2))
    t.crown, t.crown_power = film * float(rng.normal(0, 0.15)), float(rng.uniform(1.6, 3.5))
    for _ in range(3):
        turns, phase = rng.uniform(-2.5, 2.5, 2), rng.uniform(0, 2 * math.pi)
        t.waves.append((float(rng.uniform(0, 0.7)), float(turns[0]), float(turns[1]), float(phase)))
    if rng.random() < 0.15:
        start = 0.5 - 0.5 * float(rng.uniform(0.1, 0.2))
        t.groove = (start, 1.0 - start)
    if rng.random() < 0.3:
        t.relief = math.radians(float(rng.uniform(50, 78)))
    return t, clearance


def noted(t: Trial, rng: np.random.Generator) -> dict[str, Any]:
    """What was written down: the film's class wrong in a tenth, the groove in seven of ten."""
    film = "thin" if t.film < 7 else "normal" if t.film < 15 else "heavy"
    if rng.random() < 0.1:
        film = {"thin": "normal", "normal": str(rng.choice(["thin", "heavy"])), "heavy": "normal"}[film]
    facts: dict[str, Any] = {
        "half": "lower",
        "in_place": True,
        "seat": "cylindrical",
        "scrapeable": "yes",
        "film": film,
        "journal_mm": float(2 * t.radius / rng.uniform(0.9, 1.8)),
        "first_end": str(rng.choice(["in", "out"])),
        "state": str(rng.choice(["new", "scraped"])),
    }
    return facts | ({"groove": t.groove or ()} if rng.random() < 0.7 else {})


def another_clearance(t: Trial, sign: float, rng: np.random.Generator) -> None:
    t.stated = float(rng.uniform(180, 330) if t.kind.startswith("large") else rng.uniform(50, 90))
    t.radius = t.stated / 2


def worn(t: Trial, sign: float, rng: np.random.Generator) -> None:
    original = float(rng.uniform(90, 160))
    t.radius, t.worn = original / 2, float(np.exp(rng.uniform(math.log(15), math.log(130))))
    t.worn_at, t.worn_tilt = math.radians(float(rng.normal(0, 8))), t.worn * float(rng.normal(0, 0.15))
    t.tilt, t.skew = t.film * float(rng.normal(0, 0.15)), t.film * float(rng.normal(0, 0.2))
    t.stated, t.at = original + t.worn, (t.radius + t.worn) * math.sin(t.worn_at)


def tilted(t: Trial, sign: float, rng: np.random.Generator) -> None:
    low, high = (1.3, 2) if t.kind == "slight tilt" else (2, 8)
    t.tilt = sign * t.film * float(rng.uniform(low, high))


def tapered(t: Trial, sign: float, rng: np.random.Generator) -> None:
    t.taper = sign * t.film * float(rng.uniform(1.5, 5))


def skewed(t: Trial, sign: float, rng: np.random.Generator) -> None:
    t.skew = sign * 2 * t.radius * math.sin(math.radians(float(rng.uniform(22, 45))))


def aside(t: Trial, sign: float, rng: np.random.Generator) -> None:
    t.at, t.held = sign * t.radius * math.sin(math.radians(float(rng.uniform(28, 65)))), True


def crowned(t: Trial, sign: float, rng: np.random.Generator) -> None:
    t.crown = t.film * float(rng.uniform(1.4, 6)) * (1 if "hollow" in t.kind else -1)


def spotted(t: Trial, sign: float, rng: np.random.Generator) -> None:
    if t.kind == "spot at one end":
        t.spots = [spot(t.film, sign * float(rng.uniform(0.7, 0.95)), rng)]
        return
    n = 1 if t.kind != "spots" else int(rng.integers(2, 4))
    t.spots = [spot(t.film, float(rng.uniform(-0.8, 0.8)), rng) for _ in range(n)]


def pinched(t: Trial, sign: float, rng: np.random.Generator) -> None:
    if t.kind == "pinched and wide":
        t.radius *= float(rng.uniform(1.3, 2.0))
    t.pinch, t.pinch_power = t.radius * float(rng.uniform(0.7, 0.98)), float(rng.uniform(1.4, 3.2))
    t.pinch_unlike = float(rng.uniform(0.05, 0.3)) if t.kind == "unlike sides" else 0.03


def misjudged(t: Trial, sign: float, rng: np.random.Generator) -> None:
    if t.kind == "thick dye":
        t.film *= float(rng.uniform(2, 5))
    elif t.kind == "bore under size":
        t.radius, t.relief = (
            -t.radius * float(rng.uniform(0.05, 0.4)),
            math.radians(float(rng.uniform(50, 78))),
        )
    else:
        t.radius *= float(rng.uniform(0.1, 0.4) if t.kind == "tight" else rng.uniform(2.2, 5))


def patchy(t: Trial, sign: float, rng: np.random.Generator) -> None:
    t.missing, t.dabbed = float(rng.uniform(0.35, 0.65)), float(rng.uniform(0.1, 0.25))


RUN_IN = ("run in", "run in and tilted", "run in and pinched", "run in with a spot")
FAULTS: list[tuple[tuple[str, ...], Callable[[Trial, float, np.random.Generator], None]]] = [
    (("large clearance known", "small clearance known"), another_clearance),
    (RUN_IN, worn),
    (("tilt", "slight tilt", "run in and tilted"), tilted),
    (("taper",), tapered),
    (("skew",), skewed),
    (("side",), aside),
    (("hollow bore", "hollow journal", "proud bore", "barrel journal"), crowned),
    (("one spot", "spots", "dirt", "run in with a spot", "spot at one end"), spotted),
    (("pinched", "unlike sides", "pinched and wide", "run in and pinched"), pinched),
    (("thick dye", "tight", "bore under size", "large"), misjudged),
    (("uneven dye",), patchy),
]


def diameters(t: Trial, first_end: str, rng: np.random.Generator) -> tuple[tuple[float, float], ...] | None:
    """Six diameters as a micrometer reads them; in four of ten visits nobody took it."""
    if rng.random() < 0.4:
        return None
    taken = rng.normal(0, 0.7, (3, 2))
    if t.taper:
        taken += np.array([[-t.taper], [0.0], [t.taper]]) * (1 if first_end == "in" else -1)
    if t.kind in ("hollow journal", "barrel journal"):
        taken[1] -= 2 * t.crown
    return tuple((float(a), float(b)) for a, b in taken)


def spot(film: float, x: float, rng: np.random.Generator) -> tuple[float, float, float, float, float]:
    return (
        film * float(rng.uniform(1.6, 6)),
        x,
        math.radians(float(rng.uniform(-35, 35))),
        float(rng.uniform(0.15, 0.6)),
        math.radians(float(rng.uniform(12, 40))),
    )


def pressed(t: Trial, rng: np.random.Generator) -> np.ndarray:
    """(rows, columns) the print as tapped."""
    x, a = rng.uniform(-1, 1, POINTS), rng.uniform(-0.5 * math.pi, 0.5 * math.pi, POINTS)
    sine, cosine = np.sin(a), np.maximum(np.cos(a), 1e-4)
    f = np.full(POINTS, t.radius)
    if t.worn:
        deep = t.radius + t.worn
        f = np.maximum(f, deep * np.cos(a - t.worn_at) + 0.5 * t.worn_tilt * x * cosine)
    size = np.abs(x) ** t.crown_power
    f = f + (t.crown * (1 - size) if t.crown >= 0 else -t.crown * size) + 0.5 * t.taper * x * -1
    f -= t.pinch * np.abs(sine) ** t.pinch_power * (1 + t.pinch_unlike * np.sign(a))
    for height, x0, a0, wx, wa in t.spots:
        off = np.hypot((x - x0) / wx, (a - a0) / wa)
        f -= np.where(off < 1, height * 0.5 * (1 + np.cos(math.pi * np.minimum(off, 1))), 0)
    for height, kx, ka, phase in t.waves:
        f += height * np.sin(kx * x * 2 + ka * a + phase)
    f -= 0.5 * x * ((t.tilt + t.worn_tilt) * cosine + t.skew * sine)
    solid = ~((np.abs(a) > t.relief) & (np.abs(x) < 0.9))
    if t.groove:
        share = 0.5 * (x + 1)
        solid &= ~((share > t.groove[0]) & (share < t.groove[1]))
    touch = solid & (np.abs(a) < math.radians(89))
    fc, tan, c = f[touch], np.tan(a[touch]), cosine[touch]

    def fall(z: float) -> float:
        return float(np.min(fc / c - z * tan))

    z = t.at
    if not t.held:
        reach = 1.1 * abs(t.radius) + t.worn
        z = minimize_scalar(
            lambda v: -fall(v) + t.friction * abs(v - t.at), bounds=(-reach, reach), method="bounded"
        ).x
    gap = f - fall(z) * cosine - z * sine
    film = t.film * (1 + rng.uniform(-0.25, 0.25) * x) * (1 + rng.uniform(-0.15, 0.15) * sine)
    blue = (gap < film) & solid
    mottle = rng.uniform(0, 0.45) if rng.random() < 0.4 else 0.0
    if mottle:
        phase = rng.uniform(0, 6, 4)
        grain = np.sin(23 * x + phase[0]) * np.sin(31 * a + phase[1]) + np.sin(41 * x + phase[2] + 17 * a)
        blue &= grain > np.quantile(grain, mottle)
    if t.kind == "nothing":
        blue[:] = False
    return tapped(t, x, a, blue, np.clip(1 - gap / film, 0, 1), rng)


def tapped(
    t: Trial, x: np.ndarray, a: np.ndarray, blue: np.ndarray, dark: np.ndarray, rng: np.random.Generator
) -> np.ndarray:
    """What a person makes of it: own thresholds, darkness for a quarter of them, slips and dabs."""
    row = np.minimum((t.rows * (a / math.pi + 0.5)).astype(int), t.rows - 1)
    column = np.minimum((t.columns * 0.5 * (x + 1)).astype(int), t.columns - 1)
    cell = row * t.columns + column
    n = np.maximum(np.bincount(cell, minlength=t.rows * t.columns), 1)
    share = np.bincount(cell, blue, minlength=n.size) / n
    darkness = np.bincount(cell, blue * dark, minlength=n.size) / np.maximum(
        np.bincount(cell, blue, minlength=n.size), 1
    )
    share, darkness = share.reshape(t.rows, t.columns), darkness.reshape(t.rows, t.columns)
    if t.missing:
        blocks = rng.random((5, 7)) < t.missing
        dabs = rng.random((5, 7)) < t.dabbed
        r, c = np.arange(t.rows) * 5 // t.rows, np.arange(t.columns) * 7 // t.columns
        share = np.where(blocks[r][:, c], 0, share)
        share = np.where(dabs[r][:, c], rng.uniform(0.1, 0.8, share.shape), share)
    share = np.clip(share + rng.normal(0, 0.02, share.shape) * (share > 0), 0, 1)
    least, heavy = math.exp(rng.uniform(math.log(0.02), math.log(0.14))), rng.uniform(0.38, 0.62)
    marks = (share > least).astype(int)
    marks += (marks > 0) & ((darkness > 0.5) if rng.random() < 0.25 else (share > heavy))
    slip = rng.uniform(0, 0.05)
    for r, c in np.argwhere(rng.random(marks.shape) < slip):
        rr, cc = np.clip([r + rng.integers(-1, 2), c + rng.integers(-1, 2)], 0, [t.rows - 1, t.columns - 1])
        marks[r, c] = marks[rr, cc]
    for _ in range(rng.poisson(0.8)):
        marks[rng.integers(t.rows), rng.integers(t.columns)] = rng.integers(1, 3)
    return marks


def trials(n: int, first: int) -> list[tuple[Trial, np.ndarray, np.ndarray]]:
    """(trial, first print, print laid in again after cleaning)."""
    rng = np.random.default_rng(first)
    names = list(KINDS)
    share = np.array([KINDS[k][0] for k in names])
    made = []
    for kind in rng.choice(names, n, p=share / share.sum()):
        t = draw(str(kind), rng)
        print_1 = pressed(t, rng)
        if t.kind == "dirt":
            t.spots = []
        made.append((t, print_1, pressed(t, rng)))
    return made


@dataclass(frozen=True)
class Score:
    """Counts by kind and in all, what was stated of the first cause and whether it was
    true, seconds a print.
    """

    kinds: dict[str, collections.Counter]
    stated: list[tuple[float, bool]]
    seconds: dict[str, list[float]]

    @property
    def total(self) -> collections.Counter:
        return sum(self.kinds.values(), collections.Counter())


def score(made: list[tuple[Trial, np.ndarray, np.ndarray]]) -> Score:
    """Read the first print, then the one laid in again with the first known, and count."""
    kinds: dict[str, collections.Counter] = {}
    stated, seconds = [], {"5 x 7": [], "10 x 14": []}
    for t, first, second in made:
        count, earlier = kinds.setdefault(t.kind, collections.Counter()), ()
        for stage, cells, allowed in (
            ("first", first, KINDS[t.kind][1]),
            ("again", second, KINDS[t.kind][2]),
        ):
            began = time.perf_counter()
            reading = read_print(cells, t.check, earlier=earlier)
            seconds[f"{t.rows} x {t.columns}"].append(time.perf_counter() - began)
            right = reading.outcome in allowed or reading.code in ASKS
            grid = "fine" if t.rows == 10 else "coarse"
            count += collections.Counter({stage: 1, f"{stage} {reading.outcome}": 1, grid: 1})
            count += collections.Counter({f"{stage} right": right, f"{grid} right": right})
            count += collections.Counter({f"{stage} unsafe": reading.outcome in PERMISSIVE - allowed})
            if stage == "first" and reading.code != "bare":
                name, chance = reading.causes[0]
                stated.append((chance / 1000, name in TRUE[t.kind]))
            earlier = (reading.as_earlier(),)
        kinds[t.kind] = count
    return Score(kinds, stated, seconds)


def main() -> None:
    """Press, read and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--n", type=int, default=2000)
    parser.add_argument("--first", type=int, default=41)
    args = parser.parse_args()
    show(score(trials(args.n, args.first)))


def show(s: Score) -> None:
    """One line a kind, then the sums."""
    for kind in KINDS:
        if c := s.kinds.get(kind):
            outcomes = " ".join(
                f"{o} {c[f'first {o}']}/{c[f'again {o}']}"
                for o in OUTCOMES
                if c[f"first {o}"] + c[f"again {o}"]
            )
            n = c["first"]
            shares = f"right {100 * c['first right'] / n:5.1f} {100 * c['again right'] / n:5.1f} %"
            print(f"{kind:22} n {n:4d} {shares} unsafe {c['first unsafe']} {c['again unsafe']} | {outcomes}")
    total = s.total
    for stage in ("first", "again"):
        n, right, unsafe = total[stage], total[f"{stage} right"], total[f"{stage} unsafe"]
        print(f"{stage}: right {100 * right / n:.1f} %, unsafe {unsafe} of {n} = {100 * unsafe / n:.2f} %")
    for grid in ("coarse", "fine"):
        print(f"{grid} grid: right {100 * total[f'{grid} right'] / max(total[grid], 1):.1f} %")
    for name, kinds in GROUPS.items():
        c = sum((s.kinds.get(kind, collections.Counter()) for kind in kinds), collections.Counter())
        print(f"{name}: unsafe {c['first unsafe']} and {c['again unsafe']} of {c['first']}")
    values = np.array(s.stated)
    for low, high in ((0, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.9), (0.9, 0.97), (0.97, 1.01)):
        k = (values[:, 0] >= low) & (values[:, 0] < high)
        if k.any():
            print(f"  stated {values[k, 0].mean():.2f}, true {values[k, 1].mean():.2f} (n {k.sum()})")
    for grid, seconds in s.seconds.items():
        if seconds:
            middle, most = 1000 * np.percentile(seconds, (50, 95))
            print(f"{grid}: {middle:.1f} ms a print, 95 % within {most:.1f} ms")


TRUE = {
    "good": ("good",),
    "large clearance known": ("good",),
    "small clearance known": ("good",),
    "run in": ("good",),
    "run in and tilted": ("tilt",),
    "run in and pinched": ("pinch",),
    "run in with a spot": ("spot",),
    "tilt": ("tilt",),
    "slight tilt": ("tilt",),
    "taper": ("tilt",),
    "skew": ("skew",),
    "side": ("side",),
    "hollow bore": ("hollow",),
    "hollow journal": ("hollow",),
    "proud bore": ("proud",),
    "barrel journal": ("proud",),
    "one spot": ("spot",),
    "spot at one end": ("spot",),
    "spots": ("spots",),
    "dirt": ("spot",),
    "pinched": ("pinch",),
    "unlike sides": ("pinch",),
    "pinched and wide": ("pinch",),
    "thick dye": ("thick",),
    "tight": ("tight",),
    "bore under size": ("pinch", "tight"),
    "large": ("large",),
    "uneven dye": ("uneven",),
    "nothing": (),
}


if __name__ == "__main__":
    main()
