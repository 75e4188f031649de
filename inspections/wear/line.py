"""The straight line: what a careful spreadsheet user fits, here as reference and as opponent."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri, stdtrit

from .arrays import FloatArray, Histories, IntArray, Kind


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


UNKNOWN_SPREAD = 0.5  # sd of log slopes where the fleet shows no two of them: a design assumption
MOST_POINTS = 1401  # places along the band at which it is held against a limit


@dataclass(frozen=True)
class FleetLines:
    """Each bearing's straight line through its last life, as a careful spreadsheet user draws it.

    One slope in the last life, a level of its own after each scrape, the gauge's sd pooled over the fleet; a
    slope under the fleet's 5th percentile (or not above zero), or too few readings: the fleet's median slope
    with the fleet's spread, from the last reading. Shapes (B,); um, kh, um/kh.
    """

    slope: FloatArray
    level: FloatArray  # mean of the last stretch, at ``centre``
    centre: FloatArray
    count: IntArray
    sxx: FloatArray
    own: np.ndarray  # whether the bearing's own line serves
    last: IntArray  # event of the last reading, -1 without one
    last_at: FloatArray
    last_value: FloatArray
    sd: float
    freedom: int
    median: float
    spread: float

    def band(self, i: int, x: FloatArray, share: float, reading: bool = False) -> FloatArray:
        """The level below which the line puts ``share`` at exposures x; of a reading:
        with the gauge's error.
        """
        more = self.sd**2 if reading else 0.0
        if not self.own[i]:
            ahead = x - self.last_at[i]
            middle = self.median * np.exp(self.spread * ndtri(share)) * ahead
            if not reading:
                return self.last_value[i] + middle
            spent = self.median * ahead
            sd = np.sqrt((self.spread * spent) ** 2 + 2.0 * more)
            return self.last_value[i] + spent + ndtri(share) * sd
        ahead = x - self.centre[i]
        var = self.sd**2 * (1.0 / self.count[i] + ahead**2 / self.sxx[i]) + more
        return self.level[i] + self.slope[i] * ahead + stdtrit(self.freedom, share) * np.sqrt(var)

    def dates(self, limit: FloatArray, now: FloatArray, shares: FloatArray, cap: float) -> FloatArray:
        """(B, S) exposure from now until the band meets the limit; 0 passed, ``cap`` where it does not."""
        ahead = np.linspace(0.0, cap, MOST_POINTS)
        out = np.full((len(limit), len(shares)), cap)
        for i in np.flatnonzero(np.isfinite(self.last_at)):
            for k, share in enumerate(shares):
                over = np.flatnonzero(self.band(int(i), now[i] + ahead, 1.0 - share) >= limit[i])
                out[i, k] = ahead[over[0]] if len(over) else cap
        return np.sort(out, axis=1)


def fleet_lines(h: Histories, hidden: np.ndarray | None = None) -> FleetLines:
    """The lines of a whole fleet; ``hidden`` (E,) readings count as not taken."""
    seen = (h.kind == Kind.READING) & np.isfinite(h.value_um) & (h.method >= 0)
    if hidden is not None:
        seen &= ~hidden
    owner, n = h.owner, h.n_bearings
    begins = h.among(Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE)
    begins[h.start[:-1][np.diff(h.start) > 0]] = True
    life = np.cumsum(begins)
    stretch = np.cumsum(begins | (h.kind == Kind.SCRAPE))
    last = np.full(n, -1)
    last[owner[seen]] = np.flatnonzero(seen)
    chosen = seen & (last[owner] >= 0)
    chosen &= life == life[np.maximum(last, 0)][owner]
    return _drawn(h, owner[chosen], stretch[chosen], h.exposure_kh[chosen], h.value_um[chosen], last)


def _drawn(
    h: Histories, owner: IntArray, stretch: IntArray, x: FloatArray, y: FloatArray, last: IntArray
) -> FleetLines:
    n = len(last)
    part = np.unique(stretch, return_inverse=True)[1]
    count = np.bincount(part, minlength=1)
    x_mean, y_mean = (np.bincount(part, v, minlength=1) / np.maximum(count, 1) for v in (x, y))
    dx, dy = x - x_mean[part], y - y_mean[part]
    sxx, sxy = np.bincount(owner, dx * dx, minlength=n), np.bincount(owner, dx * dy, minlength=n)
    with np.errstate(invalid="ignore", divide="ignore"):
        slope = sxy / sxx
    stretches = (
        np.bincount(owner[np.unique(part, return_index=True)[1]], minlength=n) if len(x) else np.zeros(n)
    )
    freedom = np.bincount(owner, minlength=n) - stretches - 1
    drawn = (sxx > 1e-9 * np.maximum(x.max(initial=0.0) ** 2, 1e-300)) & (freedom >= 0)
    left = np.bincount(owner, (dy - np.where(drawn, slope, 0.0)[owner] * dx) ** 2, minlength=n)
    total = int(freedom[drawn].sum())
    sd = (
        float(np.sqrt(left[drawn].sum() / total))
        if total > 0
        else float(np.median([m.sd_um for m in h.methods]))
    )
    known = slope[drawn]
    growing = known[known > 0]
    median = float(np.median(known)) if len(known) and np.median(known) > 0 else 2.0
    spread = float(np.std(np.log(growing))) if len(growing) > 1 else UNKNOWN_SPREAD
    floor = max(float(np.quantile(known, 0.05)), 0.0) if len(known) else np.inf
    own = drawn & (np.where(drawn, slope, -np.inf) > 0) & (np.where(drawn, slope, -np.inf) >= floor)
    has = last >= 0
    tail = np.zeros(n, dtype=int)
    tail[owner] = part  # the last written is the last stretch
    at = np.where(has, h.exposure_kh[np.maximum(last, 0)], np.nan) if len(h.kind) else np.full(n, np.nan)
    value = np.where(has, h.value_um[np.maximum(last, 0)], np.nan) if len(h.kind) else np.full(n, np.nan)
    return FleetLines(
        slope,
        y_mean[tail],
        x_mean[tail],
        np.maximum(count[tail], 1),
        np.maximum(sxx, 1e-300),
        own,
        last,
        at,
        value,
        max(sd, 1e-6),
        max(total, 1),
        median,
        spread,
    )
