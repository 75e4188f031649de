"""Who wears faster than the fleet, and whether the forecasts would have held."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards.trends import comparison as comparing
from dashboards.trends.ratio_bars import ratio_axis, ratio_bar, reach
from dashboards.trends.wear_curve import curve_sentence, other_curves_sentence, own_exponents_sentence
from fleet.access import sites_for
from fleet.clock import today_in
from inspections.forecasts import kept_backtest
from inspections.forecasts.sudden_failures import sudden_failures


@require_safe
def trends(request: HttpRequest) -> HttpResponse:
    """Classes, sites, services and positions against the fleet, as bars with intervals; the backtest in a
    sentence.
    """
    sites = list(sites_for(request.user))
    found = comparing.trends_for(sites)
    scale = reach(end for row in found.rows for end in (row.driver.low, row.driver.high))
    kept = kept_backtest.last_kept()
    rows = [(row, _bar(row, scale), comparing.interval(row.driver)) for row in found.rows]
    context = {
        "trends": found,
        "saying": comparing.sentence(found),
        "rows": rows,
        "axis": ratio_axis(scale),
        "median": found.population.median_rate_um_per_kh,
        "clock": found.population.main.clock,
        "curve": curve_sentence(found.population.main),
        "own_exponents": own_exponents_sentence(found.own_exponents),
        "other_curves": other_curves_sentence(found.curved),
        "sudden": sudden_failures(sites, today_in("UTC")),
        "kept": kept,
        "held": kept_backtest.sentence(kept.found) if kept else "",
    }
    return render(request, "dashboards/trends.html", context)


def _bar(row: comparing.Compared, scale: float):
    one = row.driver
    return ratio_bar(one.ratio, one.low, one.high, scale, one.stands_out)
