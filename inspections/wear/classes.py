"""What a class usually does at work: its scrape's step and its clearance when new, drawn
towards the fleet's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from . import grid
from .arrays import FloatArray, IntArray, Kind
from .event_effects import Frame, lay_out
from .parameters import Params

# Spread of a class's own mean about the fleet's: design assumptions with no published source.
STEP_SHARE = 0.3  # of the fleet's mean step
NEW_SHARE = 0.03  # of the fitting clearance


def by_class(f: Frame, p: Params, aside: np.ndarray) -> Params:
    """The parameters with each class's mean step and mean new clearance, from readings on either side of the
    work.
    """
    h = f.histories
    work = lay_out(f, p, aside)
    read = work.op == grid.READ
    pairs, steps, var = _pairs(f, work.a, work.b, read)
    spread = p.step_sd**2 + var
    means, sds = _drawn(h.class_[f.owner[pairs]], steps, spread, p.step_mean, STEP_SHARE * p.step_mean)
    fresh = _first_after_new(f, read)
    size = f.new_um[f.owner[fresh]]
    shift = work.a[fresh] / size - 1.0
    loose = p.new_spread**2 + work.b[fresh] / size**2
    shifts, _ = _drawn(h.class_[f.owner[fresh]], shift, loose, p.new_shift, NEW_SHARE)
    return replace(p, class_steps=means, class_step_sd=sds, class_shift=shifts)


def _chain(f: Frame, read: np.ndarray) -> IntArray:
    """Clearance readings and work in order, without what stands between them in an opening: wall, drop, its
    reason.
    """
    return np.flatnonzero(read | ~f.histories.among(Kind.READING, Kind.INTERVAL, Kind.DROP, Kind.OPENED))


def _at_once(f: Frame, one: IntArray, other: IntArray) -> np.ndarray:
    """Whether two events are of one bearing and lie in one opening."""
    total = np.cumsum(f.du)
    return (f.owner[one] == f.owner[other]) & (total[other] - total[one] < 1e-3)


def _pairs(
    f: Frame, a: FloatArray, b: FloatArray, read: np.ndarray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Scrapes with a reading before and after in the same opening: event, step and variance of the two
    readings.
    """
    chain = _chain(f, read)
    at = np.flatnonzero(f.histories.kind[chain] == Kind.SCRAPE)
    at = at[(at > 0) & (at < len(chain) - 1)]
    before, scrape, after = chain[at - 1], chain[at], chain[at + 1]
    both = read[before] & read[after] & _at_once(f, before, after)
    return scrape[both], (a[after] - a[before])[both], (b[before] + b[after])[both]


def _first_after_new(f: Frame, read: np.ndarray) -> IntArray:
    """Readings as left with new metal: right after it, in the same opening."""
    chain = _chain(f, read)
    at = np.flatnonzero(f.histories.kind[chain] == Kind.NEW_LIFE)
    at = at[at < len(chain) - 1]
    new, after = chain[at], chain[at + 1]
    return after[read[after] & _at_once(f, new, after)]


def _drawn(
    class_: NDArray[np.int32], value: FloatArray, var: FloatArray, middle: float, spread: float
) -> tuple[dict[str, float], dict[str, float]]:
    """Posterior mean and sd of each class's own mean, given a normal belief about it."""
    means, sds = {}, {}
    for code in np.unique(class_[class_ >= 0]):
        own = class_ == code
        weight = 1.0 / spread**2 + np.sum(1.0 / var[own])
        mean = (middle / spread**2 + np.sum(value[own] / var[own])) / weight
        means[str(int(code))], sds[str(int(code))] = (
            max(float(mean), 0.0) if middle > 0 else float(mean),
            float(weight**-0.5),
        )
    return means, sds
