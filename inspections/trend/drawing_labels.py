"""The limits, the work and the key of a trend's drawing: everything whose words must find room."""

from __future__ import annotations

import re

from django.utils.html import escape

from fleet.drawing import (
    PALETTE,
    Box,
    curve,
    element,
    hatched,
    line,
    polyline,
    ring,
    solid,
    stroke,
    text_width,
    words,
)
from fleet.formatting import day, in_unit, um, um_step
from inspections.trend.scales import LIMIT_WORDS, SHORT_WORDS, Frame
from inspections.trend.values import Trend, TrendJob, TrendLimit, TrendWork

ROW = 15.0  # from one row of a label in the margin to the next
MOST_AUTHORITY_ROWS = 3
STEP_ASIDE = 15.0  # how far beside the line a step's dimension stands
NEW_METAL = ("shell_change", "rebabbitt", "journal_regrind", "shim_change", "rotor_change", "pump_change")

UNNAMED = ("contact_check", "inspection")  # nothing changed: a mark to hover over is enough


def limit_lines(frame: Frame) -> str:
    """Each limit over the days it held: solid the maximum, dashed the replace limit."""
    return "".join(_limit_line(frame, limit) for limit in frame.trend.limits)


def _limit_line(frame: Frame, limit: TrendLimit) -> str:
    start = frame.x(limit.from_day) if limit.from_day else frame.left
    end = frame.x(limit.to_day) if limit.to_day else frame.right
    y = frame.y(limit.value_um)
    tip = element("title", escape(f"{LIMIT_WORDS[limit.kind]} {um(limit.value_um)}, {limit.authority}"))
    dash = "6 4" if limit.kind == "replace" else ""
    return element("g", tip, line(start, y, end, y, "limit", 1.3 if limit.to_day else 2.2, dash))


def limit_labels(frame: Frame) -> str:
    """Each limit that holds now named at the right margin, and by whom; those gone along their line where
    there is room.
    """
    standing = sorted((x for x in frame.trend.limits if not x.to_day), key=lambda x: -x.value_um)
    rows = [_margin_rows(frame, limit) for limit in standing]
    tops = apart(
        [frame.y(limit.value_um) - 8 for limit in standing],
        [ROW * len(row) + 4 for row in rows],
        frame.top - 12,
        frame.floor,
    )
    parts = [_margin_label(frame, *label) for label in zip(standing, rows, tops, strict=True)]
    return "".join([*parts, *_former_labels(frame)])


def _margin_rows(frame: Frame, limit: TrendLimit) -> list[str]:
    """What it is, its figure and who set it, cut into rows as wide as the margin."""
    room, size = frame.size.right - 10, frame.size.font
    authority = in_rows(limit.authority, room, size)
    if len(authority) > MOST_AUTHORITY_ROWS:  # the tip and the facts beside the drawing say the rest
        last = cut_to(f"{authority[MOST_AUTHORITY_ROWS - 1]}…", room, size)
        authority = [*authority[: MOST_AUTHORITY_ROWS - 1], last]
    return [*in_rows(f"{SHORT_WORDS[limit.kind]} {um(limit.value_um)}", room, size), *authority]


def in_rows(text: str, room: float, size: float) -> list[str]:
    """Rows that are no wider than `room`; a word that is wider is cut short, never carried over.

    >>> in_rows("customer specification, station", 75, 12)
    ['customer', 'specificat…', 'station']
    """
    rows: list[str] = []
    for word in re.split(r"[ \n\t]+", text.strip()):
        longer = f"{rows[-1]} {word}" if rows else word
        if rows and text_width(longer, size) <= room:
            rows[-1] = longer
        elif word:
            rows.append(cut_to(word, room, size))
    return rows


def cut_to(text: str, room: float, size: float) -> str:
    """The text, or as much of it as is no wider than `room`, with a mark that it goes on."""
    kept = text
    while len(kept) > 1 and text_width(kept, size) > room:
        kept = f"{kept.rstrip('…')[:-1].rstrip(',; ')}…"
    return kept


