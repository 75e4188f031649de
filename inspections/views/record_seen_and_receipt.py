"""What was seen, other work, an opening without a measurement; the receipt, and the sheet to print."""

import datetime as dt
from collections.abc import Iterable
from zoneinfo import ZoneInfo

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from fleet.formatting import day, um
from fleet.models import LimitUse, Person
from fleet.models.recorded import IN_ORDER
from fleet.web.bearing_addresses import bearing_address
from inspections.models import Attendance, Closing, EventKind, Reading, Stage, Visit
from inspections.records.openings import NotRecorded
from inspections.story.audit_trail import late_words
from inspections.story.decided_words import DECIDED_WORDS
from inspections.story.measuring_conditions import EXCEPTIONS
from inspections.story.uncertainty import uncertainty_of
from inspections.views.closing_list import lines_of
from inspections.views.record import left_out_words, who_of
from inspections.views.record_close import decision_of
from inspections.views.record_slips import rivals_shown
from inspections.visits.acts import CHECKED, SIGNED, event, see
from inspections.visits.contact_rounds import rounds_of
from inspections.visits.damage_words import PARTS, parts_said
from inspections.visits.desk import Desk, at_the_pump, desk_at
from inspections.visits.diameters import bore_minus_journal
from inspections.visits.forms import UNITS, OpenedForm, WorkForm, new_id, uuid_of_form
from inspections.visits.late_facts import added_words
from inspections.visits.open_bearing import word_of
from inspections.visits.photos import photos_of
from inspections.visits.screen_context import device_facts, events_in_words, screen_context, with_words
from inspections.visits.signature_lines import signature_lines


@at_the_pump
def seen(desk: Desk) -> HttpResponse:
    """Condition words by part; "nothing found" in one tap."""
    post = desk.request.POST
    if desk.request.method == "POST":
        parts = {} if "nothing" in post else parts_said(post.getlist, lambda name: post.get(name, ""))
        if "nothing" in post or any(one["words"] or one["note"] for one in parts.values()):
            see(
                visit=desk.visit,
                bearing=desk.bearing,
                on=desk.memory.on,
                by=desk.person,
                parts=parts,
                id=uuid_of_form(post.get("id")),
            )  # type: ignore[arg-type]
            return redirect(desk.screens.address("record-overview"))
        messages.error(desk.request, "Tick what was seen, write a word, or tap Nothing found.")
    return render(
        desk.request,
        "inspections/record_seen.html",
        screen_context(desk, parts=PARTS, id=new_id(), device=device_facts(desk, "found")),
    )


@at_the_pump
def work(desk: Desk) -> HttpResponse:
    """Work beside scraping: a new shell with its reason, shims, a reground journal."""
    form = WorkForm(desk.request.POST or None, initial={"id": new_id()})
    if desk.request.method == "POST" and form.is_valid():
        said = form.cleaned_data
        try:
            event(
                visit=desk.visit,
                bearing=desk.bearing,
                kind=said["kind"],
                on=desk.memory.on,
                by=desk.person,
                id=said["id"],
                half=said["half"],
                shell=said["shell"],
                reason=said["reason"],
                note=said["note"],
                done_by=desk.person,
            )  # type: ignore[arg-type]
        except NotRecorded as fault:
            form.add_error(None, str(fault))
        else:
            return redirect(desk.screens.address("record-overview"))
    return render(
        desk.request,
        "inspections/record_work.html",
        screen_context(desk, form=form, device=device_facts(desk, "work")),
    )


@at_the_pump
def opened(desk: Desk) -> HttpResponse:
    """Opened and not measured: the reason is part of the record."""
    if desk.request.method == "POST":
        try:
            event(
                visit=desk.visit,
                bearing=desk.bearing,
                kind=EventKind.OPENED,
                on=desk.memory.on,
                by=desk.person,
                id=uuid_of_form(desk.request.POST.get("id")),
                note=desk.request.POST.get("note", "")[:300],
            )  # type: ignore[arg-type]
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
        else:
            return redirect(desk.screens.address("record-overview"))
    return render(
        desk.request,
        "inspections/record_opened.html",
        screen_context(desk, id=new_id(), device=device_facts(desk, "opened"), form=OpenedForm()),
    )


