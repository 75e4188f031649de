"""The watch list."""

import datetime as dt
from dataclasses import replace
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards.watchlist import charts, ranking
from dashboards.watchlist.row_strips import row_axis, row_strips
from dashboards.watchlist.table import Axes, WatchTable
from fleet.access import sites_for
from fleet.clock import today_in
from fleet.models import Bearing, Outage
from fleet.sheets.export import xlsx_bytes
from fleet.views.first_steps import nothing_here_yet
from fleet.web.rate_limit import costly
from inspections.deferrals.deferral_states import decided_words
from inspections.forecasts.current_forecasts import current, fit_trouble
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Word
from inspections.visits import dispositions

ROWS_A_PAGE = 100


@require_safe
def watch(request: HttpRequest) -> HttpResponse:
    """Which bearings come first: the fleet in order of the 1 in 10 date."""
    sites = list(sites_for(request.user))
    listed = _listed(request, sites)
    if not listed.all:
        return nothing_here_yet(request)
    today = today_in("UTC")
    outages = list(Outage.objects.standing().filter(site__in=sites, end_on__gte=today).select_related("site"))
    page = Paginator(listed.shown, ROWS_A_PAGE).get_page(request.GET.get("page"))
    shown = {one.bearing.place.site_id for one in page}
    axes = _axes(today, outages, shown)
    context = {
        "listed": listed,
        "page": page,
        "saying": ranking.saying(listed),
        "today": today,
        "outages": outages,
        "groups": _tables(list(page), listed.asked.fold, axes, today, len(shown) > 1),
        "picture": _picture(listed, axes.head, today),
        "choices": ranking.choices(listed.all, sites),
        "folds": ranking.FOLDS,
        "orders": ranking.ORDERS,
        "trouble": fit_trouble(today),
        "query": request.GET.urlencode(),
        "earlier": _page(request, page.number - 1),
        "unsigned": dispositions.unsigned(sites),
        "later": _page(request, page.number + 1),
        "axes": [charts.axis_marks(axis) for axis in (axes.head, *axes.by_site.values())],
    }
    return render(request, "dashboards/watch.html", context)


@require_safe
@costly("GET")
def watch_sheet(request: HttpRequest) -> HttpResponse:
    """The same list as a workbook, in the columns of the forecast sheet."""
    from inspections.forecasts.frames import SHEET, figures_frame, forecast_sheet  # pandas is slow to import

    listed = _listed(request, list(sites_for(request.user)))
    rows = forecast_sheet(figures_frame((one.figures, one.judgement) for one in listed.shown))
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    answer = HttpResponse(xlsx_bytes(SHEET, rows, sheet_name="Forecast"), content_type=kind)
    answer["Content-Disposition"] = 'attachment; filename="watch-list.xlsx"'
    return answer


def _listed(request: HttpRequest, sites) -> ranking.WatchList:
    bearings = list(Bearing.objects.standing().at_sites(sites).in_order())
    figures = current(bearings)
    judged = judgements(bearings)
    asked = [bearing for bearing in bearings if judged[bearing.pk].word not in (Word.LEAVE, Word.SET_LIMIT)]
    decided = decided_words(asked, today_in("UTC"))
    watched = [
        ranking.Watched(
            bearing, figures[bearing.pk], judgement=judged[bearing.pk], decided=decided.get(bearing.pk, "")
        )
        for bearing in bearings
    ]
    return ranking.watch_list(watched, ranking.Asked.from_query(request.GET))


def _axes(today: dt.date, outages: list[Outage], shown: set[Any]) -> Axes:
    """The shared axis, and one of each shown site with its own outages."""
    whole = row_axis(today)
    spans: dict[Any, list[Any]] = {site: [] for site in shown}
    for one in outages:
        if one.site_id in spans and one.start_on < whole.end:
            spans[one.site_id].append(charts.Span(one.start_on, one.end_on, one.name))
    by_site = {
        site: replace(whole, outages=tuple(own), ident=f"axis-{n}")
        for n, (site, own) in enumerate(spans.items())
    }
    only = next(iter(by_site.values())).outages if len(by_site) == 1 else ()
    return Axes(replace(whole, outages=only), by_site)


def _tables(
    rows: list[ranking.Watched], fold: str, axes: Axes, today: dt.date, show_site: bool
) -> list[dict[str, Any]]:
    drawn = row_strips(rows, today, axes.by_site) if rows else {}
    return [
        {
            "heading": group.heading,
            "note": group.note,
            "n": len(group.rows),
            "table": WatchTable(group.rows, axes=axes, drawn=drawn, show_site=show_site),
        }
        for group in ranking.groups(rows, fold)
    ]


def _page(request: HttpRequest, number: int) -> str:
    """The query of another page of the same list."""
    query = request.GET.copy()
    query["page"] = str(number)
    return query.urlencode()


def _picture(listed: ranking.WatchList, axis: charts.TimeAxis, today: dt.date) -> dict[str, Any]:
    dates = [one.figures.first_on for one in listed.dated if one.figures.first_on]
    shown = [None if date == dt.date.max else date for date in dates]
    arguments = (shown, axis.outages, today, axis.end)
    n_past = sum(one.is_past for one in listed.dated)
    return {
        "svg": charts.fleet_picture(*arguments, n_past=n_past),
        "table": charts.dots_table(*arguments, n_past=n_past),
    }
