"""What was seen, other work, an opening without a measurement, the advice and decision, closing, and the receipt."""

from typing import Any
from uuid import UUID

from django.contrib import messages
from django.db import transaction
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from fleet.models import Person, Setting
from inspections import advising, forecasting, visits
from inspections.addresses import bearing_address
from inspections.expecting import SCRAPED, Station
from inspections.forms.record import WorkForm, new_id
from inspections.models import Decision, EventKind, NotMeasured, Stage, Visit
from inspections.seen_words import PARTS, parts_said
from inspections.showing_visits import DECIDED_WORDS
from inspections.views.record_desk import Desk, at_the_pump, desk_at, people_for
from inspections.visiting import NotRecorded


@at_the_pump
def seen(desk: Desk) -> HttpResponse:
    """Condition words by part; "nothing found" in one tap."""
    post = desk.request.POST
    if desk.request.method == "POST":
        parts = {} if "nothing" in post else parts_said(post.getlist, lambda name: post.get(name, ""))
        if "nothing" in post or any(one["words"] or one["note"] for one in parts.values()):
            visits.see(
                visit=desk.visit, bearing=desk.bearing, on=desk.today, by=desk.person, parts=parts, id=_uuid(post.get("id"))
            )  # type: ignore[arg-type] # fmt: skip
            return redirect(desk.address("record-overview"))
        messages.error(desk.request, "Tick what was seen, write a word, or tap Nothing found.")
    return render(
        desk.request,
        "inspections/record_seen.html",
        desk.context(parts=PARTS, id=new_id(), device=desk.for_device("found")),
    )


@at_the_pump
def work(desk: Desk) -> HttpResponse:
    """Work beside scraping: a new shell with its reason, shims, a reground journal."""
    form = WorkForm(desk.request.POST or None, initial={"id": new_id()})
    if desk.request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            visits.event(
                visit=desk.visit, bearing=desk.bearing, kind=said["kind"], on=desk.today, by=desk.person, id=said["id"],
                half=said["half"], shell=said["shell"], reason=said["reason"], note=said["note"], done_by=desk.person,
            )  # type: ignore[arg-type] # fmt: skip
        except NotRecorded as fault:
            form.add_error(None, str(fault))
        else:
            return redirect(desk.address("record-overview"))
    return render(desk.request, "inspections/record_work.html", desk.context(form=form))


@at_the_pump
def opened(desk: Desk) -> HttpResponse:
    """Opened and not measured: the reason is part of the record."""
    if desk.request.method == "POST":
        try:
            visits.event(
                visit=desk.visit, bearing=desk.bearing, kind=EventKind.OPENED, on=desk.today, by=desk.person,
                id=_uuid(desk.request.POST.get("id")), note=desk.request.POST.get("note", "")[:300],
            )  # type: ignore[arg-type] # fmt: skip
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
        else:
            return redirect(desk.address("record-overview"))
    return render(desk.request, "inspections/record_opened.html", desk.context(id=new_id()))


@at_the_pump
def close(desk: Desk) -> HttpResponse:
    """The advice, the decision and why, what was not measured and why, the signatures; then the receipt."""
    assert desk.visit is not None
    figures = forecasting.current([desk.bearing], desk.today)[desk.bearing.pk]
    advice, needed = advice_now(desk, figures), signatures_needed(desk)
    missing = missing_stations(desk)
    if desk.request.method == "POST":
        try:
            visit = _closed(desk, figures, advice, missing, needed)
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
        else:
            return redirect(desk.address("record-receipt", visit=visit.pk))
    context = desk.context(
        advice=advice, choices=advising.CHOICES, missing=missing, reasons=NotMeasured.Because.choices, needed=needed,
        checked_needed=visits.CHECKED in needed, people=[p for p in people_for(desk) if p.pk != desk.person],
        removed=removed_words(desk, figures), decided=_decision_of(desk.visit, desk),
    )  # fmt: skip
    return render(desk.request, "inspections/record_close.html", context)


def advice_now(desk: Desk, figures: Any) -> advising.Advice:
    """The advice as the record stands now."""
    rounds = visits.rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    facts = desk.before.known.facts
    asked = any(
        desk.verdict_on(r).asked for r in desk.readings if r.counts and r.repeat == 1 and not r.supersedes
    )
    return advising.advise(
        figures, accepted_risk=desk.before.known.accepted_risk, asked=asked,
        contact_open=bool(rounds) and rounds[-1].event.outcome == "scrape",
        alignment=bool(rounds) and rounds[-1].event.outcome == "alignment",
        scrapeable=facts.scrapeable if facts else True,
    )  # fmt: skip


