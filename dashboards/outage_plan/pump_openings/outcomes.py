"""What a job and an outage may come to: hours and shells over every outcome of their bearings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from inspections.wear.arrays import FloatArray

SURE = 0.9  # "9 in 10 within"
FEW = 10  # openings of bearings below which a count is summed exactly
STEP_H = 0.01  # hours are told apart to this much


@dataclass(frozen=True)
class Spread:
    """Crew hours of a job: expected, 9 in 10 within, at most."""

    expected: float
    within: float
    most: float


def job_hours(open_h: float, hours: FloatArray, chance: FloatArray) -> Spread:
    """Crew hours of one pump's job over every outcome of its n bearings.

    ``hours``, ``chance`` (n, 3): close up, scrape, new shell. The outcomes of one bearing do not tell of
    another's. At most counts outcomes that are possible, however unlikely; 9 in 10 within is never under what
    is expected, which a rare long job lifts above nine outcomes in ten.

    >>> s = job_hours(8.0, np.array([[4.0, 10.0, 20.0]] * 2), np.array([[0.5, 0.1, 0.4]] * 2))
    >>> s.expected, s.within, s.most
    (30.0, 48.0, 48.0)
    """
    value: FloatArray = np.array([float(open_h)])
    share: FloatArray = np.ones(1)
    for own, odds in zip(hours, chance, strict=True):
        sums = np.round((value[:, None] + own).ravel() / STEP_H).astype(np.int64)
        kinds, at = np.unique(sums, return_inverse=True)
        share = np.asarray(np.bincount(at.ravel(), (share[:, None] * odds).ravel()), dtype=np.float64)
        value = kinds * STEP_H
    possible = share > 0
    value, share = value[possible], share[possible]
    within = value[min(int(np.searchsorted(np.cumsum(share), SURE - 1e-9)), len(value) - 1)]
    expected = float(value @ share)
    return Spread(expected, max(float(within), expected), float(value[-1]))


def count_odds(chance: FloatArray) -> FloatArray:
    """(n + 1,) chance that 0 to n of n events happen, each of its own ``chance`` (n,): exact
    Poisson-binomial.

    >>> count_odds(np.array([0.5, 0.5])).tolist()
    [0.25, 0.5, 0.25]
    """
    odds = np.ones(1)
    for p in chance:
        odds = np.convolve(odds, [1.0 - p, p])
    return odds


def shells_within(chance: FloatArray, share: float = SURE) -> int:
    """How many new shells are enough in ``share`` of cases, of bearings each renewed with ``chance`` (n,).

    Exact for under ten bearings, by the normal with a half step from there on.

    >>> shells_within(np.array([0.4, 0.3])), shells_within(np.full(100, 0.2))
    (2, 25)
    """
    chance = np.asarray(chance, dtype=np.float64)
    if len(chance) < FEW:
        return int(np.searchsorted(np.cumsum(count_odds(chance)), share - 1e-9))
    sd = np.sqrt(np.sum(chance * (1.0 - chance)))
    return int(np.clip(np.ceil(chance.sum() + ndtri(share) * sd - 0.5), 0, len(chance)))


def hours_within(expected: FloatArray, variance: FloatArray, share: float = SURE) -> float:
    """Crew hours that are enough in ``share`` of cases for jobs of given means and variances (n,): by the
    normal.

    >>> round(hours_within(np.full(16, 20.0), np.full(16, 25.0)), 1)
    345.6
    """
    return float(np.sum(expected) + ndtri(share) * np.sqrt(np.sum(variance)))
