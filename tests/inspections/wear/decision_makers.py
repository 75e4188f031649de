"""The standard case of decisions: a shell of 130 um fitted clearance, at most 260 um, two bearings a pump."""

from __future__ import annotations

from typing import Any

import numpy as np

from inspections.wear.arrays import FloatArray
from inspections.wear.predictive import Predictive
from inspections.wear.terms import Terms, terms

D = 13.15
STANDARD: dict[str, Any] = {
    "limit_um": 260.0,
    "new_um": 130.0,
    "new_sd_um": 7.0,
    "reading_sd_um": 10.0,
    "interval_kh": D,
    "log_rate": np.log(2.2),
    "spread": 0.6,
    "memory": 0.5,
    "unevenness_um": 2.0,
    "scrape_um": 12.0,
    "scrape_sd_um": 6.0,
    "contact_share": 0.1,
    "open_h": 8.0,
    "bearings": 2.0,
    "measure_h": 4.0,
    "scrape_h": 6.0,
    "replace_h": 16.0,
    "shell_h": 40.0,
    "infant": 0.002,
}


def standard(n: int = 1, **changes: Any) -> Terms:
    """n bearings of the standard case, some figures changed."""
    return terms(n, **{**STANDARD, **changes})


def belief(
    level: Any,
    level_sd: Any,
    median: Any,
    spread: Any,
    *,
    unevenness: float = 2.0,
    nodes: int = 15,
    reach: float = 2.8,
) -> Predictive:
    """B bearings, level known to ``level_sd`` at every node, log rate normal on even nodes; arguments (B,) or
    numbers.
    """
    level, level_sd, median, spread = (
        np.atleast_1d(np.asarray(a, dtype=float)) for a in (level, level_sd, median, spread)
    )
    n = max(len(a) for a in (level, level_sd, median, spread))
    e = np.linspace(-reach, reach, nodes) if nodes > 1 else np.zeros(1)
    w = np.exp(-0.5 * e**2)

    def wide(a: FloatArray) -> FloatArray:
        return np.broadcast_to(a, (n,))[:, None] * np.ones(nodes)

    return Predictive(
        np.tile(w / w.sum(), (n, 1)),
        np.log(wide(median)) + wide(spread) * e,
        wide(level),
        wide(level_sd) ** 2,
        np.full(n, unevenness),
    )
