"""Run hours as one growing count: meter resets and changed meters carried on, days between entries
interpolated.

Plain numbers in and out (numpy), no database.
"""

import datetime as dt
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

RUN_HOURS, STATED_DUTY, CALENDAR = "run_hours", "stated_duty", "calendar"
RECENT_DAYS = 730.0  # the last 24 months, from which the duty ahead is taken
SHORTEST_DAYS = 30.0  # entries closer together say little of the duty: hours are read to the day
LEAST_HOURS_A_DAY = 0.01  # a pump that stood still: its duty's logarithm must exist


@dataclass(frozen=True, slots=True)
class MeterPoint:
    """One entry of a pump's hour meter; `machine` tells one meter from another."""

    on: dt.date
    hours: float
    reset: bool = False
    hours_before: float | None = None
    starts: int | None = None
    machine: object = None
    last_on: dt.date | None = None

    @property
    def day(self) -> float:
        """The middle of the days it may have been, as an ordinal."""
        return (self.on.toordinal() + (self.last_on or self.on).toordinal()) / 2


@dataclass(frozen=True)
class Exposure:
    """Hours run at a place by day.

    Attributes
    ----------
    days : (N,) float array
        ordinals of the meter's entries, growing.
    hours : (N,) float array
        hours run since the first entry; never falling.
    before, after : float
        hours a day before the first entry and after the last.
    clock : str
        `run_hours`, `stated_duty` (days x duty) or `calendar` (24 hours a day).
    """

    days: FloatArray
    hours: FloatArray
    before: float
    after: float
    clock: str = RUN_HOURS

    def at(self, days: ArrayLike) -> FloatArray:
        """Hours run at given ordinals: linear between the entries, by duty outside them (negative before the
        first).

        >>> run = cumulative(
        ...     [MeterPoint(dt.date(2020, 1, 1), 100.0), MeterPoint(dt.date(2020, 1, 11), 300.0)]
        ... )
        >>> run.at([dt.date(2020, 1, 6).toordinal(), dt.date(2020, 1, 12).toordinal()]).tolist()
        [100.0, 220.0]
        """
        asked = np.asarray(days, dtype=float)
        inside = np.interp(asked, self.days, self.hours)
        early = np.minimum(asked - self.days[0], 0.0) * self.before
        late = np.maximum(asked - self.days[-1], 0.0) * self.after
        return np.asarray(inside + early + late, dtype=float)


def cumulative(
    meter: Iterable[MeterPoint], *, stated_duty: float | None = None, changed: Sequence[dt.date] = ()
) -> Exposure:
    """Carry a meter on over resets, changed pumps and falls, as one count that never falls.

    Parameters
    ----------
    meter : iterable of MeterPoint
        in any order.
    stated_duty : float, optional
        hours a day, as the plant states it; used outside the entries, and alone where there are fewer than
        two.
    changed : sequence of date
        days on which another pump was set down: its meter starts anew.

    Returns
    -------
    Exposure
        with fewer than two usable entries: days x stated duty, or without one calendar hours, counted from
        day 0.

    Notes
    -----
    Where the meter before a reset is not known, and where hours fall without a reset, the hours of that gap
    are taken
    at the duty of the gaps whose hours are known (common practice, no published source).
    """
    given = list(meter)
    # What else was read on the day of a reset may be from before or after it: the reset says both.
    resets = {(point.day, point.machine) for point in given if point.reset}
    kept = (point for point in given if point.reset or (point.day, point.machine) not in resets)
    points = sorted(kept, key=lambda point: (point.day, point.reset))
    if len({point.day for point in points}) < 2:
        return without_meter(stated_duty)
    days, gained = _gains(points, changed)
    known = ~np.isnan(gained)
    if not known[1:].any():
        return without_meter(stated_duty)
    gaps = np.diff(days, prepend=days[0])
    duty = float(np.nansum(gained[1:]) / max(gaps[1:][known[1:]].sum(), 1.0))
    gained = np.where(known, gained, gaps * min(duty, 24.0))
    hours = np.cumsum(gained)
    recent = _duty_between(days, hours, days[-1] - RECENT_DAYS, days[-1])
    first = _duty_between(days, hours, days[0], days[0] + RECENT_DAYS)
    return Exposure(days, hours, first, recent if stated_duty is None else stated_duty)


def _gains(points: Sequence[MeterPoint], changed: Sequence[dt.date]) -> tuple[FloatArray, FloatArray]:
    """Day and hours gained since the entry before (nan: not known); the entries of one day are one."""
    breaks = np.array(sorted(day.toordinal() for day in changed), dtype=float)
    days, gained = [points[0].day], [0.0]
    last = points[0]
    for point in points[1:]:
        step = np.count_nonzero((breaks > last.day) & (breaks <= point.day)) > 0
        other = step or point.machine != last.machine
        if point.reset or other:
            before = point.hours_before
            gain = np.nan if before is None or before < last.hours else before - last.hours
        else:
            gain = point.hours - last.hours if point.hours >= last.hours else np.nan
        if point.day > days[-1]:
            days.append(point.day)
            gained.append(gain)
        elif not np.isnan(gain) and gain > 0:
            gained[-1] += gain
        last = point
    return np.array(days), np.array(gained)


