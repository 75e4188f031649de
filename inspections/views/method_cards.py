"""The cards that say how to measure: an engineer of a site approves each for that site alone."""

from typing import Any

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods

from fleet.access import may, require, sites_for
from fleet.clock import today_at
from fleet.measuring_methods import words_of
from fleet.models import Person, Setting, Site, folded
from fleet.plant.acts import Refused
from inspections.visits.method_cards import approve, approved, drafts, take_down

ACT = "set limits"


@require_http_methods(["GET", "HEAD", "POST"])
def method_cards(request: HttpRequest) -> HttpResponse:
    """Each method's card as it stands at one site; a post approves one, or takes it down."""
    sites = list(sites_for(request.user))
    asked = folded(request.POST.get("site", "") or request.GET.get("site", ""))
    site = next((one for one in sites if one.folded == asked), sites[0] if sites and not asked else None)
    if request.method == "POST":
        if site is None:
            raise PermissionDenied("No site of yours is called so.")
        require(request.user, ACT, site)
        return _post(request, site)
    context = {
        "sites": sites,
        "site": site,
        "may_approve": site is not None and may(request.user, ACT, site),
        "cards": _shown(site, request) if site else [],
    }
    return render(request, "inspections/method_cards.html", context)


def _post(request: HttpRequest, site: Site) -> HttpResponse:
    said, by, on = request.POST, request.user.person_id, today_at(site)
    method = said.get("method", "")
    try:
        if "down" in said:
            take_down(method=method, site=site, on=on, by=by)
            words = "is shown no more"
        else:
            steps, heed, source = (said.get(name, "") for name in ("steps", "heed", "source"))
            approve(method=method, steps=steps, heed=heed, source=source, site=site, on=on, by=by)
            words = "is approved and stands at its step from now on"
    except Refused as refused:
        messages.error(request, f"{refused} Nothing was changed.")
        return render(
            request,
            "inspections/method_cards.html",
            {"sites": [site], "site": site, "may_approve": True, "cards": _shown(site, request)},
        )
    messages.success(request, f"The card for {words_of(method)} {words} at {site.name}.")
    return redirect(f"{reverse('method-cards')}?{urlencode({'site': site.name})}")


def _shown(site: Site, request: HttpRequest) -> list[dict[str, Any]]:
    """By method what stands, by whom, and what the form holds: what was refused, else what stands, else our
    draft.
    """
    held = approved(site, today_at(site), Setting.objects.of(site))
    people = {row.pk: row for row in Person.objects.filter(pk__in={one.by for one in held.values()})}
    shown = []
    for method, draft in drafts().items():
        now = held.get(method)
        card = now.card if now else draft
        typed = request.POST if request.POST.get("method") == method else None
        shown.append(
            {
                "method": method,
                "words": words_of(method),
                "now": now,
                "by": people.get(now.by) if now else None,
                "steps": typed.get("steps", "") if typed else "\n".join(card.steps),
                "heed": typed.get("heed", "") if typed else "\n".join(card.heed),
                "source": typed.get("source", "") if typed else card.source,
            }
        )
    return shown
