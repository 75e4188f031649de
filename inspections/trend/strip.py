"""The small drawing of a bearing: a row of the watch list, a sheet's preview, a line of the plan; any number
stack on one time axis.

Places along time are per cents of the width, so one drawing serves a wide table and a phone: lines stretch,
marks and words keep their size. Its only words are the limits' figures in the right margin.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.html import escape
from django.utils.safestring import SafeString

from fleet.drawing import (
    PALETTE,
    TimeAxis,
    curve,
    element,
    hatch,
    hatched,
    line,
    pct,
    picture,
    polyline,
    solid,
    stroke,
    text_width,
    words,
)
from fleet.formatting import day, figure_in_unit, in_unit
from inspections.trend.drawing_labels import NEW_METAL, apart, job_words
from inspections.trend.values import Trend, TrendDates, TrendReading, TrendWork

TOP, FOOT = 7.0, 17.0  # px kept above the clearances, and below them for work and dates
LABEL = 12.0  # size of a limit's figure, and the room each takes
LEAST_WIDTH = 300.0  # px of a strip on a phone
YEAR_ROOM = 250.0  # px that the years must find room in on a phone


def axis_of(trends: Sequence[Trend], ident: str = "strips", years_back: int = 12) -> TimeAxis:
    """One axis over several bearings: from the first thing known, at most so many years back, to the last day
    shown.
    """
    today = max(trend.today for trend in trends)
    first = min(trend.first_day() for trend in trends)
    back = date(today.year - years_back, 1, 1)
    return TimeAxis(max(first, back), max(trend.until for trend in trends), ident=ident, left=0.5, right=10.0)


def strip_axis(axis: TimeAxis) -> SafeString:
    """The years over a stack of strips, and the hatching that all of them refer to."""
    label = f"Time from {day(axis.start, 'month')} to {day(axis.end, 'month')}"
    every = next(n for n in (1, 2, 5, 10) if len(axis.years()) / n * 44 <= YEAR_ROOM or n == 10)
    parts = [element("defs", hatch(f"{axis.ident}-hatch"))]
    for first in axis.years():
        if first.year % every == 0 and axis.x(first) < 94:
            anchor = "start" if axis.x(first) < 6 else "middle"  # the first must not hang out at the left
            parts.append(words(pct(axis.x(first)), 13, str(first.year), "quiet", size=LABEL, anchor=anchor))
            parts.append(line(pct(axis.x(first)), 17, pct(axis.x(first)), 22, "quiet"))
    return picture("".join(parts), label=label, class_="strip-axis", height=22)


@dataclass(frozen=True)
class Row:
    """What a row of a list says in place of dates, in the limit's colour where it is past it, and how it is
    read aloud; `marks` names the outages and years drawn once for all rows of its axis.
    """

    told: str
    note: str = ""
    is_past: bool = False
    marks: str = ""


def strip(
    trend: Trend, axis: TimeAxis, height: float = 64.0, row: Row | None = None, unit: str = "um"
) -> SafeString:
    """One bearing on a shared axis, its figures in `unit`; needs `strip_axis(axis)` once on the page, or the
    marks of its row.
    """
    scale = _Scale(trend, axis, height, unit)
    stretched = [_fan(scale), *(_path(scale, path.days, path.values_um) for path in trend.paths)]
    lines = element(
        "svg",
        *stretched,
        width="100%",
        height=height,
        viewBox=f"0 0 1000 {height:g}",
        preserveAspectRatio="none",
    )
    marks = [*map(scale.work, trend.works), *map(scale.reading, trend.readings)]
    ground = _outages(scale) if row is None else _row_marks(row)
    foot = _note(scale, row) if row and row.note else _dates(scale)
    content = [ground, _today(scale), lines, _limits(scale), *marks, _job(scale), foot]
    label = row.told if row else f"{trend.title}. {trend.summary}"
    return picture("".join(content), label=label, class_="strip row-strip" if row else "strip", height=height)


def _row_marks(row: Row) -> str:
    """The outages and years that all rows of an axis share."""
    outages = element("use", href=f"#{row.marks}-outages")
    return outages + element("use", href=f"#{row.marks}-years", class_="bar-years")


def _note(scale: _Scale, row: Row) -> str:
    """What stands in place of dates: after today where a phone has room there, else up to the margin."""
    axis, y = scale.axis, scale.height - 3
    today, edge = axis.x(scale.trend.today), 100 - axis.right
    look = "limit strong halo" if row.is_past else "quiet halo"
    if text_width(row.note, LABEL) + 8 <= (edge - today) / 100 * LEAST_WIDTH:
        return words(pct(today), y, row.note, look, dx=6, size=LABEL)
    return words(pct(edge), y, row.note, look, dx=-4, anchor="end", size=LABEL)


class _Scale:
    """What stands where in one strip: x in per cent of the width, y in px."""

    def __init__(self, trend: Trend, axis: TimeAxis, height: float, unit: str):
        self.trend, self.axis, self.height, self.unit = trend, axis, height, unit
        shown = [r for r in trend.readings if r.day >= axis.start]
        values = [value for r in shown for value in (r.value_um, r.smaller_um) if value is not None]
        values += [limit.value_um for limit in trend.limits if not limit.to_day]
        values += [
            value
            for path in trend.paths
            for when, value in zip(path.days, path.values_um, strict=True)
            if when >= axis.start
        ]
        if trend.fan and trend.fan.p10:
            values += [trend.fan.p10[0], trend.fan.p90[0]]
        if trend.job and trend.job.trigger_um is not None:
            values.append(trend.job.trigger_um)
        self.low, self.high = (min(values), max(values)) if values else (0.0, 100.0)
        if self.high - self.low < 20.0:
            self.high, self.low = self.high + 10.0, self.low - 10.0
        self.high += 0.12 * (self.high - self.low)  # so that what lies over its maximum is seen to

    def y(self, value: float) -> float:
        """Where a clearance stands."""
        share = (value - self.low) / (self.high - self.low)
        return self.height - FOOT - (self.height - FOOT - TOP) * share

    def shows(self, when: date) -> bool:
        return self.axis.start <= when <= self.axis.end

    def reading(self, seen: TrendReading) -> str:
        """Both ends joined; the larger a ring, filled where it would be added, crossed
        where it is not used.
        """
        if not self.shows(seen.day):
            return ""
        x, y = pct(self.axis.x(seen.day)), self.y(seen.value_um)
        is_used = seen.state in ("used", "added")
        colour = "dye" if is_used else "quiet"
        said = f"{day(seen.day, seen.precision)}: {in_unit(seen.value_um, self.unit)}" + (
            f", other end {in_unit(seen.smaller_um, self.unit)}" if seen.smaller_um is not None else ""
        )
        parts = [element("title", escape(f"{said}, would be added" if seen.state == "added" else said))]
        if seen.smaller_um is not None:
            parts.append(line(x, self.y(seen.smaller_um), x, y, colour, 3.0))
        look: dict[str, str | float] = {
            "cx": x,
            "cy": y,
            "r": 3.4 if is_used else 2.6,
            "stroke": PALETTE[colour],
            "stroke_width": "1.6",
        }
        filled = seen.state == "added"
        parts.append(
            element(
                "circle",
                class_=f"{'added' if filled else 'ring'}-{colour}",
                fill=PALETTE[colour if filled else "paper"],
                **look,
            )
        )
        return element("g", *parts)

    def work(self, done: TrendWork) -> str:
        """A bronze mark on the foot; new metal cuts the height."""
        if not self.shows(done.day):
            return ""
        x, floor = pct(self.axis.x(done.day)), self.height - FOOT + 3
        parts = [element("title", escape(f"{day(done.day)}: {done.label}"))]
        if done.kind in NEW_METAL:
            parts.append(line(x, TOP - 4, x, floor, "bronze", 1.2, "2 3"))
        head = solid("path", "bronze", d="M-3.5 0L0 -6L3.5 0Z")
        parts.append(element("svg", head, x=x, y=floor, overflow="visible", width="1", height="1"))
        return element("g", *parts)


def _fan(scale: _Scale) -> str:
    fan = scale.trend.fan
    if not fan or len(fan.days) < 2:
        return ""
    xs = [10 * scale.axis.x(when) for when in fan.days]
    edge = [(x, scale.y(v)) for x, v in zip(xs, fan.p90, strict=True)]
    back = [(x, scale.y(v)) for x, v in zip(xs, fan.p10, strict=True)]
    shape = polyline(edge + back[::-1]) + "Z"
    tint = element("path", d=shape, class_="band-wide", fill=PALETTE["dye-pale"])
    return tint + _path(scale, fan.days, fan.p50, "5 4")


def _path(scale: _Scale, days: Sequence[date], values: Sequence[float], dash: str = "") -> str:
    seen = [(d, v) for d, v in zip(days, values, strict=True) if d >= scale.axis.start]
    points = [(10 * scale.axis.x(d), scale.y(v)) for d, v in seen]
    look = {**stroke("dye", 1.8, dash), "vector_effect": "non-scaling-stroke"}
    return element("path", d=polyline(points), fill="none", **look) if len(points) > 1 else ""


def _outages(scale: _Scale) -> str:
    """The hatched outages to come; those gone would only cross the readings."""
    axis, parts = scale.axis, []
    for outage in scale.trend.outages:
        if outage.end >= scale.trend.today and outage.start <= axis.end:
            x = axis.x(outage.start)
            place: dict[str, str | float] = {
                "x": pct(x),
                "width": pct(max(1.3, axis.x(outage.end) - x)),
                "y": "0",
                "height": scale.height,
            }
            parts.append(hatched(f"{axis.ident}-hatch", f"outage {outage.label}", **place))
    return "".join(parts)


def _today(scale: _Scale) -> str:
    x = pct(scale.axis.x(scale.trend.today))
    return line(x, 0.0, x, scale.height, "ink", 1.0)


def _limits(scale: _Scale) -> str:
    """The limits of now as lines, their figures in the margin, who set them in the tip."""
    standing = sorted((x for x in scale.trend.limits if not x.to_day), key=lambda x: -x.value_um)
    ys = [scale.y(limit.value_um) for limit in standing]
    tops = apart([y - LABEL / 2 for y in ys], [LABEL] * len(ys), 0.0, scale.height)
    right, parts = 100 - scale.axis.right, []
    for limit, y, top in zip(standing, ys, tops, strict=True):
        name = "maximum" if limit.kind == "maximum" else "replace limit"
        tip = element(
            "title", escape(f"{name} {in_unit(limit.value_um, scale.unit)} {limit.authority}".strip())
        )
        dash = "4 3" if limit.kind == "replace" else ""
        mark = line("0", y, pct(right), y, "limit", 1.6 if limit.kind == "maximum" else 1.2, dash)
        figure = words(
            pct(right), top + LABEL - 2, figure_in_unit(limit.value_um, scale.unit), "limit", size=LABEL, dx=5
        )
        parts.append(element("g", tip, mark, figure))
    return "".join(parts)


def _job(scale: _Scale) -> str:
    """The planned opening framed on its outage, its trigger a bar across."""
    job = scale.trend.job
    if job is None or not scale.shows(job.start):
        return ""
    x = scale.axis.x(job.start)
    wide = max(1.3, scale.axis.x(job.end) - x)
    parts = [element("title", escape(f"{day(job.start, 'month')}: {job_words(job, scale.unit)}"))]
    frame: dict[str, str | float] = {"x": pct(x), "width": pct(wide), "y": "1", "height": scale.height - 2}
    parts.append(element("rect", **frame, fill="none", **stroke("ink", 1.4)))
    if job.trigger_um is not None:
        y = scale.y(job.trigger_um)
        parts.append(line(pct(x - 1.2), y, pct(x + wide + 1.2), y, "ink", 3.0))
    return element("g", *parts, class_="job")


def _dates(scale: _Scale) -> str:
    """When the limit is reached, along the foot: tick at 1 in 10, dot at the even chance, line to 9 in 10."""
    dates: TrendDates | None = scale.trend.dates
    if dates is None or dates.p10 is None or not scale.shows(dates.p10):
        return ""
    y, axis = scale.height - 6.0, scale.axis
    ends = dates.p90 is not None and scale.shows(dates.p90)
    first, last = pct(axis.x(dates.p10)), pct(axis.x(dates.p90 if ends and dates.p90 else axis.end))
    parts = [line(first, y, last, y, "dye", 2.0), line(first, y - 5, first, y + 5, "dye", 2.0)]
    if not ends:
        head = curve("M-5 -4L0 0L-5 4", "dye", 2.0)
        parts.append(element("svg", head, x=last, y=y, overflow="visible", width="1", height="1"))
    if dates.p50 is not None and scale.shows(dates.p50):
        parts.append(solid("circle", "dye", cx=pct(axis.x(dates.p50)), cy=y, r=4.0))
    return "".join(parts)
