"""Draws a bearing's trend as SVG: the ground, what is coming, what was seen, and the dates below."""

from __future__ import annotations

import math
from datetime import date

from django.utils.html import escape
from django.utils.safestring import SafeString

from fleet.drawing import (
    Box,
    curve,
    element,
    hatch,
    hatched,
    line,
    picture,
    polyline,
    print_hatch,
    ring,
    solid,
    text_width,
    words,
)
from fleet.formatting import day, um
from inspections.trend.drawing_labels import STEP_ASIDE, band, job_mark, key, limit_labels, limit_lines, works
from inspections.trend.scales import Frame, Size, nice_step
from inspections.trend.values import Trend, TrendReading
from inspections.wear.normal import NINE_IN_TEN


def draw(trend: Trend, size: Size, ident: str) -> SafeString:
    """Draw one trend at one size."""
    frame = Frame(trend, size, ident)
    content = [_defs(frame), _outages(frame), _grid(frame), _fan(frame), limit_lines(frame), _paths(frame)]
    content += [_today(frame), limit_labels(frame), job_mark(frame), works(frame), _readings(frame)]
    bar, foot = _dates(frame)
    legend, foot = key(frame, foot + 28)
    label = f"{trend.title}. {trend.summary}"
    whole = "".join([*content, bar, legend])
    return picture(whole, label=label, class_="trend", size=(size.width, foot + 12))


def _plot(frame: Frame) -> dict[str, float]:
    return {
        "x": frame.left,
        "y": frame.top,
        "width": frame.right - frame.left,
        "height": frame.floor - frame.top,
    }


def _defs(frame: Frame) -> str:
    """Hatching of the outages, of the printed fan, and the edge of the plot."""
    edge = element("clipPath", element("rect", **_plot(frame)), id=f"{frame.ident}-plot")
    hatches = print_hatch(f"{frame.ident}-wide", 7) + print_hatch(f"{frame.ident}-middle", 3.5)
    return element("defs", hatch(f"{frame.ident}-hatch"), hatches, edge)


def _outages(frame: Frame) -> str:
    """The hatched outages to come, with their month where it fits; those gone would only
    cross the readings.
    """
    parts, free_from, size = [], frame.left, frame.size.font - 1
    for outage in frame.trend.outages:
        if outage.end < frame.trend.today or outage.start > frame.trend.until:
            continue
        x = frame.x(outage.start)
        width = max(frame.x(outage.end) - x, 5.0)
        place = {**_plot(frame), "x": x, "width": width}
        parts.append(hatched(f"{frame.ident}-hatch", f"outage {outage.label}", **place))
        month = day(outage.start, "month")
        needs = text_width(month, size)
        start = x + width / 2 - needs / 2
        if start > free_from and start + needs < frame.right + 4:
            parts.append(words(x + width / 2, frame.top - 6, month, "quiet", anchor="middle", size=size))
            free_from = start + needs + 8
    return "".join(parts)


def _grid(frame: Frame) -> str:
    """Clearance lines and figures, years below, and what the upright scale is."""
    step, size = nice_step((frame.high - frame.low) / 5), frame.size.font
    parts = [words(2.0 if frame.size.is_narrow else frame.left, 14, frame.trend.quantity, "quiet", size=size)]
    value = math.ceil(frame.low / step) * step
    while value <= frame.high + 1e-6:
        y = frame.y(value)
        parts.append(line(frame.left, y, frame.right, y, "rule"))
        parts.append(words(frame.left - 8, y + 4.5, f"{value:.0f}", "quiet", anchor="end", size=size))
        value += step
    return "".join(parts) + _years(frame)


