"""The straight line: what a careful spreadsheet user fits, here as reference and as opponent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .history import FloatArray


@dataclass(frozen=True)
class Line:
    """Least squares y = level + slope x; ``level`` belongs to the last stretch.

    slope_sd, level_sd: standard errors from the residuals (NaN without a degree of freedom).
    """

    level: float
    slope: float
    level_sd: float
    slope_sd: float
    residual_sd: float
    freedom: int

    def reaches(self, limit: float) -> float:
        """Where the line meets the limit; infinite where it does not grow towards it."""
        gap = limit - self.level
        return gap / self.slope if self.slope != 0 and gap / self.slope > 0 else np.inf


def straight_line(x: FloatArray, y: FloatArray, stretch: FloatArray | None = None) -> Line | None:
    """One slope with a level of its own for each stretch (a scrape starts a new one); None without a slope.

    Sums are taken about the means, so neither the origin nor the unit of x matters to the digits.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    part = np.zeros(len(x), dtype=int) if stretch is None else np.unique(stretch, return_inverse=True)[1]
    if len(x) < 2:
        return None
    count = np.bincount(part)
    x_mean, y_mean = np.bincount(part, x) / count, np.bincount(part, y) / count
    dx, dy = x - x_mean[part], y - y_mean[part]
    sxx = float(dx @ dx)
    if not sxx > 0:
        return None
    slope = float(dx @ dy) / sxx
    freedom = len(x) - len(count) - 1
    left = dy - slope * dx
    sd = float(np.sqrt(left @ left / freedom)) if freedom > 0 else np.nan
    last = part[-1]
    level_sd = sd * float(np.sqrt(1.0 / count[last] + x_mean[last] ** 2 / sxx))
    level = float(y_mean[last] - slope * x_mean[last])
    return Line(level, slope, level_sd, sd / float(np.sqrt(sxx)), sd, freedom)
