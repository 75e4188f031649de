"""One bearing's history out of the ledger, for an auditor."""

import datetime as dt

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.access import may
from fleet.models import Seal
from fleet.web.bearing_addresses import read
from fleet.web.bearing_search import called
from inspections.bundle.archive import checker_hash
from inspections.story.audit_trail import ledger_story
from inspections.views.correcting import MENDED

LINES_A_PAGE = 200


@require_safe
def history(request: HttpRequest, pump: str, position: str) -> HttpResponse:
    """Everything recorded of one bearing: by whom, from what source, how late; as known on a day if one is
    asked.
    """
    found = called(request.user, read(pump), read(position), request.GET.get("site", ""))
    if len(found) != 1:
        raise Http404("No bearing of this name at your sites, or more than one: name its site.")
    known_by, refused = _day(request.GET.get("known_by", ""))
    told = ledger_story(found[0], known_by)
    kind = request.GET.get("kind", "")
    lines = [line for line in told.lines if not kind or line.kind == kind]
    context = {
        "bearing": found[0],
        "place": found[0].place,
        "told": told,
        "kind": kind,
        "known_by": known_by,
        "page": Paginator(lines, LINES_A_PAGE).get_page(request.GET.get("page")),
        "refused": refused,
        "may_correct": may(request.user, "correct", found[0].place.site),
        "mended": tuple(MENDED),
        "may_export": may(request.user, "export", found[0].place.site),
        "checker": checker_hash(),
        "seal": Seal.objects.order_by("-n").first(),
    }
    return render(request, "inspections/history.html", context)


def _day(typed: str) -> tuple[dt.date | None, str]:
    """A day as the form sends it; a word on what is wrong with it else."""
    try:
        return (dt.date.fromisoformat(typed), "") if typed else (None, "")
    except ValueError:
        return None, f"“{typed}” is no day. Write it as 2026-03-09."
