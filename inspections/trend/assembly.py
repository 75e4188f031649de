"""One bearing's trend put together: its readings, work, fitted path and fan, limits and outages; and its
story as told on the page.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby, zip_longest
from typing import Any
from uuid import UUID

import numpy as np

from fleet.drawing import Span
from fleet.formatting import day, um
from fleet.measuring_methods import NOT_NAMED, words_of
from fleet.models import Bearing, Limit, Outage
from fleet.models.recorded import order_of
from inspections.forecasts.current_forecasts import parameters, standing_run
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.judgement.judgement_figures import READING, Judgement, Why, Word
from inspections.forecasts.wear_inputs import Known, events_of, inputs, known_on
from inspections.models import EventKind, Stage
from inspections.story.effect_of_work import NEW_BASELINE, NEW_LIFE, STEP, UNSURE, Happening
from inspections.story.effect_of_work import words_of as words_of_work
from inspections.story.observations import Observation
from inspections.trend.values import (
    Trend,
    TrendDates,
    TrendFan,
    TrendJob,
    TrendLimit,
    TrendPath,
    TrendReading,
    TrendWork,
)
from inspections.wear.path import Path, path

FAN_POINTS = 25
YEARS_AHEAD = 8
MEDIAN = 3  # among the fan's seven quantiles


def trend_of(bearing: Bearing, figures: Figures, today: dt.date) -> tuple[Known, Trend]:
    """What is known of a bearing, and its trend; `figures` are those shown beside it."""
    return trends_of([bearing], {bearing.pk: figures}, today)[bearing.pk]


def trends_of(
    bearings: Sequence[Bearing], figures: Mapping[UUID, Figures], today: dt.date
) -> dict[UUID, tuple[Known, Trend]]:
    """The same of many bearings, in a number of queries that does not grow with them."""
    population, codes, _ = parameters(today, standing_run())
    known = inputs(list(bearings), today, codes)
    limits, outages = _limits_of(bearings), _outages_of(bearings)
    made = {}
    for i, one in enumerate(known.known):
        own = figures[one.bearing.pk]
        until = _until(own, today)
        ahead = np.unique(np.linspace(0, (until - today).days, FAN_POINTS).round())
        fitted = path(known.histories, population, i, one.even_days(ahead)) if _has_dates(own) else None
        trend = Trend(
            title=f"{one.bearing}: clearance over time",
            summary=_summary(one.bearing, own),
            today=today,
            until=until,
            readings=tuple(_readings(one)),
            works=tuple(_works(one)),
            paths=tuple(_paths(one, fitted)) if fitted else (),
            fan=_fan(fitted, ahead, today) if fitted else None,
            limits=tuple(_limits(limits[one.bearing.pk], own)),
            outages=tuple(_outages(one, outages[one.bearing.place.site_id], until)),
            dates=_dates(own),
        )
        made[one.bearing.pk] = one, trend
    return made


def sketches_of(
    bearings: Sequence[Bearing], figures: Mapping[UUID, Figures], today: dt.date, until: dt.date
) -> dict[UUID, Trend]:
    """The same of many bearings for rows of a list, from what is stored alone: readings joined within a life,
    and a fan through the clearance of today and the stored dates of both limits.
    """
    limits, made = _limits_of(bearings), {}
    for one in known_on(bearings, today):
        own = figures[one.bearing.pk]
        made[one.bearing.pk] = Trend(
            title=str(one.bearing),
            summary=_summary(one.bearing, own),
            today=today,
            until=until,
            readings=tuple(_readings(one)),
            works=tuple(_works(one)),
            paths=tuple(_joined(one, own)),
            fan=_stored_fan(own, today, until),
            limits=tuple(_limits(limits[one.bearing.pk], own)),
            dates=_dates(own),
        )
    return made


def _joined(one: Known, figures: Figures) -> Iterator[TrendPath]:
    """The readings of each life joined, the last with the middle clearance of today."""
    stretch: list[tuple[dt.date, float]] = []
    used = {id(seen) for seen in one.story.clearances}
    for entry in one.story.entries:
        if isinstance(entry, Happening):
            if entry.effect in (NEW_LIFE, NEW_BASELINE, UNSURE):
                yield from _path_through(stretch)
                stretch = []
        elif id(entry) in used and (at := _shown(entry)) is not None:
            stretch.append((entry.on, at))
    if stretch and figures["clearance_um_p50"] is not None:
        stretch.append((one.as_of, figures["clearance_um_p50"]))
    yield from _path_through(stretch)


def _path_through(stretch: list[tuple[dt.date, float]]) -> Iterator[TrendPath]:
    if len(stretch) > 1:
        days, values = zip(*stretch, strict=True)
        yield TrendPath(days, values)


def _stored_fan(figures: Figures, today: dt.date, until: dt.date) -> TrendFan | None:
    """1 in 10, even and 9 in 10 through what is stored: the clearance of today and the day each limit is
    reached with the chance that belongs to the edge; further on as steep as before.
    """
    if not _has_dates(figures):
        return None
    ahead = np.linspace(0.0, (until - today).days, 5)
    edges = [
        _edge(figures, today, ahead, *names) for names in (("p10", "p90"), ("p50", "p50"), ("p90", "p10"))
    ]
    low, middle, high = (tuple(map(float, edge)) for edge in edges)
    days = tuple(today + dt.timedelta(days=int(away)) for away in ahead)
    return TrendFan(days, low, low, middle, high, high)


def _edge(figures: Figures, today: dt.date, ahead: np.ndarray, level: str, date: str) -> np.ndarray:
    """Clearance so many days ahead along one edge; as wear goes where no limit is reached in sight."""
    points = [(0.0, figures[f"clearance_um_{level}"] or 0.0)]
    for limit, on in (
        ("replace_limit_um", f"replace_date_{date}"),
        ("in_service_max_um", f"max_date_{date}"),
    ):
        day = figures.day(on)
        if day is not None and day > today and (figures[limit] or 0.0) > points[-1][1]:
            points.append((float((day - today).days), figures[limit]))
    if len(points) == 1:
        rate = (figures[f"rate_um_per_kh_{level}"] or 0.0) * (figures["hours_per_day"] or 0.0) / 1000.0
        points.append((1.0, points[0][1] + rate))
    days, values = np.array(points).T
    slope = (values[-1] - values[-2]) / max(days[-1] - days[-2], 1.0)
    beyond = slope * np.maximum(ahead - days[-1], 0.0)
    return np.asarray(np.interp(ahead, days, values) + beyond)


def with_opening(trend: Trend, judgement: Judgement) -> Trend:
    """The trend with the outage at which the pump is to be opened, and the trigger there; without dates where
    the limit they are of, or the bore, is wrong.
    """
    at = judgement.at
    if judgement.why == Why.NO_LIFE:
        return replace(trend, dates=None)
    if at is None or judgement.word != Word.OPEN or at.start_on > trend.until:
        return trend
    job = TrendJob(at.start_on, at.end_on, at.trigger_um if at.trigger_is == READING else None)
    return replace(trend, job=job)


def _has_dates(figures: Figures) -> bool:
    return figures["outcome"] not in ("no_limit", "cannot_say")


def _until(figures: Figures, today: dt.date) -> dt.date:
    """As far as the even chance, at least three years and at most eight."""
    even = figures.day("replace_date_p50")
    wanted = even + dt.timedelta(days=550) if even else today
    least, most = today + dt.timedelta(days=3 * 365), today + dt.timedelta(days=YEARS_AHEAD * 365)
    return min(max(wanted, least), most)


def _summary(bearing: Bearing, figures: Figures) -> str:
    n = figures["readings"] or 0
    last = figures.day("last_reading_on")
    seen = f"{n} readings, the last of {day(last)}" if last else "no reading"
    return f"Clearance of {bearing} over time: {seen}."


def _readings(one: Known) -> Iterator[TrendReading]:
    used = {id(seen) for seen in one.story.clearances}
    for seen in one.story.observations:
        if seen.series != "clearance":
            continue
        middle = _shown(seen)
        if middle is None:
            continue
        yield TrendReading(
            seen.on,
            middle,
            one.spreads.get(seen.method, NOT_NAMED).sd_um,
            seen.stage,
            seen.method,
            seen.typed,
            "used" if id(seen) in used else "excluded",
            seen.low_um,
            seen.high_um,
            seen.precision,
            seen.smaller_um if seen.taper_um else None,
        )


def _shown(seen: Observation) -> float | None:
    """Where a reading stands: its larger end, or the middle or the one end of an interval."""
    if seen.larger_um is not None:
        return seen.larger_um
    ends = [end for end in (seen.low_um, seen.high_um) if end is not None]
    return sum(ends) / len(ends) if ends else None


def _works(one: Known) -> Iterator[TrendWork]:
    for work in one.story.happenings:
        if work.effect == "none" and work.kind != EventKind.CONTACT_CHECK:
            continue
        name, _, detail = work.words.partition(": ")
        rounds = _scrapes_beside(one, work)
        if len(rounds) > 1:  # what was read before and after is of all of them: said once, at the last
            whole = "; ".join(part for part in (f"{len(rounds)} scrapes together", detail) if part)
            detail = whole if rounds[-1] is work else _own_detail(work)
        yield TrendWork(work.on, work.kind, name.lower(), _step(one, work), detail)


def _own_detail(work: Happening) -> str:
    """What was written of this work alone: its reason and note, without the clearance before and after."""
    own = words_of_work(work.kind, half=work.half, shell=work.shell, reason=work.reason, note=work.note)
    return own.partition(": ")[2]


def _scrapes_beside(one: Known, work: Happening) -> list[Happening]:
    """The scrapes of a scrape's visit, itself among them."""
    if work.effect != STEP or not work.visit:
        return []
    return [other for other in one.story.happenings if other.effect == STEP and other.visit == work.visit]


