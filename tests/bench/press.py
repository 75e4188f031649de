"""A shaft pressed into a shell with a film of dye between: patterns whose right reading is known.

The press knows only geometry. What a pattern should be read as follows from the inputs (how far the shaft
is tilted in films, how far the middle is hollow, how thick the dye was), never from the pattern.
Prints its tables: `python -m tests.bench.press [--n 2000] [--first 7]`.
"""

from __future__ import annotations

import argparse
import collections
import math
import time
from dataclasses import dataclass, replace

import numpy as np

from inspections.contact import Criteria, Facts, FilmClass, Reading, read

LABELS = ("full", "both_ends", "one_end", "other_end", "diagonal", "patchy", "flooded", "narrow")
MIDDLE = "middle"  # not among the eight drawings, but a crowned bore prints so
OUTCOME = {
    "full": "acceptable",
    "both_ends": "scrape",
    "one_end": "alignment",
    "other_end": "alignment",
    "diagonal": "alignment",
    "patchy": "repeat",
    "flooded": "repeat",
    "narrow": "scrape",
    MIDDLE: "scrape",
}
SIZES = ((5, 7), (5, 7), (5, 7), (5, 9), (7, 11), (9, 15))  # most patterns are tapped on the phone's grid
SUB = 8  # points a side within one cell
STRAY = 0.10
MARGIN = 0.25  # how far inputs lie from where one label turns into another
STRIP = 1 / 14  # the shortest print at an end: half a phone cell
SPAN = math.pi  # a half shell reaches from one joint to the other
CLASS_OF = ((7.0, FilmClass.THIN), (15.0, FilmClass.NORMAL), (math.inf, FilmClass.HEAVY))


@dataclass(frozen=True)
class Press:
    """One check: lengths in um, angles in degrees; ends are the first (-1) and last (+1) column."""

    clearance_um: float = 150.0
    film_um: float = 10.0
    tilt_um: float = 0.0  # the last column's gap over the first one's, along the bottom
    skew_um: float = 0.0  # the same across: one end lies to one side, the other to the other
    hollow_um: float = 0.0  # the middle of the bore lies lower than its ends; below zero it stands proud
    opened: float = 1.0  # the bore's own clearance over the stated one: above 1 the shaft sits on a line
    arc_deg: float = 0.0  # worn or bedded to the journal over this arc
    roll_deg: float = 0.0  # the bottom of the print off the bottom of the shell
    missing: float = 0.0  # share of the film that is missing in blotches
    drips: float = 0.0  # share of the rest of the shell marked by lumps of dye or dirt
    stray: float = 0.0  # share of all cells, printed or not, whose mark is drawn at random
    astray: float = 0.0  # share of the taps that land on another cell
    rows: int = 5
    columns: int = 7
    bedded: bool | None = None
    film_recorded: FilmClass | None = None


def gaps(p: Press) -> np.ndarray:
    """(rows x SUB, columns x SUB) gap between journal and shell in um, 0 where they touch."""
    fine = (np.arange(p.rows * SUB) + 0.5) / (p.rows * SUB)
    theta = (SPAN * (fine - 0.5) - math.radians(p.roll_deg))[:, None]
    z = (2.0 * (np.arange(p.columns * SUB) + 0.5) / (p.columns * SUB) - 1.0)[None, :]
    radial, sunk = 0.5 * p.clearance_um * p.opened, sunk_um(p)
    gap = np.maximum(radial - (radial + sunk) * np.cos(theta), 0.0)
    axial = p.hollow_um * (1.0 - z**2) if p.hollow_um >= 0 else -p.hollow_um * z**2
    gap = gap + axial + 0.5 * p.tilt_um * z * np.cos(theta) + 0.5 * p.skew_um * z * np.sin(theta)
    return gap - gap.min()


def sunk_um(p: Press) -> float:
    """How far the shaft has sunk into a shell worn to it over an arc; r - (r + d)
    cos(theta) opens beyond it.
    """
    return 0.5 * p.clearance_um * p.opened * (1.0 / math.cos(math.radians(p.arc_deg / 2.0)) - 1.0)


def printed(p: Press, rng: np.random.Generator) -> np.ndarray:
    """(rows, columns) the pattern as tapped: 0 none, 1 light, 2 heavy."""
    # A mechanic taps by how much of the cell is blue, not by how deep the blue is.
    cell = (gaps(p) < p.film_um).reshape(p.rows, SUB, p.columns, SUB).mean(axis=(1, 3))
    if p.missing:
        cell = np.where(blotches(p, p.missing, rng), 0.0, cell)
    if p.drips:
        cell = np.where(blotches(p, p.drips, rng), np.maximum(cell, rng.uniform(0.1, 0.8, cell.shape)), cell)
    taps = (cell >= 0.1).astype(int) + (cell >= 0.5)
    stray = rng.random(taps.shape) < p.stray
    taps = np.where(stray, rng.integers(0, 3, taps.shape), taps)
    # A tap that lands on another cell leaves its own cell bare.
    for row, column in np.argwhere((taps > 0) & (rng.random(taps.shape) < p.astray)):
        mark, taps[row, column] = taps[row, column], 0
        taps[rng.integers(p.rows), rng.integers(p.columns)] = mark
    return taps


