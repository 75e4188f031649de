"""A mechanic's first page: find or scan a bearing, go on with a visit, see what is wanted opened now."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards.at_pump.open_visits import open_visits
from dashboards.at_pump.wanted_now import wanted_now
from fleet.access import require, sites_for
from fleet.clock import today_at
from fleet.models import Bearing
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import search

MOST_FOUND = 20


@require_safe
def at_pump(request: HttpRequest) -> HttpResponse:
    """Of the sites at which whoever looks may record."""
    require(request.user, "record")
    sites = list(sites_for(request.user, "record"))
    days = {site.pk: today_at(site) for site in sites}
    asked = request.GET.get("find", "").strip()[:80]
    result = search(Bearing.objects.standing().at_sites(sites).in_order(), asked) if asked else None
    visits = open_visits(sites, request.user.person_id, days)
    wanted = [wanted_now(site, days[site.pk]) for site in sites]
    context = {
        "search": result,
        "found": [(one, bearing_address(one, "record")) for one in result.found[:MOST_FOUND]]
        if result
        else [],
        "n_more": max(len(result.found) - MOST_FOUND, 0) if result else 0,
        "mine": [one for one in visits if one.is_mine],
        "others": [one for one in visits if not one.is_mine],
        "wanted": wanted,
        "n_wanted": sum(len(one.bearings) for one in wanted),
        "show_site": len(sites) > 1,
    }
    return render(request, "dashboards/at_pump.html", context)
