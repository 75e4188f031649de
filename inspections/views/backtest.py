"""How well the forecasts would have done on the plant's own record."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.web.bearing_search import visible
from inspections.forecasts import kept_backtest as backtests


@require_safe
def backtest(request: HttpRequest) -> HttpResponse:
    """The last stored backtest: calibration and error beside the straight line's, and the worst misses."""
    kept = backtests.last_kept()
    if kept is None:
        return render(request, "inspections/backtest.html")
    own = visible(request.user).filter(pk__in=backtests.asked_for(kept.found))
    context = {
        "kept": kept,
        "found": kept.found,
        "saying": backtests.sentence(kept.found),
        "rows": backtests.table(kept.found) if kept.found["n"] else [],
        "worst": backtests.worst_seen(kept.found, own),
    }
    return render(request, "inspections/backtest.html", context)
