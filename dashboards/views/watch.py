"""The watch list."""

import datetime as dt

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards import charts, watchlist
from dashboards.tables import WatchTable
from fleet.access import sites_for
from fleet.clock import today_in
from fleet.export import xlsx_bytes
from fleet.models import Bearing, Outage
from inspections import forecasting
from inspections.figures import COLUMNS

YEARS_SHOWN = 9
ROWS_A_PAGE = 100


@require_safe
def watch(request: HttpRequest) -> HttpResponse:
    """Which bearings come first: the fleet in order of the 1 in 10 date."""
    sites = list(sites_for(request.user))
    listed = _listed(request, sites)
    if not listed.all:
        return render(request, "dashboards/empty.html", {"sites": sites})
    today = today_in("UTC")
    outages = list(Outage.objects.standing().filter(site__in=sites, end_on__gte=today).select_related("site"))
    axis = _axis(today, outages)
    pages = _tables(listed, axis, today, len(sites) > 1)
    context = {
        "listed": listed, "saying": watchlist.saying(listed), "groups": pages, "today": today,
        "picture": _picture(listed, axis), "choices": watchlist.choices(listed.all, sites),
        "folds": watchlist.FOLDS, "outages": outages, "query": _query(request),
    }  # fmt: skip
    return render(request, "dashboards/watch.html", context)


@require_safe
def watch_sheet(request: HttpRequest) -> HttpResponse:
    """The same list as a workbook, in the columns of the forecast sheet."""
    listed = _listed(request, list(sites_for(request.user)))
    rows = [
        one.figures.row() for one in [*listed.dated, *(one for group in listed.apart for one in group.rows)]
    ]
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    answer = HttpResponse(xlsx_bytes(COLUMNS, rows, sheet_name="Forecast"), content_type=kind)
    answer["Content-Disposition"] = 'attachment; filename="watch-list.xlsx"'
    return answer


def _listed(request: HttpRequest, sites) -> watchlist.WatchList:
    bearings = list(Bearing.objects.standing().at_sites(sites).in_order())
    figures = forecasting.current(bearings)
    watched = [watchlist.Watched(bearing, figures[bearing.pk]) for bearing in bearings]
    return watchlist.watch_list(watched, watchlist.Asked.from_query(request.GET))


def _axis(today: dt.date, outages: list[Outage]) -> charts.TimeAxis:
    end = dt.date(today.year + YEARS_SHOWN, 1, 1)
    spans = tuple(charts.Span(one.start_on, one.end_on, one.name) for one in outages if one.start_on < end)
    return charts.TimeAxis(today, end, spans)


def _tables(listed: watchlist.WatchList, axis, today: dt.date, show_site: bool) -> list[dict]:
    def table(rows):
        return WatchTable(rows, axis=axis, today=today, show_site=show_site)

    dated = [
        {"heading": group.heading, "table": table(group.rows), "n": len(group.rows), "note": group.note}
        for group in watchlist.groups(listed)
    ]
    apart = [
        {
            "heading": group.heading,
            "table": table(group.rows),
            "n": len(group.rows),
            "note": group.note,
            "apart": True,
        }
        for group in listed.apart
    ]
    return dated + apart


def _picture(listed: watchlist.WatchList, axis: charts.TimeAxis) -> dict:
    dates = [one.figures.first_on for one in listed.dated if one.figures.first_on]
    shown = [None if date == dt.date.max else date for date in dates]
    arguments = (shown, axis.outages, axis.start, axis.end)
    return {"svg": charts.fleet_picture(*arguments), "table": charts.dots_table(*arguments)}


def _query(request: HttpRequest) -> str:
    return request.GET.urlencode()
