"""The outage plan: what is opened now, what can wait, at which risk, and what must be ordered. Looking only;
posts go to `inspections`.
"""

import datetime as dt
from dataclasses import dataclass
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from dashboards.forms import DeferralForm, RunOnForm
from dashboards.outage_plan import all_sites as sites_plans
from dashboards.outage_plan import drafts, page, page_changes, versions
from dashboards.outage_plan.calendar import calendar
from dashboards.outage_plan.deferrals import deferrals
from dashboards.outage_plan.plan_sheet import COLUMNS
from dashboards.outage_plan.proposal import Proposal
from dashboards.outage_plan.work_page import work
from fleet.access import may, require, sites_for
from fleet.clock import today_at
from fleet.models import Outage, Site, folded
from fleet.sheets.export import csv_bytes, xlsx_bytes
from fleet.views.first_steps import nothing_here_yet
from fleet.web.rate_limit import costly
from inspections.models import DraftPlan
from inspections.visits.forms import UNITS

XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@dataclass(frozen=True)
class Looking:
    """A site's plan as asked for: the one in hand, and the version of it to be shown, weighed."""

    site: Site
    hand: DraftPlan
    version: versions.Version
    made: Proposal


@require_safe
def plan(request: HttpRequest) -> HttpResponse:
    """One site's plan: outages as columns, bearings as rows."""
    sites = list(sites_for(request.user))
    if not sites:
        return nothing_here_yet(request)
    site = _site(request, sites)
    can_plan = may(request.user, "plan", site)
    hand = drafts.in_hand(site)
    if hand is None:
        return render(
            request, "dashboards/plan_none.html", {"site": site, "sites": sites, "can_plan": can_plan}
        )
    looking = _looking(site, hand, (request.GET.get("show") or versions.HAND,))
    context = page.context(hand, looking.made, looking.version, sites)
    return render(request, "dashboards/plan.html", context | {"can_plan": can_plan, "run_on": RunOnForm()})


@require_safe
def all_sites(request: HttpRequest) -> HttpResponse:
    """The outages of all sites, and what to order this month."""
    sites = list(sites_for(request.user))
    if not sites:
        return nothing_here_yet(request)
    return render(request, "dashboards/plan_sites.html", sites_plans.context(sites))


@require_safe
def bearing(request: HttpRequest) -> HttpResponse:
    """One bearing in the plan in hand: every choice and what it would do; put it off; found worse."""
    looking = _asked(request, in_hand=True)
    name = request.GET.get("bearing", "")
    context = page_changes.bearing(looking.hand, looking.made, name)
    if context is not None:
        return render(request, "dashboards/plan_bearing.html", context | _can(request, looking.site))
    context = page_changes.bearing_outside(looking.site, name)
    if context is None:
        raise Http404("This site has no bearing of this name.")
    return render(request, "dashboards/plan_bearing_outside.html", context)


@require_safe
def outage(request: HttpRequest) -> HttpResponse:
    """One outage in the plan in hand: slip it, give it other hours, leave it out."""
    looking = _asked(request, in_hand=True)
    context = page_changes.outage(looking.hand, looking.made, request.GET.get("outage", ""))
    if context is None:
        raise Http404("The plan in hand has no outage of this name.")
    return render(request, "dashboards/plan_outage.html", context | _can(request, looking.site))


@require_safe
def compare(request: HttpRequest) -> HttpResponse:
    """Two plans in words and side by side."""
    looking = _asked(request, in_hand=True)
    labels = dict(versions.versions(looking.hand))
    first = request.GET.get("first") or next(
        (key for key in (versions.ACCEPTED, versions.PROPOSED) if key in labels), versions.HAND
    )
    second = request.GET.get("second") or versions.HAND
    one, other = versions.version(looking.hand, first), versions.version(looking.hand, second)
    found = page_changes.two(looking.hand, one, other) if one and other else None
    if found is None:
        raise Http404("One of these plans is not there any more.")
    context = {"site": looking.site, "choices": list(labels.items())}
    return render(request, "dashboards/plan_compare.html", context | found)


