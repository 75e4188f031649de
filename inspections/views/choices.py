"""What the plant has chosen: risk, outages, signatures, stations, photos; dated, by whom."""

import datetime as dt

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import urlencode
from django.views.decorators.http import require_http_methods

from fleet.access import may, require, sites_for, sites_of
from fleet.clock import today_in
from fleet.models import Person, Site, folded
from fleet.plant.acts import Refused
from fleet.plant.choices import set_setting
from inspections.forms.words_of_caution import CautionsForm, as_shown
from inspections.limits import plant_choices
from inspections.limits.passing_prices import prices, work_hours
from inspections.visits import cautions

ACT = "set limits"


@require_http_methods(["GET", "HEAD", "POST"])
def page(request: HttpRequest) -> HttpResponse:
    """The choices in force for the plant or one site; a post records another one from a day on."""
    sites = list(sites_for(request.user))
    asked = folded(request.POST.get("site", "") or request.GET.get("site", ""))
    site = next((one for one in sites if one.folded == asked), None)
    form = None
    if request.method == "POST":
        _must_be_allowed(request, site, asked)
        if "isolation" not in request.POST:
            return _choose(request, site)
        form = CautionsForm(request.POST)
        if form.is_valid():
            set_setting(name=cautions.SETTING, value=form.value(), site=site, by=request.user.person_id)
            messages.success(
                request, "The words of caution are recorded, and stand on every record page from now on."
            )
            return _back(site)
    day = today_in(site.time_zone if site else "UTC")
    held = plant_choices.in_force(site, day)
    people = {
        person.pk: person
        for person in Person.objects.filter(pk__in=[one.row.recorded_by for one in held if one.row])
    }
    rows = [(one, people.get(one.row.recorded_by) if one.row else None) for one in held]
    now = cautions.cautions_for(site, day)
    context = {
        "sites": sites,
        "site": site,
        "priced": [row for row in rows if row[0].choice.priced],
        "others": [row for row in rows if not row[0].choice.priced],
        "prices": prices([site] if site else sites, day),
        "work": work_hours(),
        "may_choose": may(request.user, ACT, site) if site else sites_of(request.user, ACT) is None,
        "cautions": now,
        "form": form or CautionsForm(initial=as_shown(now)),
    }
    return render(request, "inspections/choices.html", context)


def _must_be_allowed(request: HttpRequest, site: Site | None, asked: str) -> None:
    if asked and site is None:
        raise PermissionDenied("No site of yours is called so.")
    require(request.user, ACT, site)
    if site is None and sites_of(request.user, ACT) is not None:
        raise PermissionDenied("A choice for the whole plant needs the role engineer at all sites.")


def _back(site: Site | None) -> HttpResponse:
    return redirect(reverse("choices") + (f"?{urlencode({'site': site.name})}" if site else ""))


def _choose(request: HttpRequest, site: Site | None) -> HttpResponse:
    said = request.POST
    try:
        day = dt.date.fromisoformat(said["from_on"]) if said.get("from_on") else None
        row = plant_choices.choose(
            name=said.get("name", ""),
            typed=said.get("value", ""),
            site=site,
            from_on=day,
            by=request.user.person_id,
        )
    except ValueError as refused:  # Refused is one, and so is a day that is none
        words = str(refused) if isinstance(refused, Refused) else "This is no day. Write it as 2026-03-09."
        messages.error(request, f"{words} Nothing was changed.")
    else:
        known = plant_choices.BY_NAME[row.name]
        messages.success(
            request, f"{known.label}: {known.said(row.value)}, recorded. Dates and advice follow at once."
        )
    return _back(site)
