"""What is put right in one tap until the visit closes: which of two readings counts, a work that was tapped
by mistake.
"""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST

from fleet.access import require
from inspections.models import Event, Reading, Visit
from inspections.records.openings import NotRecorded
from inspections.visits import entry_slips
from inspections.visits.desk import Desk, at_the_pump, desk_at
from inspections.visits.forms import uuid_of_form
from inspections.visits.quantities import with_station
from inspections.visits.stations import Station
from inspections.visits.verdict import SIGN


@require_POST
def counts(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """Which of the readings of one station counts; of a closed visit the engineer says so."""
    desk = desk_at(request, pump, position)
    visit = get_object_or_404(
        Visit.objects.standing(), pk=uuid_of_form(request.POST.get("visit")), place=desk.bearing.place
    )
    if visit.closed_on is not None:
        require(request.user, "correct", desk.bearing.place.site)
    desk.turn_to(visit)
    reading = get_object_or_404(
        Reading.objects.standing(),
        pk=uuid_of_form(request.POST.get("reading")),
        visit=visit,
        bearing=desk.bearing,
    )
    try:
        entry_slips.choose(reading=reading, by=desk.person)
    except NotRecorded as fault:
        messages.error(request, str(fault))
    else:
        sign = SIGN.get(reading.unit, reading.unit)
        messages.success(request, f"{reading.typed} {sign} counts; the other stays in the record.")
    if visit.closed_on is not None:
        return redirect(desk.screens.address("record-receipt", visit=visit.pk))
    return redirect(desk.screens.address("record-overview"))


@at_the_pump
def taken_back(desk: Desk) -> HttpResponse:
    """A work of this visit that was tapped by mistake is taken back; both stay in the record."""
    if desk.request.method == "POST":
        event = get_object_or_404(
            Event.objects.standing(),
            pk=uuid_of_form(desk.request.POST.get("event")),
            visit=desk.visit,
            bearing=desk.bearing,
        )
        try:
            entry_slips.take_back(event=event, by=desk.person)
        except NotRecorded as fault:
            messages.error(desk.request, str(fault))
        else:
            messages.success(desk.request, "Taken back; it stays in the record as taken back.")
    return redirect(desk.screens.address("record-overview"))


def rivals_shown(desk: Desk) -> list[tuple[str, list[tuple[str, str, str]]]]:
    """(where, (reading, value, who) of each) of the stations of which two readings count."""
    names = desk.record.names
    return [
        (
            (
                f"{rows[0].get_stage_display()},"
                f" {with_station(rows[0].quantity, Station(rows[0].end, rows[0].clock))}"
            ),
            [
                (
                    str(row.pk),
                    f"{row.typed} {SIGN.get(row.unit, row.unit)}",
                    names.get(row.measured_by or row.recorded_by, ""),
                )
                for row in rows
            ],
        )
        for rows in desk.rules.rivals()
    ]
