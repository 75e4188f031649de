"""Putting the record right after a visit is closed: corrected, set apart, or taken back, with a reason, both
versions kept.
"""

import uuid
from collections.abc import Callable
from typing import Any

from django.contrib import messages
from django.db.models import Max
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from fleet.access import require
from fleet.models import Entry, Person, Recorded
from fleet.web.bearing_addresses import bearing_address
from fleet.web.bearing_search import the_one_called
from inspections.forms.correcting import CorrectForm, JoinForm, ReasonForm, as_recorded
from inspections.models import Event, MeterEntry, Reading
from inspections.records import duplicates
from inspections.records.corrections import correct_reading, set_not_for_wear, withdraw
from inspections.records.openings import NotRecorded
from inspections.story.audit_trail import Line, ledger_story

MENDED: dict[str, type[Recorded]] = {"reading": Reading, "event": Event, "meter": MeterEntry}


class Changed(Exception):
    """Somebody else changed it after the page was shown."""


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, pump: str, position: str, thing: uuid.UUID) -> HttpResponse:
    """One reading, event or meter entry, and what may be put right in it."""
    bearing = the_one_called(request.user, pump, position, request.GET.get("site", ""))
    require(request.user, "correct", bearing.place.site)
    lines = ledger_story(bearing).lines
    line = next((one for one in lines if one.thing == thing and one.kind in MENDED), None)
    if line is None:
        raise Http404("Nothing that can be corrected stands in this bearing's record under this number.")
    row = MENDED[line.kind]._base_manager.get(pk=thing)
    back = bearing_address(bearing, "bearing-history")
    context = {"bearing": bearing, "place": bearing.place, "line": line, "back": back, "row": row}
    context |= _forms(row, lines) if request.method != "POST" else _acted(request, row, lines)
    if context.get("done"):
        messages.success(request, context["done"])
        return redirect(back)
    if context.get("changed") or row.withdrawn_by:
        context |= {"now": _now(lines, row), "changed": True}
    return render(
        request,
        "inspections/correct.html",
        context,
        status=409 if request.method == "POST" and context.get("changed") else 200,
    )


def last_change(row: Recorded) -> int:
    """The number, among all entries, of the last one about a row: what a page has seen of it."""
    return Entry.objects.filter(thing=row.pk).aggregate(last=Max("id"))["last"] or 0


def _forms(row: Any, lines: list[Line]) -> dict[str, Any]:
    seen = last_change(row)
    forms: dict[str, Any] = {"reason_form": ReasonForm(initial={"seen": seen})}
    if among := _same(row, lines):
        forms["join_form"] = JoinForm(among=among, initial={"seen": seen}, auto_id="join_%s")
    if isinstance(row, Reading):
        forms["form"] = CorrectForm(initial=as_recorded(row, seen, uuid.uuid4()))
    return forms


def _same(row: Any, lines: list[Line]) -> list[tuple[str, str]]:
    """The records that this one may be the same thing as, in the words of the history."""
    said = {one.thing: one for one in lines if one.kind in MENDED}
    return [
        (str(one.pk), f"{one.on:%Y-%m-%d}, {said[one.pk].what}, entry no. {said[one.pk].n}")
        for one in duplicates.others(row)
        if one.pk in said
    ]


def _acted(request: HttpRequest, row: Any, lines: list[Line]) -> dict[str, Any]:
    """Do what was asked; the forms again where it cannot be, with what was typed."""
    act = _ACTS.get(request.POST.get("act", ""))
    if act is None or (act not in (_take_back, _join) and not isinstance(row, Reading)):
        raise Http404("Choose what is to be put right: correct, apart, back, join or withdraw.")
    shown = _forms(row, lines)
    form: Any = (CorrectForm if act is _correct else ReasonForm)(request.POST)
    if act is _join:
        # What was superseded meanwhile is offered no more; that it was the same join is for the act to say.
        among = [*_same(row, lines), (request.POST.get("standing", ""), "")]
        form = JoinForm(request.POST, among=among, auto_id="join_%s")
    name = {_correct: "form", _join: "join_form"}.get(act, "reason_form")
    shown |= {name: form, "faulty": form}
    if not form.is_valid():
        return shown
    try:
        return {"done": act(row, form, request.user.person_id)}
    except Changed:
        return shown | {"changed": True}
    except NotRecorded as refused:
        form.add_error(None, str(refused))
        return shown


def _unchanged(row: Recorded, form: Any) -> None:
    if row.withdrawn_by or last_change(row) != form.cleaned_data["seen"]:
        raise Changed


def _correct(row: Any, form: CorrectForm, by: uuid.UUID) -> str:
    said = form.cleaned_data
    if Reading.objects.filter(pk=said["id"]).exists():
        return "It was corrected already; nothing was stored twice."
    _unchanged(row, form)
    correct_reading(
        reading=row,
        by=by,
        reason=said["reason"],
        value=said["value"],
        unit=said["unit"],
        id=said["id"],
        **form.changes(row),
    )
    return "Corrected; both versions are kept. The dates follow from the new one."


def _apart(row: Any, form: ReasonForm, by: uuid.UUID) -> str:
    _unchanged(row, form)
    set_not_for_wear(reading=row, by=by, reason=form.cleaned_data["reason"])
    return "Set apart: it stays in the record and is not used for wear."


def _back(row: Any, form: ReasonForm, by: uuid.UUID) -> str:
    _unchanged(row, form)
    set_not_for_wear(reading=row, by=by, reason=form.cleaned_data["reason"], apart=False)
    return "It is used for wear again."


def _take_back(row: Recorded, form: ReasonForm, by: uuid.UUID) -> str:
    _unchanged(row, form)
    withdraw(row=row, by=by, reason=form.cleaned_data["reason"])
    return "Withdrawn; it stays to be read, marked, and counts for nothing."


def _join(row: Any, form: JoinForm, by: uuid.UUID) -> str:
    standing = type(row)._base_manager.filter(pk=form.cleaned_data["standing"]).first()
    if standing is None:
        raise NotRecorded("The record that was to stand is not of the same sort. Choose one from the list.")
    if duplicates.joined_with(row) != standing.pk:
        _unchanged(row, form)
    if not duplicates.join(row=row, standing=standing, by=by, reason=form.cleaned_data["reason"]):
        return "The two were joined already; nothing was stored twice."
    return "Joined: the other one stands for both, and this one stays to be read. The dates follow from it."


_ACTS: dict[str, Callable[[Any, Any, uuid.UUID], str]] = {
    "correct": _correct,
    "apart": _apart,
    "back": _back,
    "withdraw": _take_back,
    "join": _join,
}


def _now(lines: list[Line], row: Recorded) -> dict[str, Any]:
    """What stands now in place of a row that somebody changed: who did it, and the version that counts."""
    entry = Entry.objects.filter(thing=row.pk).order_by("-id").first()
    by = Person.objects.filter(pk=entry.by).first() if entry else None
    instead = {str(pk) for pk in Reading.objects.filter(supersedes=row.pk).values_list("pk", flat=True)}
    instead.add(str(duplicates.joined_with(row)))  # type: ignore[arg-type]
    return {
        "by": by,
        "at": entry.recorded_at if entry else None,
        "lines": [one for one in lines if str(one.thing) in instead and one.kind in MENDED],
    }
