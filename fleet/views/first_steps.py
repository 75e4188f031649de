"""The empty site's page: what a newcomer does first, with all it needs whichever page leads there."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse

from fleet.access import may
from fleet.forms import kinds_for
from fleet.importing.templates import template_sheets
from fleet.models import Bearing


def nothing_here_yet(request: HttpRequest) -> HttpResponse:
    """The steps, the button for whoever may bring a sheet, and the sheets to fill in."""
    may_bring = {holds for holds, _ in kinds_for(request.user)}
    context = {
        "unseen": not may(request.user, "read") and Bearing.objects.standing().exists(),
        "import_url": reverse("import") if may_bring else "",
        "template_sheets": [one for one in template_sheets() if one.holds in may_bring],
    }
    return render(request, "fleet/empty_site.html", context)
