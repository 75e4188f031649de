"""The same trend as a plotly figure: a plain dict, small template of our own, every text escaped."""

from __future__ import annotations

from html import escape
from typing import Any

from fleet.drawing import PALETTE
from fleet.formatting import day, um, um_step
from inspections.trend.scales import LIMIT_WORDS, SHORT_WORDS, value_range
from inspections.trend.values import Trend, TrendReading
from inspections.wear.normal import NINE_IN_TEN

FONT = {"family": "system-ui, sans-serif", "size": 13, "color": PALETTE["ink"]}
GROUPS = (
    ("as found", lambda r: r.state in ("used", "added") and r.stage != "as_left", "circle-open", "dye"),
    ("as left", lambda r: r.state in ("used", "added") and r.stage == "as_left", "square-open", "dye"),
    ("not used", lambda r: r.state in ("excluded", "set_aside"), "x-thin-open", "quiet"),
)


def trend_plotly(trend: Trend) -> dict[str, Any]:
    """Return data and layout; `layout.meta.palette` names the page's colour behind each colour written."""
    traces = [*_bands(trend), *_paths(trend), *_reading_traces(trend), *_work_traces(trend)]
    return {"data": traces, "layout": _layout(trend)}


def _bands(trend: Trend) -> list[dict[str, Any]]:
    """The two bands as closed outlines, the median dashed."""
    fan = trend.fan
    if not fan:
        return []
    days = [d.isoformat() for d in fan.days]
    traces = []
    for name, low, high, colour in (
        ("8 in 10", fan.p10, fan.p90, "dye-pale"),
        ("middle half", fan.p25, fan.p75, "dye-mid"),
    ):
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": name,
                "x": days + days[::-1],
                "y": [round(v, 1) for v in (*high, *low[::-1])],
                "fill": "toself",
                "fillcolor": PALETTE[colour],
                "line": {"width": 0},
                "hoverinfo": "skip",
            }
        )
    texts = [
        f"{day(d)}<br>even chance {um(m)}<br>8 in 10 within {um(a)} to {um(b)}"
        for d, m, a, b in zip(fan.days, fan.p50, fan.p10, fan.p90, strict=True)
    ]
    traces.append(
        {
            "type": "scatter",
            "mode": "lines",
            "name": "even chance",
            "x": days,
            "y": [round(v, 1) for v in fan.p50],
            "hovertext": texts,
            "hoverinfo": "text",
            "line": {"color": PALETTE["dye"], "width": 2, "dash": "dash"},
        }
    )
    return traces


def _paths(trend: Trend) -> list[dict[str, Any]]:
    """The fitted line, one trace a life so that it breaks at new metal."""
    return [
        {
            "type": "scatter",
            "mode": "lines",
            "name": "fitted",
            "legendgroup": "fitted",
            "showlegend": i == 0,
            "x": [d.isoformat() for d in path.days],
            "y": [round(v, 1) for v in path.values_um],
            "line": {"color": PALETTE["dye"], "width": 2},
            "hoverinfo": "skip",
        }
        for i, path in enumerate(trend.paths)
    ]


def _reading_traces(trend: Trend) -> list[dict[str, Any]]:
    """Readings by what they are: found, left, not used."""
    traces = []
    for name, belongs, symbol, colour in GROUPS:
        readings = [r for r in trend.readings if belongs(r)]
        if readings:
            traces.append(
                {
                    "type": "scatter",
                    "mode": "markers",
                    "name": name,
                    "x": [r.day.isoformat() for r in readings],
                    "y": [round(r.value_um, 1) for r in readings],
                    "error_y": {
                        "type": "data",
                        "array": [round(NINE_IN_TEN * r.sd_um, 1) for r in readings],
                        "width": 0,
                        "color": PALETTE[colour],
                        "thickness": 1.5,
                    },
                    "marker": {"symbol": symbol, "size": 11, "color": PALETTE[colour], "line": {"width": 2}},
                    "hovertext": [_hover(r) for r in readings],
                    "hoverinfo": "text",
                }
            )
    return traces


def _hover(reading: TrendReading) -> str:
    """A reading in words; what people typed is escaped, because plotly reads some HTML."""
    said = [day(reading.day, reading.precision), f"{um(reading.value_um)} {reading.stage.replace('_', ' ')}"]
    said += ["" if reading.smaller_um is None else f"other end {um(reading.smaller_um)}"]
    said += [reading.method.replace("_", " "), reading.label]
    return "<br>".join(escape(part, quote=False) for part in said if part)


