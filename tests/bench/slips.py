"""How many slips at entry are asked about, and how many true readings: fleets whose every reading is known.

The last opening of every bearing is hidden; what was as found there is held against the forecast made without
it, once as it was and once with each slip. Prints its table: `python -m tests.bench.slips [--n 1500] [--first
11] [--fleets 2]`.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from fleet.slip_factors import UNIT_UM
from inspections.visits.verdict import Expected, Typed, question, reading_sd_um
from inspections.wear.arrays import Histories, Kind
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from tests.bench.worlds import SD, WORLDS, make, smaller

# What a number in a box was really read in, and the factors that are the same in every box.
UNIT_SLIPS = {
    "25.4-fold": {"mm": ("in",), "in": ("mm",), "um": ("thou",), "thou": ("um",)},
    "thousandfold": {"mm": ("um",), "um": ("mm",), "in": ("thou",), "thou": ("in",)},
    "39.37-fold": {"mm": ("thou",), "thou": ("mm",)},
    "25400-fold": {"um": ("in",), "in": ("um",)},
}
SHIFTS = {"twofold": (0.5, 2.0), "tenfold": (0.1, 10.0), "hundredfold": (0.01, 100.0)}
# Steps that gauges are read to, in the box's own unit: a micrometer's, a dial's, and what a strip or feeler
# gives.
STEPS = {
    "mm": (0.001, 0.01, 0.05),
    "um": (1.0, 10.0, 50.0),
    "thou": (0.1, 0.5, 1.0),
    "in": (0.0001, 0.0005, 0.001),
}
JOURNAL_UM, MOST_PER_MILLE = 100_000.0, 10.0
CHOSEN = ("plain", "uneven wear", "gamma rates", "few readings", "small classes", "two ends")


@dataclass(frozen=True)
class Asked:
    """Entries and how many of them were asked about."""

    n: int = 0
    asked: int = 0

    def plus(self, asked: bool) -> Asked:
        return Asked(self.n + 1, self.asked + asked)

    @property
    def share(self) -> float:
        return self.asked / self.n if self.n else float("nan")


def without_last_opening(h: Histories) -> tuple[Histories, np.ndarray, np.ndarray]:
    """The fleet before each bearing's last opening; what was as found there (um); whether that life had a
    reading before.
    """
    keep = np.ones(len(h.kind), dtype=bool)
    found = np.full(h.n_bearings, np.nan)
    earlier = np.zeros(h.n_bearings, dtype=bool)
    for i in range(h.n_bearings):
        own = np.arange(h.start[i], h.start[i + 1])
        last = own[h.exposure_kh[own] == h.exposure_kh[own[-1]]]
        readings = last[h.kind[last] == Kind.READING]
        if not len(readings):
            continue
        keep[last] = False
        taper = h.taper_um[readings[0]]
        found[i] = h.value_um[readings[0]] + (0.5 * taper if np.isfinite(taper) else 0.0)  # the larger end
        before = own[own < last[0]]
        begun = before[h.kind[before] == Kind.NEW_LIFE]
        since = before[before > begun[-1]] if len(begun) else before
        earlier[i] = bool((h.kind[since] == Kind.READING).any())
    counts = np.array([keep[h.start[i] : h.start[i + 1]].sum() for i in range(h.n_bearings)])
    per_event = {
        name: getattr(h, name)[keep]
        for name in (
            "kind",
            "exposure_kh",
            "value_um",
            "low_um",
            "high_um",
            "taper_um",
            "method",
            "extra_sd_um",
            "level_um",
            "level_sd_um",
        )
    }
    return replace(h, start=np.concatenate([[0], np.cumsum(counts)]), **per_event), found, earlier


@dataclass(frozen=True)
class Entry:
    """A number as it was typed: value and step of the box, um, and its box."""

    value_um: float
    step_um: float
    box: str

    def asked(self, expected: Expected) -> bool:
        sd = reading_sd_um(SD, self.step_um)
        most = MOST_PER_MILLE * JOURNAL_UM / 1000
        return question(self.value_um, Typed(sd, self.box, self.step_um, most), expected).asked


def typed(value_um: float, box: str, step: float, read_in: str = "", factor: float = 1.0) -> Entry:
    """A value read to a gauge's step in one unit, and its number, times a factor, typed
    in a box of another.
    """
    unit = UNIT_UM[read_in or box]
    number = round(value_um / unit / step) * step * factor
    return Entry(number * UNIT_UM[box], step * factor * UNIT_UM[box], box)


def entries(value_um: float, box: str) -> Iterator[tuple[str, Entry]]:
    """Every kind of entry of one true value in a box, at each step of its gauges."""
    for step in STEPS[box]:
        yield "clean", typed(value_um, box, step)
        for kind, factors in SHIFTS.items():
            for factor in factors:
                yield kind, typed(value_um, box, step, factor=factor)
    for kind, meant in UNIT_SLIPS.items():
        for unit in meant.get(box, ()):
            for step in STEPS[unit]:
                yield kind, typed(value_um, box, step, unit)


def run(name: str, n: int, first: int, every: int = 1) -> dict[tuple[str, str], Asked]:
    """One fleet of a world: asked about by box and kind of entry, of one bearing in `every`."""
    fleet = make(smaller(WORLDS[name], n), first)
    cut, found, earlier = without_last_opening(fleet.histories)
    made = forecast(cut, fit_fleet(cut))
    said: dict[tuple[str, str], Asked] = defaultdict(Asked)
    for value, known, (low, middle, high) in list(zip(found, earlier, made.clearance_um, strict=True))[
        ::every
    ]:
        if not (np.isfinite(value) and np.isfinite(middle)):
            continue
        expected = Expected(float(low), float(middle), float(high))
        for box in STEPS:
            for kind, entry in entries(float(value), box):
                asked = entry.asked(expected)
                said[box, kind] = said[box, kind].plus(asked)
                if known and kind != "clean":
                    said[box, f"{kind}, read before"] = said[box, f"{kind}, read before"].plus(asked)
    return said


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=1500)
    parser.add_argument("--first", type=int, default=11)
    parser.add_argument("--fleets", type=int, default=1)
    chosen = parser.parse_args()
    total: dict[tuple[str, str], Asked] = defaultdict(Asked)
    for name in CHOSEN:
        for k in range(chosen.fleets):
            for key, one in run(name, chosen.n, chosen.first + k).items():
                total[key] = Asked(total[key].n + one.n, total[key].asked + one.asked)
    kinds = sorted({kind for _, kind in total})
    print(f"{'asked about, %':28}" + "".join(f"{box:>9}" for box in STEPS))
    for kind in kinds:
        shares = [
            f"{100 * total[box, kind].share:9.2f}" if (box, kind) in total else f"{'':9}" for box in STEPS
        ]
        print(f"{kind:28}" + "".join(shares))


if __name__ == "__main__":
    main()
