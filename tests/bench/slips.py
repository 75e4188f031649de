"""How many slips at entry are asked about, and how many true readings: fleets whose every reading is known.

The last opening of every bearing is hidden; what was as found there is held against the forecast made without it, once
as it was and once with each slip. Prints its table: `python -m tests.bench.slips [--n 1500] [--first 11] [--fleets 2]`.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from dataclasses import dataclass, replace

import numpy as np

from inspections.verdict import Expected, question
from inspections.wear.arrays import Histories, Kind
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from tests.bench.worlds import SD, WORLDS, make, smaller

SLIPS = {
    "twofold": (0.5, 2.0),
    "tenfold": (0.1, 10.0),
    "2.54-fold": (2.54, 1 / 2.54),
    "25.4-fold": (25.4, 1 / 25.4),
    "thousandfold": (1000.0, 0.001),
}
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
    """The fleet before each bearing's last opening; what was as found there (um); whether that life had a reading before."""
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
        for name in ("kind", "exposure_kh", "value_um", "low_um", "high_um", "taper_um", "method", "extra_sd_um", "level_um", "level_sd_um")
    }  # fmt: skip
    return replace(h, start=np.concatenate([[0], np.cumsum(counts)]), **per_event), found, earlier


def run(name: str, n: int, first: int) -> dict[str, Asked]:
    """One fleet of a world: asked about by kind of entry."""
    fleet = make(smaller(WORLDS[name], n), first)
    cut, found, earlier = without_last_opening(fleet.histories)
    made = forecast(cut, fit_fleet(cut))
    said: dict[str, Asked] = defaultdict(Asked)
    for value, known, (low, middle, high) in zip(found, earlier, made.clearance_um, strict=True):
        if not (np.isfinite(value) and np.isfinite(middle)):
            continue
        expected = Expected(float(low), float(middle), float(high))
        said["clean"] = said["clean"].plus(question(float(value), SD, expected)[0])
        for slip, factors in SLIPS.items():
            for factor in factors:
                asked = question(float(value * factor), SD, expected)[0]
                said[slip] = said[slip].plus(asked)
                if known:
                    said[f"{slip}, read before"] = said[f"{slip}, read before"].plus(asked)
    return said


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--n", type=int, default=1500)
    parser.add_argument("--first", type=int, default=11)
    parser.add_argument("--fleets", type=int, default=1)
    chosen = parser.parse_args()
    total: dict[str, Asked] = defaultdict(Asked)
    for name in CHOSEN:
        for k in range(chosen.fleets):
            said = run(name, chosen.n, chosen.first + k)
            for kind, one in said.items():
                total[kind] = Asked(total[kind].n + one.n, total[kind].asked + one.asked)
            words = "  ".join(
                f"{kind} {said[kind].share:.4f}"
                for kind in ("clean", "twofold, read before", "25.4-fold", "thousandfold")
            )
            print(f"{name:14}  {words}")
    for kind, one in sorted(total.items()):
        print(f"all  {kind:26} {one.asked:6d} of {one.n:6d} asked about  {one.share:.4f}")


if __name__ == "__main__":
    main()
