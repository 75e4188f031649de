"""One bearing's bundle, for an auditor to take along."""

from django.http import Http404, HttpRequest, HttpResponse
from django.views.decorators.http import require_POST

from fleet.access import require
from fleet.web.bearing_addresses import read
from fleet.web.bearing_search import called
from fleet.web.rate_limit import costly
from inspections.bundle.archive import folder_name, make, zipped
from inspections.bundle.report import NoPrinter


@require_POST
@costly("POST")
def bundle(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """Make the bundle, which seals the record, and send it as a zip file."""
    found = called(request.user, read(pump), read(position), request.POST.get("site", ""))
    if len(found) != 1:
        raise Http404("No bearing of this name at your sites, or more than one: name its site.")
    require(request.user, "export", found[0].place.site)
    try:
        files = make(found[0], by=request.user.person_id)
    except NoPrinter as missing:
        return HttpResponse(str(missing), status=503, content_type="text/plain; charset=utf-8")
    name = folder_name(found[0])
    answer = HttpResponse(zipped(files, name), content_type="application/zip")
    answer["Content-Disposition"] = f'attachment; filename="{name}.zip"'
    return answer
