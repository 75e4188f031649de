"""Recording without network: what is taken along, the shell that a device keeps, its worker, and what it
sends later.
"""

import hashlib
import json
from dataclasses import replace
from functools import lru_cache
from typing import Any

from django.contrib.auth.decorators import login_not_required
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may, require, sites_for
from fleet.clock import today_at
from fleet.end_words import END_WORDS, ENDS
from fleet.measuring_methods import offered
from fleet.models import Outage
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import visible
from fleet.web.rate_limit import costly
from fleet.web.scripts import text_of, with_imports
from inspections import contact
from inspections.contact.shared_table import TABLE
from inspections.models import BOUNDS_UM, EFFECTS, NotMeasured, Quantity
from inspections.records.openings import NotRecorded
from inspections.story.measuring_conditions import EXCEPTIONS, USUAL_WORDS
from inspections.visits import offline_sync, print_drawing, print_words, receipts
from inspections.visits.cautions import NO_WORK
from inspections.visits.damage_words import PARTS
from inspections.visits.device_entry import Sent
from inspections.visits.forms import ASKED_OF_METAL, ContactForm, WorkForm, write_cells
from inspections.visits.offline_pack import packed
from inspections.visits.offline_sync import Answer
from inspections.visits.site_people import names_at

# What the device keeps beside the shell page itself: these, and the scripts with all that they import.
STYLES = (
    "fleet/site.css",
    "fleet/forms.css",
    "fleet/tables.css",
    "fleet/charts.css",
    "fleet/icon.svg",
    "inspections/record.css",
    "inspections/record_print.css",
)
WORKER, READER = "inspections/offline_worker.js", "inspections/contact_worker.js"
SCRIPTS = ("fleet/unsent_queue.js", "inspections/record_offline.js", READER)


def bounds() -> dict[str, dict[str, Any]]:
    """What each quantity may be, um, for the device: it refuses what the site would refuse."""
    return {
        name: {"um": list(BOUNDS_UM[name]), "words": str(Quantity(name).label)} for name in Quantity.values
    }


def reader() -> dict[str, Any]:
    """What the device reads a print with: the reader's address, how its sentences are called, what each work
    does to the series, and the words for the ends.
    """
    return {
        "worker": reverse("contact-reader"),
        "labels": print_words.LABELS,
        "effects": EFFECTS,
        "ends": {"pump_end": END_WORDS["in"], "outer_end": END_WORDS["out"]},
    }


TAKEN = {"half": "lower", "in_place": "yes", "first_end": "out"}


@require_safe
def shell(request: HttpRequest) -> HttpResponse:
    """The page that a device keeps: what is taken along, its screens, and what waits to be sent."""
    require(request.user, "record")
    today = {site.pk: today_at(site) for site in sites_for(request.user, "record")}
    sites = list(sites_for(request.user, "record"))
    coming = [
        (
            site,
            Outage.objects.standing()
            .filter(site=site, end_on__gte=today[site.pk])
            .order_by("start_on")
            .first(),
        )
        for site in sites
    ]
    context = {
        "coming": coming,
        "methods": offered(),
        "reasons": NotMeasured.Because.choices,
        "exceptions": [(name, words) for name, (words, _) in EXCEPTIONS.items()],
        "usual": USUAL_WORDS,
        "parts": PARTS,
        "author": request.user.person_id,
        "taken": ContactForm(initial=TAKEN),
        "work": WorkForm(),
        "asked_of_metal": ASKED_OF_METAL,
        "no_work": NO_WORK,
        "bounds": bounds(),
        "reader": reader(),
        "films": print_drawing.films(),
        "end_words": {end: END_WORDS[end] for end in ENDS},
        "eight": [
            (name, words, picture, write_cells(contact.named(name).tolist()))
            for name, words, picture in print_drawing.eight()
        ],
    }
    return render(request, "inspections/record_offline.html", context)


@require_safe
@costly("GET")
def pack(request: HttpRequest) -> JsonResponse:
    """One site's bearings with limits, last facts and what is expected, and how to measure there, for the
    device; the pumps of one outage, or all.
    """
    require(request.user, "record")
    rows = visible(request.user).filter(place__site__in=sites_for(request.user, "record"))
    if request.GET.get("site"):
        rows = rows.filter(place__site__name=request.GET["site"])
    if pumps := request.GET.getlist("pump"):
        rows = rows.filter(place__tag__in=pumps)
    bearings = list(rows[: offline_sync.MOST])
    sites = {b.place.site for b in bearings}
    packs = {site.name: packed([b for b in bearings if b.place.site == site]) for site in sites}
    people = {
        site.name: [{"id": str(one.pk), "name": one.name} for one in names_at(site.pk, today_at(site))]
        for site in sites
    }
    return JsonResponse(
        {
            "bearings": [row for one in packs.values() for row in one.bearings],
            "cards": {name: one.cards for name, one in packs.items()},
            "people": people,
            "author": str(request.user.person_id),
        }
    )


