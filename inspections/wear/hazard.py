"""Failures that measuring cannot foresee: how often a plant's own record has them, and what they add to wear.

Found wiped, bond failed, oil lost: such failures come at a rate h a bearing year beside wear, and independent
of it. Numbers only: they never enter a date, a trigger or an advice.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .arrays import FloatArray

# A belief worth 50 bearing years with half an event in them (mean 1 in 100 years): a design assumption, no
# published source.
BELIEVED_EVENTS, BELIEVED_YEARS = 0.5, 50.0
FEWEST = 3  # events under which counts are told and no rate


@dataclass(frozen=True)
class Hazard:
    """Gamma belief of the rate of sudden failures, a bearing year.

    h ~ Gamma(``events``, ``years``): after n failures in Y bearing years of observed life under the belief
    above, Gamma(0.5 + n, 50 + Y) (Gelman et al., Bayesian Data Analysis, 3rd edition, 2013, section 2.6).
    """

    events: float = BELIEVED_EVENTS
    years: float = BELIEVED_YEARS
    n: int = 0
    observed_years: float = 0.0

    @property
    def tells_a_rate(self) -> bool:
        """Whether there are enough events for a rate; else only the counts are told."""
        return self.n >= FEWEST

    @property
    def a_year(self) -> float:
        """Mean rate, a bearing year."""
        return self.events / self.years

    def within(self, years: FloatArray) -> FloatArray:
        """(N,) chance of a sudden failure within some years (N,) ahead, none of them negative.

        The rate is integrated out: 1 - (b / (b + t))^a under Gamma(a, b).

        >>> round(float(seen(2, 61.0).within(np.array([3.0]))[0]), 6)
        0.064497
        """
        ahead = np.maximum(np.asarray(years, dtype=float), 0.0)
        return -np.expm1(-self.events * np.log1p(ahead / self.years))

    def with_wear(self, by_wear: FloatArray, years: FloatArray) -> FloatArray:
        """(N,) chance of wear past a limit (N,) or of a sudden failure, by some years (N,) ahead.

        Exact while sudden failures are independent of wear.

        >>> round(float(seen(30, 1000.0).with_wear(np.array([0.05]), np.array([3.0]))[0]), 6)
        0.129173
        """
        return 1.0 - (1.0 - by_wear) * (1.0 - self.within(years))


def seen(n: int, years: float, fleet: Hazard | None = None) -> Hazard:
    """What is believed after n sudden failures in some bearing years of observed life.

    Parameters
    ----------
    n : failures found, 0 or more.
    years : bearing years observed, from each bearing's first event to the as-of day, 0 or more.
    fleet : what the whole fleet has taught, if this is one class of it: it then speaks for 50 bearing years
    of its own mean,
        in place of the belief before any record.

    Raises
    ------
    ValueError
        where a count or the years are negative or not numbers.
    """
    if n < 0 or not np.isfinite(years) or years < 0:
        raise ValueError(
            f"{n} failures in {years} bearing years: give a count of 0 or more and finite years of 0 or more."
        )
    before = BELIEVED_EVENTS if fleet is None else max(BELIEVED_YEARS * fleet.a_year, BELIEVED_EVENTS)
    return Hazard(before + n, BELIEVED_YEARS + years, n, years)
