"""How good the record is."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards.quality.gaps import Quality, quality
from fleet.access import sites_for
from fleet.clock import today_in
from fleet.models import Bearing, Site, folded
from inspections.forecasts.codes import Codes
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.wear_inputs import inputs
from inspections.limits import approvals
from inspections.story.uncertainty import spreads

MOST_WAITING = 100


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """Bearings by outcome, and what is missing or doubtful of which."""
    sites = list(sites_for(request.user))
    asked = folded(request.GET.get("site", ""))
    chosen = [site for site in sites if site.folded == asked] or sites
    context = {
        "quality": _made(chosen),
        "sites": sites,
        "site": chosen[0] if asked and len(chosen) == 1 else None,
        "today": today_in("UTC"),
        **_waiting(request, chosen),
    }
    return render(request, "dashboards/quality.html", context)


def _waiting(request: HttpRequest, sites: list[Site]) -> dict[str, object]:
    """What waits for a second person, and the imports of which this account may confirm
    all limits at once.
    """
    waits = approvals.waiting(Bearing.objects.standing().at_sites(sites), request.user)
    return {"waits": waits[:MOST_WAITING], "n_waits": len(waits), "together": approvals.together(waits)}


def _made(sites) -> Quality:
    bearings = list(Bearing.objects.standing().at_sites(sites).in_order())
    if not bearings:
        return quality([], {}, {}, {})
    today = today_in("UTC")
    known = inputs(bearings, today, Codes())
    return quality(known.known, current(bearings), spreads(today), judgements(bearings))
