"""The parts every drawing shares: escaped SVG, a time axis, hatching, places for labels.

Colours stand twice: as attributes for a drawing that leaves the page (a file, a PDF), and through the
class, which the page's style sheet overrides for dark, high contrast and print.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date

import segno
from django.utils.html import escape, format_html
from django.utils.safestring import SafeString, mark_safe

from fleet.formatting import day

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
    "hatch-line": "#bdab7c",
}
FONT = "system-ui, sans-serif"
# How wide a letter is, in parts of the size: DejaVu Sans, the widest of the usual fonts, rounded up.
LETTER_EM = {
    letter: em
    for em, letters in (
        (0.20, "\u202f"),
        (0.30, "ijlIJ'"),
        (0.34, " \u00a0,.;:/|\\·"),
        (0.42, "frt()[]-!"),
        (0.55, 's?zc*_`"“”°–'),
        (0.60, "kvxyFL"),
        (0.64, "abdeghnopqu0123456789PSTYEµ{}øåéüß$"),
        (0.70, "ABCRVXZK"),
        (0.79, "DGHNOQU&"),
        (0.84, "w+=<>~#±×−≥≤^"),
        (0.99, "mMW%æ"),
    )
    for letter in letters
}
WIDEST_EM = 1.0  # of a letter that is not in the table
QUIET = 4  # modules of white around a QR code (ISO/IEC 18004)


def element(name: str, *content: str, **attributes: str | float | None) -> str:
    """One SVG element; every attribute is escaped, floats get one decimal, `None` is left out."""
    parts = [name]
    for key, value in attributes.items():
        if value is None:
            continue
        text = f"{value:.1f}" if isinstance(value, float) else str(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    inside = "".join(content)
    return f"<{' '.join(parts)}>{inside}</{name}>" if inside else f"<{' '.join(parts)}/>"


def words(
    x: float | str,
    y: float,
    text: str,
    class_: str = "",
    *,
    size: float = 13.0,
    anchor: str | None = None,
    dx: float | None = None,
) -> str:
    """A piece of text in a drawing; what people typed is escaped here."""
    colour = next((PALETTE[name] for name in class_.split() if name in PALETTE), PALETTE["ink"])
    extra = {"text_anchor": anchor, "dx": dx, "font_weight": "600" if "strong" in class_ else None}
    names = f"words {class_}".strip()
    return element("text", escape(text), x=x, y=y, class_=names, fill=colour, font_size=f"{size:g}", **extra)


def line(
    x1: float | str, y1: float, x2: float | str, y2: float, colour: str, width: float = 1.0, dash: str = ""
) -> str:
    """A straight line in one colour of the palette."""
    ends = {"x1": x1, "y1": y1, "x2": x2, "y2": y2}
    return element("line", **ends, **stroke(colour, width, dash))


def stroke(colour: str, width: float, dash: str = "") -> dict[str, str | None]:
    """The attributes of a drawn line."""
    return {
        "class_": f"line-{colour}",
        "stroke": PALETTE[colour],
        "stroke_width": f"{width:g}",
        "stroke_dasharray": dash or None,
    }


def curve(path: str, colour: str, width: float, dash: str = "") -> str:
    """A drawn path without a filling."""
    return element("path", d=path, fill="none", **stroke(colour, width, dash))


def solid(name: str, colour: str, *content: str, **attributes: str | float | None) -> str:
    """A filled shape, or a group of them, in one colour of the palette."""
    return element(name, *content, class_=f"fill-{colour}", fill=PALETTE[colour], **attributes)


def ring(name: str, colour: str, **attributes: str | float | None) -> str:
    """A hollow mark: the paper inside, the colour around."""
    look = {
        "class_": f"ring-{colour}",
        "fill": PALETTE["paper"],
        "stroke": PALETTE[colour],
        "stroke_width": "2.2",
    }
    return element(name, **look, **attributes)


def hatched(pattern: str, tip: str = "", **attributes: str | float | None) -> str:
    """A hatched area: an outage."""
    inside = element("title", escape(tip)) if tip else ""
    return element("rect", inside, class_="hatched", fill=f"url(#{pattern})", **attributes)


def polyline(points: Iterable[tuple[float, float]]) -> str:
    """Path data through points."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def picture(
    content: str, *, label: str, class_: str, size: tuple[float, float] | None = None, height: float = 0
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