def _years(frame: Frame) -> str:
    """Year ticks as dense as they can be read."""
    years = range(frame.first.year, frame.trend.until.year + 1)
    room = (frame.right - frame.left) / max(1, len(years))
    every = next(n for n in (1, 2, 5, 10, 20) if room * n >= 44 or n == 20)
    parts = [line(frame.left, frame.floor, frame.right, frame.floor, "ink", 1.2)]
    for year in years:
        when = date(year, 1, 1)
        if year % every == 0 and frame.first <= when <= frame.trend.until:
            x = frame.x(when)
            parts.append(line(x, frame.floor, x, frame.floor + 5, "ink"))
            at = min(x, frame.size.width - 16)
            parts.append(
                words(at, frame.floor + 20, str(year), "quiet", anchor="middle", size=frame.size.font)
            )
    return "".join(parts)


def _fan(frame: Frame) -> str:
    """The bands and the median, cut off at the edge of the plot; for print the bands are hatched."""
    fan = frame.trend.fan
    if not fan or len(fan.days) < 2:
        return ""
    xs = [frame.x(when) for when in fan.days]
    parts = []
    for name, low, high in (("wide", fan.p10, fan.p90), ("middle", fan.p25, fan.p75)):
        edge = [(x, frame.y(v)) for x, v in zip(xs, high, strict=True)]
        back = [(x, frame.y(v)) for x, v in zip(xs, low, strict=True)]
        shape = polyline(edge + back[::-1]) + "Z"
        parts.append(band(frame, "path", name, d=shape))
    median = [(x, frame.y(v)) for x, v in zip(xs, fan.p50, strict=True)]
    parts.append(curve(polyline(median), "dye", 2, "7 5"))
    return element("g", *parts, clip_path=f"url(#{frame.ident}-plot)")


def _today(frame: Frame) -> str:
    """The line between what was and what is coming."""
    x, text, size = frame.today, frame.trend.today_label, frame.size.font
    wide = text_width(text, size)
    frame.places.keep_uncrossed(Box(x - 1, frame.top, 2, frame.floor - frame.top))
    box = frame.places.choose(
        [Box(x - 6 - wide, frame.top + 4, wide, 14), Box(x + 6, frame.top + 4, wide, 14)]
    )
    is_left = box is None or box.x < x
    at, anchor = (x - 6, "end") if is_left else (x + 6, "start")
    label = words(at, frame.top + 15, text, "halo", anchor=anchor, size=size)
    return line(x, frame.top, x, frame.floor, "ink", 1.2) + label


def _paths(frame: Frame) -> str:
    """The fitted clearance, one line a life; the step of a scrape within a day is bronze."""
    scraped = {work.day for work in frame.trend.works if work.kind == "scrape"}
    parts = []
    for path in frame.trend.paths:
        points = list(zip(path.days, path.values_um, strict=True))
        run: list[tuple[float, float]] = []
        for i, (when, value) in enumerate(points):
            is_step = i and when == points[i - 1][0] and value != points[i - 1][1]
            if is_step and when in scraped:
                parts += [_run(run), _step(frame, when, points[i - 1][1], value)]
                run = []
            run.append((frame.x(when), frame.y(value)))
        parts.append(_run(run))
    return "".join(parts)


def _run(points: list[tuple[float, float]]) -> str:
    """A stretch of the fitted line."""
    return curve(polyline(points), "dye", 2.2) if len(points) > 1 else ""


def _step(frame: Frame, when: date, before: float, after: float) -> str:
    """The step in the line, and beside it, as on a drawing, the dimension from found to left."""
    x, y1, y2 = frame.x(when), frame.y(before), frame.y(after)
    at, way = x - STEP_ASIDE, (-1 if y2 < y1 else 1)
    size = min(7.0, abs(y2 - y1) * 0.7)
    head = (
        polyline([(at - size * 0.65, y2 - way * size), (at + size * 0.65, y2 - way * size), (at, y2)]) + "Z"
    )
    feet = line(at - 4, y1, x, y1, "bronze") + line(at - 4, y2, x, y2, "bronze")
    shaft = line(at, y1, at, y2 - way * size, "bronze", 2)
    return line(x, y1, x, y2, "bronze", 2.2) + feet + shaft + solid("path", "bronze", d=head)


def _readings(frame: Frame) -> str:
    """Every reading with the bar that holds 9 in 10; one that is not used is hollow and crossed."""
    order = sorted(frame.trend.readings, key=lambda r: (r.state == "used", r.day))
    return "".join(_reading(frame, r) for r in order)