def _margin_label(frame: Frame, limit: TrendLimit, rows: list[str], top: float) -> str:
    """The rows beside the end of the line, with a leader where they had to move."""
    y, size = frame.y(limit.value_um), frame.size.font
    lead = curve(polyline([(frame.right, y), (frame.right + 7, top + 8)]), "limit", 1)
    rows_at = [(top + 12 + ROW * i, row) for i, row in enumerate(rows)]
    return lead + "".join(words(frame.right + 9, at, row, "limit", size=size) for at, row in rows_at)


def apart(tops: list[float], heights: list[float], first: float, last: float) -> list[float]:
    """Tops moved so that boxes of these heights do not lie on each other, in their order, between two bounds
    if they fit.
    """
    moved = list(tops)
    floor = last
    for i in reversed(range(len(moved))):
        moved[i] = min(moved[i], floor - heights[i])
        floor = moved[i]
    ceiling = first
    for i, height in enumerate(heights):
        moved[i] = max(moved[i], ceiling)
        ceiling = moved[i] + height
    return moved


def _former_labels(frame: Frame) -> list[str]:
    parts, size = [], frame.size.font
    for limit in (x for x in frame.trend.limits if x.to_day and not frame.size.is_narrow):
        text = f"{SHORT_WORDS[limit.kind]} {um(limit.value_um)} until {day(limit.to_day, 'year')}"
        wide = text_width(text, size)
        box = frame.places.choose(_limit_places(frame, limit, wide, 16)[:2], must=False)
        if box:
            parts.append(words(box.x, box.y + 12, text, "limit halo", size=size))
    return parts


def job_words(job: TrendJob, unit: str = "um") -> str:
    """ "open; replace from 287 um": what the planned opening asks for."""
    return (
        job.words if job.trigger_um is None else f"{job.words}; replace from {in_unit(job.trigger_um, unit)}"
    )


def job_mark(frame: Frame) -> str:
    """The planned opening on its outage: a frame around it, and its trigger as a bar across."""
    job = frame.trend.job
    if job is None or not frame.first <= job.start <= frame.trend.until:
        return ""
    x, size, text = frame.x(job.start), frame.size.font, job_words(job)
    wide = max(frame.x(job.end) - x, 5.0)
    around = {"x": x - 1.5, "y": frame.top, "width": wide + 3, "height": frame.floor - frame.top}
    parts = [element("title", escape(f"{day(job.start, 'month')}: {text}"))]
    parts.append(element("rect", **around, fill="none", **stroke("ink", 1.4)))
    y = frame.top + 30
    if job.trigger_um is not None:
        y = frame.y(job.trigger_um)
        parts.append(line(x - 8, y, x + wide + 8, y, "ink", 3.0))
    needs = text_width(text, size)
    sides = [x + wide + 10, min(x - 10, frame.today - 6) - needs]
    rows = (y - 8, y - 26, y + 6, frame.floor - 24, frame.floor - 42, frame.top + 22, frame.top + 40)
    offered = [Box(side, row, needs, 15) for row in rows for side in sides]
    box = frame.places.choose([place for place in offered if frame.left <= place.x <= frame.right - needs])
    if box:
        parts.append(words(box.x, box.y + 12, text, "halo", size=size))
    return element("g", *parts, class_="job")


def _beside(x: float, box: Box, text: str, colour: str, size: float, drop: float = 0.0) -> str:
    """Text in its place; left of `x` it ends there, so that a bad guess of its width does no harm."""
    y = box.y + 12 + drop
    if x - 24 - STEP_ASIDE < box.x + box.width <= x:
        return words(box.x + box.width, y, text, f"{colour} halo", anchor="end", size=size)
    return words(box.x, y, text, f"{colour} halo", size=size)


def _limit_places(frame: Frame, limit: TrendLimit, wide: float, high: float) -> list[Box]:
    """Above and below the line, from the left to the right end; where it began late, not before that."""
    y = frame.y(limit.value_um)
    right = frame.right - wide - 4
    begins = frame.x(limit.from_day) if limit.from_day else frame.left
    left = max(frame.left + 2, min(right, begins + 6))
    starts = [left, (left + frame.today - wide) / 2, frame.today - wide - 8, right]
    return [Box(max(left, x), top, wide, high) for x in starts for top in (y - high - 3, y + 3)]


