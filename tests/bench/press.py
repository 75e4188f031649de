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

from inspections.contact import FilmClass, Reading, read
from inspections.contact import Facts as ContactFacts

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
    stray: float = 0.0  # share of the cells tapped at random
    rows: int = 5
    columns: int = 7
    bedded: bool | None = None
    film_recorded: FilmClass | None = None


def gaps(p: Press) -> np.ndarray:
    """(rows x SUB, columns x SUB) gap between journal and shell in um, 0 where they touch."""
    fine = (np.arange(p.rows * SUB) + 0.5) / (p.rows * SUB)
    theta = (SPAN * (fine - 0.5) - math.radians(p.roll_deg))[:, None]
    z = (2.0 * (np.arange(p.columns * SUB) + 0.5) / (p.columns * SUB) - 1.0)[None, :]
    radial = 0.5 * p.clearance_um * p.opened
    # Worn to the journal over an arc: the shaft has sunk by d, and r - (r + d) cos(theta) opens beyond it.
    sunk = radial * (1.0 / math.cos(math.radians(p.arc_deg / 2.0)) - 1.0)
    gap = np.maximum(radial - (radial + sunk) * np.cos(theta), 0.0)
    axial = p.hollow_um * (1.0 - z**2) if p.hollow_um >= 0 else -p.hollow_um * z**2
    gap = gap + axial + 0.5 * p.tilt_um * z * np.cos(theta) + 0.5 * p.skew_um * z * np.sin(theta)
    return gap - gap.min()


def printed(p: Press, rng: np.random.Generator) -> np.ndarray:
    """(rows, columns) the pattern as tapped: 0 none, 1 light, 2 heavy."""
    depth = np.clip(1.0 - gaps(p) / p.film_um, 0.0, 1.0)
    cell = depth.reshape(p.rows, SUB, p.columns, SUB).mean(axis=(1, 3))
    if p.missing:
        cell = np.where(blotches(p, p.missing, rng), 0.0, cell)
    if p.drips:
        cell = np.where(blotches(p, p.drips, rng), np.maximum(cell, rng.uniform(0.1, 0.8, cell.shape)), cell)
    taps = (cell >= 0.06).astype(int) + (cell >= 0.35)
    stray = rng.random(taps.shape) < p.stray
    return np.where(stray, rng.integers(0, 3, taps.shape), taps)


