"""Joining two bearing positions that are one: chosen, looked at with what would move, then done with a
reason.
"""

from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from fleet.access import require
from fleet.models import Bearing
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import called_among, the_one_called
from inspections.forms.correcting import MergeForm
from inspections.records import position_merge
from inspections.records.openings import NotRecorded

WORDS = {
    "visit": "visits",
    "attendance": "people at visits",
    "reading": "readings",
    "not_measured": "reasons why not measured",
    "event": "work and findings",
    "finding": "findings by part",
    "meter": "hour meter entries",
    "contact_check": "contact prints",
    "decision": "decisions",
    "disposition": "dispositions",
    "closing": "closings",
    "limit": "limits",
    "bearing_facts": "facts of the position",
    "shell_fitting": "shells fitted",
    "setting": "entries of the machine's book",
}


@require_http_methods(["GET", "HEAD", "POST"])
def join(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """This position goes, the other one named in the form stays."""
    gone = the_one_called(request.user, pump, position, request.GET.get("site", ""))
    require(request.user, "correct", gone.place.site)
    form = MergeForm(request.POST or request.GET if "other_pump" in (request.POST or request.GET) else None)
    context: dict[str, Any] = {
        "bearing": gone,
        "place": gone.place,
        "form": form,
        "back": bearing_address(gone, "bearing-history"),
    }
    try:
        if form.is_valid():
            stays = _other(gone, form)
            if gone.pk == stays.pk and request.method == "POST":
                messages.success(request, "The two are one already; nothing was stored twice.")
                return redirect(bearing_address(stays, "bearing-history"))
            if request.method == "POST" and form.cleaned_data["reason"]:
                position_merge.merge(
                    gone=gone, stays=stays, by=request.user.person_id, reason=form.cleaned_data["reason"]
                )
                messages.success(
                    request, "Joined: its name leads here from now on. The dates follow from the whole."
                )
                return redirect(bearing_address(stays, "bearing-history"))
            context |= _told(gone, stays)
            if request.method == "POST":
                form.add_error("reason", "Say in a few words why the two are one.")
    except NotRecorded as refused:
        form.add_error(None, str(refused))
    return render(request, "inspections/join.html", context)


def _other(gone: Bearing, form: MergeForm) -> Bearing:
    said, site = form.cleaned_data, gone.place.site
    rows = Bearing.objects.standing().at_sites([site]).in_order()
    found = called_among(rows, said["other_pump"], said["other_position"])
    if len(found) != 1:
        raise NotRecorded(
            f"{site.name} has no bearing “{said['other_pump']} {said['other_position']}”. Check pump and"
            " position."
        )
    return found[0]


def _told(gone: Bearing, stays: Bearing) -> dict[str, Any]:
    moving = position_merge.preview(gone=gone, stays=stays)
    kinds = [kind for kind in WORDS if moving.moved[kind] or moving.alike[kind]]
    return {
        "stays": stays,
        "empties_pump": moving.empties_pump,
        "moves": [(WORDS[kind], moving.moved[kind], moving.alike[kind]) for kind in kinds],
    }
