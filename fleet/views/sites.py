"""Sites: their names, and the day from which each one's record counts as opened. For administrators alone."""

from typing import Any

from django import forms
from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods

from fleet.access import require, sites_for
from fleet.clock import today_at
from fleet.models import Site
from fleet.plant.accounts import GOVERN
from fleet.plant.acts import Refused
from fleet.plant.register import open_record
from fleet.plant.renaming import LONGEST_NAME, names_of, rename


class SiteNameForm(forms.Form):
    """Another name of a site."""

    name = forms.CharField(
        label="New name", max_length=LONGEST_NAME[Site], error_messages={"required": "Give the new name."}
    )
    reason = forms.CharField(
        label="Why",
        max_length=300,
        error_messages={"required": "Say in a few words why it is called otherwise now."},
    )


class OpeningForm(forms.Form):
    """The day on which a site's record is opened."""

    on = forms.DateField(
        label="Record opened on",
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text=(
            "From this day the plant records here as it goes; what is dated before came from older papers. It"
            " is said once and stands."
        ),
        error_messages={
            "required": "Give the day.",
            "invalid": "This is no day. Write it as 2026-03-09.",
        },
    )


FORMS: dict[str, type[forms.Form]] = {"name": SiteNameForm, "open": OpeningForm}


@require_http_methods(["GET", "HEAD", "POST"])
def sites(request: HttpRequest) -> HttpResponse:
    """The sites an administrator answers for; a new name of one, or the day its record is opened."""
    require(request.user, GOVERN)
    governed = sites_for(request.user, GOVERN)
    faulty: tuple[Site, str, forms.Form] | None = None
    if request.method == "POST":
        act = request.POST.get("act", "")
        site = get_object_or_404(governed, pk=request.POST.get("site"))
        if act not in FORMS:
            messages.error(request, "Nothing was asked for. Choose a name or an opening day.")
            return redirect("sites")
        form = FORMS[act](request.POST, auto_id=f"{act}-{site.pk}-%s")
        if form.is_valid() and _done(request, site, act, form):
            return redirect("sites")
        faulty = site, act, form
    rows = [_row(site, faulty) for site in governed.order_by("folded")]
    return render(request, "fleet/sites.html", {"rows": rows, "form": faulty[2] if faulty else None})


def _row(site: Site, faulty: tuple[Site, str, forms.Form] | None) -> dict[str, Any]:
    shown = {act: made(auto_id=f"{act}-{site.pk}-%s") for act, made in FORMS.items()}
    if faulty and faulty[0] == site:
        shown[faulty[1]] = faulty[2]
    older = [name.text for name in names_of(site) if name.text != site.name]
    return {"site": site, "older": older, "forms": shown, "open": bool(faulty and faulty[0] == site)}


def _done(request: HttpRequest, site: Site, act: str, form: forms.Form) -> bool:
    by, typed = request.user.person_id, form.cleaned_data
    old = site.name
    try:
        if act == "name":
            rename(site, name=typed["name"], from_on=None, reason=typed["reason"], by=by)
            words = f"{old} is called {site.name} now; the old name leads on."
        else:
            if typed["on"] > today_at(site):
                raise Refused("This day lies ahead. Say it on the day the record is opened, or later.")
            open_record(site, on=typed["on"], by=by)
            words = f"The record of {site.name} is opened."
    except Refused as refused:
        form.add_error("name" if act == "name" else "on", str(refused))
        return False
    messages.success(request, words)
    return True
