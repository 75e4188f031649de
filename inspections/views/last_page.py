"""The last page before a history is stored: every bearing and hour meter drawn as it is and as it would be,
the doubtful first.
"""

import datetime as dt
from collections.abc import Iterator
from typing import Any
from uuid import UUID

from django.core.paginator import Page, Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.safestring import SafeString
from django.views.decorators.http import require_http_methods

from fleet import bulk
from fleet.clock import today_in
from fleet.drawing import TimeAxis
from fleet.importing import drafts
from fleet.importing.answers import ASIDE, Answers
from fleet.importing.loading import Result
from fleet.models import Draft
from fleet.views.reading_plans import last_page_of, own_draft, shown_rows
from inspections.importing.drawn_bearings import DrawnBearing, drawn_bearings
from inspections.importing.drawn_meters import DrawnMeter
from inspections.importing.lines import Line
from inspections.importing.loading import TAKEN_OUT
from inspections.importing.new_pumps import subject
from inspections.story.uncertainty import spreads
from inspections.trend.meter_strip import MeterPoint, meter_strip
from inspections.trend.strip import axis_of, strip, strip_axis
from inspections.trend.values import Trend, TrendLimit, TrendReading, TrendWork

BEARINGS_A_PAGE = 40
MOST_ROWS_OPEN = 60
ALL_YEARS = 300  # what is stored is drawn, however old it is
_LIMITS = {"in_service_max": "maximum", "replace": "replace"}


@require_http_methods(["GET", "HEAD", "POST"])
@bulk.without_collecting()
def last_page(request: HttpRequest, draft_id: UUID) -> HttpResponse:
    """Every bearing and meter the sheet touches; a post takes one out of it."""
    draft = own_draft(request, draft_id)
    if drafts.wants_plan(draft):
        return redirect("import-plan", draft_id=draft.id)
    if request.method == "POST":
        _take_out(draft, request.POST.get("out", "")[:200])
        return redirect(last_page_of(draft, request.POST.get("set_aside", "").strip()[:300]))
    set_aside = request.GET.get("set_aside", "").strip()[:300]
    result = drafts.look(draft, set_aside=set_aside)
    may_wait = set_aside or draft.options.get("reopen")  # what waited before may wait on without a reason
    if result.faults or (result.questions and not may_wait):
        return redirect("import-questions", draft_id=draft.id)
    today = today_in("UTC")
    made = drawn_bearings(result.rows, result.directory, spreads(today), decimal_comma=_decimal_comma(draft))
    page = Paginator(made, BEARINGS_A_PAGE).get_page(request.GET.get("page"))
    return render(
        request, "inspections/last_page.html", _context(draft, result, page, today, set_aside, made)
    )


def _take_out(draft: Draft, named: str) -> None:
    """Set aside what the sheet says of one bearing; the answer can be seen and taken back like any other."""
    if not named:
        return
    given = Answers()
    for key, said in draft.answers.items():
        given.add_said(key, said)
    given.add(TAKEN_OUT, named, ASIDE, "taken out on the last page before storing")
    draft.answers = dict(given)
    draft.save(update_fields=["answers"])


def _decimal_comma(draft: Draft) -> bool:
    plan = drafts.plan_in(draft)
    return plan.decimal_comma if plan else bool(draft.options.get("decimal_comma"))


def _context(
    draft: Draft,
    result: Result,
    page: Page[DrawnBearing | DrawnMeter],
    today: dt.date,
    set_aside: str,
    made: list[DrawnBearing | DrawnMeter],
) -> dict[str, Any]:
    axis = _axis(page, today)
    shown = [
        {
            "drawn": drawn,
            "is_meter": isinstance(drawn, DrawnMeter),
            "named": subject(drawn.tag, drawn.position),
            "heading": f"Rows of {drawn.tag} {drawn.position}",
            "picture": picture_of(drawn, axis, today) if axis else "",
            "rows": shown_rows(drawn.rows[:MOST_ROWS_OPEN], result.directory),
            "n_more": max(0, len(drawn.rows) - MOST_ROWS_OPEN),
        }
        for drawn in page
    ]
    return {
        "draft": draft,
        "result": result,
        "page": page,
        "shown": shown,
        "axis": strip_axis(axis) if axis else "",
        "set_aside": set_aside,
        "n_bearings": sum(isinstance(drawn, DrawnBearing) for drawn in made),
        "n_meters": sum(isinstance(drawn, DrawnMeter) for drawn in made),
        "n_doubtful": sum(bool(drawn.reasons) for drawn in made),
        "n_rows": len(result.rows),
        "n_of_pumps": sum(row.bearing is None for row in result.rows),
    }


def _axis(page: Page[DrawnBearing | DrawnMeter], today: dt.date) -> TimeAxis | None:
    """One time axis for the bearings and meters of a page."""
    trends = [trend_of(drawn, today) for drawn in page if isinstance(drawn, DrawnBearing)]
    days = [entry.day for drawn in page if isinstance(drawn, DrawnMeter) for entry in drawn.hours]
    if days:
        first = dt.date.fromordinal(min(days))
        trends.append(
            Trend("", "", today, today, start=min(first, *(trend.first_day() for trend in trends), today))
        )
    return axis_of(trends, ident="last", years_back=ALL_YEARS) if trends else None


def picture_of(drawn: DrawnBearing | DrawnMeter, axis: TimeAxis, today: dt.date) -> SafeString:
    """A bearing's strip, or its pump's meter."""
    if isinstance(drawn, DrawnBearing):
        return strip(trend_of(drawn, today), axis)
    points = [
        MeterPoint(dt.date.fromordinal(entry.day), entry.hours, run, entry.row is not None, entry.reset)
        for entry, run in drawn.run_since_first()
    ]
    return meter_strip(f"{drawn.tag} {drawn.position}", points, axis) if points else SafeString()


def trend_of(one: DrawnBearing, today: dt.date) -> Trend:
    """A bearing as it would be, for the small drawing: what is there, what would be added, works as steps,
    limits.
    """
    there = f"{one.n_there} readings there, " if one.n_there else ""
    added = f"{one.n_new} would be added" + (f" ({one.measures})" if one.measures else "")
    return Trend(
        title=f"{one.tag} {one.position}",
        summary=f"{one.tag} {one.position}: {there}{added}",
        today=today,
        until=today,
        readings=tuple(_readings(one)),
        works=tuple(
            TrendWork(dt.date.fromordinal(line.day), line.kind, line.kind.replace("_", " "))
            for line in one.works
        ),
        limits=tuple(TrendLimit(kind, one.limits[use]) for use, kind in _LIMITS.items() if use in one.limits),
    )


def _readings(one: DrawnBearing) -> Iterator[TrendReading]:
    """A reading for each day and stage: the larger end, and the other beside it."""
    together: dict[tuple[int, int, bool], list[Line]] = {}
    for line in one.readings:
        together.setdefault((line.day, line.phase, line.is_new), []).append(line)
    for (day, phase, is_new), some in together.items():
        values = sorted(line.middle for line in some if line.middle is not None)
        yield TrendReading(
            dt.date.fromordinal(day),
            values[-1],
            some[0].sd,
            "as_left" if phase == 2 else "as_found",
            some[0].method,
            some[0].typed,
            "added" if is_new else "used",
            smaller_um=values[0] if len(values) > 1 and values[0] < values[-1] else None,
        )
