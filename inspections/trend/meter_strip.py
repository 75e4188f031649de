"""The small drawing of an hour meter on the time axis of the bearings' strips: how much of the time the pump
ran.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.html import escape
from django.utils.safestring import SafeString

from fleet.drawing import PALETTE, TimeAxis, element, line, pct, picture, polyline, stroke
from fleet.formatting import day, hours

TOP, FOOT = 5.0, 5.0  # px kept free over and under the marks


@dataclass(frozen=True)
class MeterPoint:
    """One entry of the meter; `run_since_first` counts the hours run since the first entry, over changes of
    meter.
    """

    day: date
    hours: float
    run_since_first: float
    is_added: bool = False
    is_reset: bool = False


def meter_strip(title: str, points: Sequence[MeterPoint], axis: TimeAxis, height: float = 40.0) -> SafeString:
    """The entries of one meter; the thin line is running without a stop from the first entry to the last.

    Parameters
    ----------
    points : sequence of MeterPoint
        in order of time.
    axis : TimeAxis
        of the strips it stands among.
    height : float
        px.
    """
    whole = max(1, (points[-1].day - points[0].day).days) * 24.0

    def y(run: float) -> float:
        return height - FOOT - (height - TOP - FOOT) * min(1.0, max(0.0, run / whole))

    places = [(10 * axis.x(point.day), y(point.run_since_first)) for point in points]
    parts = []
    if len(points) > 1:
        ends = [(places[0][0], y(0.0)), (places[-1][0], y(whole))]
        thin = {**stroke("quiet", 1.0), "vector_effect": "non-scaling-stroke"}
        own = {**stroke("dye", 1.8), "vector_effect": "non-scaling-stroke"}
        paths = [
            element("path", d=polyline(some), fill="none", **look)
            for some, look in ((ends, thin), (places, own))
        ]
        frame = {"viewBox": f"0 0 1000 {height:g}", "preserveAspectRatio": "none"}
        parts.append(element("svg", *paths, width="100%", height=height, **frame))
    parts += [
        _mark(point, pct(axis.x(point.day)), at, height)
        for point, (_, at) in zip(points, places, strict=True)
    ]
    return picture("".join(parts), label=title, class_="strip", height=height)


def _mark(point: MeterPoint, x: str, y: float, height: float) -> str:
    """A ring, filled where it would be added; a dotted line where the meter was set back."""
    told = f"{day(point.day)}: {hours(point.hours)}" + (", would be added" if point.is_added else "")
    parts = [element("title", escape(told))]
    if point.is_reset:
        parts.append(line(x, 0.0, x, height, "bronze", 1.2, "2 3"))
    look: dict[str, str | float] = {
        "cx": x,
        "cy": y,
        "r": 3.0,
        "stroke": PALETTE["dye"],
        "stroke_width": "1.6",
    }
    fill = PALETTE["dye" if point.is_added else "paper"]
    parts.append(element("circle", class_=f"{'added' if point.is_added else 'ring'}-dye", fill=fill, **look))
    return element("g", *parts)
