"""What a bearing's trend is made of: plain days and micrometres, before anything is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from fleet.drawing import Span


@dataclass(frozen=True)
class TrendReading:
    """One observation; `low_um`/`high_um` bound a censored one ("> 0.006 in" has only `low_um`).

    `value_um` is the larger end, which the limits are held against; `smaller_um` the other, where both were
    read.
    """

    day: date
    value_um: float
    sd_um: float
    stage: str = "as_found"
    method: str = ""
    label: str = ""
    state: str = "used"  # used, excluded (named a slip or taken out), set_aside, added (would be stored)
    low_um: float | None = None
    high_um: float | None = None
    precision: str = "day"
    smaller_um: float | None = None

    @property
    def is_censored(self) -> bool:
        """Whether only a bound, or two, were seen."""
        return self.low_um is not None or self.high_um is not None


@dataclass(frozen=True)
class TrendWork:
    """Work done at the bearing; `label` is written on the drawing, a scrape's step after it."""

    day: date
    kind: str
    label: str
    step_um: float | None = None
    detail: str = ""


@dataclass(frozen=True)
class TrendPath:
    """The fitted clearance of the larger end in one life; a day twice in a row is a step (a scrape)."""

    days: tuple[date, ...]
    values_um: tuple[float, ...]
    label: str = ""


@dataclass(frozen=True)
class TrendFan:
    """Quantiles of the coming clearance of the larger end."""

    days: tuple[date, ...]
    p10: tuple[float, ...]
    p25: tuple[float, ...]
    p50: tuple[float, ...]
    p75: tuple[float, ...]
    p90: tuple[float, ...]


@dataclass(frozen=True)
class TrendLimit:
    """A limit as it held from one day to another; the one without an end is the limit now."""

    kind: str  # maximum, replace
    value_um: float
    authority: str = ""
    from_day: date | None = None
    to_day: date | None = None


@dataclass(frozen=True)
class TrendDates:
    """When a limit is reached: 1 in 10, even, 9 in 10; `None` lies beyond."""

    words: str
    p10: date | None
    p50: date | None
    p90: date | None


@dataclass(frozen=True)
class TrendJob:
    """The planned opening: its outage, and the clearance found from which a new shell goes in; None: no
    trigger.
    """

    start: date
    end: date
    trigger_um: float | None = None
    words: str = "open"


@dataclass(frozen=True)
class Trend:
    """Everything one trend shows."""

    title: str
    summary: str
    today: date
    until: date
    readings: tuple[TrendReading, ...] = ()
    works: tuple[TrendWork, ...] = ()
    paths: tuple[TrendPath, ...] = ()
    fan: TrendFan | None = None
    limits: tuple[TrendLimit, ...] = ()
    outages: tuple[Span, ...] = ()
    dates: TrendDates | None = None
    job: TrendJob | None = None
    quantity: str = "clearance, diametral, µm"
    today_label: str = "today"
    start: date | None = None

    def first_day(self) -> date:
        """Where the drawing begins: the first thing known, unless a start is asked for."""
        if self.start:
            return self.start
        known = [r.day for r in self.readings] + [w.day for w in self.works]
        known += [p.days[0] for p in self.paths if p.days]
        earliest = min([*known, self.today])
        room = max(60, (self.today - earliest).days // 40)
        return date.fromordinal(earliest.toordinal() - room)
