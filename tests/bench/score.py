"""How a set of dates is scored: mean pinball loss, and the share of true dates before each date."""

from __future__ import annotations

import numpy as np

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
