"""How fast the hours a day of a plant's pumps wander from year to year, learned from their meters.

The log of a pump's duty is taken as a random walk of variance q a year, with a jitter of variance e in each
span's mean that does not last. The means of two spans of T1 and T2 years whose middles lie L years apart then
differ by

    E d^2 = q (L - (T1 + T2) / 6) + 2 e,

for spans of a year 2/3 q at lag 1 (the variance of a walk's averages over adjoining intervals; H. Working,
Note on the correlation of first differences of averages in a random chain, Econometrica 28, 1960). See
docs/wear-model.md, section 7.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.optimize import nnls

from .arrays import FloatArray

BELIEVED = (
    0.02  # variance of log duty a year before any meter speaks: a design assumption, no published source
)
BELIEVED_PAIRS = 8.0  # pairs of spans that belief is worth
STEADY_FROM = 23.0  # hours a day: pumps over it cannot run longer, and are learned apart
SHORTEST, LONGEST, LAGS = 0.8, 2.0, 3  # years of a span; lags in years that are looked at
LEAST_HOURS = 0.05  # a day: under it a logarithm tells of a few starts, not of a duty
KEPT_WITHIN = 3.0  # robust standard deviations, beyond which a difference counts as so large


def spans(days: FloatArray, hours: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """A meter's entries as spans of about a year: (N,) middles and widths in years, and mean hours a day.

    ``days`` (M,) ordinals of the entries, growing; ``hours`` (M,) hours run by then. Entries closer than 0.8
    years are joined; a gap of over two years makes no span, since nobody knows how the hours lay in it.

    >>> middle, width, mean = spans(
    ...     np.array([0.0, 200.0, 365.25, 730.5]), np.array([0.0, 2000.0, 3652.5, 7305.0])
    ... )
    >>> width.tolist(), mean.tolist()
    ([1.0, 1.0], [10.0, 10.0])
    """
    kept = [0] if len(days) else []
    for i in range(1, len(days)):
        if days[i] - days[kept[-1]] >= SHORTEST * 365.25:
            kept.append(i)
    at, run = days[kept] / 365.25, hours[kept]
    width = np.diff(at)
    good = width <= LONGEST
    mean = np.diff(run)[good] / (365.25 * width[good])
    return ((at[1:] + at[:-1]) / 2)[good], width[good], np.clip(mean, 0.0, 24.0)


def learned_drift(pumps: Sequence[tuple[FloatArray, FloatArray]]) -> tuple[float, float]:
    """Variance of log duty gained a year, of pumps under 23 h a day and of those that run nearly always.

    Parameters
    ----------
    pumps : sequence of (days, hours)
        the meter of each pump, as `spans` takes it.

    Returns
    -------
    float, float
        never negative; the belief before any meter, 0.02, where there is none.
    """
    groups: tuple[
        list[tuple[FloatArray, FloatArray, FloatArray]], list[tuple[FloatArray, FloatArray, FloatArray]]
    ] = ([], [])
    for days, hours in pumps:
        middle, width, mean = spans(days, hours)
        seen = mean >= LEAST_HOURS
        if seen.sum() > 1:
            steady = float(np.median(mean[seen])) > STEADY_FROM
            groups[steady].append((middle[seen], width[seen], np.log(mean[seen])))
    return _drift(groups[0]), _drift(groups[1])


def _drift(pumps: Sequence[tuple[FloatArray, FloatArray, FloatArray]]) -> float:
    """Non-negative least squares of the mean squared differences by lag, with the belief as one more row."""
    lags = [_of_lag(pumps, lag) for lag in range(1, LAGS + 1)]
    told = [(growth, square, n / lag) for lag, (growth, square, n) in enumerate(lags, start=1) if n]
    if not told:
        return BELIEVED
    typical = max(BELIEVED, float(np.mean([square for _, square, _ in told])))
    rows = []
    for growth, square, n in told:
        # Few pairs that agree by chance must not speak for all: their spread leans on the belief's.
        size = (n * square + BELIEVED_PAIRS * BELIEVED * growth) / (n + BELIEVED_PAIRS)
        rows.append((growth, 2.0, square, np.sqrt(n) / size))
    rows.append((1.0, 0.0, BELIEVED, np.sqrt(BELIEVED_PAIRS) / typical))
    growth, jitter, square, weight = np.array(rows).T
    (drift, _), _ = nnls(np.column_stack([growth * weight, jitter * weight]), square * weight)
    return float(drift)


def _of_lag(pumps: Sequence[tuple[FloatArray, FloatArray, FloatArray]], lag: int) -> tuple[float, float, int]:
    """Mean growth factor, mean squared difference (large ones held) and number of pairs about ``lag`` years
    apart.
    """
    growth, away = [], []
    for middle, width, log in pumps:
        i, j = np.triu_indices(len(middle), 1)
        apart = middle[j] - middle[i]
        near = np.round(apart) == lag
        i, j, apart = i[near], j[near], apart[near]
        growth.append(apart - (width[i] + width[j]) / 6.0)
        away.append(log[j] - log[i])
    d, g = np.concatenate(away) if away else np.zeros(0), np.concatenate(growth) if growth else np.zeros(0)
    if not len(d):
        return 0.0, 0.0, 0
    most = KEPT_WITHIN * 1.4826 * float(np.median(np.abs(d)))
    return float(g.mean()), float(np.mean(np.minimum(np.abs(d), most) ** 2)), len(d)
