"""The outage plan: what is opened now, what can wait, at which risk, and what must be ordered."""

import datetime as dt

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards import plan_page
from dashboards.proposal import COLUMNS, Proposal, propose, rows_of
from fleet.access import require, sites_for
from fleet.clock import today_at
from fleet.export import xlsx_bytes
from fleet.ledger.seal import leaves, root_of
from fleet.models import Site, folded
from inspections import forecasting

# The last proposals of this process: the same record on the same day gives the same plan.
_MADE: dict[tuple, Proposal] = {}
_MOST_KEPT = 50


@require_safe
def plan(request: HttpRequest) -> HttpResponse:
    """One site's proposal: outages as columns, pumps as rows."""
    sites = list(sites_for(request.user))
    if not sites:
        return render(request, "dashboards/empty.html")
    site = _site(request, sites)
    return render(request, "dashboards/plan.html", plan_page.context(_proposal(site), sites))


@require_safe
def plan_sheet(request: HttpRequest) -> HttpResponse:
    """The same plan as a workbook."""
    require(request.user, "export")
    site = _site(request, list(sites_for(request.user, "export")))
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
    answer = HttpResponse(xlsx_bytes(COLUMNS, rows_of(_proposal(site)), sheet_name="Plan"), content_type=kind)
    answer["Content-Disposition"] = 'attachment; filename="outage-plan.xlsx"'
    return answer


@require_safe
def work_list(request: HttpRequest) -> HttpResponse:
    """One outage's jobs to print: last facts, limits, what to bring, the cautions."""
    proposal = _proposal(_site(request, list(sites_for(request.user))))
    context = plan_page.work(proposal, request.GET.get("outage", ""))
    if context is None:
        raise Http404("No job is proposed for an outage of this name.")
    return render(request, "dashboards/work_list.html", context)


def _site(request: HttpRequest, sites: list[Site]) -> Site:
    """The site asked for, else the first."""
    asked = folded(request.GET.get("site", ""))
    if not sites:
        raise Http404("No site at which you may do this.")
    found = next((site for site in sites if site.folded == asked), None)
    if asked and found is None:
        raise Http404("No site of this name, or not yours.")
    return found or sites[0]


def _proposal(site: Site) -> Proposal:
    today: dt.date = today_at(site)
    run = forecasting.standing_run()
    key = (site.pk, today, root_of(leaves()), run.pk if run else None)
    if key not in _MADE:
        while len(_MADE) >= _MOST_KEPT:
            _MADE.pop(next(iter(_MADE)))
        _MADE[key] = propose(site, today)
    return _MADE[key]
