"""The fleet's drawings: coming dates as dots, a forecast as a bar in time, a clearance and its limits.

Pure: plain dates and floats in, SVG out. Places along time are per cents of the width, so one drawing
serves a wide table and a phone without being scaled: its text and dots keep their size.
"""

from __future__ import annotations

from datetime import date

from django.utils.safestring import SafeString, mark_safe

from dashboards.watchlist.fleet_dots import dots_table, fleet_dots, fleet_picture, years
from fleet.drawing import Span, TimeAxis, element, hatch, hatched, pct, picture, words
from fleet.formatting import day, day_words

__all__ = [
    "Span",
    "TimeAxis",
    "axis_marks",
    "date_axis",
    "dates_in_words",
    "dots_table",
    "fleet_dots",
    "fleet_picture",
]

HEIGHT = 48  # of a row's drawing
LEAST_OUTAGE = 1.3  # per cent: a fortnight must still be seen


def axis_marks(axis: TimeAxis) -> SafeString:
    """The outages and years that every `date_axis` and row of this axis refers to; once a page, unseen
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


def dates_in_words(first: date | None, even: date | None, last: date | None, axis: TimeAxis) -> str:
    """A row's dates in words, for readers who hear it."""
    said = []
    for name, when in (("1 in 10", first), ("even chance", even), ("9 in 10", last)):
        if when == date.max:
            said.append(f"{name} beyond the horizon")
        elif when is not None:
            said.append(f"{name} by {day_words(when, axis.start)}")
    return ", ".join(said)
