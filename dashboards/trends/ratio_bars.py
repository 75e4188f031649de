"""Ratios to the fleet as bars on one logarithmic scale: the interval as a line, the middle as a dot. Pure."""

from __future__ import annotations

import math
from collections.abc import Iterable

from django.utils.safestring import SafeString

from fleet.drawing import curve, element, line, pct, picture, solid, words

HEIGHT = 26
LEFT, RIGHT = 3.0, 97.0  # per cent: where the scale begins and ends
LEAST, MOST = 2.0, 16.0  # times the fleet's rate that the scale reaches on either side
MARKS = (1 / 16, 1 / 8, 0.25, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0)
MARK_WORDS = {1 / 16: "1/16", 1 / 8: "1/8", 0.25: "1/4", 0.5: "half", 1.0: "as the fleet", 2.0: "2 times"}


def reach(ends: Iterable[float]) -> float:
    """How far the scale must go on either side so that the intervals' ends lie on it: 2, 4, 8 or 16 times."""
    widest = max((abs(math.log2(end)) for end in ends if end > 0), default=1.0)
    return min(max(2.0 ** math.ceil(widest - 1e-9), LEAST), MOST)


def at(ratio: float, scale: float) -> float:
    """The place of a ratio, per cent of the width; beyond the scale at its end.

    >>> at(1.0, 4.0), at(4.0, 4.0), at(99.0, 4.0)
    (50.0, 97.0, 97.0)
    """
    share = math.log(max(ratio, 1e-9)) / math.log(scale)
    return 0.5 * (LEFT + RIGHT) + 0.5 * (RIGHT - LEFT) * max(-1.0, min(1.0, share))


def ratio_axis(scale: float) -> SafeString:
    """The head of the column of bars."""
    shown = [mark for mark in MARKS if 1 / scale <= mark <= scale]
    parts = []
    for mark in shown:
        anchor = "start" if mark == shown[0] else "end" if mark == shown[-1] else "middle"
        text = MARK_WORDS.get(mark, f"{mark:g}")
        parts.append(words(pct(at(mark, scale)), 14, text, "quiet", anchor=anchor))
        parts.append(line(pct(at(mark, scale)), 18, pct(at(mark, scale)), HEIGHT, "rule"))
    label = f"Wear against the fleet's, from {shown[0]:g} to {shown[-1]:g} times, in equal ratios"
    return picture("".join(parts), label=label, class_="ratio-bar", height=HEIGHT)


def ratio_bar(ratio: float, low: float, high: float, scale: float, stands_out: bool) -> SafeString:
    """One group: its interval as a line, its middle as a dot, in the warning colour where it wears faster."""
    colour = "quiet" if not stands_out else "limit" if low > 1.0 else "dye"
    middle = HEIGHT / 2
    one, a, b = (pct(at(x, scale)) for x in (1.0, low, high))
    parts = [line(one, 0, one, HEIGHT, "rule", 1.5), line(a, middle, b, middle, colour, 2.5)]
    for end, way in ((high, 1), (low, -1)):
        if not 1 / scale <= end <= scale:
            head = curve(f"M{-6 * way} -5L0 0L{-6 * way} 5", colour, 2.0)
            place = pct(at(end, scale))
            parts.append(element("svg", head, x=place, y=middle, overflow="visible", width="1", height="1"))
    parts.append(_dot(pct(at(ratio, scale)), middle, colour))
    label = f"{ratio:.2f} times the fleet's rate, 9 in 10 between {low:.2f} and {high:.2f}"
    return picture("".join(parts), label=label, class_="ratio-bar", height=HEIGHT)


def _dot(x: str, y: float, colour: str) -> str:
    if colour == "quiet":
        return element("circle", cx=x, cy=y, r="4.5", class_="dot-quiet", fill="currentColor")
    return solid("circle", colour, cx=x, cy=y, r=5.5)
