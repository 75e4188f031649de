"""Limits for many bearings at once: offers from the sheet with their cells, rules in print beside all, one
form.
"""

import re
from decimal import Decimal
from functools import cache
from typing import Any
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from fleet.access import require, sites_for
from fleet.clock import today_in
from fleet.importing.directory import Directory
from fleet.importing.offered_limits import OfferedLimit, offered_limits
from fleet.models import Bearing, LimitUse, Sheet, folded
from fleet.plant.acts import Refused
from fleet.plant.second_person import sites_wanting
from fleet.published_rules import RULES, USES
from fleet.sheets.files import MOST_ROWS_OF_PAGE, SheetFault, read_sheet
from fleet.views.importing import seen_by
from inspections.forms.limits import ManyLimitsForm
from inspections.limits import limits_of_one as limiting
from inspections.limits.limits_of_many import BearingLimits, bearings_with_limits, set_for_many
from inspections.models import Event, Reading

ACT = "set limits"
MOST_SHOWN = 400
MOST_DOUBTS = 12


@require_http_methods(["GET", "HEAD", "POST"])
def limits_of_many(request: HttpRequest) -> HttpResponse:
    """The bearings of a sheet, or all that the account may set limits for; a post sets one limit at those
    ticked.
    """
    require(request.user, ACT)
    sheet = _sheet(request)
    today = today_in("UTC")
    rows = bearings_with_limits(_bearings(request, sheet), today)
    offers = _offers(sheet)
    offer = next((one for i, one in enumerate(offers) if request.GET.get("offer") == str(i)), None)
    form = ManyLimitsForm(initial=_first(sheet, offer))
    doubts: list[tuple[str, str]] = []
    as_typed = ""
    if request.method == "POST":
        form = ManyLimitsForm(request.POST)
        ticked = [one for one in rows if str(one.bearing.pk) in request.POST.getlist("bearing")]
        if form.is_valid():
            try:
                um = _um(form)
                doubts, as_typed = _doubts(form, um, ticked), _as_typed(form, um, ticked)
                if ticked and (not doubts or request.POST.get("confirmed") == as_typed):
                    return _store(request, form, ticked, sheet)
                if not ticked:
                    form.add_error(None, "No bearing is ticked. Tick those for which the limit holds.")
            except Refused as refused:
                form.add_error(None, str(refused))
    else:
        ticked = _ticked(rows, offer)
    return render(
        request,
        "inspections/limits_of_many.html",
        _context(sheet, rows, ticked, offers, form) | _asked(doubts, as_typed),
    )


def _sheet(request: HttpRequest) -> Sheet | None:
    said = request.GET.get("sheet", "")
    try:
        return (
            get_object_or_404(seen_by(request.user).select_related("file"), pk=UUID(said)) if said else None
        )
    except ValueError:
        return None


def _bearings(request: HttpRequest, sheet: Sheet | None) -> list[Bearing]:
    rows = Bearing.objects.standing().at_sites(sites_for(request.user, ACT)).in_order()
    if sheet is not None:
        of = [
            model.objects.standing().filter(sheet=sheet, bearing__isnull=False) for model in (Reading, Event)
        ]
        ids = {pk for found in of for pk in found.values_list("bearing", flat=True)}
        rows = rows.filter(pk__in=ids)
    return list(rows.select_related("place__site")[:MOST_SHOWN])


def _offers(sheet: Sheet | None) -> list[OfferedLimit]:
    if sheet is None:
        return []
    try:
        data = bytes(sheet.file.data)
        return offered_limits(read_sheet(data, sheet.name, most_rows=MOST_ROWS_OF_PAGE).tabs)
    except SheetFault:
        return []


def _ticked(rows: list[BearingLimits], offer: OfferedLimit | None) -> list[BearingLimits]:
    """At first those without the limit; of an offer only the bearings of its rows or tab, and the positions
    that its words name; all only of one for all that names no pump.
    """
    use = offer.use if offer else LimitUse.IN_SERVICE_MAX
    lacking = [one for one in rows if use not in one.limits]
    if offer is None:
        return lacking
    bearings, places = _named(offer, rows)
    is_for_all = offer.for_all and not bearings and not places
    at = [one for one in lacking if is_for_all or one.bearing.place_id in places]
    words = folded(offer.words())
    by_words = [one for one in at if contains(words, one.bearing.folded)] or at
    return [one for one in lacking if one.bearing.pk in bearings or one in by_words]


