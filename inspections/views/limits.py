"""The limits of one bearing: what holds, who says so, one set or lifted by an engineer; and a second person's
answers.
"""

from typing import Any
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.http import require_http_methods, require_POST

from fleet.access import may, require
from fleet.clock import today_at
from fleet.models import Bearing, BearingFacts, ProposedLimit
from fleet.per_mille import LIMIT
from fleet.plant.acts import Refused
from fleet.plant.second_person import answer_limits, sites_wanting
from fleet.published_rules import suggestions
from fleet.units import from_um
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import the_one_called, visible
from inspections.forms.limits import LimitForm, first_values
from inspections.limits import approvals, doubts
from inspections.limits import limits_of_one as limiting
from inspections.models import Event

ACT = "set limits"
UNIT_WORDS = {"mm": "mm", "um": "µm", "thou": "thou", "mil": "mil", "in": "in"}
# A mil is a thou: one of the two is enough where another unit may have been meant.
UNITS_ASKED = ("mm", "um", "thou", "in")


@require_http_methods(["GET", "HEAD", "POST"])
def limits(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """The limits of a bearing for whoever may read it; the form for its engineers."""
    bearing = the_one_called(request.user, pump, position, request.GET.get("site", ""))
    site, today = bearing.place.site, today_at(bearing.place.site)
    facts = BearingFacts.objects.filter(bearing=bearing).holding_on(today, "bearing_id").get(bearing.pk)
    form, changed = None, False
    if request.method == "POST":
        require(request.user, ACT, site)
        form = LimitForm(request.POST)
        try:
            if form.is_valid() and request.POST.get("then") != "change":
                asked = _asked(request, bearing, facts, form)
                return asked or _stored(request, bearing, form)
        except limiting.Changed:
            changed = True
        except Refused as refused:
            form.add_error(None, str(refused))
    told = limiting.limits_of(bearing, facts.wear_class if facts else None, today)
    waits = [one for one in approvals.waiting([bearing], request.user) if one.of == "limit"]
    context: dict[str, Any] = {
        "bearing": bearing,
        "place": bearing.place,
        "told": told,
        "book": bearing_address(bearing, "bearing-book"),
        "today": today,
        "waits": waits,
        "changed": changed,
        "may_set": may(request.user, ACT, site),
        "two": site.pk in sites_wanting([site]),
        "suggested": _offers(bearing, facts, told),
        "form": form or LimitForm(initial=first_values(bearing, limiting.seen(bearing), today, request.GET)),
        "back": bearing_address(bearing),
        "here": bearing_address(bearing, "bearing-limits"),
    }
    if changed:
        context["now"] = next((one for one in told.now if one.use == form.cleaned_data["use"]), None)
    return render(request, "inspections/limits.html", context, status=409 if changed else 200)


def _asked(
    request: HttpRequest, bearing: Bearing, facts: BearingFacts | None, form: LimitForm
) -> HttpResponse | None:
    """The page that asks back where something speaks against the limit; None where nothing does or it was
    said to be meant.
    """
    said = form.facts()
    if said["value"] is None:
        return None
    use, basis = said["use"], said["basis"]
    um = limiting.typed_um(use, said["value"], said["unit"], basis)
    ground = doubts.ground_of(bearing, facts.journal_diameter_um if facts else None)
    against = doubts.doubts(use, um, said["unit"], ground)
    # A yes is to one value of one limit: another is asked about again.
    as_typed = f"{use} {um}"
    if not against or request.POST.get("confirmed") == as_typed:
        return None
    others = {unit: limiting.in_um(use, said["value"], unit, basis) for unit in UNITS_ASKED}
    fitting = doubts.units_that_fit(use, [(u, n) for u, n in others.items() if n != um], ground)
    context = {
        "bearing": bearing,
        "place": bearing.place,
        "form": form,
        "asked": against,
        "as_typed": as_typed,
        "name": limiting.LIMITS[use],
        "um": um,
        "here": bearing_address(bearing, "bearing-limits"),
        "typed": f"{said['typed']} {UNIT_WORDS[said['unit']]}" + (" radial" if basis == "radial" else ""),
        "meant": [(unit, f"{said['typed']} {UNIT_WORDS[unit]}", n) for unit, n in fitting],
        "back": bearing_address(bearing),
        "range": LIMIT,
        "record": "propose" if sites_wanting([bearing.place.site]) else "record",
    }
    return render(request, "inspections/limit_asked.html", context)


def _stored(request: HttpRequest, bearing: Bearing, form: LimitForm) -> HttpResponse:
    row = limiting.set_limit(bearing=bearing, by=request.user.person_id, **form.facts())
    if row is None:
        words = "It was stored already; nothing was stored twice."
    elif isinstance(row, ProposedLimit):
        words = "Proposed. It holds nothing before another engineer confirms it."
    elif row.value_um is None:
        words = "Lifted. What it switched on is off from that day."
    else:
        words = "Set. Dates and advice follow at once."
    messages.success(request, words)
    return redirect(bearing_address(bearing, "bearing-limits"))


def _offers(bearing: Bearing, facts: BearingFacts | None, told: limiting.Limits) -> list[tuple[Any, str]]:
    """What published rules suggest for limits that are missing, each with the address
    that fills in the form.
    """
    missing = {one.use for one in told.now if one.row is None or one.row.value_um is None}
    offered = suggestions(facts.journal_diameter_um if facts else None, missing)
    return [
        (
            one,
            bearing_address(bearing, "bearing-limits")
            + "&"
            + urlencode(
                {
                    "use": one.use,
                    "value": from_um(one.value_um, "um"),
                    "unit": "um",
                    "authority": "general_rule",
                    "document": one.sentence[:120],
                }
            )
            + "#set",
        )
        for one in offered
    ]


@require_POST
def second_person(request: HttpRequest) -> HttpResponse:
    """A second person's answer to one thing that waits (`thing`) or to all limits of one act (`of_act`)."""
    said = request.POST
    try:
        which = {"act": UUID(said["of_act"])} if said.get("of_act") else {"pk": UUID(said.get("thing", ""))}
    except ValueError:
        raise Http404("Nothing is called so that could wait.") from None
    asked = approvals.waiting(visible(request.user), request.user, **which)
    if "act" in which:
        asked = [one for one in asked if one.of == "limit"]
    if not asked:
        messages.info(request, "Nothing like this waits any more: look at what holds now.")
        return _back(request)
    for one in asked:
        require(request.user, approvals.ACT_OF[one.of], one.bearing.place.site)
    try:
        messages.success(
            request, _answered(asked, said.get("agreed", ""), said.get("reason", ""), request.user.person_id)
        )
    except Refused as refused:
        messages.error(request, f"{refused} Nothing was stored.")
    return _back(request)


def _answered(asked: list[approvals.Waiting], agreed: str, reason: str, by: UUID) -> str:
    ids = [one.id for one in asked]
    if asked[0].of == "shell":
        approvals.confirm_shells(list(Event.objects.filter(pk__in=ids)), by=by)
        return "Confirmed; it stands in the record beside who recorded it."
    if agreed not in ("yes", "no"):
        raise PermissionDenied("Say whether it is confirmed or refused.")
    rows = list(ProposedLimit.objects.filter(pk__in=ids))
    answer_limits(rows, agreed=agreed == "yes", reason=reason, by=by)
    if agreed == "no":
        return "Refused; nothing in force has changed."
    return (
        "Confirmed; it holds from its day on."
        if len(rows) == 1
        else f"{len(rows)} limits confirmed; each holds from its day on."
    )


def _back(request: HttpRequest) -> HttpResponse:
    back = request.POST.get("back", "")
    own = url_has_allowed_host_and_scheme(back, {request.get_host()}, require_https=request.is_secure())
    return redirect(back if own else reverse("quality"))
