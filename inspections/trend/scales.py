"""The scales of a trend's drawing: its sizes, what day and what clearance stands where."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from datetime import date
from itertools import pairwise

from fleet.drawing import Box, Places
from inspections.trend.values import Trend, TrendReading
from inspections.wear.normal import NINE_IN_TEN

LIMIT_WORDS = {"maximum": "in-service maximum", "replace": "replace rather than scrape from"}
SHORT_WORDS = {"maximum": "maximum", "replace": "replace limit"}


@dataclass(frozen=True)
class Size:
    """The drawing's own units: about one CSS pixel each."""

    width: float
    left: float
    right: float
    top: float
    floor: float
    font: float
    is_narrow: bool = False


WIDE = Size(1000, 46, 150, 36, 410, 13)
NARROW = Size(340, 32, 88, 42, 330, 12, True)


@dataclass
class Frame:
    """The scales of one drawing and what is already written on it."""

    trend: Trend
    size: Size
    ident: str
    first: date = field(init=False)
    low: float = field(init=False)
    high: float = field(init=False)
    places: Places = field(init=False)

    def __post_init__(self) -> None:
        self.first = self.trend.first_day()
        self.low, self.high = value_range(self.trend)
        self.places = Places(Box(self.left, self.top, self.right - self.left, self.floor - self.top))
        self._take_marks()

    @property
    def left(self) -> float:
        return self.size.left

    @property
    def right(self) -> float:
        return self.size.width - self.size.right

    @property
    def top(self) -> float:
        return self.size.top

    @property
    def floor(self) -> float:
        return self.size.floor

    @property
    def today(self) -> float:
        return self.x(self.trend.today)

    def x(self, when: date) -> float:
        """Where a day stands, held inside the plot."""
        share = (when - self.first).days / max(1, (self.trend.until - self.first).days)
        return self.left + (self.right - self.left) * min(1.0, max(0.0, share))

    def y(self, value_um: float) -> float:
        """Where a clearance stands."""
        return self.floor - (self.floor - self.top) * (value_um - self.low) / (self.high - self.low)

    def reach(self, reading: TrendReading) -> tuple[float, float]:
        """The upper and lower end of a reading's mark: 9 in 10 of the larger end and the smaller one, or its
        bounds.
        """
        low = reading.value_um if reading.smaller_um is None else reading.smaller_um
        high = reading.value_um
        if not reading.is_censored:
            low = min(low, high - NINE_IN_TEN * reading.sd_um)
            return self.y(high + NINE_IN_TEN * reading.sd_um), self.y(low)
        top = self.y(reading.high_um) if reading.high_um is not None else self.y(reading.low_um or 0.0) - 34
        foot = self.y(reading.low_um) if reading.low_um is not None else self.y(reading.high_um or 0.0) + 34
        return top, foot

    def _take_marks(self) -> None:
        """Keep labels away from readings, the fitted line, the limits and the fan's edges."""
        trend = self.trend
        for reading in trend.readings:
            top, foot = self.reach(reading)
            top, foot = (min(top, self.y(reading.value_um) - 8), max(foot, self.y(reading.value_um) + 8))
            self.places.take(Box(self.x(reading.day) - 8, top, 16, foot - top))
        lines = [(p.days, p.values_um) for p in trend.paths]
        if trend.fan:
            lines += [(trend.fan.days, trend.fan.p10), (trend.fan.days, trend.fan.p50)]
        for days, values in lines:
            points = [(self.x(d), self.y(v)) for d, v in zip(days, values, strict=True)]
            for first, last in pairwise(points):
                self._take_line(first, last)
        if trend.job and trend.job.trigger_um is not None:
            x = self.x(trend.job.start)
            self.places.take(Box(x - 8, self.y(trend.job.trigger_um) - 3, 28, 6))
        for limit in trend.limits:
            self.places.take(Box(self.left, self.y(limit.value_um) - 2, self.right - self.left, 4))

    def _take_line(self, first: tuple[float, float], last: tuple[float, float]) -> None:
        """Cover a sloping line with small boxes."""
        (x1, y1), (x2, y2) = first, last
        n = max(1, min(40, int(max(abs(x2 - x1), abs(y2 - y1)) / 6)))
        for i in range(n):
            x, y = x1 + (x2 - x1) * i / n, y1 + (y2 - y1) * i / n
            height = abs(y2 - y1) / n + 4
            self.places.take(Box(x, min(y, y + (y2 - y1) / n) - 2, (x2 - x1) / n + 1, height))


def value_range(trend: Trend) -> tuple[float, float]:
    """Low and high end of the clearance scale: all that was seen, the limits, some of what is coming."""
    values = [r.value_um for r in trend.readings] + [v for p in trend.paths for v in p.values_um]
    values += [
        bound for r in trend.readings for bound in (r.low_um, r.high_um, r.smaller_um) if bound is not None
    ]
    if trend.job and trend.job.trigger_um is not None:
        values.append(trend.job.trigger_um)
    values += [
        r.value_um + way * NINE_IN_TEN * r.sd_um
        for r in trend.readings
        if not r.is_censored
        for way in (-1, 1)
    ]
    limits = [limit.value_um for limit in trend.limits]
    values += limits
    if trend.fan and trend.fan.p50:
        values += [trend.fan.p10[0], trend.fan.p90[0]] if limits else [trend.fan.p10[0], trend.fan.p75[-1]]
    if not values:
        return 0.0, 100.0
    spread = max(max(values) - min(values), 20.0)
    step = nice_step(spread / 5)
    low = max(0.0, math.floor((min(values) - 0.1 * spread) / step) * step)
    return low, math.ceil((max(values) + 0.16 * spread) / (step / 2)) * step / 2


def nice_step(rough: float) -> float:
    """The step of 1, 2 or 5 times a power of ten next above a rough one."""
    power = 10.0 ** math.floor(math.log10(rough))
    return next(n * power for n in (1, 2, 5, 10) if n * power >= rough * 0.999)