def without_meter(stated_duty: float | None) -> Exposure:
    """Days x stated duty, or calendar hours, counted from ordinal 0."""
    duty, clock = (24.0, CALENDAR) if stated_duty is None else (stated_duty, STATED_DUTY)
    return Exposure(np.array([0.0]), np.array([0.0]), duty, duty, clock)


def _duty_between(days: FloatArray, hours: FloatArray, start: float, end: float) -> float:
    """Hours a day between two days, as far as entries reach; at least a month of them
    where there is as much.
    """
    start, end = max(start, days[0]), min(end, days[-1])
    if end - start < SHORTEST_DAYS:
        start, end = days[0], days[-1]
    gained = np.interp(end, days, hours) - np.interp(start, days, hours)
    return float(min(max(gained / max(end - start, 1.0), 0.0), 24.0))


def recent_duty(
    run: Exposure,
    as_of: dt.date,
    even: Callable[[FloatArray], FloatArray] | None = None,
    shortest: float = SHORTEST_DAYS,
) -> tuple[float, float]:
    """Hours a day over the last 24 months before a day, and the spread of its logarithm.

    Parameters
    ----------
    run : Exposure
    as_of : date
        entries after it are left out; where none lies in the last 24 months, the last 24 months of the
        entries count.
    even : callable, optional
        days (N,) as days of even duty, where a pump's hours go by the season.
    shortest : float
        days of a gap; shorter ones are joined with the next.

    Returns
    -------
    duty : float
        hours a day (0 to 24).
    log_sd : float
        standard deviation of the logarithm of the duty from gap to gap, weighted by their days; nan where
        fewer than two such gaps are known.
    """
    if run.clock != RUN_HOURS:
        return run.after, float("nan")
    end = min(float(as_of.toordinal()), run.days[-1])
    if end <= run.days[0]:
        return run.before, float("nan")
    known = run.days <= end
    days, hours = run.days[known], run.hours[known]
    if even is not None:
        days = even(days)
        end = float(days[-1])
    duty = _duty_between(days, hours, end - RECENT_DAYS, end)
    return duty, _log_spread(days, hours, end - RECENT_DAYS, shortest)


def _log_spread(days: FloatArray, hours: FloatArray, start: float, shortest: float) -> float:
    """Weighted spread of log duty over the gaps that end after `start`; short gaps are
    joined with the next.
    """
    kept = [0]
    for j in range(1, len(days)):
        if days[j] - days[kept[-1]] >= shortest:
            kept.append(j)
    widths, gains = np.diff(days[kept]), np.diff(hours[kept])
    recent = days[kept][1:] > start
    if recent.sum() < 2:
        return float("nan")
    logs = np.log(np.maximum(gains[recent] / widths[recent], LEAST_HOURS_A_DAY))
    weights = widths[recent] / widths[recent].sum()
    mean = float(weights @ logs)
    # The unbiased form for weights that are not counts, so that two gaps do not look too steady.
    return float(np.sqrt(weights @ (logs - mean) ** 2 / max(1.0 - weights @ weights, 1e-9)))


def starts_per_hour(meter: Iterable[MeterPoint], run: Exposure) -> float:
    """Starts per hour run over the entries that give starts; nan where fewer than two do
    or they do not grow.
    """
    counted = starts_counted(meter, run)
    return counted.per_hour if counted else float("nan")


@dataclass(frozen=True)
class Starts:
    """Starts of a pump by day: ordinals and starts since the first entry that gives them; how many an hour of
    late.
    """

    days: FloatArray
    counts: FloatArray
    hours: FloatArray
    per_hour: float

    def at(self, days: ArrayLike, run: Exposure) -> FloatArray:
        """Starts by given ordinals: with the run hours between entries, at the recent number an hour outside
        them.
        """
        asked = run.at(days)
        inside = np.interp(asked, self.hours, self.counts)
        outside = np.minimum(asked - self.hours[0], 0.0) + np.maximum(asked - self.hours[-1], 0.0)
        return np.asarray(inside + outside * self.per_hour, dtype=float)


def starts_counted(meter: Iterable[MeterPoint], run: Exposure) -> Starts | None:
    """The starts of a pump carried on over falls (a counter set back adds nothing); None without two entries.

    An hour's starts are those of the last 24 months of entries, or of all where that is less than a month.
    """
    counted = sorted((p.day, p.starts) for p in meter if p.starts is not None)
    if len(counted) < 2 or run.clock != RUN_HOURS:
        return None
    days = np.array([day for day, _ in counted])
    gained = np.cumsum([0, *(max(b - a, 0) for (_, a), (_, b) in pairwise(counted))]).astype(float)
    hours = run.at(days)
    if hours[-1] <= hours[0]:
        return None
    begun = float(run.at(max(days[0], days[-1] - RECENT_DAYS)))
    if hours[-1] <= begun or days[-1] - days[0] < SHORTEST_DAYS:
        begun = hours[0]
    per_hour = float((gained[-1] - np.interp(begun, hours, gained)) / (hours[-1] - begun))
    return Starts(days, gained, hours, per_hour)
