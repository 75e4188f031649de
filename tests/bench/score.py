"""How a set of dates is scored: mean pinball loss, the share of true dates before each date, and how many
true readings do not count for them.
"""

from __future__ import annotations

import numpy as np

from inspections.wear.arrays import Histories, Kind
from inspections.wear.population import Population
from inspections.wear.unwritten import read_record

SHARES = np.array([0.05, 0.10, 0.50, 0.90, 0.95])
FEWEST = 50  # dates in a third of which a share is said


def pinball(dates: np.ndarray, true: np.ndarray) -> float:
    """Mean pinball loss over the five dates; dates (B, 5), true (B,), in kh."""
    off = true[:, None] - dates
    return float(np.mean(np.maximum(SHARES * off, (SHARES - 1) * off)))


def shares(dates: np.ndarray, true: np.ndarray) -> np.ndarray:
    """(5,) per cent of true dates before each date."""
    return 100 * np.mean(true[:, None] < dates, axis=0)


def by_thirds(dates: np.ndarray, true: np.ndarray, key: np.ndarray, cap: float = np.inf) -> np.ndarray:
    """(3, 5) the shares in each third of a key, of the dates before ``cap``: a date beyond it is no date to
    be kept.
    """
    cuts = np.quantile(key, [1 / 3, 2 / 3])
    group = np.searchsorted(cuts, key, side="right")
    told, before = dates < cap, true[:, None] < dates
    counts = np.array([[np.sum(x[group == g], axis=0) for g in range(3)] for x in (before & told, told)])
    return 100 * counts[0] / np.where(counts[1] >= FEWEST, counts[1], np.nan)


def true_readings(h: Histories, population: Population, slips: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """(B,) readings of each bearing that are no slip of the pen, and how many of them the forecast sets
    aside for one. ``slips``: the values that are one, um.

    A last reading that surprises is asked about and does not count as set aside.
    """
    true, aside = np.zeros(h.n_bearings), np.zeros(h.n_bearings)
    for clock in set(h.clock.tolist()):
        members = np.flatnonzero(h.clock == clock)
        own = h.take(members)
        record = read_record(own, population.pool(clock).designs[0])
        sound = (own.kind == Kind.READING) & ~np.isin(own.value_um, slips)
        left_out = np.zeros(len(own.kind), dtype=bool)
        left_out[record.origin[record.aside & (record.origin >= 0)]] = True
        true[members] = np.bincount(own.owner[sound], minlength=len(members))
        aside[members] = np.bincount(own.owner[sound & left_out], minlength=len(members))
    return true, aside


def told(leave: np.ndarray, passes: np.ndarray, said: np.ndarray) -> str:
    """Of bearings left closed: per cent that pass the maximum before the outage after next, per cent said,
    and how many times the first is the second.
    """
    if not leave.any():
        return "none left"
    real, stated = 100 * np.mean(passes[leave]), 100 * np.mean(said[leave])
    return f"{real:.1f}/{stated:.1f} = {real / max(stated, 1e-9):.1f} ({int(leave.sum())})"