def hatch(ident: str) -> str:
    """The hatching of outages, as on a drawing."""
    ground = solid("rect", "hatch-ground", width="5", height="5")
    return _pattern(ident, "5", 45, ground + line(0.0, 0.0, 0.0, 5.0, "hatch-line", 2.0))


def print_hatch(ident: str, step: float) -> str:
    """A leaning hatching in the measuring colour that stands for a tint where print is black."""
    return _pattern(ident, f"{step:g}", -45, line(0.0, 0.0, 0.0, step, "dye", 0.7))


def _pattern(ident: str, step: str, lean: int, content: str) -> str:
    turn = f"rotate({lean})"
    frame = {"width": step, "height": step, "patternUnits": "userSpaceOnUse", "patternTransform": turn}
    return element("pattern", content, id=ident, **frame)


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

    @property
    def end_words(self) -> str:
        """The last year that is shown whole, or the month the axis ends in."""
        if (self.end.month, self.end.day) == (1, 1):
            return str(self.end.year - 1)
        return day(self.end, "year" if (self.end.month, self.end.day) == (12, 31) else "month")

    def years(self) -> list[date]:
        """The first days of the years inside the axis."""
        first = self.start.year + (self.start > date(self.start.year, 1, 1))
        return [date(year, 1, 1) for year in range(first, self.end.year + 1) if date(year, 1, 1) <= self.end]

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
    """A text's width in the widest of the usual fonts: the server does not know which one a screen has."""
    return size * sum(LETTER_EM.get(letter, WIDEST_EM) for letter in text)


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
    written: list[Box] = field(default_factory=list)
    uncrossed: list[Box] = field(default_factory=list)

    def take(self, box: Box) -> None:
        """Mark an area as used by a mark or a line."""
        self.taken.append(box)

    def keep_uncrossed(self, box: Box) -> None:
        """Mark a line that words cross only where every place offered does."""
        self.take(box)
        self.uncrossed.append(box)

    def cost(self, box: Box) -> float:
        """How much of a place is taken or outside the drawing."""
        outside = box.width * box.height - box.overlap(self.inside)
        return round(sum(box.overlap(other) for other in self.taken) + 3 * outside, 1)

    def choose(self, offered: Sequence[Box], *, must: bool = True) -> Box | None:
        """Take the first free place, else (where one must be) the least crowded; never on other words."""
        bare = [box for box in offered if not any(box.overlap(other) for other in self.written)]
        clear = [box for box in bare if not any(box.overlap(other) for other in self.uncrossed)]
        priced = [(self.cost(box), order, box) for order, box in enumerate(clear or bare)]
        cost, _, best = min(priced)[:3] if priced else (1.0, 0, None)
        if best is None or (cost > 1.0 and not must):
            return None
        self.taken.append(best)
        self.written.append(best)
        return best


def qr_drawing(text: str, words: str) -> SafeString:
    """A QR code of a text as one SVG path, a quarter of it may be dirty (level Q); `words` are read aloud for
    it.
    """
    rows = [bytes(row) for row in segno.make(text, error="q", micro=False).matrix]
    side = len(rows) + 2 * QUIET
    path = "".join(
        f"M{k + QUIET} {i + QUIET}h1v1h-1z"
        for i, row in enumerate(rows)
        for k, dark in enumerate(row)
        if dark
    )
    return format_html(
        '<svg class="qr" viewBox="0 0 {} {}" role="img" aria-label="{}"><rect width="{}" height="{}"/>'
        '<path d="{}"/></svg>',
        side,
        side,
        words,
        side,
        side,
        path,
    )
