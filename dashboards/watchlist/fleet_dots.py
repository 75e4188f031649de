"""The fleet's coming dates: each bearing a dot at its 1 in 10 date, the outages hatched through them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from django.utils.html import escape, format_html
from django.utils.safestring import SafeString

from fleet.drawing import (
    Span,
    TimeAxis,
    element,
    hatch,
    hatched,
    line,
    pct,
    picture,
    solid,
    text_width,
    words,
)
from fleet.formatting import count, day

DOT = 4.5
PITCH = 10.5
TALLEST = 14  # dots in a stack, before one dot stands for several bearings
WIDE, NARROW = 1376.0, 328.0  # widths in px that label spacing is worked out for
LEAST_WIDE = 704.0  # and the least one at which the wide drawing is still shown


@dataclass(frozen=True)
class Stacks:
    """How many bearings fall where: by the middle of their month or quarter, at 1 in 10 already, beyond."""

    by_day: dict[date, int]
    n_already: int
    n_beyond: int

    @property
    def tallest(self) -> int:
        return max([self.n_already, *self.by_day.values()], default=0)

    @property
    def worth(self) -> int:
        """How many bearings one dot stands for, so that the tallest stack stays countable."""
        for power in range(12):
            for step in (1, 2, 5):
                if self.tallest <= TALLEST * step * 10**power:
                    return step * 10**power
        raise OverflowError(f"{self.tallest} bearings in one stack")

    def dots(self, n: int) -> int:
        return math.ceil(n / self.worth)


def stacked(dates: Sequence[date | None], today: date, until: date, *, months: int) -> Stacks:
    """Sort dates into stacks; `None` lies beyond."""
    by_day: Counter[date] = Counter()
    n_already = n_beyond = 0
    for when in dates:
        if when is None or when > until:
            n_beyond += 1
        elif when <= today:
            n_already += 1
        else:
            month = (when.month - 1) // months * months + 1 + months // 2
            by_day[min(until, max(date(when.year, month, 15), today))] += 1
    return Stacks(dict(by_day), n_already, n_beyond)


def fleet_dots(
    dates: Sequence[date | None],
    outages: Sequence[Span],
    today: date,
    until: date,
    *,
    n_past: int = 0,
    narrow: bool = False,
    ident: str = "fleet-dots",
) -> SafeString:
    """Draw each bearing as a dot at its 1 in 10 date, stacked by month (by quarter when narrow).

    `None` and days past `until` lie beyond; days up to `today` stand apart on the left as already there:
    a chance, not a fact. Only the `n_past` of them that have truly passed are in the limit's colour.
    """
    stacks = stacked(dates, today, until, months=3 if narrow else 1)
    left = (19.0 if narrow else 5.0) if stacks.n_already else 4.5
    axis = TimeAxis(today, until, tuple(outages), ident, left=left, right=2.0)
    ground = 30.0 + max(5, stacks.dots(stacks.tallest)) * PITCH
    clear = text_width("already") + 20 if stacks.n_already else 18.0
    far = f"{count(stacks.n_beyond)} beyond {axis.end_words} →" if stacks.n_beyond else ""
    parts = [_frame(axis, ground, NARROW if narrow else WIDE, text_width(far) + 12, clear)]
    if stacks.n_already:
        parts.append(_already(axis.left / 2, ground, stacks, n_past))
    for when, n in sorted(stacks.by_day.items()):
        parts.append(_stack(axis.x(when), ground, stacks.dots(n), "dye", f"{n} around {day(when, 'month')}"))
    if far:
        parts.append(words("100%", 14, far, "dye", anchor="end"))
    past = f" ({n_past} past the limit)" if n_past else ""
    label = (
        f"{len(dates)} bearings by the date of their 1 in 10 chance: {stacks.n_already} there already{past}, "
        f"{sum(stacks.by_day.values())} by the end of {axis.end_words}, {stacks.n_beyond} beyond."
    )
    return picture("".join(parts), label=label, class_="fleet-dots", height=ground + 28)


def _already(x: float, ground: float, stacks: Stacks, n_past: int) -> str:
    """The stack before the axis: at 1 in 10 already, those past the limit at its foot."""
    tip = f"{stacks.n_already} {_has(stacks.n_already)} a 1 in 10 chance already"
    tip += f", {n_past} of them {_has(n_past)} passed the limit" if n_past else ""
    n_limit = min(stacks.dots(n_past), stacks.dots(stacks.n_already))
    n_dye = stacks.dots(stacks.n_already) - n_limit
    drawn = _stack(x, ground, n_limit, "limit", tip) if n_limit else ""
    drawn += _stack(x, ground - n_limit * PITCH, n_dye, "dye", tip)
    return drawn + words("0%", ground + 19, "already", "quiet")


def _has(n: int) -> str:
    return "has" if n == 1 else "have"


def _stack(x: float, ground: float, n: int, colour: str, tip: str) -> str:
    """A column of dots with its count to hover over."""
    dots = (solid("circle", colour, cx=pct(x), cy=ground - 8 - i * PITCH, r=DOT) for i in range(n))
    return element("g", element("title", escape(tip)), *dots)


def _frame(axis: TimeAxis, ground: float, width: float, kept: float, clear: float) -> str:
    """The hatched outages with their names, the base line and the years."""
    parts, names, free_from = [element("defs", hatch(f"{axis.ident}-hatch"))], [], 0.0
    least = min(width, LEAST_WIDE)
    for outage, x, band in axis.bands(0.9 if width == WIDE else 2.4):
        place: dict[str, str | float | None] = {
            "x": pct(x),
            "y": 2.0,
            "width": pct(band),
            "height": ground - 2,
        }
        parts.append(hatched(f"{axis.ident}-hatch", outage.label, **place))
        month = day(outage.start, "month")
        at, needs = (x + band) / 100 * least + 4, text_width(month)
        if at >= free_from and at + needs < least - kept:
            names.append(words(pct(x + band), 14, month, "quiet halo", dx=4))
            free_from = at + needs + 6
    parts.append(line(pct(axis.left), ground, pct(100 - axis.right), ground, "ink", 1.5))
    return "".join(parts + names) + years(axis, ground + 19, width, min(width, LEAST_WIDE), clear=clear)


def years(axis: TimeAxis, y: float, width: float, least: float | None = None, *, clear: float = 18.0) -> str:
    """Year numbers, as many as a width can hold without touching.

    None stands in the first `clear` px. Those that a column of the `least` width cannot hold are
    `alternate`: the style sheet may drop them.
    """
    firsts, least = axis.years(), least or width
    every, sparse = _year_step(firsts, axis, width), _year_step(firsts, axis, least)
    drawn = []
    for n, first in enumerate(firsts):
        share = axis.x(first) / 100
        if n % every == 0 and clear < share * width < width - 14:
            stays = n % sparse == 0 and clear < share * least
            class_ = "quiet" if stays else "quiet alternate"
            drawn.append(words(pct(100 * share), y, str(first.year), class_, anchor="middle"))
    return "".join(drawn)


def _year_step(firsts: list[date], axis: TimeAxis, width: float) -> int:
    """Every how many years a number fits into a width."""
    room = (axis.x(firsts[1]) - axis.x(firsts[0])) / 100 * width if len(firsts) > 1 else width
    return next(n for n in (1, 2, 5, 10, 20, 50) if room * n >= 38 or n == 50)


def dots_table(
    dates: Sequence[date | None], outages: Sequence[Span], today: date, until: date, *, n_past: int = 0
) -> tuple[list[str], list[list[str]]]:
    """The same dots as a table: how many 1 in 10 dates fall before each outage."""
    coming = sorted((o for o in outages if today < o.start <= until), key=lambda o: o.start)
    known = [when for when in dates if when is not None]
    rows, since = ([["already", count(sum(when <= today for when in known))]], today)
    if n_past:
        rows.append(["of these past the limit", count(n_past)])
    for outage in coming:
        n = sum(since < when <= outage.start for when in known)
        rows.append([f"before {outage.label or day(outage.start, 'month')}", count(n)])
        since = outage.start
    rows.append(
        [
            f"later, to the end of {TimeAxis(today, until).end_words}",
            count(sum(since < when <= until for when in known)),
        ]
    )
    rows.append(
        [
            f"beyond {TimeAxis(today, until).end_words}",
            count(len(dates) - sum(when <= until for when in known)),
        ]
    )
    return ["1 in 10 chance of reaching the limit", "Bearings"], rows


def fleet_picture(
    dates: Sequence[date | None], outages: Sequence[Span], today: date, until: date, *, n_past: int = 0
) -> SafeString:
    """The dots for wide and for narrow screens, each under a caption that says what a dot is."""
    drawn = [
        (
            _caption(
                stacked(dates, today, until, months=3 if is_narrow else 1), TimeAxis(today, until), n_past
            ),
            fleet_dots(dates, outages, today, until, n_past=n_past, narrow=is_narrow, ident=ident),
        )
        for is_narrow, ident in ((False, "fleet-wide"), (True, "fleet-narrow"))
    ]
    return format_html(
        '<figure class="fleet"><div class="wide-only"><p class="caption">{}</p>{}</div>'
        '<div class="narrow-only"><p class="caption">{}</p>{}</div></figure>',
        *drawn[0],
        *drawn[1],
    )


def _caption(stacks: Stacks, axis: TimeAxis, n_past: int) -> str:
    """What a dot is, and what is not drawn."""
    if stacks.worth == 1:
        dot = "Each dot is a bearing, at the date it has"
    else:
        dot = f"Each dot is up to {count(stacks.worth)} bearings, at the date they have"
    said = f"{dot} a 1 in 10 chance of reaching the replace-rather-than-scrape limit."
    if stacks.n_already:
        said += f" {count(stacks.n_already)} {_has(stacks.n_already)} that chance already"
        said += f", {count(n_past)} of them past the limit." if n_past else "."
    if stacks.n_beyond:
        lie = "lies" if stacks.n_beyond == 1 else "lie"
        said += f" {count(stacks.n_beyond)} {lie} beyond {axis.end_words}."
    return said