def _step(one: Known, work: Happening) -> float | None:
    """The step that a visit's own readings show, where it was measured before and after: at its last scrape.

    Readings before and after tell what all scrapes between them took, and not what each did.
    """
    rounds = _scrapes_beside(one, work)
    if not rounds or rounds[-1] is not work:
        return None
    seen = [o for o in one.story.clearances if o.visit and o.visit == work.visit and o.value_um is not None]
    found = [o.larger_um for o in seen if o.stage == Stage.AS_FOUND and o.larger_um is not None]
    left = [o.larger_um for o in seen if o.stage == Stage.AS_LEFT and o.larger_um is not None]
    return left[-1] - found[0] if found and left else None


def _paths(one: Known, fitted: Path) -> Iterator[TrendPath]:
    """The fitted clearance of the larger end, one stretch per level: a step stays inside, new metal breaks
    it.
    """
    stretch: list[tuple[dt.date, float]] = []
    halves: list[tuple[dt.date, float]] = []
    for entry, before, after in zip(events_of(one), fitted.before[:, 0], fitted.after[:, 0], strict=True):
        if isinstance(entry, Happening) and entry.effect in (NEW_LIFE, NEW_BASELINE, UNSURE):
            yield from _larger(stretch, halves)
            stretch, halves = [], []
        elif np.isfinite(before):
            stretch.append((entry.on, float(before)))
        if np.isfinite(after):
            stretch.append((entry.on, float(after)))
        if isinstance(entry, Observation) and entry.taper_um is not None and entry.series == "clearance":
            halves.append((entry.on, entry.taper_um / 2))
    if stretch and stretch[-1][0] < one.as_of and len(fitted.fan):
        stretch.append((one.as_of, float(fitted.fan[0, MEDIAN]) - fitted.larger_end_um))
        halves.append((one.as_of, fitted.larger_end_um))
    yield from _larger(stretch, halves)


