"""The fleet's drawings: coming dates as dots, a forecast as a bar in time, a clearance and its limits.

Pure: plain dates and floats in, SVG out. Places along time are per cents of the width, so one drawing
serves a wide table and a phone without being scaled: its text and dots keep their size.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

from django.utils.safestring import SafeString, mark_safe

from dashboards.watchlist.fleet_dots import dots_table, fleet_dots, fleet_picture, years
from fleet.drawing import Span, TimeAxis, curve, element, hatch, hatched, line, pct, picture, solid, words
from fleet.formatting import day, day_words, um

__all__ = [
    "Span",
    "TimeAxis",
    "axis_marks",
    "clearance_bar",
    "date_axis",
    "date_bar",
    "dots_table",
    "fleet_dots",
    "fleet_picture",
]

HEIGHT = 40
MIDDLE = 20.0
LEAST_OUTAGE = 1.3  # per cent: a fortnight must still be seen
NEW_AT, MAX_AT = (18.0, 88.0)  # per cent: where new and the limit stand in every clearance bar


def axis_marks(axis: TimeAxis) -> SafeString:
    """The outages and years that every `date_axis` and `date_bar` of this axis refers to; once a page, unseen
    itself.
    """
    marks = element(
        "defs",
        hatch(f"{axis.ident}-hatch"),
        element("g", _outages(axis, 0, HEIGHT), id=f"{axis.ident}-outages"),
        element("g", years(axis, HEIGHT + 13, 280.0), id=f"{axis.ident}-years"),
    )
    attributes = {"width": "0", "height": "0", "class_": "axis-marks", "aria_hidden": "true"}
    return mark_safe(element("svg", marks, xmlns="http://www.w3.org/2000/svg", **attributes))


def date_axis(axis: TimeAxis) -> SafeString:
    """Head the column of bars: the years over the hatched outages. Needs
    `axis_marks(axis)` on the same page.
    """
    names = ", ".join(outage.label for outage, _, _ in axis.bands(0) if outage.label)
    label = f"Time from {day(axis.start, 'month')} to {day(axis.end, 'month')}"
    label += f"; outages {names}" if names else ""
    hatched_are = "hatched: outages" if axis.outages else "hatched: outages of its site"
    content = _outages(axis, 0, 44) + words(pct(axis.left), 12, hatched_are, "quiet halo")
    content += years(axis, 34, 380.0, 190.0)
    return picture(content, label=label, class_="date-axis", height=44)


def _outages(axis: TimeAxis, top: float, height: float) -> str:
    """The hatched outages of an axis."""
    pattern = f"{axis.ident}-hatch"
    return "".join(
        hatched(pattern, x=pct(x), y=f"{top:g}", width=pct(width), height=f"{height:g}")
        for _, x, width in axis.bands(LEAST_OUTAGE)
    )


def date_bar(
    p10: date | None,
    p50: date | None,
    p90: date | None,
    *,
    axis: TimeAxis,
    past: bool = False,
    beyond: Sequence[bool] = (False, False, False),
    note: str = "",
) -> SafeString:
    """One forecast: tick at 1 in 10, dot at the even chance, line to 9 in 10, arrow past the axis.

    `beyond` marks the quantiles past the horizon, whose date is `None`. `past` says that the limit is
    reached already. Without any date only `note` is written. Needs `axis_marks(axis)` on the same page.
    """
    parts = [
        element("use", href=f"#{axis.ident}-outages"),
        element("use", href=f"#{axis.ident}-years", class_="bar-years"),
    ]
    first, even, last = (
        date.max if is_far else when for when, is_far in zip((p10, p50, p90), beyond, strict=True)
    )
    if past:
        label = note or "limit already passed"
        parts.append(solid("rect", "limit", x=pct(axis.left), y=MIDDLE - 8, width=9.0, height=16.0))
        parts.append(words(pct(axis.left), MIDDLE + 5, label, "limit strong halo", dx=18, size=14))
    elif first is None:
        label = note or "no date yet"
        parts.append(words(pct(axis.left), MIDDLE + 5, label, "quiet halo", size=14))
    else:
        label = _in_words(first, even, last, axis)
        parts.append(_bar(first, even, last, axis))
    return picture("".join(parts), label=label, class_="date-bar", height=HEIGHT)


def _bar(first: date, even: date | None, last: date | None, axis: TimeAxis) -> str:
    """The marks of one forecast in the measuring colour."""
    head = curve("M-7 -5.5L0 0L-7 5.5", "dye", 2.5)
    edge = pct(100 - axis.right)
    arrow = element("svg", head, x=edge, y=MIDDLE, overflow="visible", width="1", height="1")
    if first > axis.end:
        text = f"all beyond {axis.end_words}"
        return words(edge, MIDDLE + 5, text, "dye halo", dx=-14, anchor="end", size=14) + arrow
    start, ends = pct(axis.x(first)), last is not None and last <= axis.end
    end = pct(axis.x(last)) if ends and last else edge
    parts = [
        line(start, MIDDLE, end, MIDDLE, "dye", 2.5),
        line(start, MIDDLE - 8, start, MIDDLE + 8, "dye", 2.5),
    ]
    if not ends:
        parts.append(arrow)
    if even is not None and even <= axis.end:
        parts.append(solid("circle", "dye", cx=pct(axis.x(even)), cy=MIDDLE, r=6.0))
    return "".join(parts)


def _in_words(first: date | None, even: date | None, last: date | None, axis: TimeAxis) -> str:
    """The bar in words, for readers who hear it."""
    said = []
    for name, when in (("1 in 10", first), ("even chance", even), ("9 in 10", last)):
        if when == date.max:
            said.append(f"{name} beyond the horizon")
        elif when is not None:
            said.append(f"{name} by {day_words(when, axis.start)}")
    return ", ".join(said)


def clearance_bar(
    clearance_um: float | None, new_um: float | None, replace_um: float | None, max_um: float | None
) -> SafeString:
    """A clearance on its way from new to its limits, on the same scale in every row: the share of the way.

    Dashed the replace limit, solid the in-service maximum. Empty where there is nothing to compare.
    """
    limit, start = (max_um if max_um is not None else replace_um), new_um or 0.0
    if clearance_um is None or limit is None or limit <= start:
        return mark_safe("")

    def at(value: float) -> float:
        return min(98.5, max(1.5, NEW_AT + (MAX_AT - NEW_AT) * (value - start) / (limit - start)))

    low, high = sorted((at(start), at(clearance_um)))
    inner = min(high, at(limit))
    parts = [solid("rect", "rule", x="0", y=9.0, width="100%", height=6.0, rx=3.0)]
    parts.append(solid("rect", "dye", x=pct(low), y=9.0, width=pct(max(inner - low, 1.0)), height=6.0))
    if clearance_um > limit:
        parts.append(solid("rect", "limit", x=pct(inner), y=9.0, width=pct(high - inner), height=6.0))
    said = [um(clearance_um)] + ([f"new {um(new_um)}"] if new_um is not None else [])
    for name, value, dash in (("replace from", replace_um, "3 2"), ("maximum", max_um, "")):
        if value is not None:
            parts.append(line(pct(at(value)), 2.0, pct(at(value)), 22.0, "limit", 2, dash))
            said.append(f"{name} {um(value)}")
    return picture("".join(parts), label=", ".join(said), class_="clearance-bar", height=24)
