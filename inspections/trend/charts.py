"""One bearing's drawings, for the page and for the bundle.

Pure: plain days and micrometres in, SVG or a plotly figure out. The server's drawing comes first (it
prints and needs no script); plotly draws over it when a reader wants to zoom.
"""

from __future__ import annotations

import math
from datetime import date

from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe

from fleet.drawing import PALETTE, element, picture
from fleet.formatting import NOT_KNOWN, chance, day, um, um_figure, um_step
from fleet.measuring_methods import words_of
from inspections.trend.plotly_figure import trend_plotly
from inspections.trend.scales import NARROW, WIDE
from inspections.trend.svg import draw
from inspections.trend.values import Trend, TrendReading
from inspections.wear.normal import NINE_IN_TEN

__all__ = [
    "fan_table",
    "trend_picture",
    "trend_plotly",
    "trend_svg",
    "trend_table",
    "twenty_dots",
]

LEAST_SHOWN = 0.05  # one dot of twenty
STAGES = {"as_found": "as found", "as_left": "as left"}
STATES = {"excluded": "not used", "set_aside": "set aside", "added": "would be added"}


def trend_svg(trend: Trend, *, narrow: bool = False, ident: str = "") -> SafeString:
    """One drawing of the trend; `ident` keeps its inner ids apart when a page holds several."""
    return draw(trend, NARROW if narrow else WIDE, ident or ("trend-narrow" if narrow else "trend-wide"))


def trend_picture(trend: Trend, ident: str = "trend") -> SafeString:
    """The trend for wide and for narrow screens; the style sheet shows one of them."""
    return format_html(
        '<div class="wide-only">{}</div><div class="narrow-only">{}</div>',
        trend_svg(trend, ident=f"{ident}-wide"),
        trend_svg(trend, narrow=True, ident=f"{ident}-narrow"),
    )


def trend_table(trend: Trend) -> tuple[list[str], list[list[str]]]:
    """Readings and work of the trend, the newest first, as text."""
    rows: list[tuple[date, int, list[str]]] = []
    for reading in trend.readings:
        rows.append((reading.day, 0, _reading_row(reading)))
    for work in trend.works:
        step = "" if work.step_um is None else um_step(work.step_um)
        rows.append((work.day, 1, [day(work.day), work.label, step, "", work.detail]))
    rows.sort(key=lambda row: row[:2], reverse=True)
    return ["Day", "What", "Clearance or step", "9 in 10 within", "Remarks"], [row for _, _, row in rows]


def _reading_row(reading: TrendReading) -> list[str]:
    """One reading as table cells."""
    what = " ".join(
        part for part in (words_of(reading.method), STAGES.get(reading.stage, reading.stage)) if part
    )
    within = f"± {um(NINE_IN_TEN * reading.sd_um)}" if reading.sd_um > 0 else NOT_KNOWN
    other = "" if reading.smaller_um is None else f"other end {um(reading.smaller_um)}"
    remarks = ", ".join(part for part in (STATES.get(reading.state, ""), other, reading.label) if part)
    return [day(reading.day, reading.precision), what, seen(reading), within, remarks]


def seen(reading: TrendReading) -> str:
    """The value as it was seen: a number, a bound, or between two bounds."""
    if reading.low_um is not None and reading.high_um is not None:
        return f"between {um_figure(reading.low_um)} and {um(reading.high_um)}"
    if reading.low_um is not None:
        return f"over {um(reading.low_um)}"
    if reading.high_um is not None:
        return f"under {um(reading.high_um)}"
    return um(reading.value_um)


def fan_table(trend: Trend) -> tuple[list[str], list[list[str]]]:
    """The coming clearance once a year: the five quantiles the fan is drawn from."""
    headings = ["On", "1 in 10 below", "1 in 4 below", "Even chance", "1 in 4 above", "1 in 10 above"]
    rows, seen_years = [], set()
    if trend.fan:
        fan = trend.fan
        for i, when in enumerate(fan.days):
            if when.year in seen_years and i != len(fan.days) - 1:
                continue
            seen_years.add(when.year)
            values = (fan.p10[i], fan.p25[i], fan.p50[i], fan.p75[i], fan.p90[i])
            rows.append([day(when), *(um(value) for value in values)])
    return headings, rows


def twenty_dots(p: float | None, *, words: str = "") -> SafeString:
    """A chance as twenty dots to count, the filled ones first; nothing where it is not known or under 1 in
    20.
    """
    if p is None or not math.isfinite(p) or p < LEAST_SHOWN:
        return mark_safe("")
    n = max(0, min(20, math.floor(p * 20 + 0.5)))
    dots = []
    for i in range(20):
        cx, cy = 11.0 + i % 10 * 20.5, 11.0 + i // 10 * 22.0
        filled = i < n
        dots.append(
            element(
                "circle",
                cx=cx,
                cy=cy,
                r=8.0,
                stroke_width=1.6,
                class_="dot-filled" if filled else "dot-open",
                fill=PALETTE["limit"] if filled else "none",
                stroke=PALETTE["limit"] if filled else PALETTE["quiet"],
            )
        )
    label = words or f"{n} of 20 dots filled: {chance(p)}"
    return picture("".join(dots), label=escape(label), class_="twenty-dots", size=(208, 44))
