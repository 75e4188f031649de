"""Bringing a sheet: the form, all faults at once, what became of it, and the empty sheets."""

from uuid import UUID

from django.contrib import messages
from django.core.exceptions import PermissionDenied
from django.db.models import Count, Q, QuerySet
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from fleet.access import may, require, sites_for, sites_of
from fleet.clock import today_in
from fleet.forms import ACT_OF, NEW_PLAN, SheetForm, kinds_for
from fleet.importing.drafts import begin, wants_plan
from fleet.importing.findings import MOST_OF_A_KIND, by_kind
from fleet.importing.import_outcome import outcome_of
from fleet.importing.kept_files import plans_kept
from fleet.importing.loaders import Counts
from fleet.importing.loading import Result, import_file
from fleet.importing.templates import template_file, template_sheets
from fleet.importing.withdrawal import withdraw_import
from fleet.models import Account, Bearing, Draft, Person, Sheet
from fleet.plant.acts import Refused
from fleet.views.reading_plans import last_page_of
from fleet.web.rate_limit import costly

LAST_SHOWN = 20
MOST_REMARKS = 10


@require_http_methods(["GET", "HEAD", "POST"])
@costly("POST")
def sheets(request: HttpRequest) -> HttpResponse:
    """The form and the last imports; a post stores the sheet and leads on, or shows all that is wrong with
    it.
    """
    kinds = kinds_for(request.user)
    if request.method != "POST":
        return _page(request, SheetForm(account=request.user) if kinds else None)
    if not kinds:
        raise PermissionDenied("Bringing a sheet needs the role engineer or planner.")
    form = SheetForm(request.POST, request.FILES, account=request.user)
    if not form.is_valid():
        return _page(request, form)
    result = _bring(request.user, form)
    if draft := _to_settle(request, form, result):
        return redirect(_next_page(draft, form, result))
    if result.sheet is None:
        return _page(request, form, result)
    for remark in result.remarks[:MOST_REMARKS]:
        messages.info(request, f"{remark[:1].upper()}{remark[1:]}.")
    return redirect("import-done", sheet_id=result.sheet.id)