@require_safe
@costly("GET")
def plan_sheet(request: HttpRequest) -> HttpResponse:
    """The plan as a workbook."""
    looking = _asked(request, act="export")
    return _file(xlsx_bytes(COLUMNS, _rows(looking), sheet_name="Plan"), XLSX, "outage-plan.xlsx")


@require_safe
@costly("GET")
def plan_csv(request: HttpRequest) -> HttpResponse:
    """The plan in the columns of `plan --csv`."""
    looking = _asked(request, act="export")
    return _file(csv_bytes(COLUMNS, _rows(looking)), "text/csv; charset=utf-8", "outage-plan.csv")


@require_safe
def plan_calendar(request: HttpRequest) -> HttpResponse:
    """The plan as a calendar file."""
    looking = _asked(request, act="export")
    made = calendar(
        looking.made,
        deferrals(looking.site, today_at(looking.site)),
        stamp=_stamp(looking),
        label=looking.version.label,
        of="accepted" if looking.version.key == versions.ACCEPTED else "proposal",
        gone=list(
            Outage.objects.filter(
                site=looking.site, withdrawn_by__isnull=False, end_on__gte=looking.hand.as_of
            )
        ),
    )
    return _file(made, "text/calendar; charset=utf-8", "outage-plan.ics")


def _stamp(looking: Looking) -> dt.datetime:
    """When what is shown was last made: the proposal, or its acceptance where that came later."""
    standing = drafts.accepted(looking.site) if looking.version.key == versions.ACCEPTED else None
    return max(looking.hand.made_at, standing.recorded_at) if standing else looking.hand.made_at


@require_safe
def work_list(request: HttpRequest) -> HttpResponse:
    """One outage's jobs to print: last facts, limits, shells, what to bring, the cautions."""
    looking = _asked(request, unasked=(versions.ACCEPTED, versions.HAND))
    context = work(looking.made, request.GET.get("outage", ""))
    if context is None:
        raise Http404("No job is planned for an outage of this name.")
    return render(request, "dashboards/work_list.html", context | {"version": looking.version})


def _rows(looking: Looking) -> list[tuple[Any, ...]]:
    """The plan looked at as rows of the plan sheet."""
    from dashboards.outage_plan.plan_frames import lines_of  # pandas is slow to import
    from fleet.sheets.frames import sheet_rows

    return sheet_rows(lines_of([looking.made]))


def _file(content: bytes, kind: str, name: str) -> HttpResponse:
    answer = HttpResponse(content, content_type=kind)
    answer["Content-Disposition"] = f'attachment; filename="{name}"'
    return answer


def _can(request: HttpRequest, site: Site) -> dict[str, Any]:
    return {"can_plan": may(request.user, "plan", site), "deferral": DeferralForm(), "units": UNITS}


def _asked(
    request: HttpRequest,
    *,
    act: str = "read",
    in_hand: bool = False,
    unasked: tuple[str, ...] = (versions.HAND,),
) -> Looking:
    """The plan asked for, where no version is named the first there is of `unasked`; 404 where there is
    none.
    """
    if act != "read":
        require(request.user, act)
    site = _site(request, list(sites_for(request.user, act)))
    hand = drafts.in_hand(site)
    if hand is None:
        raise Http404("No plan has been worked out for this site yet.")
    asked = request.GET.get("show")
    return _looking(site, hand, (versions.HAND,) if in_hand else (asked,) if asked else unasked)


def _looking(site: Site, hand: DraftPlan, keys: tuple[str, ...]) -> Looking:
    """The first version there is of those named."""
    version = next((one for key in keys if (one := versions.version(hand, key))), None)
    if version is None:
        raise Http404("This plan is not there any more.")
    return Looking(site, hand, version, versions.shown(hand, version))


def _site(request: HttpRequest, sites: list[Site]) -> Site:
    """The site asked for, else the first."""
    asked = folded(request.GET.get("site", ""))
    if not sites:
        raise Http404("No site at which you may do this.")
    found = next((site for site in sites if site.folded == asked), None)
    if asked and found is None:
        raise Http404("No site of this name, or not yours.")
    return found or sites[0]