@require_safe
def receipt(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """What was stored, as a page that can be kept and that whoever may read may open: figures, verdicts,
    people.
    """
    desk = desk_at(request, pump, position, act="read")
    if "visit" not in request.GET:
        return redirect(bearing_address(desk.bearing))
    visit = get_object_or_404(
        Visit.objects.standing(), pk=uuid_of_form(request.GET.get("visit")), place=desk.bearing.place
    )
    desk.turn_to(visit)
    people = {p.pk: p.name for p in Person.objects.filter(attendance__visit=visit)}
    visit.place = desk.bearing.place
    attended = list(visit.attendances.standing())
    named = [there for there in attended if there.part not in (SIGNED, CHECKED)]
    parts = [(there.part, people.get(there.person_id) or "name removed") for there in named]
    added = _added(desk, attended)
    decision = decision_of(visit, desk.bearing)
    others = [one for one in desk.bearing.place.bearings.standing() if one.pk != desk.bearing.pk]
    context = screen_context(
        desk,
        lines=[
            (with_words(desk, one), desk.rules.verdict_on(one), who_of(desk, one), _beside(desk, one))
            for one in desk.record.readings
        ],
        events=events_in_words(desk),
        rounds=rounds_of(visit, desk.bearing),
        parts=sorted(parts),
        signatures=signature_lines([visit]).get(visit.pk, []),
        decision=decision,
        stages=Stage,
        decided=DECIDED_WORDS.get(decision.decided, decision.decided) if decision else "",
        page=bearing_address(desk.bearing),
        left_out=left_out_words(desk),
        derived=bore_minus_journal(desk.rules),
        photos=photos_of(desk.bearing, visit),
        others=[(one.name, f"{bearing_address(one, 'record-receipt')}&visit={visit.pk}") for one in others],
        typed_in_on=_typed_in_on(desk, visit),
        closing_lines=lines_of(visit, desk.bearing),
        added=added,
        rivals=rivals_shown(desk),
        word_now=_word_now(desk, visit) if added else "",
    )
    return render(request, "inspections/record_receipt.html", context)


def _added(desk: Desk, attended: Iterable[Attendance]) -> str:
    """What devices brought of this bearing after the visit was closed, in words."""
    signed = [there.recorded_at for there in attended if there.part == SIGNED]
    rows = [*desk.record.readings, *desk.record.left_out, *desk.record.events]
    return added_words(rows, max(signed, default=None))


def _word_now(desk: Desk, visit: Visit) -> str:
    """The word with what was added after the closing, where it is another than the one it was closed by."""
    row = Closing.objects.standing().filter(visit=visit, bearing=desk.bearing).order_by(*IN_ORDER).last()
    if row is None:
        return ""
    now = word_of(desk.rules)
    return "" if now.word == DECIDED_WORDS.get(row.word, row.word) else f"{now.word}. {now.why}"


def _typed_in_on(desk: Desk, visit: Visit) -> dt.date | None:
    """The day a visit was typed in where that is later than the day it is of; a device's own claim counts as
    its day.
    """
    if visit.entered_at is not None:
        return None
    day = visit.recorded_at.astimezone(ZoneInfo(desk.bearing.place.site.time_zone)).date()
    return day if day > visit.opened_on and day > (visit.closed_on or visit.opened_on) else None


def _beside(desk: Desk, one: Reading) -> str:
    """What stands beside a reading whoever likes it or not: its standard uncertainty, and how late it was
    recorded.
    """
    zone = ZoneInfo(desk.bearing.place.site.time_zone)
    words = []
    if (sd_um := uncertainty_of(one.method, one.value_um, desk.record.trust)) is not None:
        words.append(f"Standard uncertainty {um(sd_um)}.")
    if late := late_words(one.on, one.recorded_at.astimezone(zone).date()):
        claim = one.entered_at
        typed = f"; the device says it was typed on {day(claim.astimezone(zone).date())}" if claim else ""
        words.append(f"Recorded {late}{typed}.")
    return " ".join(words)


@require_safe
def sheet(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """A sheet to print, in the order of the screens, where devices are banned."""
    desk = desk_at(request, pump, position)
    figures, known = desk.record.before.figures, desk.record.before.known
    unit = desk.rules.setup_for("clearance").unit
    names = [part for part, _ in PARTS]
    context = screen_context(
        desk,
        unit=unit,
        unit_words=dict(UNITS)[unit],
        fit_to=(known.limit_um(LimitUse.FITTING_MIN), known.limit_um(LimitUse.FITTING_MAX)),
        opening_words=desk.record.opening.words(unit),
        part_pairs=[names[i : i + 2] for i in range(0, len(names), 2)],
        figures=figures,
        rows=range(5),
        columns=range(7),
        rounds=range(1, 4),
        exceptions=EXCEPTIONS,
    )
    return render(request, "inspections/record_sheet.html", context)