def blotches(p: Press, share: float, rng: np.random.Generator) -> np.ndarray:
    """(rows, columns) where a blotch lies: blobs of about one phone cell, whatever the grid's fineness."""
    coarse = rng.random((5, 7)) < share
    return coarse[np.arange(p.rows) * 5 // p.rows][:, np.arange(p.columns) * 7 // p.columns]


def label(p: Press) -> str:
    """What these inputs print: by lengths and arcs worked out from them, not from any pattern."""
    if p.missing >= 0.3:
        return "patchy"
    if true_arc_deg(p) >= 120.0:
        return "flooded"
    first, last, whole = lengths(p)
    if whole < 0.75:
        if min(first, last) >= STRIP:
            return "diagonal" if askew_deg(p) >= 22.5 else "both_ends"
        return "one_end" if first >= STRIP else "other_end" if last >= STRIP else MIDDLE
    if askew_deg(p) >= 22.5:
        return "diagonal"
    # Narrower than even the thinnest film of its class prints at the stated clearance.
    return "narrow" if true_arc_deg(p) < stated_arc_deg(p) else "full"


def lengths(p: Press) -> tuple[float, float, float]:
    """Shares of the length that print: from the first end on, from the last end back, and in all."""
    z = np.linspace(-1.0, 1.0, 401)
    r = 0.5 * p.clearance_um * p.opened
    axial = p.hollow_um * (1.0 - z**2) if p.hollow_um >= 0 else -p.hollow_um * z**2
    least = axial + r - np.hypot(r - 0.5 * p.tilt_um * z, 0.5 * p.skew_um * z)  # around the shell, at each z
    prints = least - least.min() < p.film_um
    runs = [float(np.argmin(np.append(side, False))) / z.size for side in (prints, prints[::-1])]
    return runs[0], runs[1], float(prints.mean())


def askew_deg(p: Press) -> float:
    """How far up the side of the shell the shaft touches at its ends."""
    return abs(math.degrees(math.atan2(p.skew_um, p.clearance_um * p.opened)))


def stated_arc_deg(p: Press) -> float:
    """What the thinnest film of the recorded class prints in a round bore of the stated clearance."""
    low = Criteria().film_um[recorded(p)][0]
    return 2.0 * math.degrees(math.acos(max(1.0 - 2.0 * low / p.clearance_um, -1.0)))


def recorded(p: Press) -> FilmClass:
    return p.film_recorded or next(name for most, name in CLASS_OF if p.film_um < most)


def clear(p: Press, margin: float) -> bool:
    """The label stays when the film, the slant and the arcs are off by this share."""
    near = (1.0 + margin, 1.0 / (1.0 + margin))
    same = {label(replace(p, film_um=p.film_um * k, film_recorded=recorded(p))) for k in near}
    same |= {label(replace(p, skew_um=p.skew_um * k)) for k in near}
    # A row of the phone's grid is 36 degrees: an arc is known to half of it.
    far = abs(true_arc_deg(p) - stated_arc_deg(p)) >= 72.0 * margin or p.opened == 1.0
    return same == {label(p)} and far


def true_arc_deg(p: Press) -> float:
    """What a film prints in this bore when nothing is tilted."""
    r = 0.5 * p.clearance_um * p.opened
    return 2.0 * math.degrees(math.acos(np.clip((r - p.film_um) / (r + sunk_um(p)), -1.0, 1.0)))


def facts(p: Press) -> Facts:
    """What the mechanic would have written down beside it."""
    return Facts(
        in_place=True,
        seat="cylindrical",
        bedded_by_hand=p.bedded,
        clearance_um=p.clearance_um + sunk_um(p),
        journal_mm=100.0,
        film=recorded(p),
        worn_arc_deg=p.arc_deg or None,
    )


# --- what is pressed --------------------------------------------------------------------------------------

NAMED: dict[str, list[Press]] = {
    "full": [
        Press(),
        Press(clearance_um=100, film_um=8),
        Press(clearance_um=250, film_um=14),
        Press(arc_deg=80, film_um=8, bedded=False),
        Press(tilt_um=6, rows=7, columns=11),
    ],
    "both_ends": [
        Press(hollow_um=h, clearance_um=c, rows=r, columns=k, tilt_um=t)
        for h, c, r, k, t in [
            (15, 150, 5, 7, 0),
            (30, 150, 5, 7, 0),
            (15, 100, 5, 9, 2),
            (20, 200, 7, 11, -2),
            (25, 120, 9, 15, -1),
        ]
    ],
    "one_end": [
        Press(tilt_um=t, clearance_um=c, rows=r, columns=k)
        for t, c, r, k in [
            (20, 150, 5, 7),
            (40, 150, 5, 7),
            (25, 100, 5, 9),
            (30, 200, 7, 11),
            (60, 120, 9, 15),
        ]
    ],
    "other_end": [
        Press(tilt_um=-t, clearance_um=c, rows=r, columns=k)
        for t, c, r, k in [
            (20, 150, 5, 7),
            (40, 150, 5, 7),
            (25, 100, 5, 9),
            (30, 200, 7, 11),
            (60, 120, 9, 15),
        ]
    ],
    "diagonal": [
        Press(skew_um=s * 150, film_um=f, rows=r, columns=k)
        for s, f, r, k in [
            (0.6, 10, 5, 7),
            (-0.7, 14, 5, 7),
            (0.8, 12, 5, 9),
            (-0.6, 8, 7, 11),
            (0.9, 20, 9, 15),
        ]
    ],
    "patchy": [
        Press(missing=m, drips=d, film_um=f, rows=r, columns=k)
        for m, d, f, r, k in [
            (0.45, 0.3, 25, 5, 7),
            (0.5, 0.3, 30, 5, 7),
            (0.5, 0.35, 25, 5, 9),
            (0.5, 0.3, 30, 7, 11),
            (0.4, 0.4, 20, 9, 15),
        ]
    ],
    "flooded": [
        Press(film_um=f, clearance_um=c, rows=r, columns=k, film_recorded=FilmClass.NORMAL)
        for f, c, r, k in [
            (50, 120, 5, 7),
            (70, 150, 5, 7),
            (60, 120, 5, 9),
            (55, 120, 7, 11),
            (80, 160, 9, 15),
        ]
    ],
    "narrow": [
        Press(opened=o, clearance_um=c, film_um=f, rows=r, columns=k)
        for o, c, f, r, k in [
            (5, 80, 12, 5, 7),
            (6, 100, 14, 5, 7),
            (5, 80, 14, 5, 9),
            (4, 80, 10, 7, 11),
            (4, 100, 12, 9, 15),
        ]
    ],
}


def draw(rng: np.random.Generator, margin: float) -> Press:
    """One check at random; where a margin is asked, inputs near where labels meet are drawn again."""
    kind = str(rng.choice([*LABELS, MIDDLE]))
    while True:
        rows, columns = SIZES[rng.integers(len(SIZES))]
        film, clearance = (
            float(np.exp(rng.uniform(math.log(4.0), math.log(15.0)))),
            float(rng.uniform(80, 260)),
        )
        p = Press(
            clearance_um=clearance,
            film_um=film,
            rows=rows,
            columns=columns,
            stray=STRAY,
            tilt_um=film * float(rng.uniform(-0.4, 0.4)),
            hollow_um=film * float(rng.uniform(-0.4, 0.4)),
            roll_deg=float(rng.uniform(-8, 8)),
            skew_um=clearance * float(rng.uniform(-0.12, 0.12)),
        )
        p = replace(p, **fault(kind, p, rng))
        if label(p) == kind and (not margin or clear(p, margin)):
            return p


def fault(kind: str, p: Press, rng: np.random.Generator) -> dict:
    """The inputs that may make this kind of pattern."""
    size = float(rng.uniform(1.0, 5.0)) * p.film_um
    if kind in ("one_end", "other_end"):
        return {"tilt_um": 1.33 * size if kind == "one_end" else -1.33 * size}
    if kind in ("both_ends", MIDDLE):
        return {"hollow_um": size if kind == "both_ends" else -size}
    if kind == "diagonal":
        angle = math.radians(float(rng.uniform(22.5, 50.0)))
        return {"skew_um": p.clearance_um * math.tan(angle) * float(rng.choice([-1.0, 1.0]))}
    if kind == "patchy":
        thick = {"film_um": float(rng.uniform(0.12, 0.25)) * p.clearance_um, "tilt_um": 0.0, "hollow_um": 0.0}
        return thick | {"missing": float(rng.uniform(0.3, 0.6)), "drips": float(rng.uniform(0.2, 0.4))}
    if kind == "flooded":
        arc = math.radians(float(rng.uniform(120.0, 176.0)))
        film = 0.5 * p.clearance_um * (1.0 - math.cos(arc / 2.0))
        return {"film_um": film, "film_recorded": FilmClass.NORMAL}
    if kind == "narrow":
        return {"clearance_um": float(rng.uniform(50.0, 150.0)), "opened": float(rng.uniform(1.0, 8.0))}
    if rng.random() < 0.3:
        # In a bore that already fits the journal the least slant shows: the nuisance is of the film's size.
        slant = 0.3 * p.film_um * float(rng.uniform(-1.0, 1.0))
        return {"arc_deg": float(rng.uniform(40, 85)), "bedded": bool(rng.random() < 0.5), "skew_um": slant}
    return {}


def expected(p: Press) -> tuple[str, str, str]:
    """(shape, end, outcome) these inputs ask for; the first column lies at the outer end."""
    name = label(p)
    shape = "one_end" if name == "other_end" else name
    end = {"one_end": "out", "other_end": "in"}.get(name, "")
    return shape, end, OUTCOME[name]


def right(p: Press, r: Reading) -> bool:
    """Shape, end and outcome as the inputs ask, with the reason of that shape among the reasons."""
    shape, end, outcome = expected(p)
    return (r.shape, r.end, r.outcome) == (shape, end, outcome) and shape in {x.code for x in r.reasons}


# --- tables -----------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Score:
    """How many were read right, by label, and what the wrong ones were read as."""

    n: collections.Counter
    right: collections.Counter
    instead: collections.Counter
    accepted: float  # share of the faulty ones that were called acceptable
    flagged: tuple[float, float]  # shares of the wrong and of the right ones called a close call

    @property
    def share(self) -> float:
        return sum(self.right.values()) / sum(self.n.values())


def score(presses: list[Press], seed: int) -> Score:
    """Press, read and count."""
    rng = np.random.default_rng(seed)
    n, good, instead = collections.Counter(), collections.Counter(), collections.Counter()
    faulty, close = [], {True: [], False: []}
    for p in presses:
        r, name = read(printed(p, rng), facts(p)), label(p)
        ok = right(p, r)
        n[name] += 1
        good[name] += ok
        close[ok].append(bool(r.rival))
        if not ok:
            instead[name, r.shape, r.outcome] += 1
        if OUTCOME[name] != "acceptable":
            faulty.append(r.outcome == "acceptable")
    flagged = tuple(float(np.mean(close[ok])) if close[ok] else 0.0 for ok in (False, True))
    return Score(n, good, instead, float(np.mean(faulty)) if faulty else 0.0, flagged)


def random_presses(n: int, first: int, margin: float) -> list[Press]:
    rng = np.random.default_rng(first)
    return [draw(rng, margin) for _ in range(n)]


def named_presses() -> list[Press]:
    return [p for presses in NAMED.values() for p in presses]


def show(title: str, s: Score) -> None:
    """One line a label, then the sum and the commonest mistakes."""
    print(f"\n{title}: {sum(s.right.values())} of {sum(s.n.values())} = {100 * s.share:.1f} %")
    for name in (*LABELS, MIDDLE):
        if s.n[name]:
            print(
                f"| {name:10} | {s.n[name]:5d} | {s.right[name]:5d} |"
                f" {100 * s.right[name] / s.n[name]:5.1f} % |"
            )
    wrong, good = (100 * share for share in s.flagged)
    print(
        f"  faults called acceptable {100 * s.accepted:.1f} %; called a close call: {wrong:.0f} % of wrong,"
        f" {good:.0f} % of right"
    )
    for (name, shape, outcome), k in s.instead.most_common(12):
        print(f"  {k:4d} x {name} read as {shape}, {outcome}")


def main() -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--n", type=int, default=2000)
    parser.add_argument("--first", type=int, default=7)
    args = parser.parse_args()
    began = time.perf_counter()
    show("Named, no stray taps", score(named_presses(), args.first))
    show(
        "Named, one cell in ten marked at random",
        score([replace(p, stray=STRAY) for p in named_presses()], args.first),
    )
    drawn = random_presses(args.n, args.first, MARGIN)
    show(
        "Random, one cell in ten marked at random, a quarter clear of where labels meet",
        score(drawn, args.first),
    )
    astray = [replace(p, stray=0.0, astray=STRAY) for p in drawn]
    show("The same, but one tap in ten lands on another cell", score(astray, args.first))
    show("The same without stray taps", score([replace(p, stray=0.0) for p in drawn], args.first))
    show(
        "Random, one cell in ten marked at random, up to where labels meet",
        score(random_presses(args.n, args.first, 0.0), args.first),
    )
    print(f"\n{time.perf_counter() - began:.1f} s")


if __name__ == "__main__":
    main()
