"""Put off or open outside an outage: what waits for whom, the answers, and the page that asks "run on or
open".
"""

from typing import Any
from uuid import UUID

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from dashboards.forms import CheckForm, OpenNowForm, RunOnForm
from dashboards.outage_plan import deferrals
from dashboards.views.plan_changes import asked_words
from fleet.access import may, require, sites_for
from fleet.clock import today_at, today_in
from fleet.models import Bearing, Site
from fleet.plant.acts import Refused
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import visible
from inspections.deferrals import acts, deferral_states
from inspections.deferrals.checks import record_check
from inspections.deferrals.levels import is_past
from inspections.forecasts.current_forecasts import current
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.forecasts.judgement.judgement_figures import Judgement, Word
from inspections.forecasts.judgement.judgement_sentence import sentence, standing_of
from inspections.models import Deferral, OutsideOpening
from inspections.records.openings import NotRecorded

OPEN, RUN_ON = "open", "run-on"


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    """What waits for an agreement, what stands put off, what is opened outside an outage: all sites of the
    account.
    """
    today = today_in("UTC")
    put_off, openings = deferral_states.at_sites(sites_for(request.user), today)
    waits = [one for one in (*put_off, *openings) if one.state == deferral_states.WAITING]
    own = {one.id: one.side_for(request.user) for one in waits}
    waits.sort(key=lambda one: (not own[one.id], one.on))
    context = {
        "waits": [(one, own[one.id]) for one in waits],
        "n_own": sum(bool(side) for side in own.values()),
        "deferrals": deferral_states.latest(put_off),
        "openings": [
            one for one in openings if one.state in (deferral_states.IN_FORCE, deferral_states.RUN_OUT)
        ],
        "answered": [
            one
            for one in (*put_off, *openings)
            if one.state in (deferral_states.REFUSED, deferral_states.LAPSED)
        ],
    }
    return render(request, "dashboards/deferrals.html", context)


