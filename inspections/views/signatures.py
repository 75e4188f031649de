"""Signing for a visit, signed in as oneself: by the short code, the printed label, or
what is asked of one.
"""

from uuid import UUID

from django import forms
from django.contrib import messages
from django.contrib.auth import authenticate
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_http_methods, require_safe

from fleet.access import require, sites_for
from fleet.models import Person
from fleet.models.recorded import IN_ORDER
from fleet.web.bearing_addresses import bearing_address
from inspections.models import Closing, Reading, Signature, SignatureAsked, Stage, Visit
from inspections.records.openings import NotRecorded
from inspections.story.decided_words import DECIDED_WORDS
from inspections.visits import signatures as signing
from inspections.visits.joined_visits import standing_now
from inspections.visits.quantities import with_station
from inspections.visits.signature_lines import signature_lines
from inspections.visits.stations import Station
from inspections.visits.verdict import SIGN

MOST_SHOWN = 100
DECLARED = {
    Signature.Meaning.OWN_READING: (
        "Checked: I measured it as well; my own reading stands beside the other's."
    ),
    Signature.Meaning.WITNESSED: "Checked: I stood by and read the gauge when it was measured.",
    Signature.Meaning.CONFIRMED: "Checked: I did so, as the device without network said.",
    Signature.Meaning.MEASURED: "Measured: the readings in my name are mine.",
    Signature.Meaning.APPROVED: "Approved: I looked at the record of this visit.",
}


class SignForm(forms.Form):
    """What the signature means, and the password once more: a page left open on a shared device signs
    nothing.
    """

    meaning = forms.ChoiceField(
        label="What your signature means",
        widget=forms.RadioSelect,
        error_messages={
            "required": "Choose what your signature means.",
            "invalid_choice": "Choose what your signature means from those offered.",
        },
    )
    password = forms.CharField(
        label="Your password",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
        help_text="Asked for at every signature, so that nobody signs on a page you left open.",
        error_messages={"required": "Give your password."},
    )

    def __init__(self, *args, meanings: list[Signature.Meaning], **kwargs):
        super().__init__(*args, **kwargs)
        self.fields["meaning"].choices = [(str(meaning), DECLARED[meaning]) for meaning in meanings]  # type: ignore[attr-defined]


@require_safe
def signatures(request: HttpRequest) -> HttpResponse:
    """A code leads to its visit; below stands what is asked of oneself, and what is
    awaited at one's sites.
    """
    if typed := request.GET.get("code", "").strip():
        return by_code(request, typed)
    rows = SignatureAsked.objects.standing().filter(visit__place__site__in=sites_for(request.user))
    given = Signature.objects.standing().filter(meaning__in=signing.CHECKS)
    answered = set(given.values_list("visit", "person"))
    newest = list(rows.select_related("visit__place__site").last_recorded_first())
    stands = standing_now(row.visit for row in newest)
    waiting = [
        stands[row.visit_id]
        for row in newest
        if row.visit_id in stands
        and not {(row.visit_id, row.person_id), (stands[row.visit_id].pk, row.person_id)} & answered
    ]
    visits = {visit.pk: visit for visit in waiting[:MOST_SHOWN]}
    lines = signature_lines(list(visits.values()))
    shown = [(visits[pk], line) for pk in visits for line in lines.get(pk, []) if line.awaits]
    own = request.user.person_id
    context = {
        "mine": [(visit, line) for visit, line in shown if line.awaits == own],
        "others": [(visit, line) for visit, line in shown if line.awaits != own],
    }
    return render(request, "inspections/signatures.html", context)


@require_safe
def by_code(request: HttpRequest, code: str) -> HttpResponse:
    """The visit of a code; a code of elsewhere is told from none by nothing."""
    sites = sites_for(request.user)
    asked = SignatureAsked.objects.standing().filter(
        code=signing.read_code(code), visit__place__site__in=sites
    )
    row = asked.select_related("visit").first()
    if row and (stands := standing_now([row.visit])):
        return redirect("sign", visit_id=stands[row.visit_id].pk)
    messages.error(
        request,
        f"No signature is asked for under the code “{code[:20]}”. Look at it again: six letters and digits.",
    )
    return redirect("signatures")


@require_http_methods(["GET", "HEAD", "POST"])
def sign(request: HttpRequest, visit_id: UUID) -> HttpResponse:
    """What stands in the record of a visit, and the form that signs it."""
    visit = get_object_or_404(
        Visit.objects.standing().select_related("place__site"),
        pk=visit_id,
        place__site__in=sites_for(request.user),
    )
    seen = signing.digest_of(signing.bound_to(visit))
    meanings = signing.meanings_for(visit, request.user)
    form = SignForm(request.POST or None, meanings=meanings)
    if request.method == "POST":
        require(request.user, "sign", visit.place.site)
        if form.is_valid() and _signed(request, visit, form):
            return redirect("sign", visit_id=visit.pk)
    return render(
        request,
        "inspections/sign.html",
        {"visit": visit, "form": form, "seen": seen, "able": meanings} | _shown(visit),
    )


def _signed(request: HttpRequest, visit: Visit, form: SignForm) -> bool:
    given, account = form.cleaned_data, request.user
    own = authenticate(request, username=account.get_username(), password=given["password"])
    if own is None or own.pk != account.pk:
        form.add_error("password", "This is not your password. Nothing was signed.")
        return False
    try:
        signing.sign(
            visit=visit, account=account, meaning=given["meaning"], seen=request.POST.get("seen", "")
        )
    except NotRecorded as fault:
        form.add_error(None, str(fault))
        return False
    messages.success(request, "Signed in your name; it stands in the record.")
    return True


def _shown(visit: Visit) -> dict[str, object]:
    """The readings, what was decided, and the signatures of a visit, for whoever signs it."""
    rows = list(
        Reading.objects.standing()
        .filter(visit=visit)
        .select_related("bearing__place__site")
        .order_by("bearing__folded", "on", "order", "entry_n")
    )
    people = {pk for row in rows for pk in (row.measured_by, row.checked_by)}
    names = {person.pk: str(person) for person in Person.objects.filter(pk__in=people - {None})}
    closings = Closing.objects.standing().filter(visit=visit).order_by(*IN_ORDER)
    closings = closings.select_related("bearing__place__site")
    bearings = {row.bearing_id: row.bearing for row in [*rows, *closings]}
    return {
        "readings": [
            {
                "row": row,
                "value": f"{row.typed} {SIGN.get(row.unit, row.unit)}",
                "where": (
                    f"{Stage(row.stage).label}, {with_station(row.quantity, Station(row.end, row.clock))}"
                ),
                "measured_by": names.get(row.measured_by, "not said"),  # type: ignore[arg-type]
                "checked_by": names.get(row.checked_by, "") if row.checked_by else "",
            }
            for row in rows
        ],
        "closings": [(row.bearing, DECIDED_WORDS.get(row.decided, row.decided), row.why) for row in closings],
        "receipts": [
            (bearing, f"{bearing_address(bearing, 'record-receipt')}&visit={visit.pk}")
            for bearing in bearings.values()
        ],
        "lines": signature_lines([visit]).get(visit.pk, []),
    }