def _work_traces(trend: Trend) -> list[dict[str, Any]]:
    """Work as bronze marks along the foot of the plot."""
    if not trend.works:
        return []
    low, _ = value_range(trend)
    texts = []
    for work in trend.works:
        step = "" if work.step_um is None else f" {um_step(work.step_um)}"
        said = (day(work.day), work.label + step, work.detail)
        texts.append("<br>".join(escape(part, quote=False) for part in said if part))
    return [
        {
            "type": "scatter",
            "mode": "markers",
            "name": "work done",
            "x": [w.day.isoformat() for w in trend.works],
            "y": [low] * len(texts),
            "hovertext": texts,
            "hoverinfo": "text",
            "cliponaxis": False,
            "marker": {"symbol": "triangle-up", "size": 12, "color": PALETTE["bronze"]},
        }
    ]


def _layout(trend: Trend) -> dict[str, Any]:
    """Axes, limits, outages and today."""
    axis = {"gridcolor": PALETTE["rule"], "linecolor": PALETTE["ink"], "zeroline": False, "ticks": "outside"}
    days = [trend.first_day().isoformat(), trend.until.isoformat()]
    return {
        "template": {"layout": {"font": FONT}},
        "font": FONT,
        "paper_bgcolor": PALETTE["paper"],
        "plot_bgcolor": PALETTE["paper"],
        "margin": {"l": 48, "r": 12, "t": 52, "b": 40},
        "hovermode": "closest",
        "dragmode": "zoom",
        "showlegend": True,
        "legend": {"orientation": "h", "y": -0.12, "x": 0},
        "xaxis": {**axis, "type": "date", "range": days, "showgrid": False},
        "yaxis": {**axis, "range": list(value_range(trend))},
        "shapes": _shapes(trend),
        "annotations": _annotations(trend, LIMIT_WORDS),
        "meta": {
            "palette": {value: name for name, value in PALETTE.items()},
            "narrow": [note["text"] for note in _annotations(trend, SHORT_WORDS)],
        },
    }


def _shapes(trend: Trend) -> list[dict[str, Any]]:
    """Limit lines over their days, outages behind everything, today."""
    whole = {"yref": "paper", "y0": 0, "y1": 1}
    shade = {"fillcolor": PALETTE["hatch-line"], "opacity": 0.4, "line": {"width": 0}, "layer": "below"}
    shapes: list[dict[str, Any]] = [
        {"type": "rect", "x0": o.start.isoformat(), "x1": o.end.isoformat(), **whole, **shade}
        for o in trend.outages
        if o.end >= trend.today
    ]
    for limit in trend.limits:
        start, end = limit.from_day or trend.first_day(), limit.to_day or trend.until
        dash = "dash" if limit.kind == "replace" else "solid"
        look = {"color": PALETTE["limit"], "width": 2, "dash": dash}
        level = {"y0": limit.value_um, "y1": limit.value_um}
        ends = {"x0": start.isoformat(), "x1": end.isoformat()}
        shapes.append({"type": "line", **ends, **level, "line": look})
    today = trend.today.isoformat()
    ink = {"color": PALETTE["ink"], "width": 1}
    shapes.append({"type": "line", "x0": today, "x1": today, **whole, "line": ink})
    return shapes


def _annotations(trend: Trend, names: dict[str, str]) -> list[dict[str, Any]]:
    """Words on the limits, on today, and on what the upright scale is."""
    notes: list[dict[str, Any]] = []
    for limit in (limit for limit in trend.limits if limit.to_day is None):
        text = f"{names[limit.kind]} {um(limit.value_um)}"
        if limit.authority and names is LIMIT_WORDS:
            text += f" ({limit.authority})"
        place = {"x": 0.01, "xref": "paper", "xanchor": "left", "y": limit.value_um, "yanchor": "bottom"}
        notes.append({**place, "text": text, "font": {"color": PALETTE["limit"], "size": 13}})
    top = {"yref": "paper", "y": 1, "yanchor": "bottom", "font": {"size": 13}}
    notes.append({**top, "x": trend.today.isoformat(), "text": trend.today_label})
    notes.append({**top, "x": 0, "xref": "paper", "xanchor": "left", "yshift": 18, "text": trend.quantity})
    return [{**note, "text": escape(note["text"], quote=False), "showarrow": False} for note in notes]
