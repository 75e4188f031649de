"""The plan's drawings: chances as dots that a page holds once each, and an outage's crew hours as a bar.
Pure.
"""

import math
from functools import cache

from django.utils.safestring import SafeString, mark_safe

from dashboards.outage_plan.pump_openings.evaluate import Load
from fleet.drawing import PALETTE, element, line, picture, solid
from fleet.formatting import chance, hours

DOTS, ACROSS = 20, 10
WIDTH, HEIGHT = 140, 12


def n_dots(p: float) -> int:
    """How many of twenty dots a chance fills; none under 1 in 20: the words say it."""
    return 0 if p < 1 / DOTS else max(0, min(DOTS, math.floor(p * DOTS + 0.5)))


def dots_once() -> SafeString:
    """Every number of dots as a symbol, to stand once on a page: a fleet's calendar shows
    thousands of them.
    """
    symbols = []
    for n in range(DOTS + 1):
        circles = [
            element(
                "circle",
                cx=6.0 + i % ACROSS * 11.2,
                cy=6.0 + i // ACROSS * 12.0,
                r=4.4,
                stroke_width="1",
                class_="dot-filled" if i < n else "dot-open",
                fill=PALETTE["limit"] if i < n else "none",
                stroke=PALETTE["limit"] if i < n else PALETTE["quiet"],
            )
            for i in range(DOTS)
        ]
        symbols.append(element("symbol", *circles, id=f"dots-{n}", viewBox="0 0 113 24"))
    return mark_safe(element("svg", *symbols, class_="dots-once", width="0", height="0", aria_hidden="true"))


def dots(p: float) -> SafeString:
    """A chance as twenty dots, by the symbol of that number."""
    return _dots(n_dots(p), chance(p))


@cache
def _dots(n: int, words: str) -> SafeString:
    use = element("use", href=f"#dots-{n}")
    label = f"{n} of 20 dots filled: {words}"
    return mark_safe(
        element("svg", use, class_="few-dots", viewBox="0 0 113 24", role="img", aria_label=label)
    )


def load_bar(load: Load) -> SafeString:
    """Planned hours solid, kept ones pale, what is too many beyond the mark of the hours that are there."""
    wanted = load.used_hours + load.expected_hours
    whole = max(load.crew_hours, wanted, 1.0)

    def part(colour: str, first: float, last: float) -> str:
        x, width = WIDTH * first / whole, WIDTH * max(last - first, 0.0) / whole
        return solid("rect", colour, x=x, y=0.0, width=width, height=float(HEIGHT))

    parts = [
        part("hatch-ground", 0.0, whole),
        part("dye", 0.0, load.used_hours),
        part("rule", load.used_hours, wanted),
    ]
    if wanted > load.crew_hours:
        at = WIDTH * load.crew_hours / whole
        parts += [part("limit", load.crew_hours, wanted), line(at, 0.0, at, float(HEIGHT), "ink", 2.0)]
    kept = (
        f", {hours(load.expected_hours)} more in 9 of 10 outages at most"
        if load.expected_hours >= 0.5
        else ""
    )
    label = f"{hours(load.used_hours)} planned of {hours(load.crew_hours)}{kept}"
    return picture("".join(parts), label=label, class_="load-bar", size=(WIDTH, HEIGHT))
