"""The small drawing: on a shared axis, any width, with words that never lie on each other."""

import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date

import pytest

from fleet.drawing import text_width
from inspections.trend.strip import axis_of, strip, strip_axis
from inspections.trend.values import TrendJob, TrendLimit, TrendReading
from tests.inspections.trend.test_charts import SVG, TODAY, UNTIL, a_trend, marks, texts

JOB = TrendJob(date(2026, 10, 3), date(2026, 10, 24), 236, "open")


def boxes(drawing: str, width: float) -> list[tuple[float, float, float, float, str]]:
    """Left, right, top and bottom of each text in px where the drawing is so many px wide."""
    measured = []
    for node in ET.fromstring(drawing).iter(f"{SVG}text"):
        text, size = "".join(node.itertext()), float(node.get("font-size"))
        wide = text_width(text, size)
        left = float(node.get("x").rstrip("%")) / 100 * width + float(node.get("dx") or 0)
        left -= {"end": wide, "middle": wide / 2}.get(node.get("text-anchor"), 0)
        measured.append((left, left + wide, float(node.get("y")) - 0.8 * size, float(node.get("y")), text))
    return measured


@pytest.mark.parametrize("width", [300, 480, 900])
@pytest.mark.parametrize("replace_um", [259, 243, 100])
def test_words_lie_apart_and_inside_at_every_width(width, replace_um):
    limits = (TrendLimit("maximum", 260, "maker"), TrendLimit("replace", replace_um, "plant"))
    trend = a_trend(limits=limits, job=JOB)
    axis = axis_of([trend])
    for drawing in (strip(trend, axis), strip_axis(axis)):
        found = boxes(drawing, width)
        assert found
        for i, (left, right, top, bottom, text) in enumerate(found):
            assert left >= 0 and right <= width, text
            for left2, right2, top2, bottom2, other in found[i + 1 :]:
                across, down = min(right, right2) - max(left, left2), min(bottom, bottom2) - max(top, top2)
                assert across <= 0 or down <= 0, (text, other)


def test_a_bearing_over_its_maximum_lies_over_it():
    seen = TrendReading(date(2026, 5, 1), 275, 5, smaller_um=240)
    trend = a_trend(readings=(seen,))
    drawing = strip(trend, axis_of([trend]))
    (ring,) = marks(drawing, "circle", class_="ring-dye")
    (maximum,) = marks(drawing, "line", class_="line-limit", stroke_width="1.6")
    assert float(ring.get("cy")) < float(maximum.get("y1"))
    joined = marks(drawing, "line", class_="line-dye", stroke_width="3")[0]
    assert float(joined.get("y1")) > float(maximum.get("y1")) > float(joined.get("y2"))


def test_readings_that_would_be_added_are_told_apart_from_those_there():
    new = TrendReading(date(2026, 5, 1), 240, 5, state="added")
    trend = a_trend(readings=(*a_trend().readings, new))
    drawing = strip(trend, axis_of([trend]))
    assert len(marks(drawing, "circle", class_="added-dye")) == 1
    assert len(marks(drawing, "circle", class_="ring-dye")) == len(a_trend().readings)
    assert "would be added" in drawing


def test_strips_stacked_on_one_axis_show_one_day_at_one_place():
    early = a_trend()
    late = replace(early, readings=early.readings[-1:], works=(), paths=())
    axis = axis_of([early, late])
    assert axis.start == date(TODAY.year - 12, 1, 1) and axis.end == UNTIL
    today = f"{axis.x(TODAY):.2f}%"
    for drawing in (strip(early, axis), strip(late, axis)):
        assert marks(drawing, "line", class_="line-ink", x1=today)


def test_the_trigger_is_a_bar_on_the_planned_outage_and_said_to_those_who_hear_it():
    trend = a_trend(job=JOB)
    axis = axis_of([trend])
    (group,) = marks(strip(trend, axis), "g", class_="job")
    assert (
        "".join(group.find(f"{SVG}title").itertext()).replace("\u00a0", " ")
        == "Oct 2026: open; replace from 236 µm"
    )
    bar = group.find(f"{SVG}line")
    assert float(bar.get("x1").rstrip("%")) < axis.x(JOB.start) < float(bar.get("x2").rstrip("%"))
    assert (
        ET.fromstring(strip(trend, axis)).get("aria-label")
        == "North lift 2, drive end. 1 in 10 before October 2026"
    )


def test_a_bearing_of_which_nothing_is_known_is_still_a_row():
    trend = a_trend(readings=(), works=(), paths=(), fan=None, limits=(), dates=None)
    drawing = strip(trend, axis_of([trend]))
    assert texts(drawing) == [] and "nan" not in drawing


def test_a_work_lists_figures_are_in_the_unit_of_the_machines_book():
    trend = a_trend(job=JOB)
    drawing = strip(trend, axis_of([trend]), unit="mil").replace("\u00a0", " ")
    assert "µm" not in drawing.partition("aria-label")[2].partition(">")[2]
    (group,) = marks(drawing, "g", class_="job")
    assert "".join(group.find(f"{SVG}title").itertext()) == "Oct 2026: open; replace from 9.3 mil"
    assert "maximum 10.2 mil" in drawing