@require_safe
def done(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """What became of a sheet: counts, who, when, and the rows set aside."""
    sheet = get_object_or_404(seen_by(request.user), pk=sheet_id)
    aside = sheet.set_aside.standing().order_by("number")
    mended = may(request.user, "import", sheet.site) and sheet.holds == Sheet.Holds.HISTORY
    context = {
        "may_mend": mended,
        "outcome": outcome_of(sheet, request.user, today_in("UTC")),
        "may_date": may(request.user, "work dates out"),
        "left": sheet.options.get("left_out", []),
        "sheet": sheet,
        "by": Person.objects.filter(pk=sheet.recorded_by).first(),
        "aside": aside[:MOST_OF_A_KIND],
        "n_aside": aside.count(),
        "declared": sheet.options,
        "is_history": sheet.holds == Sheet.Holds.HISTORY,
        "counts": Counts(sheet.n_seen, sheet.n_stored, sheet.n_set_aside, sheet.n_already, sheet.n_blank),
    }
    return render(request, "fleet/import_done.html", context)


@require_safe
def template(request: HttpRequest, holds: str) -> HttpResponse:
    """An empty sheet with its headings: CSV, or with `?as=xlsx` a workbook."""
    kind = "xlsx" if request.GET.get("as") == "xlsx" else "csv"
    try:
        data, content_type = template_file(holds, kind)
    except LookupError:
        raise Http404(f"no sheet is called '{holds}'") from None
    answer = HttpResponse(data, content_type=content_type)
    answer["Content-Disposition"] = f'attachment; filename="{holds}.{kind}"'
    return answer


@require_POST
def withdraw(request: HttpRequest, sheet_id: UUID) -> HttpResponse:
    """Take an import back whole, with a reason."""
    sheet = get_object_or_404(seen_by(request.user), pk=sheet_id)
    require(request.user, ACT_OF[sheet.holds], sheet.site)
    if sheet.site is None and sites_of(request.user, ACT_OF[sheet.holds]) is not None:
        raise PermissionDenied(
            "This import is of several sites. Taking it back needs the role at all of them."
        )
    try:
        withdraw_import(sheet, reason=request.POST.get("reason", "")[:300], by=request.user.person_id)
    except Refused as refused:
        messages.error(request, str(refused))
        return redirect("import-done", sheet_id=sheet.id)
    messages.info(request, f"{sheet.name} was taken back whole. Its rows may come again.")
    return redirect("import")


def _other_layout(form: SheetForm, result: Result) -> bool:
    """Whether a history that can be read has not the template's headings, or its columns are to be told."""
    if any(one.code == "file" for one in result.faults):
        return False
    return form.cleaned_data["plan"] == NEW_PLAN or any(one.code == "heading" for one in result.faults)


def _to_settle(request: HttpRequest, form: SheetForm, result: Result) -> Draft | None:
    """A history with anything to store, to ask or to plan is kept and looked at page by page; anything else
    is not.
    """
    said = form.cleaned_data
    if said["kind"] != Sheet.Holds.HISTORY or said["only_check"] or result.sheet is not None:
        return None
    own_layout = _other_layout(form, result)
    if result.faults and not own_layout:
        return None
    said["file"].seek(0)
    data, name = said["file"].read(), said["file"].name
    return begin(request.user, data, name, said["kind"], form.options(), own_layout=own_layout)


def _next_page(draft: Draft, form: SheetForm, result: Result) -> str:
    """Where a new draft is gone on with: its columns, its questions, or the last page before it is stored."""
    if wants_plan(draft):
        return reverse("import-plan", args=[draft.id])
    if result.faults or result.questions:
        return reverse("import-questions", args=[draft.id])
    return last_page_of(draft, form.options().set_aside)


def _bring(account: Account, form: SheetForm) -> Result:
    """Import what the form holds, at the sites where this account may; of a history only
    what adds nothing.
    """
    file, holds = form.cleaned_data["file"], form.cleaned_data["kind"]
    require(account, ACT_OF[holds])
    data, options = file.read(), form.options()
    sites = sites_of(account, ACT_OF[holds])
    only_look = holds == Sheet.Holds.HISTORY and not options.dry_run
    more = {"holds": holds, "by": account.person_id, "options": options, "sites": sites}
    result = import_file(data, file.name, only_look=only_look, **more)
    if only_look and not (result.faults or result.questions or result.rows or result.counts.set_aside):
        return import_file(data, file.name, shown=result.digest, **more)
    return result


def _page(request: HttpRequest, form: SheetForm | None, result: Result | None = None) -> HttpResponse:
    last = list(seen_by(request.user)[:LAST_SHOWN])
    drafts = Draft.objects.filter(by_id=request.user.pk).order_by("-made_at")[:LAST_SHOWN]
    plans = plans_kept(sites_of(request.user, "read"))
    people = Person.objects.in_bulk({row.recorded_by for row in (*last, *plans)})
    context = {
        "form": form,
        "result": result,
        "drafts": drafts,
        "template_sheets": template_sheets(),
        "last": [(sheet, people.get(sheet.recorded_by)) for sheet in last],
        "plans": [(plan, people.get(plan.recorded_by)) for plan in plans],
        "waiting": [sheet for sheet in last if getattr(sheet, "n_waiting", 0)],
        "is_first": not Bearing.objects.exists(),
        "faults": by_kind(result.faults) if result else [],
        "of_cells": any(one.number is not None for one in result.faults) if result else False,
        "questions": by_kind(result.questions) if result else [],
        "is_refused": bool(result and not result.ok) or bool(form and form.errors),
    }
    return render(request, "fleet/import.html", context)


def seen_by(account: Account) -> QuerySet[Sheet]:
    """The imports of the account's sites, the last first; those of many sites for who reads at all."""
    of_sites = Q(site__in=sites_for(account))
    seen = of_sites if sites_of(account, "read") is not None else of_sites | Q(site__isnull=True)
    standing = Sheet.objects.standing().filter(seen).select_related("site")
    waiting = Count("set_aside", filter=Q(set_aside__withdrawn_by__isnull=True))
    # Said again: a query that counts by group drops the model's own order.
    return standing.annotate(n_waiting=waiting).last_recorded_first()