def works(frame: Frame) -> str:
    """Work in bronze, the scrapes first: their steps must be readable."""
    shown = [w for w in frame.trend.works if frame.first <= w.day <= frame.trend.until]
    parts = []
    for work in shown:
        if work.kind != "scrape":
            frame.places.take(Box(frame.x(work.day) - 5, frame.floor - 9, 10, 9))
        if work.kind in NEW_METAL:
            frame.places.take(Box(frame.x(work.day) - 1, frame.top, 2, frame.floor - frame.top))
    for work in sorted(shown, key=lambda w: (w.kind != "scrape", w.kind not in NEW_METAL, w.day)):
        parts.append(_scrape_label(frame, work) if work.kind == "scrape" else _work_mark(frame, work))
    return "".join(parts)


def _scrape_label(frame: Frame, work: TrendWork) -> str:
    """The step in words beside its arrow."""
    trend, x, size = frame.trend, frame.x(work.day), frame.size.font
    step = "" if work.step_um is None else um_step(work.step_um)
    text = step if step and frame.size.is_narrow else f"{work.label} {step}".strip()
    ends = [r.value_um for r in trend.readings if r.day == work.day]
    ends += [v for p in trend.paths for d, v in zip(p.days, p.values_um, strict=True) if d == work.day]
    y = frame.y(max(ends)) if ends else frame.floor - 30
    foot = frame.y(min(ends)) if ends else frame.floor - 30
    wide = text_width(text, size)
    side, middle = x - STEP_ASIDE - wide - 9, (y + foot) / 2 - 8
    places = [(side, middle), (side, middle - 12), (side, y - 24), (x + 12, middle), (x + 12, foot + 2)]
    places += [(x - wide / 2, y - 40), (x - wide / 2, foot + 14), (side, foot + 8), (x + 10, y - 36)]
    box = frame.places.choose([Box(*place, wide, 15) for place in places])
    tip = element("title", escape(f"{day(work.day)}: {work.label} {step}. {work.detail}"))
    label = _beside(x, box, text, "bronze", size) if box else ""
    return element("g", tip, label) if ends else element("g", tip, label, _foot(frame, x))


def _foot(frame: Frame, x: float) -> str:
    """A bronze mark standing on the time scale."""
    head = polyline([(x - 5, frame.floor), (x, frame.floor - 9), (x + 5, frame.floor)]) + "Z"
    return solid("path", "bronze", d=head)


def _work_mark(frame: Frame, work: TrendWork) -> str:
    """A mark on the floor of the plot; new metal cuts the whole height. The label only where it fits."""
    x, size = frame.x(work.day), frame.size.font
    parts = [element("title", escape(f"{day(work.day)}: {work.label}. {work.detail}"))]
    if work.kind in NEW_METAL:
        parts.append(line(x, frame.top, x, frame.floor, "bronze", 1.5, "2 3"))
    parts.append(_foot(frame, x))
    if work.kind in UNNAMED:
        return element("g", *parts)
    rows = [frame.floor - 18 - 16 * i for i in range(5)]
    poles = [Box(x - 1, y + 14, 2, max(0.0, rows[0] - y)) for y in rows]
    is_new = work.kind in NEW_METAL  # its own upright line is the pole
    free = [y for y, pole in zip(rows, poles, strict=True) if is_new or frame.places.cost(pole) < 1]
    for text in dict.fromkeys((work.label, work.label.split(",")[0])):  # whole, or its first words
        wide = text_width(text, size)
        offered = [Box(at, y, wide, 14) for y in free for at in (x + 8, x - wide - 8)]
        box = frame.places.choose(offered, must=False)
        if box:
            break
    if box:
        if (
            box.y < rows[0] and not is_new
        ):  # a flag on its own pole, so that it is not read as its neighbour's
            parts.append(line(x, frame.floor - 9, x, box.y + 2, "bronze"))
            frame.places.take(Box(x - 1, box.y, 2, frame.floor - box.y))
        parts.append(_beside(x, box, text, "bronze", size))
    return element("g", *parts)


