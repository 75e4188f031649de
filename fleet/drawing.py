"""The parts every drawing shares: escaped SVG, a time axis, hatching, places for labels.

Colours stand twice: as attributes for a drawing that leaves the page (a file, a PDF), and through the
class, which the page's style sheet overrides for dark, high contrast and print.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

from django.utils.html import escape
from django.utils.safestring import SafeString, mark_safe

PALETTE = {
    "paper": "#fcfbf8",
    "ink": "#1c2b33",
    "quiet": "#5f6b73",
    "rule": "#dcd8ce",
    "dye": "#16427a",
    "dye-pale": "#d7e1ee",
    "dye-mid": "#aec4de",
    "limit": "#a8381a",
    "bronze": "#7a5c12",
    "hatch-ground": "#f3edde",
    "hatch-line": "#c9bb94",
}
FONT = "system-ui, sans-serif"


def element(name: str, *content: str, **attributes: str | float | None) -> str:
    """One SVG element; every attribute is escaped, floats get one decimal, `None` is left out."""
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        text = f"{value:.1f}" if isinstance(value, float) else str(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    inside = "".join(content)
    return (
        f"<{' '.join(parts)}>{inside}</{name}>" if inside else f"<{' '.join(parts)}/>"
    )


def words(
    x: float | str,
    y: float,
    text: str,
    class_: str = "",
    **attributes: str | float | None,
) -> str:
    """A piece of text in a drawing; what people typed is escaped here."""
    colour = next((PALETTE[c] for c in class_.split() if c in PALETTE), PALETTE["ink"])
    return element(
        "text",
        escape(text),
        x=x,
        y=y,
        class_=f"words {class_}".strip(),
        fill=colour,
        **attributes,
    )


def line(
    x1: float | str,
    y1: float,
    x2: float | str,
    y2: float,
    colour: str,
    **attributes: str | float,
) -> str:
    """A straight line in one colour of the palette."""
    extra = attributes.pop("class_", "")
    return element(
        "line",
        x1=x1,
        y1=y1,
        x2=x2,
        y2=y2,
        class_=f"line-{colour} {extra}".strip(),
        stroke=PALETTE[colour],
        **attributes,
    )


def polyline(points: Iterable[tuple[float, float]]) -> str:
    """Path data through points."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def picture(
    content: str,
    *,
    label: str,
    class_: str,
    size: tuple[float, float] | None = None,
    height: float = 0,
) -> SafeString:
    """A whole drawing: scaled when it has a size, otherwise as wide as its place and `height` high."""
    frame: dict[str, str | float] = {"width": "100%", "height": height}
    if size:
        frame = {"viewBox": f"0 0 {size[0]:.0f} {size[1]:.0f}"}
    body = element("title", escape(label)) + content
    return mark_safe(  # every text went through escape() above
        element(
            "svg",
            body,
            xmlns="http://www.w3.org/2000/svg",
            class_=class_,
            role="img",
            aria_label=label,
            font_family=FONT,
            **frame,
        )
    )


def hatch(ident: str, *, colour: str = "hatch-line", ground: str | None = "hatch-ground", step: float = 5.0,
          rising: bool = True, stroke: float = 1.0, class_: str = "") -> str:  # fmt: skip
    """A hatching pattern, as on a drawing; `rising` leans it the one way or the other."""
    lay = (
        element(
            "rect",
            width=step,
            height=step,
            class_=f"fill-{ground}",
            fill=PALETTE[ground],
        )
        if ground
        else ""
    )
    lay += line(0.0, 0.0, 0.0, step, colour, stroke_width=stroke * 2, class_=class_)
    return element(
        "pattern",
        lay,
        id=ident,
        width=step,
        height=step,
        patternUnits="userSpaceOnUse",
        patternTransform=f"rotate({45 if rising else -45})",
    )


@dataclass(frozen=True)
class Span:
    """A stretch of days with a name: an outage."""

    start: date
    end: date
    label: str = ""


@dataclass(frozen=True)
class TimeAxis:
    """One time axis for all rows of a list; `ident` keeps its parts apart from another axis' on the page."""

    start: date
    end: date
    outages: tuple[Span, ...] = ()
    ident: str = "axis"
    left: float = 1.5  # per cent kept free for the first tick
    right: float = 2.5  # and for the arrow head

    def x(self, day: date) -> float:
        """Where a day stands, in per cent of the width, held inside the axis."""
        total = max(1, (self.end - self.start).days)
        share = (day - self.start).days / total
        return self.left + (100 - self.left - self.right) * min(1.0, max(0.0, share))

    def years(self) -> list[date]:
        """The first days of the years inside the axis."""
        first = self.start.year + (self.start > date(self.start.year, 1, 1))
        return [
            date(year, 1, 1)
            for year in range(first, self.end.year + 1)
            if date(year, 1, 1) <= self.end
        ]

    def bands(self, least: float) -> list[tuple[Span, float, float]]:
        """Outages inside the axis as (outage, x, width), each at least so many per cent wide."""
        shown = []
        for outage in self.outages:
            if outage.end < self.start or outage.start > self.end:
                continue
            x, width = self.x(outage.start), self.x(outage.end) - self.x(outage.start)
            shown.append((outage, x, max(width, least)))
        return shown


def pct(value: float) -> str:
    """A per cent coordinate, two decimals: half a pixel on a wide screen."""
    return f"{value:.2f}%"


def text_width(text: str, size: float = 13.0) -> float:
    """A generous guess of a text's width: the server has no font to measure with."""
    return 0.59 * size * len(text)


@dataclass(frozen=True)
class Box:
    """An upright rectangle that is taken, or asked for."""

    x: float
    y: float
    width: float
    height: float

    def overlap(self, other: Box) -> float:
        """The shared area."""
        across = min(self.x + self.width, other.x + other.width) - max(self.x, other.x)
        down = min(self.y + self.height, other.y + other.height) - max(self.y, other.y)
        return max(0.0, across) * max(0.0, down)


@dataclass
class Places:
    """Where labels may go: keeps what is taken and picks the freest of the places offered."""

    inside: Box
    taken: list[Box] = field(default_factory=list)

    def take(self, box: Box) -> None:
        """Mark an area as used by a mark or a line."""
        self.taken.append(box)

    def cost(self, box: Box) -> float:
        """How much of a place is taken or outside the drawing."""
        outside = box.width * box.height - box.overlap(self.inside)
        return sum(box.overlap(other) for other in self.taken) + 3 * outside

    def choose(self, offered: Sequence[Box], *, must: bool = True) -> Box | None:
        """Take the first free place, else (if it must be shown) the least crowded one."""
        priced = [(self.cost(box), order, box) for order, box in enumerate(offered)]
        cost, _, best = min(priced)[:3] if priced else (1.0, 0, None)
        if best is None or (cost > 1.0 and not must):
            return None
        self.taken.append(best)
        return best