def blotches(p: Press, share: float, rng: np.random.Generator) -> np.ndarray:
    """(rows, columns) where a blotch lies: blobs of about one phone cell, whatever the grid's fineness."""
    coarse = rng.random((5, 7)) < share
    return coarse[np.arange(p.rows) * 5 // p.rows][:, np.arange(p.columns) * 7 // p.columns]


def label(p: Press) -> str:
    """What these inputs print, by what each does to the gap in units of the film."""
    film = p.film_um
    if p.missing >= 0.3:
        return "patchy"
    if true_arc_deg(p) >= 120.0:
        return "flooded"
    if abs(math.degrees(math.atan2(p.skew_um, p.clearance_um * p.opened))) >= 22.5:
        return "diagonal"
    # Coverage falls below three quarters of the length here.
    if abs(p.tilt_um) >= film / 0.75:
        return "one_end" if p.tilt_um > 0 else "other_end"
    if p.hollow_um >= film / (1.0 - 0.25**2):
        return "both_ends"
    if p.hollow_um <= -film / 0.75**2:
        return MIDDLE
    if p.opened >= 2.0:
        return "narrow"
    return "full"


def true_arc_deg(p: Press) -> float:
    """What a film prints in this bore when nothing is tilted."""
    r = 0.5 * p.clearance_um * p.opened
    sunk = r * (1.0 / math.cos(math.radians(p.arc_deg / 2.0)) - 1.0)
    return 2.0 * math.degrees(math.acos(np.clip((r - p.film_um) / (r + sunk), -1.0, 1.0)))


def facts(p: Press) -> ContactFacts:
    """What the mechanic would have written down beside it."""
    film = p.film_recorded or next(name for most, name in CLASS_OF if p.film_um < most)
    return ContactFacts(
        in_place=True, seat="cylindrical", bedded_by_hand=p.bedded, clearance_um=p.clearance_um,
        journal_mm=100.0, film=film, worn_arc_deg=p.arc_deg or None,
    )  # fmt: skip


# --- what is pressed --------------------------------------------------------------------------------------

NAMED: dict[str, list[Press]] = {
    "full": [
        Press(), Press(clearance_um=100, film_um=8), Press(clearance_um=250, film_um=14),
        Press(arc_deg=80, film_um=8, bedded=False), Press(tilt_um=6, rows=7, columns=11),
    ],
    "both_ends": [
        Press(hollow_um=h, clearance_um=c, rows=r, columns=k, tilt_um=t)
        for h, c, r, k, t in [(20, 150, 5, 7, 0), (40, 150, 5, 7, 4), (15, 100, 5, 9, 0), (30, 200, 7, 11, 3), (60, 120, 9, 15, -5)]
    ],
    "one_end": [
        Press(tilt_um=t, clearance_um=c, rows=r, columns=k)
        for t, c, r, k in [(20, 150, 5, 7), (40, 150, 5, 7), (25, 100, 5, 9), (30, 200, 7, 11), (60, 120, 9, 15)]
    ],
    "other_end": [
        Press(tilt_um=-t, clearance_um=c, rows=r, columns=k)
        for t, c, r, k in [(20, 150, 5, 7), (40, 150, 5, 7), (25, 100, 5, 9), (30, 200, 7, 11), (60, 120, 9, 15)]
    ],
    "diagonal": [
        Press(skew_um=s * 150, film_um=f, rows=r, columns=k)
        for s, f, r, k in [(0.6, 10, 5, 7), (-0.7, 14, 5, 7), (0.8, 12, 5, 9), (-0.6, 8, 7, 11), (0.9, 20, 9, 15)]
    ],
    "patchy": [
        Press(missing=m, drips=d, film_um=f, rows=r, columns=k)
        for m, d, f, r, k in [(0.45, 0.3, 25, 5, 7), (0.5, 0.3, 30, 5, 7), (0.5, 0.35, 25, 5, 9), (0.5, 0.3, 30, 7, 11), (0.4, 0.4, 20, 9, 15)]
    ],
    "flooded": [
        Press(film_um=f, clearance_um=c, rows=r, columns=k, film_recorded=FilmClass.NORMAL)
        for f, c, r, k in [(50, 120, 5, 7), (70, 150, 5, 7), (60, 120, 5, 9), (55, 120, 7, 11), (80, 160, 9, 15)]
    ],
    "narrow": [
        Press(opened=o, clearance_um=c, film_um=f, rows=r, columns=k)
        for o, c, f, r, k in [(5, 80, 12, 5, 7), (6, 100, 14, 5, 7), (5, 80, 14, 5, 9), (4, 80, 10, 7, 11), (4, 100, 12, 9, 15)]
    ],
}  # fmt: skip


def draw(rng: np.random.Generator, margin: float = 0.25) -> Press:
    """One check at random. Inputs within `margin` of where one label turns into another are drawn again."""
    rows, columns = SIZES[rng.integers(len(SIZES))]
    kind = rng.choice([*LABELS, MIDDLE])
    film = float(np.exp(rng.uniform(math.log(4.0), math.log(16.0))))
    p = Press(
        clearance_um=float(rng.uniform(80, 260)), film_um=film, rows=rows, columns=columns, stray=STRAY,
        tilt_um=film * float(rng.uniform(-0.4, 0.4)), hollow_um=film * float(rng.uniform(-0.4, 0.4)),
        roll_deg=float(rng.uniform(-8, 8)),
    )  # fmt: skip
    p = replace(p, skew_um=p.clearance_um * float(rng.uniform(-0.12, 0.12)), **with_fault(kind, p, rng, margin))
    return p


def with_fault(kind: str, p: Press, rng: np.random.Generator, margin: float) -> dict:
    """The inputs that make this kind of pattern, `margin` past the place where its label begins."""
    past = 1.0 + margin
    sign = -1.0 if kind == "other_end" else 1.0
    if kind in ("one_end", "other_end"):
        return {"tilt_um": sign * p.film_um / 0.75 * float(rng.uniform(past, 5.0))}
    if kind == "both_ends":
        return {"hollow_um": p.film_um * 1.0667 * float(rng.uniform(past, 5.0))}
    if kind == MIDDLE:
        return {"hollow_um": -p.film_um / 0.5625 * float(rng.uniform(past, 5.0))}
    if kind == "diagonal":
        angle = math.radians(22.5 * float(rng.uniform(past, 2.2)))
        return {"skew_um": p.clearance_um * math.tan(angle) * rng.choice([-1.0, 1.0])}
    if kind == "patchy":
        heavy = {"film_um": float(rng.uniform(0.12, 0.25)) * p.clearance_um, "tilt_um": 0.0, "hollow_um": 0.0}
        return heavy | {"missing": float(rng.uniform(0.3 * past, 0.6)), "drips": float(rng.uniform(0.2, 0.4))}
    if kind == "flooded":
        arc = math.radians(float(rng.uniform(120.0 * (1 + margin / 3), 176.0)))
        film = 0.5 * p.clearance_um * (1.0 - math.cos(arc / 2.0))
        return {"film_um": film, "film_recorded": FilmClass.NORMAL}
    if kind == "narrow":
        # Thick enough a film for the stated clearance that a line of print is seen to be too narrow.
        film = float(rng.uniform(8.0, 15.0))
        return {"film_um": film, "clearance_um": float(rng.uniform(5.5, 9.0)) * film, "tilt_um": 0.0,
                "hollow_um": 0.0, "skew_um": 0.0, "opened": float(rng.uniform(2.0 * (1 + 3 * margin), 7.0))}  # fmt: skip
    if rng.random() < 0.3:
        return {"arc_deg": float(rng.uniform(40, 85)), "bedded": bool(rng.random() < 0.5)}
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