@require_http_methods(["GET", "HEAD", "POST"])
def queue(request: HttpRequest) -> JsonResponse:
    """The token a device needs to send, and (a post) its entries: each answered by its own id."""
    if request.method != "POST":
        allowed = may(request.user, "record")
        return JsonResponse(
            {"token": get_token(request) if allowed else "", "author": str(request.user.person_id)}
        )
    require(request.user, "record")
    if "photo" in request.FILES:
        return _photo(request)
    try:
        entries = json.loads(request.body)["entries"]
        if not isinstance(entries, list):
            raise TypeError
    except (ValueError, KeyError, TypeError, RecursionError):
        return JsonResponse({"fault": ASKED}, status=400)
    return JsonResponse({"entries": [_answered(one, request.user) for one in entries[: offline_sync.MOST]]})


ASKED = 'Send {"entries": [...]}, each {"text": the entry as JSON text, "sha256": the hash of that text}.'
# Told to pages of an earlier version, which let go of an entry without comparing hashes: they keep it with
# this reason, and unsent_queue.js takes the reason away once it runs in their place.
RELOAD = (
    "Reload this page: it is of an earlier version. The entry stays here until then and goes again by itself."
)
CHANGED = "The entry did not come as it was sent. It stays on the device and goes again by itself."


def _answered(one: Any, account: Any) -> dict[str, Any]:
    """The answer to one entry: with its text and hash, or (of an earlier version of the
    pages) as an object.
    """
    if isinstance(one, dict) and isinstance(one.get("text"), str):
        sent = Sent(one["text"])
        if sent.sha256 != one.get("sha256"):
            return Answer(
                "", str(one.get("sha256"))[:64], offline_sync.REFUSED, CHANGED, later=True
            ).as_json()
        return offline_sync.replay(sent, account).as_json()
    answer = offline_sync.replay(Sent(json.dumps(one, sort_keys=True)), account)
    named = str(one.get("id")) if isinstance(one, dict) else ""
    return _kept_on_an_earlier_page(answer, named)


def _kept_on_an_earlier_page(answer: Answer, named: str) -> dict[str, Any]:
    """An answer on which a page of an earlier version keeps the entry, whatever became of it here."""
    why = answer.why if answer.state == offline_sync.REFUSED and not answer.later else RELOAD
    return replace(answer, id=answer.id or named, state=offline_sync.REFUSED, why=why).as_json()


def _photo(request: HttpRequest) -> JsonResponse:
    """One photo of a device, by itself: its entry beside it, and the hash of both."""
    text, hashed = request.POST.get("entry", ""), request.POST.get("sha256", "")
    sent = Sent(text, request.FILES["photo"].read())  # type: ignore[union-attr]
    if hashed and hashed != sent.sha256:
        answer = Answer("", hashed[:64], offline_sync.REFUSED, CHANGED, later=True).as_json()
    else:
        stored = offline_sync.replay(sent, request.user)  # type: ignore[arg-type]
        answer = stored.as_json() if hashed else _kept_on_an_earlier_page(stored, "")
    return JsonResponse({"entries": [answer]})


@require_POST
def settle(request: HttpRequest, receipt: int) -> HttpResponse:
    """A person says what became of an entry that was refused; it is shown no more."""
    require(request.user, "record")
    try:
        bearing = receipts.settle(receipt, how=request.POST.get("how", ""), account=request.user)  # type: ignore[arg-type]
    except NotRecorded as fault:
        raise Http404(str(fault)) from None
    return redirect(bearing_address(bearing, "record"))


@login_not_required
@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, from the site's root so that it serves every page; its version changes with what it
    keeps. A browser asks for a worker that is a module without cookies; nothing of the plant stands in it.
    """
    kept = [*map(static, (*STYLES, *with_imports(*SCRIPTS))), reverse("contact-reader")]
    return _begun(WORKER, {"KEPT": kept, "VERSION": _version(), "BOUNDS": bounds()})


@require_safe
def print_reader(request: HttpRequest) -> HttpResponse:
    """The reader of prints with its table, for a worker of the page, with the site's headers."""
    return _begun(READER, TABLE)


def _begun(script: str, given: Any) -> HttpResponse:
    """A script that begins another one with what the site knows."""
    text = f"import {{ begin }} from {json.dumps(static(script))};\nbegin({json.dumps(given)});\n"
    answer = HttpResponse(text, content_type="text/javascript")
    answer["Cache-Control"] = "no-cache"
    return answer


@lru_cache(maxsize=1)
def _version() -> str:
    names = (*STYLES, *with_imports(*SCRIPTS, WORKER))
    return hashlib.sha256(("".join(map(text_of, names)) + json.dumps(TABLE)).encode()).hexdigest()[:12]