def key(frame: Frame, y: float) -> tuple[str, float]:
    """What the marks mean, from `y` down, and where it ends; only the marks that are drawn."""
    size = frame.size.font - 1
    x = start = 4.0 if frame.size.is_narrow else frame.left
    parts = []
    for mark, text in _key_entries(frame):
        wide = 26 + 0.94 * text_width(text, size)
        if x > start and x + wide > frame.right + 6:
            x, y = start, y + 20
        parts.append(element("g", mark, transform=f"translate({x:.1f} {y - 4:.1f})"))
        parts.append(words(x + 24, y, text, "quiet", size=size))
        x += wide + 12
    return "".join(parts), y


def _key_entries(frame: Frame) -> list[tuple[str, str]]:
    """Mark and meaning, in the order a reader meets them."""
    return [*_keys_of_readings(frame.trend), *_keys_of_the_rest(frame)]


def _keys_of_readings(trend: Trend) -> list[tuple[str, str]]:
    bar = line(9.0, -8, 9.0, 8, "dye", 1.5)
    entries = []
    if any(r.smaller_um is not None for r in trend.readings):
        other = line(9.0, -5, 9.0, 7, "dye", 1) + line(4.0, 7, 14.0, 7, "dye", 2)
        entries.append((other, "the other end"))
    if any(r.state == "added" for r in trend.readings):
        entries.append((solid("circle", "dye", cx="9", cy="0", r="5.4"), "would be added"))
    if any(r.stage != "as_left" for r in trend.readings):
        entries.append((bar + ring("circle", "dye", cx="9", cy="0", r="4.6"), "as found, bar: 9 in 10"))
    if any(r.stage == "as_left" for r in trend.readings):
        entries.append((bar + ring("rect", "dye", x="5", y="-4", width="8", height="8"), "as left"))
    if any(r.is_censored for r in trend.readings):
        bound = line(9.0, -8, 9.0, 7, "dye", 2, "4 3") + line(4.0, 7, 14.0, 7, "dye", 2.2)
        entries.append((bound, "only a bound seen"))
    if any(r.state in ("excluded", "set_aside") for r in trend.readings):
        cross = line(5.0, -4, 13.0, 4, "quiet", 1.8) + line(5.0, 4, 13.0, -4, "quiet", 1.8)
        entries.append((ring("circle", "quiet", cx="9", cy="0", r="5") + cross, "not used"))
    return entries


def _keys_of_the_rest(frame: Frame) -> list[tuple[str, str]]:
    trend = frame.trend
    entries = []
    if trend.paths:
        entries.append((line(0.0, 4, 18.0, -4, "dye", 2), "the larger end, as believed"))
    if trend.works:
        entries.append((solid("path", "bronze", d="M3.5 5L9 -5L14.5 5Z"), "work done"))
    if any(work.kind in NEW_METAL for work in trend.works):
        entries.append((line(9.0, -9, 9.0, 7, "bronze", 1.5, "2 3"), "a new level"))
    if trend.fan:
        wide = band(frame, "rect", "wide", x="0", y="-8", width="18", height="16")
        middle = band(frame, "rect", "middle", x="0", y="-4", width="18", height="8")
        entries.append((wide + middle, "1 in 10 to 9 in 10"))
        entries.append((middle, "middle half"))
    if trend.job:
        opening = element("rect", x="4", y="-8", width="8", height="16", fill="none", **stroke("ink", 1.4))
        entries.append((opening + line(0.0, 0.0, 17.0, 0.0, "ink", 3), "planned opening, its trigger"))
    if any(outage.end >= trend.today for outage in trend.outages):
        entries.append((hatched(f"{frame.ident}-hatch", x="3", y="-8", width="10", height="16"), "outage"))
    return entries


def band(frame: Frame, shape: str, name: str, **place: str | float) -> str:
    """A band of the fan twice: tinted for the screen, hatched for black print."""
    tint = PALETTE["dye-pale" if name == "wide" else "dye-mid"]
    printed = {"fill": f"url(#{frame.ident}-{name})", "display": "none"}
    shown = element(shape, class_=f"band-{name}", fill=tint, fill_opacity="0.85", **place)
    return shown + element(shape, class_="band-print", **printed, **place)
