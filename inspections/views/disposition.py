"""The engineer's page of dispositions: what was closed against the word or left held, what runs on checks;
and the act.
"""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.access import may, require, sites_for
from fleet.clock import today_in
from fleet.models.recorded import IN_ORDER
from inspections.forms.disposition import DispositionForm
from inspections.models import Closing, Visit
from inspections.records.openings import NotRecorded
from inspections.visits import dispositions as signing
from inspections.visits.desk import Desk, desk_at
from inspections.visits.open_bearing import word_of
from inspections.visits.screen_context import screen_context
from inspections.visits.word_at_pump import Advice


@require_safe
def dispositions(request: HttpRequest) -> HttpResponse:
    """What nobody has signed, against the word first; then what is used as is, by when it expires."""
    sites = list(sites_for(request.user))
    context = {
        "unsigned": signing.unsigned(sites),
        "in_force": signing.in_force(sites, today_in("UTC")),
        "may_dispose": may(request.user, "dispose"),
    }
    return render(request, "inspections/dispositions.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def disposition(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """One bearing's word with everything behind it, and the form that the engineer signs."""
    desk = desk_at(request, pump, position, act="read")
    desk.turn_to(_visit(desk))
    advice = _word(desk)
    signs = may(request.user, "dispose", desk.bearing.place.site)
    form = DispositionForm(request.POST or None)
    if request.method == "POST":
        require(request.user, "dispose", desk.bearing.place.site)
        if form.is_valid() and _signed(desk, advice, form):
            return redirect(
                desk.screens.address("record-close") if desk.visit.closed_on is None else "dispositions"
            )  # type: ignore[union-attr]
    return render(
        request, "inspections/disposition.html", screen_context(desk, advice=advice, form=form, signs=signs)
    )


def _visit(desk: Desk) -> Visit:
    try:
        pk = UUID(desk.request.GET.get("visit", "") or str(desk.visit.pk if desk.visit else ""))
    except ValueError:
        raise Http404("Name the visit: its page leads here.") from None
    found = Visit.objects.standing().filter(pk=pk, place=desk.bearing.place).first()
    if found is None:
        raise Http404("No visit of this pump is called so.")
    return found


def _word(desk: Desk) -> Advice:
    """The word now; of a visit that is closed, as it stood at the closing."""
    rows = Closing.objects.standing().filter(visit=desk.visit, bearing=desk.bearing)
    if row := rows.order_by(*IN_ORDER).last():
        return signing.word_of(row)
    return word_of(desk.rules)


def _signed(desk: Desk, advice: Advice, form: DispositionForm) -> bool:
    entered = dict(form.cleaned_data)
    pk = entered.pop("id")
    try:
        signing.dispose(
            bearing=desk.bearing,
            visit=desk.visit,
            on=desk.today,
            advice=advice,
            answer=signing.SignedAnswer(**entered),
            by=desk.person,
            id=pk,
        )
    except NotRecorded as fault:
        form.add_error(None, str(fault))
        return False
    messages.success(
        desk.request, "Signed; it stands in the record. What is recorded after it is not answered by it."
    )
    return True
