"""A sheet that was brought: settled later, and given back with what became of its rows."""

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect
from django.views.decorators.http import require_POST, require_safe

from fleet.access import require
from fleet.importing.drafts import ACT, reopen
from fleet.importing.returned_sheet import what_became
from fleet.models import Sheet
from fleet.views.importing import seen_by
from fleet.views.reading_plans import with_remarks
from fleet.web.rate_limit import costly


def _history(request: HttpRequest, sheet_id: UUID) -> Sheet:
    seen = seen_by(request.user).select_related("file", "plan")
    return get_object_or_404(seen, pk=sheet_id, holds=Sheet.Holds.HISTORY)


@require_POST
def settle(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """Ask again about the rows that were set aside."""
    sheet = _history(request, sheet_id)
    require(request.user, ACT, sheet.site)
    return redirect("import-questions", draft_id=reopen(request.user, sheet).id)


@require_safe
@costly("GET")
def sheet_back(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """The user's own sheet with a column that says of each row what became of it."""
    sheet = _history(request, sheet_id)
    return with_remarks(request, bytes(sheet.file.data), sheet.name, what_became(sheet))
