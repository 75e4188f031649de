"""What the plan's pages post: changes by hand, planning anew, acceptance, deferrals. The pages themselves are
`dashboards`'.
"""

from collections.abc import Mapping
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.urls import reverse
from django.views.decorators.http import require_POST

from dashboards.forms import ChangeForm, DeferralForm, RunOnForm
from dashboards.outage_plan import acceptance, deferrals, drafts
from dashboards.outage_plan.drafts import NotPlanned, keep_version, take_back
from fleet import background_jobs, units
from fleet.access import require, sites_for
from fleet.clock import today_at
from fleet.models import Outage, Site, folded
from fleet.plant.acts import Refused
from fleet.web.bearing_search import visible
from fleet.web.rate_limit import costly
from inspections.deferrals.deferral_states import IN_FORCE, PutOff
from inspections.models import Deferral, DraftPlan

PAGES = ("plan", "plan-bearing", "plan-outage")


@require_POST
def change(request: HttpRequest) -> HttpResponse:
    """One change of the plan in hand; the page it leads back to shows what it does."""
    site = _site(request)
    form = ChangeForm(request.POST)
    try:
        if not form.is_valid():
            raise NotPlanned(_faults(form.errors.as_data()))
        _changed(request, site, form)
    except (NotPlanned, units.Unreadable) as trouble:
        messages.error(request, str(trouble))
    return _back(request, site)


def _changed(request: HttpRequest, site: Site, form: ChangeForm) -> None:
    draft, given, by = _draft(request, site), form.cleaned_data, request.user.person_id
    what = given["what"]
    if what == "take-back":
        take_back(draft=draft, number=given["number"] if given["number"] is not None else -2)
    elif what == "keep-version":
        keep_version(draft=draft, name=given["name"], by=by)
        messages.success(request, f"Kept as “{given['name'].strip()}”; compare it with any other plan below.")
    else:
        if what == "move" and "hold" in request.POST:
            what = "pin"
        drafts.change(draft=draft, what=what, by=by, **form.said())


@require_POST
@costly("POST")
def anew(request: HttpRequest) -> HttpResponse:
    """Ask the worker for the plan of one site, and lead to how it stands."""
    site = _site(request)
    return redirect(
        "job", job_id=background_jobs.ask("plan", by=request.user, wanted={"site": str(site.pk)}).pk
    )


@require_POST
def accept(request: HttpRequest) -> HttpResponse:
    """Accept the plan in hand, with a reason."""
    site = _site(request)
    try:
        plan = acceptance.accept(
            draft=_draft(request, site),
            reason=request.POST.get("reason", ""),
            on=today_at(site),
            by=request.user.person_id,
        )
    except NotPlanned as trouble:
        messages.error(request, str(trouble))
        return _back(request, site)
    n = len(plan.jobs)
    messages.success(
        request,
        f"Accepted, with {n} job{'' if n == 1 else 's'}: each is a decision in its bearing's record now.",
    )
    return redirect(f"{reverse('plan')}?{urlencode({'site': site.name, 'show': 'accepted'})}")


@require_POST
def run_on(request: HttpRequest) -> HttpResponse:
    """Ask once for every bearing that the plan in hand leaves above its accepted risk and nobody has agreed
    to.
    """
    site = _site(request)
    form = RunOnForm(request.POST)
    if not form.is_valid():
        messages.error(request, f"Not asked. {_faults(form.errors.as_data())}")
        return _back(request, site)
    try:
        asked = acceptance.ask_for_above(
            draft=_draft(request, site), on=today_at(site), by=request.user.person_id, **form.cleaned_data
        )
    except (NotPlanned, Refused) as trouble:
        messages.error(request, f"Not asked. {trouble}")
    else:
        for one in asked:
            messages.success(request, f"{one.bearing}: {asked_words(one)}")
    return _back(request, site)


@require_POST
def defer(request: HttpRequest) -> HttpResponse:
    """Ask to put one bearing's job off; it holds once everybody of its level has agreed."""
    site = _site(request)
    rows = visible(request.user).filter(place__site=site)
    bearing = get_object_or_404(rows, pk=_uuid(request.POST.get("id")))
    form = DeferralForm(request.POST)
    if not form.is_valid():
        messages.error(request, f"Not put off. {_faults(form.errors.as_data())}")
        return _back(request, site)
    said = dict(form.cleaned_data)
    outage = get_object_or_404(Outage.objects.standing().filter(site=site), name=said.pop("outage"))
    try:
        asked = deferrals.defer(
            bearing=bearing, outage=outage, on=today_at(site), by=request.user.person_id, **said
        )
    except (NotPlanned, Refused) as trouble:
        messages.error(request, f"Not put off. {trouble}")
    else:
        messages.success(request, asked_words(asked))
    return _back(request, site)


def asked_words(asked: PutOff) -> str:
    """What became of what was asked: in force, or waiting for whom."""
    what = "Opening it" if asked.is_opening else f"Put off until {asked.until_on}"
    level = f" ({asked.row.why_level})" if isinstance(asked.row, Deferral) else ""
    if asked.state == IN_FORCE:
        return f"{what}: it holds, and stands in the record{level}."
    waits = f"{what} is asked for, and waits for {asked.missing_words}{level}."
    return waits if asked.is_opening else f"{waits} Until then the work stays in the plan."


def _site(request: HttpRequest) -> Site:
    """The site of the form: 404 where the account may not see it, 403 where it may not plan there."""
    asked = folded(request.POST.get("site", ""))
    site = next((one for one in sites_for(request.user) if one.folded == asked), None)
    if site is None:
        raise Http404("No site of this name, or not yours.")
    require(request.user, "plan", site)
    return site


def _draft(request: HttpRequest, site: Site) -> DraftPlan:
    return get_object_or_404(
        DraftPlan.objects.defer("inputs"), site=site, pk=_uuid(request.POST.get("draft"))
    )


def _back(request: HttpRequest, site: Site) -> HttpResponse:
    """To the page the form stood on."""
    page = request.POST.get("back", "plan")
    asked = {"site": site.name}
    for name in ("bearing", "outage"):
        if page == f"plan-{name}":
            asked[name] = request.POST.get(name, "")
    return redirect(f"{reverse(page if page in PAGES else 'plan')}?{urlencode(asked)}")


def _faults(errors: Mapping[str, list]) -> str:
    return " ".join(str(message) for some in errors.values() for one in some for message in one.messages)


def _uuid(text: str | None) -> UUID:
    try:
        return UUID(str(text))
    except ValueError:
        raise Http404("Nothing of this id.") from None
