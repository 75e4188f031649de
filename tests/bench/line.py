"""The opponent: what a careful spreadsheet user would do with the last life of a bearing (worlds.md).

Least squares in the last life, one slope, a level of its own after each scrape, the gauge's sd pooled over
the fleet; a slope under the fleet's 5th percentile, or too few readings: the fleet's median slope with the
fleet's spread. Dates from the line's band. The line itself lives beside the engine, which shows it in the
backtest.
"""

from __future__ import annotations

import numpy as np

from inspections.wear.arrays import Histories
from inspections.wear.line import fleet_lines

SHARES = np.array([0.05, 0.10, 0.50, 0.90, 0.95])


def straight_line(h: Histories, limit: float, cap: float) -> np.ndarray:
    """(B, 5) dates in kh from now, from each bearing's own line in its last life."""
    return fleet_lines(h).dates(np.full(h.n_bearings, limit), h.now_kh, SHARES, cap)
