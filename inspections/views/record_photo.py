"""A photo at the pump: one field; and the shown copy, without what the camera wrote beside it."""

from uuid import UUID

from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from fleet.models import Attachment
from fleet.web.bearing_search import visible
from inspections.records.openings import NotRecorded
from inspections.visits.contact_rounds import rounds_of
from inspections.visits.desk import Desk, at_the_pump
from inspections.visits.forms import PhotoForm, new_id, uuid_of_form
from inspections.visits.photos import allowed_at, caption, keep_photo, moments, shown_copy
from inspections.visits.screen_context import device_facts, screen_context


def photos_allowed(desk: Desk) -> bool:
    """Whether the bearing's site allows photos today."""
    return allowed_at(desk.bearing.place.site, desk.today, desk.record.settings)


@at_the_pump
def photo(desk: Desk) -> HttpResponse:
    """Take or choose a photo; it is kept with the visit."""
    if not photos_allowed(desk):
        raise Http404("Photos are not allowed at this site.")
    request = desk.request
    if request.method == "POST":
        file = request.FILES.get("photo")
        try:
            if file is None:
                raise NotRecorded("Take a photo or choose one first.")
            keep_photo(
                visit=desk.visit,
                bearing=desk.bearing,
                data=file.read(),
                name=file.name or "photo",
                by=desk.person,
                note=caption(request.POST.get("moment", ""), request.POST.get("note", "")[:300]),
                id=uuid_of_form(request.POST.get("id")),
            )  # type: ignore[arg-type]
        except NotRecorded as fault:
            messages.error(request, str(fault))
        else:
            messages.success(request, "The photo is kept with this visit.")
            return redirect(desk.screens.address("record-overview"))
    return render(
        request,
        "inspections/record_photo.html",
        screen_context(
            desk, id=new_id(), device=device_facts(desk, "photo"), form=PhotoForm(moments=_moments(desk))
        ),
    )


def _moments(desk: Desk) -> list[str]:
    rounds = rounds_of(desk.visit, desk.bearing)  # type: ignore[arg-type]
    return moments(max((one.round for one in rounds), default=0), desk.rules.worked)


@require_safe
def shown(request: HttpRequest, pk: UUID) -> HttpResponse:
    """The shown copy of a photo of a bearing that the account may read."""
    row = get_object_or_404(Attachment.objects.standing().select_related("file"), pk=pk)
    kind, _, bearing = row.chain.partition(":")
    if kind != "bearing" or not visible(request.user).filter(pk=bearing).exists():
        raise Http404("No photo of this name, or not at your sites.")
    try:
        data, content_type = shown_copy(bytes(row.file.data))
    except NotRecorded as fault:
        raise Http404(str(fault)) from None
    answer = HttpResponse(data, content_type=content_type)
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return answer
