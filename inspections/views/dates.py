"""Asking for the fleet's dates to be worked out anew."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.http import require_POST

from fleet import background_jobs
from fleet.access import require
from fleet.web.rate_limit import costly


@require_POST
@costly("POST")
def anew(request: HttpRequest) -> HttpResponse:
    """Ask the worker for a refit of the whole fleet, and lead to how it stands."""
    require(request.user, "work dates out")
    return redirect("job", job_id=background_jobs.ask("forecast", by=request.user).pk)