def _named(offer: OfferedLimit, rows: list[BearingLimits]) -> tuple[set[UUID], set[UUID]]:
    """The bearings that an offer's rows name by pump and position, and the pumps that they name without one;
    by any spelling, a whole cell before a name within one.
    """
    directory = Directory.load()
    pumps = {one.bearing.place_id: one.bearing.place.folded for one in rows}
    within = cache(lambda text: {pk for pk, name in pumps.items() if contains(text, name)})
    bearings: set[UUID] = set()
    places: set[UUID] = set()
    for texts in offer.named:
        whole = {place.pk for text in texts for place in directory.places_of(text)}
        for pk in whole or {pk for text in texts for pk in within(text)}:
            own = {found.pk for text in texts if (found := directory.bearings.get((pk, text)))}
            bearings |= own
            places |= set() if own else {pk}
    return bearings, places


def contains(text: str, name: str) -> bool:
    """Whether a folded text has a folded name in it as words of its own."""
    return re.search(rf"(?<!\w){re.escape(name)}(?!\w)", text) is not None


def _first(sheet: Sheet | None, offer: OfferedLimit | None) -> dict[str, Any]:
    said: dict[str, Any] = {"use": LimitUse.IN_SERVICE_MAX, "basis": "", "unit": ""}
    if offer is not None and sheet is not None:
        said |= {"use": offer.use, "value": offer.value, "unit": offer.unit}
        said |= {
            "document": f"{sheet.name}, {offer.place}"[:120],
            "reason": f"the sheet says: {offer.text}"[:300],
        }
    return said


def _um(form: ManyLimitsForm) -> Decimal:
    said = form.facts()
    return limiting.typed_um(said["use"], said["value"], said["unit"], said["basis"])


def _as_typed(form: ManyLimitsForm, um: Decimal, ticked: list[BearingLimits]) -> str:
    """A yes is to one value of one limit at these bearings: anything else is asked about again."""
    return f"{form.cleaned_data['use']} {um} {len(ticked)}"


def _doubts(form: ManyLimitsForm, um: Decimal, ticked: list[BearingLimits]) -> list[tuple[str, str]]:
    said = form.cleaned_data
    return [(one.name, doubt.words) for one in ticked for doubt in one.doubts(said["use"], um, said["unit"])]


def _store(
    request: HttpRequest, form: ManyLimitsForm, ticked: list[BearingLimits], sheet: Sheet | None
) -> HttpResponse:
    said, um = form.facts(), _um(form)
    basis = said.pop("basis")
    said.pop("value")
    typed = said.pop("typed") + (" radial" if basis == "radial" else "")
    n = set_for_many(ticked, um=um, typed=typed, by=request.user.person_id, **said)
    waits = sites_wanting({one.bearing.place.site for one in ticked})
    what = (
        "proposed; it holds once another engineer has confirmed it" if waits else "set; dates follow at once"
    )
    messages.success(request, f"{limiting.LIMITS[said['use']].capitalize()} of {n} bearings: {what}.")
    return redirect("import-done", sheet_id=sheet.pk) if sheet else redirect("limits-of-many")


def _context(
    sheet: Sheet | None,
    rows: list[BearingLimits],
    ticked: list[BearingLimits],
    offers: list[OfferedLimit],
    form: ManyLimitsForm,
) -> dict[str, Any]:
    here = reverse("limits-of-many") + (f"?sheet={sheet.pk}" if sheet else "")
    on = {one.bearing.pk for one in ticked}
    return {
        "sheet": sheet,
        "rows": [(one, one.bearing.pk in on) for one in rows],
        "n_lacking": sum(one.maximum is None and one.replace is None for one in rows),
        "offers": [(i, one, limiting.LIMITS[one.use]) for i, one in enumerate(offers)],
        "rules": [(rule, USES[rule.use]) for rule in RULES],
        "any_journal": any(one.ground.journal_um for one in rows),
        "form": form,
        "here": here,
    }


def _asked(doubts: list[tuple[str, str]], as_typed: str) -> dict[str, Any]:
    """What speaks against the limit, and by what a yes to it is known."""
    n_more = max(0, len(doubts) - MOST_DOUBTS)
    return {"doubts": doubts[:MOST_DOUBTS], "n_more": n_more, "as_typed": as_typed}
