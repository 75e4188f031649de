"""The small drawing of each row of the watch list, all on one axis; drawn anew only where the record, the
forecast or the advice changed.
"""

import datetime as dt
from collections.abc import Mapping, Sequence
from uuid import UUID

from django.utils.safestring import SafeString

from dashboards.watchlist.charts import HEIGHT, dates_in_words
from dashboards.watchlist.ranking import Watched
from fleet.drawing import TimeAxis
from fleet.recent import Recent
from inspections.forecasts.current_forecasts import record_digests
from inspections.trend.assembly import sketches_of, with_opening
from inspections.trend.strip import Row, strip

YEARS_BACK, YEARS_AHEAD = 5, 9
DATES = ("replace_date_p10", "replace_date_p50", "replace_date_p90")

_DRAWN: Recent[SafeString] = Recent(4_000)


def row_axis(today: dt.date) -> TimeAxis:
    """The time of all rows: some years back, so that the last life is seen, and those that dates are told
    for.
    """
    first, last = dt.date(today.year - YEARS_BACK, 1, 1), dt.date(today.year + YEARS_AHEAD, 1, 1)
    return TimeAxis(first, last, ident="rows", left=0.5, right=9.0)


def row_strips(
    rows: Sequence[Watched], today: dt.date, axis_of_site: Mapping[UUID, TimeAxis]
) -> dict[UUID, SafeString]:
    """By bearing, its drawing; the axes differ in the outages of their sites alone."""
    digests = record_digests([row.bearing for row in rows])
    keys = {row.bearing.pk: (row.bearing.pk, digests[row.bearing.pk], today, _said(row)) for row in rows}
    axes = {row.bearing.pk: axis_of_site[row.bearing.place.site_id] for row in rows}
    drawn = {pk: _DRAWN[key, axes[pk]] for pk, key in keys.items() if (key, axes[pk]) in _DRAWN}
    missing = [row for row in rows if row.bearing.pk not in drawn]
    if missing:
        axis = next(iter(axes.values()))
        figures = {row.bearing.pk: row.figures for row in missing}
        trends = sketches_of([row.bearing for row in missing], figures, today, axis.end)
        for row in missing:
            pk, own = row.bearing.pk, axes[row.bearing.pk]
            trend = with_opening(trends[pk], row.judgement) if row.judgement else trends[pk]
            _DRAWN[keys[pk], own] = drawn[pk] = strip(trend, own, HEIGHT, _row(row, own))
    return drawn


def _said(row: Watched) -> tuple[object, ...]:
    """What of a row's figures and judgement is drawn."""
    made = row.judgement
    at = made.at if made else None
    opened = (at.start_on, at.end_on, at.trigger_um, at.trigger_is) if at else None
    return (made.forecast_hash if made else "", row.word, made.why if made else "", opened)


def _row(row: Watched, axis: TimeAxis) -> Row:
    f, note = row.figures, note_of(row, axis)
    early, even, late = (dt.date.max if f.is_beyond(name) else f.day(name) for name in DATES)
    return Row(note or dates_in_words(early, even, late, axis), note, row.is_past, axis.ident)


def note_of(row: Watched, axis: TimeAxis) -> str:
    """What stands in place of dates; empty where there are some inside the axis."""
    f = row.figures
    if row.is_past:
        return "limit already passed"
    if row.has_no_life:
        return "a limit or the bore is wrong"
    outcome = f["outcome"]
    if not f["readings"] and outcome != "no_limit":
        return "no reading yet"
    if outcome in NOTES:
        return NOTES[outcome]
    first = f.day(DATES[0])
    if f.is_beyond(DATES[0]) or (first and first > axis.end):
        return f"all beyond {axis.end_words}"
    return "" if first else "no date"


NOTES = {
    "no_limit": "no limit set",
    "cannot_say": "cannot say yet",
    "misfit": "dates not to be trusted",
}