@require_POST
def answer(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Agree or refuse, for one side."""
    row = _asked_for(request, pk)
    _answered(request, row, request.POST.get("side", ""))
    return redirect("deferrals")


@require_POST
def answer_many(request: HttpRequest) -> HttpResponse:
    """The same answer to several that were ticked, each on this account's side and recorded by itself; what
    cannot be answered is said, and the others stand.
    """
    rows = _all_asked_for(request, list(dict.fromkeys(map(_uuid, request.POST.getlist("thing")))))
    if not rows:
        messages.error(request, "Not answered. Tick what the answer is for.")
    sides = _own_sides(request, rows)
    for row in rows:
        if side := sides.get(row.pk):
            _answered(request, row, side)
        else:
            messages.error(request, f"{row.bearing}: not answered. It does not wait for you.")
    return redirect("deferrals")


def _all_asked_for(request: HttpRequest, ids: list[UUID]) -> list[Deferral | OutsideOpening]:
    """What is to be answered, in the order asked; 404 where the account may not see a bearing of it."""
    seen = {"pk__in": ids, "bearing__in": visible(request.user)}
    found: dict[UUID, Deferral | OutsideOpening] = {}
    put_off = Deferral.objects.standing().filter(**seen).select_related("bearing__place__site")
    opened = OutsideOpening.objects.standing().filter(**seen).select_related("bearing__place__site")
    found.update({row.pk: row for row in put_off})
    found.update({row.pk: row for row in opened})
    if len(found) < len(ids):
        raise Http404("Nothing of this kind waits for an answer.")
    return [found[pk] for pk in ids]


def _own_sides(request: HttpRequest, rows: list[Deferral | OutsideOpening]) -> dict[UUID, str]:
    """By what was asked, the side on which the account may answer it now: one look at the record for all."""
    today, bearings = today_in("UTC"), [row.bearing for row in rows]
    among = deferral_states.put_off(bearings, today) if rows else []
    among += deferral_states.openings(bearings, today) if rows else []
    return {one.id: one.side_for(request.user) for one in among}


def _answered(request: HttpRequest, row: Deferral | OutsideOpening, side: str) -> None:
    """One answer, recorded, and what became of it said."""
    right = next((right for of, right in deferral_states.RIGHT.items() if of == side), "agree as engineer")
    require(request.user, right, row.bearing.place.site)
    try:
        asked = deferrals.answer(
            thing=row.pk,
            side=side,
            agreed=request.POST.get("answer") == "agree",
            on=today_at(row.bearing.place.site),
            by=request.user.person_id,
            reason=request.POST.get("reason", ""),
        )
    except Refused as trouble:
        messages.error(request, f"{row.bearing}: not answered. {trouble}")
    else:
        words = "refused, and recorded." if asked.state == deferral_states.REFUSED else asked_words(asked)
        messages.success(request, f"{row.bearing}: {words}")


def _uuid(text: str) -> UUID:
    """An inner id as it comes from a form; 404 for what is none."""
    try:
        return UUID(text)
    except ValueError:
        raise Http404("Nothing of this kind waits for an answer.") from None


@require_http_methods(["GET", "HEAD", "POST"])
def decide(request: HttpRequest, pk: UUID) -> HttpResponse:
    """One bearing past its maximum, or that pays to open early: run on with checks, or open now."""
    bearing = get_object_or_404(visible(request.user).select_related("place__site"), pk=pk)
    site = bearing.place.site
    choice = request.POST.get("choice", "")
    run_on = RunOnForm(request.POST if choice == RUN_ON else None, prefix=RUN_ON)
    open_now = OpenNowForm(request.POST if choice == OPEN else None, prefix=OPEN)
    if request.method == "POST":
        require(request.user, "plan", site)
        form: forms.Form = run_on if choice == RUN_ON else open_now
        if form.is_valid() and _decided(request, bearing, choice, form):
            return redirect("decide", pk=pk)
    context: dict[str, Any] = _of(bearing, site) | {
        "run_on": run_on,
        "open_now": open_now,
        "form": open_now if open_now.errors else run_on,
        "may_ask": may(request.user, "plan", site),
    }
    if may(request.user, "record", site) and any(
        one.state == deferral_states.IN_FORCE and one.every_days for one in context["deferrals"]
    ):
        context["check"] = CheckForm(initial={"on": today_at(site).isoformat()}, auto_id="check-%s")
    return render(request, "dashboards/decide.html", context)


@require_POST
def check(request: HttpRequest, pk: UUID) -> HttpResponse:
    """Record an interim check of what is put off."""
    bearing = get_object_or_404(visible(request.user).select_related("place__site"), pk=pk)
    site = bearing.place.site
    require(request.user, "record", site)
    form = CheckForm(request.POST)
    if not form.is_valid():
        faults = " ".join(str(words) for some in form.errors.values() for words in some)
        messages.error(request, f"Not recorded. {faults}")
        return redirect("decide", pk=pk)
    try:
        record_check(bearing=bearing, today=today_at(site), by=request.user.person_id, **form.cleaned_data)
    except (Refused, NotRecorded) as trouble:
        messages.error(request, f"Not recorded. {trouble}")
    else:
        messages.success(request, f"The check of {bearing} is recorded.")
    return redirect("decide", pk=pk)


def _decided(request: HttpRequest, bearing: Bearing, choice: str, form: forms.Form) -> bool:
    """Whether it was taken; what is wrong stands on the form."""
    facts: dict[str, Any] = {
        "bearing": bearing,
        "on": today_at(bearing.place.site),
        "by": request.user.person_id,
    }
    try:
        if choice == RUN_ON:
            asked = deferrals.defer(outage=None, **facts, **form.cleaned_data)
        else:
            asked = acts.ask_opening(**facts, **form.cleaned_data)
    except Refused as trouble:
        form.add_error(None, str(trouble))
        return False
    messages.success(request, asked_words(asked))
    return True


def _of(bearing: Bearing, site: Site) -> dict[str, Any]:
    today = today_at(site)
    judgement: Judgement = judgements([bearing], today)[bearing.pk]
    figures = current([bearing], today)[bearing.pk]
    last = figures["last_reading_um"], figures.day("last_reading_on")
    is_open = judgement.open_since is not None
    asks = judgement.word == Word.DECIDE_NOW or (is_past(judgement, last[0]) and not is_open)
    return {
        "bearing": bearing,
        "site": site,
        "here": bearing_address(bearing),
        "saying": sentence(standing_of(judgement, *last)),
        "asks": asks,
        "cost": acts.cost_words(judgement),
        "judgement": judgement,
        "deferrals": deferral_states.put_off([bearing], today),
        "openings": deferral_states.openings([bearing], today),
    }


def _asked_for(request: HttpRequest, pk: UUID) -> Deferral | OutsideOpening:
    """What is to be answered; 404 where the account may not see its bearing."""
    return _all_asked_for(request, [pk])[0]
