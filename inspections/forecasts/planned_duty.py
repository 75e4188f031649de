"""How a pump is meant to run: planned periods over its duty of late, as hours by day; days of even duty and
back.

Plain numbers in and out (numpy), no database. The wear engine takes one duty for the days ahead; a plan that
changes it is given to it as days of even duty, in which as many hours are run, and what it answers is turned
back into days.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from inspections.story.exposure import LEAST_HOURS_A_DAY
from inspections.story.season import Season

FloatArray = NDArray[np.float64]
MEAN_DAYS = 3652.5  # the even duty is the mean of so many days ahead
SEASON_UNTIL = 15341.0  # days ahead, past all dates: 42 years


@dataclass(frozen=True, slots=True)
class Period:
    """Hours (and, where planned, starts) a day from a first day to a last; no last day: until the next
    period.
    """

    from_on: dt.date
    until_on: dt.date | None
    hours_per_day: float
    starts_per_day: float | None = None


@dataclass(frozen=True)
class Ahead:
    """Hours a day ahead of a day.

    Attributes
    ----------
    begins : (K,) float array
        days from the as-of day at which each duty begins; the first is 0.
    per_day : (K,) float array
        hours a day from then on, never quite none.
    periods : tuple of Period
        what was planned, the soonest first.
    """

    begins: FloatArray
    per_day: FloatArray
    periods: tuple[Period, ...]

    def hours_by(self, days: ArrayLike) -> FloatArray:
        """Hours run by so many days from the as-of day."""
        asked = np.asarray(days, dtype=float)
        k = np.clip(np.searchsorted(self.begins, asked, side="right") - 1, 0, None)
        return np.asarray(self._run[k] + (asked - self.begins[k]) * self.per_day[k])

    @property
    def mean(self) -> float:
        """Hours a day, the mean of the ten years ahead."""
        return float(self.hours_by(MEAN_DAYS)) / MEAN_DAYS

    def even(self, days: ArrayLike) -> FloatArray:
        """Days of the even duty in which as many hours are run as in these days.

        >>> rests = Ahead(np.array([0.0, 100.0]), np.array([12.0, 24.0]), ())
        >>> bool(rests.even(50.0) < 50.0 and abs(rests.real(rests.even(150.0)) - 150.0) < 1e-9)
        True
        """
        return np.asarray(self.hours_by(days) / self.mean)

    def real(self, even_days: ArrayLike) -> FloatArray:
        """And back; what is not known or beyond stays so."""
        hours = np.asarray(even_days, dtype=float) * self.mean
        k = np.clip(np.searchsorted(self._run, hours, side="right") - 1, 0, None)
        with np.errstate(invalid="ignore"):
            return np.asarray(self.begins[k] + (hours - self._run[k]) / self.per_day[k])

    @property
    def _run(self) -> FloatArray:
        """(K,) hours run when each duty begins."""
        gained = np.diff(self.begins) * self.per_day[:-1]
        return np.concatenate([[0.0], np.cumsum(gained)])

    @property
    def starts_per_hour(self) -> float | None:
        """Starts an hour over the periods that plan them; None where none does."""
        told = [(p.starts_per_day, p.hours_per_day) for p in self.periods if p.starts_per_day is not None]
        hours = sum(per_day for _, per_day in told)
        return sum(starts for starts, _ in told) / hours if told and hours > 0 else None


def planned(
    periods: Sequence[Period], as_of: dt.date, usual: float, season: Season | None = None
) -> Ahead | None:
    """The duty ahead; None where nothing is planned from the day on and hours do not go by the season.

    Parameters
    ----------
    periods : sequence of Period
        of one pump, in any order; a later one ends an earlier one that reaches into it.
    usual : float
        hours a day of the days for which nothing is planned, the mean of a year.
    season : Season, optional
        how those hours lie in the year.
    """
    rows = sorted(periods, key=lambda one: one.from_on)
    begins: dict[float, float | None] = {}
    coming = []
    for k, one in enumerate(rows):
        after = rows[k + 1] if k + 1 < len(rows) else None
        first = max((one.from_on - as_of).days, 0)
        ends = [(one.until_on - as_of).days + 1] if one.until_on else []
        ends += [(after.from_on - as_of).days] if after else []
        if ends and min(ends) <= first:
            continue
        coming.append(one)
        begins[float(first)] = one.hours_per_day
        if ends:
            begins[float(min(ends))] = None
    if not coming and season is None:
        return None
    begins.setdefault(0.0, None)
    days, duty = _usual_filled_in(begins, as_of, usual, season)
    return Ahead(days, np.maximum(duty, LEAST_HOURS_A_DAY), tuple(coming))


def _usual_filled_in(
    begins: dict[float, float | None], as_of: dt.date, usual: float, season: Season | None
) -> tuple[FloatArray, FloatArray]:
    """Days at which each duty begins, and the duties: the usual one, by the season, where none is planned
    (None).
    """
    rows: dict[float, float] = {}
    order = sorted(begins)
    for first, end in zip(order, [*order[1:], SEASON_UNTIL], strict=True):
        duty = begins[first]
        if duty is not None or season is None or first >= end:
            rows[first] = usual if duty is None else duty
            continue
        on = [as_of + dt.timedelta(days=int(day)) for day in (first, end)]
        at, times = season.over(*on)
        rows |= {first + float(day): usual * float(share) for day, share in zip(at, times, strict=True)}
        if end == SEASON_UNTIL:
            rows[end] = usual
    days = sorted(rows)
    return np.array(days), np.array([rows[day] for day in days])
