"""Words of a drawing never lie on each other nor leave it, whatever a bearing's record holds."""

import xml.etree.ElementTree as ET
from itertools import cycle

import numpy as np
import pytest

from fleet.drawing import Box, text_width
from inspections.trend.scales import NARROW, WIDE, Frame
from inspections.trend.strip import Row, axis_of, strip, strip_axis
from inspections.trend.svg import draw
from tests.inspections.trend.random_trends import random_trend
from tests.inspections.trend.test_charts import SVG

ABOVE, BELOW = 0.74, 0.2  # a letter's reach over and under its line, in parts of its size
TRENDS = 60
NOTES = ("limit already passed", "a limit or the bore is wrong", "dates not to be trusted", "all beyond 2034")


def boxes_of(drawing: str, width: float) -> list[tuple[Box, str]]:
    """Each text of a drawing with its box, px, where the drawing is so wide."""
    boxes = []
    for node in ET.fromstring(drawing).iter(f"{SVG}text"):
        text, size = "".join(node.itertext()), float(node.get("font-size"))
        wide, x = text_width(text, size), node.get("x")
        left = float(x[:-1]) / 100 * width if x.endswith("%") else float(x)
        left += float(node.get("dx") or 0) - {"end": wide, "middle": wide / 2}.get(node.get("text-anchor"), 0)
        boxes.append((Box(left, float(node.get("y")) - ABOVE * size, wide, (ABOVE + BELOW) * size), text))
    return boxes


def assert_apart(boxes: list[tuple[Box, str]], width: float) -> None:
    """No two boxes share more than a hair, none hangs out at a side."""
    for i, (box, text) in enumerate(boxes):
        assert box.x >= -1 and box.x + box.width <= width + 1, text
        for other, its_text in boxes[i + 1 :]:
            across = min(box.x + box.width, other.x + other.width) - max(box.x, other.x)
            down = min(box.y + box.height, other.y + other.height) - max(box.y, other.y)
            assert across <= 1 or down <= 1, (text, its_text)


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_words_of_random_bearings_lie_apart(size):
    for number in range(TRENDS):
        trend = random_trend(np.random.default_rng([7, number]))
        assert_apart(boxes_of(draw(trend, size, "t"), size.width), size.width)


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_no_words_cross_the_line_of_today(size):
    n_planned = 0
    for number in range(TRENDS):
        trend = random_trend(np.random.default_rng([9, number]))
        frame = Frame(trend, size, "t")
        boxes = boxes_of(draw(trend, size, "t"), size.width)
        inside = [(box, text) for box, text in boxes if frame.top <= box.y + box.height <= frame.floor]
        crossing = [text for box, text in inside if box.x + 1 < frame.today < box.x + box.width - 1]
        assert crossing == [], number
        n_planned += trend.job is not None
    assert n_planned > TRENDS / 4


@pytest.mark.parametrize("width", [300, 420, 900])
def test_words_of_random_strips_lie_apart_on_one_axis(width):
    trends = [random_trend(np.random.default_rng([8, number])) for number in range(TRENDS)]
    axis = axis_of(trends)
    noted = [strip(trend, axis, row=Row("", note)) for trend, note in zip(trends, cycle(NOTES))]
    for drawing in (strip_axis(axis), *(strip(trend, axis) for trend in trends), *noted):
        assert_apart(boxes_of(drawing, width), width)
