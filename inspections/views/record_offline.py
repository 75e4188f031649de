"""Recording without network: what is taken along, the shell that a device keeps, its worker, and what it
sends later.
"""

import hashlib
import json
from dataclasses import asdict, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.contrib.staticfiles import finders
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.middleware.csrf import get_token
from django.shortcuts import redirect, render
from django.templatetags.static import static
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may, require, sites_for
from fleet.clock import today_at
from fleet.end_words import END_WORDS, ENDS
from fleet.measuring_methods import offered, usual_for
from fleet.models import LimitUse, Outage, Setting
from fleet.models.plant import SettingsRead
from fleet.models.recorded import IN_ORDER
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import visible
from fleet.web.rate_limit import costly
from inspections import contact
from inspections.contact.shared_table import TABLE
from inspections.forecasts.judgement.accepted import AcceptedTrigger, accepted_triggers
from inspections.models import BOUNDS_UM, EFFECTS, ContactCheck, NotMeasured, Quantity, Reading, Stage
from inspections.records.openings import NotRecorded
from inspections.story.conditions import EXCEPTIONS, USUAL_WORDS
from inspections.story.uncertainty import spreads
from inspections.visits import offline_sync, open_bearing, print_drawing, print_words, receipts
from inspections.visits.cautions import NO_WORK, cautions_for
from inspections.visits.contact_facts import criteria_for, shell_record
from inspections.visits.device_entry import Sent
from inspections.visits.expectations import NEW_METAL, Before, before_many, expected_for, held_for, last_at
from inspections.visits.findings import PARTS
from inspections.visits.forms import ASKED_OF_METAL, ContactForm, WorkForm, write_cells
from inspections.visits.machine_book import book_unit
from inspections.visits.offline_sync import Answer
from inspections.visits.shell_words import for_device
from inspections.visits.site_people import names_at
from inspections.visits.stations import Station, planned_stations, stations_of
from inspections.visits.trigger_at_pump import opening_of, scrape_limit_um, under_plan

# What the device keeps beside the shell page itself.
KEPT = (
    "fleet/site.css",
    "fleet/forms.css",
    "fleet/tables.css",
    "fleet/charts.css",
    "fleet/icon.svg",
    "fleet/device_store.js",
    "fleet/unsent_queue.js",
    "inspections/record.css",
    "inspections/record_print.css",
    "inspections/record.js",
    "inspections/verdict.js",
    "inspections/typed_value.js",
    "inspections/contact_facts.js",
    "inspections/record_offline.js",
    "inspections/record_offline_print.js",
    "inspections/record_unsent.js",
)

# What the worker is made of, one behind the other; likewise the reader of prints.
WORKER = ("fleet/device_store.js", "inspections/typed_value.js", "inspections/offline_worker.js")
READER = tuple(f"inspections/contact_{name}.js" for name in ("library", "reader", "outcome", "worker"))


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
    """One site's bearings with limits, last facts and what is expected, for the device; the pumps of one
    outage, or all.
    """
    require(request.user, "record")
    rows = visible(request.user).filter(place__site__in=sites_for(request.user, "record"))
    if request.GET.get("site"):
        rows = rows.filter(place__site__name=request.GET["site"])
    if pumps := request.GET.getlist("pump"):
        rows = rows.filter(place__tag__in=pumps)
    bearings = list(rows[: offline_sync.MOST])
    found = [
        one
        for site in {b.place.site for b in bearings}
        for one in _of_site([b for b in bearings if b.place.site == site])
    ]
    people = {
        site.name: [{"id": str(one.pk), "name": one.name} for one in names_at(site.pk, today_at(site))]
        for site in {b.place.site for b in bearings}
    }
    return JsonResponse({"bearings": found, "people": people, "author": str(request.user.person_id)})


def _of_site(bearings: list[Any]) -> list[dict[str, Any]]:
    today = today_at(bearings[0].place.site)
    known = before_many(bearings, today)
    settings = SettingsRead(Setting.objects.of(bearings[0].place.site_id))
    trust = {str(name): spread.sd_um for name, spread in spreads(today, settings).items()}
    usual = _usual(bearings) | {"stations": planned_stations(bearings[0].place.site, today, settings)}
    cautions, prints = cautions_for(bearings[0].place.site, today, settings).first, _last_prints(bearings)
    planned = accepted_triggers(bearings)
    held = open_bearing.for_device(bearings[0].place.site, today, settings)
    held["criteria"] = criteria_for(bearings[0].place.site_id, today).as_dict()
    return [
        _packed(one, known[one.pk], today, trust, usual)
        | {"cautions": cautions, "print": prints.get(one.pk)}
        | _opening(
            known[one.pk],
            today,
            book_unit(known[one.pk].known) or usual.get(one.pk, usual[None])[0],
            planned.get(one.pk),
        )
        | held
        for one in bearings
    ]