def _larger(stretch: list[tuple[dt.date, float]], halves: list[tuple[dt.date, float]]) -> Iterator[TrendPath]:
    """The mean of the ends raised by half their difference as measured (and as believed today), straight
    between.
    """
    if len(stretch) < 2:
        return
    days, means = zip(*stretch, strict=True)
    known = np.array([(day.toordinal(), half) for day, half in halves], dtype=float)
    at = [day.toordinal() for day in days]
    raised = np.interp(at, known[:, 0], known[:, 1]) if len(known) else np.zeros(len(at))
    yield TrendPath(days, tuple(mean + float(half) for mean, half in zip(means, raised, strict=True)))


def _fan(fitted: Path, ahead: np.ndarray, today: dt.date) -> TrendFan:
    days = tuple(today + dt.timedelta(days=int(away)) for away in ahead)
    p10, p25, p50, p75, p90 = (tuple(map(float, fitted.fan[:, at])) for at in (1, 2, 3, 4, 5))
    return TrendFan(days, p10, p25, p50, p75, p90)


def _limits_of(bearings: Sequence[Bearing]) -> dict[UUID, list[Limit]]:
    """By bearing, the maxima of its clearance in the order in which they came into force."""
    found: dict[UUID, list[Limit]] = defaultdict(list)
    rows = Limit.objects.standing().filter(use="in_service_max", quantity="clearance")
    for row in rows.filter(bearing__in=[bearing.pk for bearing in bearings]):
        found[row.bearing_id].append(row)
    for held in found.values():
        held.sort(key=lambda row: (row.from_on or dt.date.min, *order_of(row)))
    return found