def _reading(frame: Frame, reading: TrendReading) -> str:
    """One reading: round as found, square as left, a bracket for a bound."""
    x, y = frame.x(reading.day), frame.y(reading.value_um)
    top, foot = frame.reach(reading)
    colour = "dye" if reading.state in ("used", "added") else "quiet"
    what = f"{day(reading.day, reading.precision)}: {um(reading.value_um)} {reading.stage.replace('_', ' ')}"
    if reading.smaller_um is not None:
        what += f", other end {um(reading.smaller_um)}"
    parts = [element("title", escape(f"{what}. {reading.label}".strip()))]
    if reading.is_censored:
        parts.append(_bounds(reading, x, top, foot, colour))
        return element("g", *parts)
    if reading.smaller_um is not None:
        parts.append(_other_end(frame, reading, x, colour))
    if reading.sd_um > 0:
        bar = frame.y(reading.value_um - NINE_IN_TEN * reading.sd_um)
        parts.append(line(x, bar, x, top, colour, 1.5))
    if reading.state == "added":
        parts.append(solid("circle", colour, cx=x, cy=y, r=5.4))
    elif reading.stage == "as_left":
        parts.append(ring("rect", colour, x=x - 4.6, y=y - 4.6, width=9.2, height=9.2))
    else:
        parts.append(ring("circle", colour, cx=x, cy=y, r=5.4))
    if reading.state in ("excluded", "set_aside"):
        parts.append(
            line(x - 4, y - 4, x + 4, y + 4, colour, 1.8) + line(x - 4, y + 4, x + 4, y - 4, colour, 1.8)
        )
    return element("g", *parts)


def _other_end(frame: Frame, reading: TrendReading, x: float, colour: str) -> str:
    """The smaller end as a tick, joined to the larger."""
    y = frame.y(reading.smaller_um or 0.0)
    return line(x, y, x, frame.y(reading.value_um), colour, 1.0) + line(x - 5, y, x + 5, y, colour, 2.0)


def _bounds(reading: TrendReading, x: float, top: float, foot: float, colour: str) -> str:
    """Where the clearance may lie: ended where it is bounded, an arrow where it is not."""
    parts = [line(x, foot, x, top, colour, 2, "4 3")]
    for bound, y, way in ((reading.low_um, foot, -1), (reading.high_um, top, 1)):
        if bound is not None:
            parts.append(line(x - 6, y, x + 6, y, colour, 2.2))
        else:
            parts.append(curve(polyline([(x - 5, y + 6 * way), (x, y), (x + 5, y + 6 * way)]), colour, 2))
    return "".join(parts)


def _dates(frame: Frame) -> tuple[str, float]:
    """Below the years: the dates of the governing limit as a bar on the same time scale;
    and where it ends.
    """
    dates, until = frame.trend.dates, frame.trend.until
    if not dates or dates.p10 is None or dates.p10 > until:
        return "", frame.floor + 24
    y, first = frame.floor + 42, frame.x(dates.p10)
    ends = dates.p90 is not None and dates.p90 <= until
    end = frame.x(dates.p90) if ends and dates.p90 else frame.right
    parts = [line(first, y, end, y, "dye", 2.5), line(first, y - 8, first, y + 8, "dye", 2.5)]
    if dates.p50 is not None and dates.p50 <= until:
        parts.append(solid("circle", "dye", cx=frame.x(dates.p50), cy=y, r=6))
    if not ends:
        parts.append(curve(polyline([(end - 7, y - 5.5), (end, y), (end - 7, y + 5.5)]), "dye", 2.5))
    size, said = frame.size.font, dates.words
    if text_width(said, size) <= first - 12 - frame.left:
        parts.append(words(first - 12, y + 4.5, said, "dye", anchor="end", size=size))
    else:
        parts.append(words(2.0 if frame.size.is_narrow else frame.left, y + 24, said, "dye", size=size))
        y += 22
    return "".join(parts), y + 8