def _opening(
    known: Before, today: Any, unit: str, planned: AcceptedTrigger | None
) -> dict[str, str | float | None]:
    """What stands at this opening in words, and the reading from which a shell is not scraped."""
    limit = known.known.limits.get(LimitUse.REPLACE)
    replace_um = float(limit.value_um) if limit and limit.value_um is not None else None
    opening = under_plan(opening_of(known.judgement, today, replace_um=replace_um), planned)
    return {"opening": opening.words(unit), "scrape_limit_um": scrape_limit_um(opening)}


def _last_prints(bearings: list[Any]) -> dict[Any, Any]:
    """The last contact print of each bearing: its cells, what it said, its day."""
    rows = ContactCheck.objects.standing().filter(event__bearing__in=bearings).select_related("event")
    found = {}
    for one in rows.order_by("event__on", "round", "entry_n"):
        if cells := one.pattern.get("cells"):
            found[one.event.bearing_id] = {
                "cells": write_cells(cells),
                "said": one.conditions.get("headline", ""),
                "on": one.event.on.isoformat(),
                "half": one.half,
                "left": END_WORDS["in" if one.pattern.get("first_end") == "in" else "out"],
            }
    return found


def _usual(bearings: list[Any]) -> dict[Any, Any]:
    """Unit and method of the last reading of each bearing; under None that of the site."""
    rows = Reading.objects.standing().filter(bearing__in=bearings, quantity="clearance")
    found: dict[Any, Any] = {None: ("mm", usual_for("clearance"))}
    for pk, unit, method in rows.order_by("on", *IN_ORDER).values_list("bearing_id", "unit", "method"):
        found[pk] = found[None] = (unit, method)
    return found


def _packed(
    bearing: Any, known: Before, today: Any, trust: dict[Any, Any], usual: dict[Any, Any]
) -> dict[str, Any]:
    facts = known.known.facts
    limits = {
        ("clearance", str(use)): float(one.value_um)
        for use, one in known.known.limits.items()
        if one.value_um is not None
    }
    last_unit, method = usual.get(bearing.pk, usual[None])
    stages = ((Stage.AS_FOUND, ""), (Stage.AS_LEFT, ""), (Stage.AS_LEFT, NEW_METAL))
    new = expected_for(known, limits, Stage.AS_LEFT, NEW_METAL, None)
    journal = facts.journal_diameter_um if facts else None
    return {
        "expected_new": vars(new) if new else None,
        "id": str(bearing.pk),
        "pump": bearing.place.tag,
        "position": bearing.name,
        "site": bearing.place.site.name,
        "unit": book_unit(known.known) or last_unit,
        "method": method,
        "sd": trust,
        "exceptions": {name: sd for name, (_, sd) in EXCEPTIONS.items()},
        "step": known.step,
        **for_device(facts),
        "shell": asdict(shell_record(known, trust)),
        "held": {
            f"{stage} {work}".strip(): vars(held_for(limits, stage, work, journal_um=journal))
            for stage, work in stages
        },
        "stations": [
            _station(known, limits, one) for one in stations_of(known.known.story, usual["stations"])
        ],
    }


def _station(known: Before, limits: dict[str, Any], where: Station) -> dict[str, Any]:
    last = last_at(known.known, where)
    expected = expected_for(known, limits, Stage.AS_FOUND, "", None)
    return {
        "key": where.key,
        "words": where.words,
        "last_um": last.value_um if last else None,
        "expected": vars(expected) if expected else None,
    }


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


@require_safe
def worker(request: HttpRequest) -> HttpResponse:
    """The service worker, from the site's root so that it serves every page; its version changes with what it
    keeps.
    """
    kept = [*(static(name) for name in KEPT), reverse("contact-reader")]
    consts = {"KEPT": kept, "VERSION": _version(), "BOUNDS": bounds()}
    head = "".join(f"const {name} = {json.dumps(value)};\n" for name, value in consts.items())
    return _script(head + "".join(map(_text, WORKER)))


@require_safe
def print_reader(request: HttpRequest) -> HttpResponse:
    """The reader of prints with its table, for a worker of the page: one file with the site's headers."""
    return _script(f"const TABLE = {json.dumps(TABLE)};\n{''.join(map(_text, READER))}")


def _script(text: str) -> HttpResponse:
    answer = HttpResponse(text, content_type="text/javascript")
    answer["Cache-Control"] = "no-cache"
    return answer


@lru_cache(maxsize=1)
def _version() -> str:
    whole = "".join(_text(name) for name in (*KEPT, *WORKER, *READER)) + json.dumps(TABLE)
    return hashlib.sha256(whole.encode()).hexdigest()[:12]


def _text(name: str) -> str:
    found = finders.find(name)
    return Path(str(found)).read_text("utf-8") if found else ""