def _limits(held: list[Limit], figures: Figures) -> Iterator[TrendLimit]:
    """The maximum as it held over time, and the replace limit of now."""
    for limit, after in zip_longest(held, held[1:]):
        if limit.value_um is not None:
            authority = ", ".join(word for word in (limit.get_authority_display(), limit.document) if word)
            yield TrendLimit(
                "maximum", float(limit.value_um), authority, limit.from_on, after.from_on if after else None
            )
    if not held and figures["in_service_max_um"] is not None:
        yield TrendLimit("maximum", figures["in_service_max_um"], "of its class")
    if figures["replace_limit_um"] is not None and figures["replace_limit_from"] in (
        "plant",
        "derived",
        "lining",
    ):
        words = {"plant": "set by the plant", "derived": "derived", "lining": "lining left"}
        yield TrendLimit("replace", figures["replace_limit_um"], words[figures["replace_limit_from"]])


def _outages_of(bearings: Sequence[Bearing]) -> dict[UUID, list[Outage]]:
    """By site, its outages."""
    found: dict[UUID, list[Outage]] = defaultdict(list)
    sites = {bearing.place.site_id for bearing in bearings}
    for row in Outage.objects.standing().filter(site__in=sites).order_by("start_on"):
        found[row.site_id].append(row)
    return found


def _outages(one: Known, rows: list[Outage], until: dt.date) -> Iterator[Span]:
    block = one.place.block if one.place else ""
    for outage in rows:
        if (
            outage.start_on <= until
            and (not outage.block or outage.block == block)
            and (not outage.pumps or one.bearing.place.tag in outage.pumps)
        ):
            yield Span(outage.start_on, outage.end_on, outage.name)


def _dates(figures: Figures) -> TrendDates | None:
    if not _has_dates(figures):
        return None
    name = "in-service maximum" if figures["replace_limit_from"] == "no_room" else "replace limit"
    return TrendDates(name, *(figures.day(f"replace_date_{q}") for q in ("p10", "p50", "p90")))


@dataclass(frozen=True)
class Told:
    """One opening, or one thing without an opening: its day, what was seen and done in order, and how it came
    about.
    """

    day: str
    what: list[str]
    how: str
    visit: UUID | None = None
    shown: Any = None
    """What a visit recorded at the pump adds: its prints and its receipt (`showing_visits`)."""


def told(one: Known, shown: Mapping[UUID, Any] | None = None) -> list[Told]:
    """What happened, the newest first, one visit a line, in plain words; `shown` is what the pump adds, by
    visit.
    """
    lines = []
    for _, run in groupby(one.story.entries, key=lambda entry: entry.visit or id(entry)):
        entries = list(run)
        first = entries[0]
        what = [entry.words if isinstance(entry, Happening) else _seen(entry) for entry in entries]
        extra = (shown or {}).get(first.visit) if first.visit else None
        lines.append(Told(day(first.on, first.precision), what, _how(first, one), first.visit, extra))
    return lines[::-1]


def _how(entry: Observation | Happening, one: Known) -> str:
    visit = one.story.visits.get(entry.visit) if entry.visit else None
    if visit is None:
        return ""
    said = [visit.why, visit.outage, f"job {visit.job}" if visit.job else ""]
    return ", ".join(word for word in said if word)


def _seen(entry: Observation) -> str:
    """ "229 um as found, plastic strip (as typed ...)": one observation in words."""
    series = {"clearance": "", "wall": "shell wall ", "shaft_drop": "shaft drop "}[entry.series]
    method = words_of(entry.method)
    if entry.value_um is not None:
        value = um(entry.larger_um if entry.series == "clearance" else entry.value_um)
    elif entry.low_um is None:
        value = f"under {um(entry.high_um)}"
    elif entry.high_um is None:
        value = f"over {um(entry.low_um)}"
    else:
        value = f"{um(entry.low_um)} to {um(entry.high_um)}"
    parts = [
        f"{series}{value} {dict(Stage.choices).get(entry.stage, '')}".strip(),
        method or "method not known",
    ]
    if entry.taper_um:
        parts.append(f"ends differ by {um(entry.taper_um)}, the larger {_end(entry.larger_end)}")
    if entry.not_for_wear:
        parts.append(f"not used for wear{': ' + entry.because if entry.because else ''}")
    return f"{', '.join(parts)} (typed {entry.typed})"


def _end(end: str) -> str:
    return {"in": "on the pump side", "out": "away from the pump"}.get(end, "not known")
