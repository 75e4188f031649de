"""The season of a pump: how its hours lie in the year, learned from its meter.

A pump that runs half the year has no uneven duty: its hours follow the calendar, and so do the days ahead.
Plain numbers in and out (numpy), no database.
"""

import datetime as dt
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.special import stdtrit

from fleet.month_names import MONTHS
from inspections.story.exposure import RECENT_DAYS, RUN_HOURS, Exposure, FloatArray, recent_duty

# A judgement, no published source: entries further apart blur a season; it has to come back; and what a month
# has over the year's mean is told apart from chance by this ratio of variances.
CLOSE_DAYS, LEAST_YEARS, APART = 100.0, 2, 3.0
# Entries half a year apart, give or take some weeks, tell the halves of a year and no month: chance makes two
# halves differ more easily, so more years are asked, and the ratio that chance passes once in twenty times.
HALF_YEAR_DAYS, LEAST_HALVES, BY_CHANCE = 230.0, 3, 0.05
SPAN_DAYS = 300.0  # entries of a year, by which the spread beside a season of halves is read
YEAR_MONTHS = 12


@dataclass(frozen=True)
class Season:
    """``months`` (12,): hours a day of each month over the year's mean, January first; ``told`` the share of
    what the meter shows that is drawn in; ``halves``: entries half a year apart told it.
    """

    months: FloatArray
    told: float = 1.0
    halves: bool = False

    def over(self, first: dt.date, last: dt.date) -> tuple[FloatArray, FloatArray]:
        """Days after ``first`` at which each month until ``last`` begins, the first at 0, and what its hours
        a day are times the year's mean.
        """
        begins, times, day = [0.0], [float(self.months[first.month - 1])], _next_month(first)
        while day < last:
            begins.append(float((day - first).days))
            times.append(float(self.months[day.month - 1]))
            day = _next_month(day)
        return np.array(begins), np.array(times)

    def even(self, days: FloatArray) -> FloatArray:
        """(N,) ordinals, growing, as days of even duty in which as many hours are run."""
        if not len(days):
            return days
        first, last = (dt.date.fromordinal(int(at)) for at in (np.floor(days[0]), np.ceil(days[-1])))
        begins, times = self.over(first, last + dt.timedelta(days=1))
        ends = np.append(begins[1:], (last - first).days + 1.0)
        run = np.concatenate([[0.0], np.cumsum((ends - begins) * times)])
        at = np.append(begins, ends[-1])
        return np.asarray(np.interp(days - first.toordinal(), at, run), dtype=np.float64)

    @property
    def words(self) -> str:
        """The months of most hours, as "April to September"; empty where no season is worth a word.

        >>> Season(np.array([0, 0, 0, 2, 2, 2, 2, 2, 2, 0, 0, 0.0])).words
        'April to September'
        """
        busy = self.months > 1.0
        if np.ptp(self.months) < 0.5 or busy.all():
            return ""
        begins = [m for m in range(YEAR_MONTHS) if busy[m] and not busy[m - 1]]
        if len(begins) != 1:
            return ""
        first = begins[0]
        last = (first + int(busy.sum()) - 1) % YEAR_MONTHS
        return f"{MONTHS[first]} to {MONTHS[last]}"


def _next_month(day: dt.date) -> dt.date:
    return (day.replace(day=1) + dt.timedelta(days=32)).replace(day=1)


def season_of(run: Exposure, as_of: dt.date) -> Season | None:
    """How the hours lie in the year; None where the meter shows no season.

    Whole years of entries not over 100 days apart, back from the last one: with p the hours a day of a month
    over its year's mean, the months' means over k years have a variance B; W / k of it is chance, W the
    variance of p within a month. What is over even is drawn in by 1 - 3 / (B / (W / k)), nothing under a
    ratio of 3: a season comes in by degrees, never by a test that makes a date jump. Where entries lie up to
    230 days apart a year has two halves and k of them one difference each: the ratio is then what Student's t
    with k - 1 degrees of freedom passes in one case of twenty, squared (18.5 of 3 years, 6.6 of 6).

    A meter that cannot tell has no season; nothing is raised.
    """
    if run.clock != RUN_HOURS:
        return None
    known = run.days <= as_of.toordinal()
    days, hours = run.days[known], run.hours[known]
    years, apart, halves = _years(days, hours, CLOSE_DAYS), APART, False
    if len(years) < LEAST_YEARS:
        years, halves = _years(days, hours, HALF_YEAR_DAYS), True
        if len(years) < LEAST_HALVES:
            return None
        apart = float(stdtrit(len(years) - 1, 1.0 - BY_CHANCE / 2) ** 2)
    profile = np.array(years)
    mean = profile.mean(axis=0)
    within = float(np.mean(profile.var(axis=0, ddof=1))) / len(years)
    between = float(np.var(mean, ddof=1))
    if between <= apart * within or between <= 0.0:
        return None
    told = 1.0 - apart * within / between
    return Season(1.0 + told * (mean - 1.0), told, halves)


def seasonal_duty(run: Exposure, as_of: dt.date) -> tuple[Season | None, float, float]:
    """The season of a pump, its hours a day of late, and the spread of their log beside the season.

    By entries half a year apart the spread is that from year to year, and beside it the share of that from
    entry to entry which the season leaves.
    """
    season = season_of(run, as_of)
    if season is None or not season.halves:
        return season, *recent_duty(run, as_of, season.even if season else None)
    duty, _ = recent_duty(run, as_of, season.even)
    _, by_entry = recent_duty(run, as_of)
    _, by_year = recent_duty(run, as_of, shortest=SPAN_DAYS)
    return season, duty, float(np.hypot((1.0 - season.told) * by_entry, season.told * by_year))


def sparse(run: Exposure, as_of: dt.date) -> bool:
    """Whether a meter's entries of the last 24 months lie too far apart to tell a month from the next."""
    days = run.days[(run.days > as_of.toordinal() - RECENT_DAYS) & (run.days <= as_of.toordinal())]
    return run.clock == RUN_HOURS and len(days) > 1 and float(np.diff(days).max()) > CLOSE_DAYS


def _years(days: FloatArray, hours: FloatArray, close_days: float) -> list[FloatArray]:
    """(12,) hours a day of each month over the mean of its year, of each year whose entries lie at most
    ``close_days`` apart, back from the last.
    """
    found: list[FloatArray] = []
    if len(days) < 2:
        return found
    end = dt.date.fromordinal(int(days[-1])).replace(day=1)
    while True:
        begins = [end]
        for _ in range(YEAR_MONTHS):
            begins.append((begins[-1] - dt.timedelta(days=1)).replace(day=1))
        at = np.array([day.toordinal() for day in reversed(begins)], dtype=float)
        if at[0] < days[0] - 0.5 or not _close(days, at[0], at[-1], close_days):
            return found
        per_day = np.diff(np.interp(at, days, hours)) / np.diff(at)
        year = float((np.interp(at[-1], days, hours) - np.interp(at[0], days, hours)) / (at[-1] - at[0]))
        if year <= 0.0:
            return found
        months = [day.month - 1 for day in reversed(begins[1:])]
        profile = np.zeros(YEAR_MONTHS)
        profile[months] = per_day / year
        found.append(profile)
        end = begins[-1]


def _close(days: FloatArray, first: float, last: float, close_days: float) -> bool:
    """Whether no two entries of a stretch lie further apart than a season may be read from."""
    inside = [first, *days[(days > first) & (days < last)], last]
    return all(b - a <= close_days for a, b in pairwise(inside))