def removed_words(desk: Desk, figures: Any) -> str:
    """Metal removed and its cost, where it was scraped in this visit."""
    if desk.work != SCRAPED:
        return ""
    sides: dict[str, list[tuple[float, float]]] = {"as_found": [], "as_left": []}
    for r in desk.readings:
        if r.quantity == "clearance" and r.counts and r.value_um is not None:
            sides[r.stage].append((float(r.value_um), desk.sd_of(r)))
    taken = advising.removed(sides["as_found"], sides["as_left"], desk.before.step)
    return advising.cost_words(taken, figures)


def signatures_needed(desk: Desk) -> list[str]:
    """The signatures the plant asks for; none unless it has said so."""
    return list(Setting.objects.in_force("signatures", desk.bearing.place.site, desk.today) or [])


def missing_stations(desk: Desk) -> list[tuple[str, str, Station]]:
    """(key, words, station) of what is neither measured nor said not to be, for each stage that matters."""
    if any(one.kind == EventKind.OPENED for one in desk.events):
        return []
    stages = [Stage.AS_FOUND] + ([Stage.AS_LEFT] if desk.work else [])
    return [
        (f"{stage} {where.key}", f"{stage.label}, {where.words}", where)
        for stage in stages for where in desk.open_stations(stage)
    ]  # fmt: skip


def _closed(desk: Desk, figures: Any, advice: advising.Advice, missing: list, needed: list[str]) -> Visit:
    """Store the decision, then close; the reasons for what is missing come with it."""
    post, visit = desk.request.POST, desk.visit
    assert visit is not None
    rows = []
    for key, words, where in missing:
        because = post.get(f"because {key}", "")
        if because not in NotMeasured.Because.values:
            raise NotRecorded(f"Say why this was not measured: {words}.")
        rows.append(
            NotMeasured(
                id=_new(), visit_id=visit.pk, bearing_id=desk.bearing.pk, stage=key.split(" ")[0], end=where.end,
                clock=where.clock, because=because,
            )
        )  # fmt: skip
    checked = _uuid(post.get("checked_by"))
    decided = post.get("decided", advice.word)
    if decided not in advising.CHOICES:
        raise NotRecorded(f"Decide one of: {', '.join(advising.CHOICES)}.")
    with transaction.atomic():
        visits.decide(
            bearing=desk.bearing, on=desk.today, advised=_short(advice.word), decided=_short(decided),
            why=post.get("why", ""), by=desk.person, forecast_hash=advising.figures_hash(figures),
        )  # fmt: skip
        visits.close(
            visit=visit, on=desk.today, by=desk.person, missing=rows, checked_by=checked, needed=needed
        )
    return visit


_SHORT = {words: short for short, words in DECIDED_WORDS.items()}


def _short(word: str) -> str:
    return _SHORT[word]


def _new() -> UUID:
    return UUID(new_id())


def _uuid(text: str | None) -> UUID | None:
    try:
        return UUID(str(text))
    except ValueError:
        return None


def _decision_of(visit: Visit, desk: Desk) -> Decision | None:
    rows = Decision.objects.standing().of_visits().filter(bearing=desk.bearing, on__gte=visit.opened_on)
    return rows.order_by("-recorded_at").first()


@require_safe
def receipt(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """What was stored, as a page that can be kept and that whoever may read may open: figures, verdicts, people."""
    desk = desk_at(request, pump, position, act="read")
    if "visit" not in request.GET:
        return redirect(bearing_address(desk.bearing))
    visit = get_object_or_404(
        Visit.objects.standing(), pk=_uuid(request.GET.get("visit")), place=desk.bearing.place
    )
    desk.visit = visit
    people = {p.pk: p.name for p in Person.objects.filter(attendance__visit=visit)}
    parts = [(people.get(a.person_id, ""), a.part) for a in visit.attendances.standing()]
    decision = _decision_of(visit, desk)
    lines = [(one, desk.verdict_on(one)) for one in desk.readings]
    context = desk.context(
        lines=lines, rounds=visits.rounds_of(visit, desk.bearing), events=desk.events, parts=parts, decision=decision,
        decided=DECIDED_WORDS.get(decision.decided, decision.decided) if decision else "", stages=Stage,
        left_out=[(f"{Stage(n.stage).label}, {Station(n.end, n.clock).words}", n.get_because_display()) for n in desk.left_out],
        page=bearing_address(desk.bearing),
    )  # fmt: skip
    return render(request, "inspections/record_receipt.html", context)


@require_safe
def sheet(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """A sheet to print, in the order of the screens, where devices are banned."""
    desk = desk_at(request, pump, position)
    figures = desk.before.figures
    context = desk.context(parts=PARTS, figures=figures, rows=range(5), columns=range(7), rounds=range(1, 4))
    return render(request, "inspections/record_sheet.html", context)
