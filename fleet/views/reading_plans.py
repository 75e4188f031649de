"""A sheet on its way in: what its columns hold, what is asked about its rows, and what becomes of them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from urllib.parse import urlencode
from uuid import UUID

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from fleet import bulk
from fleet.access import require, sites_of
from fleet.clock import today_in
from fleet.importing import drafts
from fleet.importing.answers import TYPED, Answers, Choice
from fleet.importing.directory import Directory, in_words
from fleet.importing.findings import Finding, by_kind, kind_words
from fleet.importing.loaders import LOADERS
from fleet.importing.loading import Result
from fleet.importing.marked_sheet import marked_workbook
from fleet.importing.number_in_each_unit import examples
from fleet.importing.parsed_rows import ParsedRow
from fleet.importing.questions import MEASURED, TOGETHER, Asked, QuestionGroup
from fleet.importing.reading_plans import plan_form as fields
from fleet.importing.reading_plans.cell_fates import apply
from fleet.importing.reading_plans.guesses import guess
from fleet.importing.reading_plans.layout import Grid, find_headings, grid_of
from fleet.importing.reading_plans.reading_plan import Plan, letters
from fleet.importing.reading_plans.units_beside_table import offers
from fleet.importing.shown_rows import NOT_SHOWN
from fleet.models import Draft
from fleet.sheets.files import MOST_ROWS_OF_PAGE, SheetFault, Tab, read_sheet
from fleet.web.rate_limit import costly

FIRST_ROWS, FIRST_COLUMNS = 9, 20
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


def own_draft(request: HttpRequest, draft_id: UUID) -> Draft:
    """The account's own draft."""
    draft = get_object_or_404(Draft.objects.select_related("file", "by"), pk=draft_id, by=request.user)
    require(request.user, drafts.ACT)
    return draft


@require_http_methods(["GET", "HEAD", "POST"])
@bulk.without_collecting()
def plan(request: HttpRequest, draft_id: UUID) -> HttpResponse:
    """What the columns hold, guessed at first; a post shows what becomes of the rows, or goes on to the
    questions.
    """
    draft = own_draft(request, draft_id)
    try:
        tabs = read_sheet(drafts.data_of(draft), draft.name, most_rows=MOST_ROWS_OF_PAGE).tabs
    except SheetFault as fault:
        messages.error(request, str(fault))
        return redirect("import")
    kept = drafts.plan_in(draft)
    complaints: list[str] = []
    if request.method == "POST":
        left = _left(request, [tab.name for tab in tabs])
        chosen, complaints = _posted(request, left, kept or _guessed(draft, tabs), tabs, draft)
        draft.plan, draft.plan_name = chosen.body(), " ".join(request.POST.get("plan_name", "").split())[:80]
        if request.POST.get("then") == "go" and not complaints:
            draft.save(update_fields=["plan", "plan_name"])
            return redirect("import-questions", draft_id=draft.id)
        draft.save(update_fields=["plan", "plan_name"])
    else:
        chosen = kept or _guessed(draft, tabs)
    return render(
        request,
        "fleet/reading_plan.html",
        _plan_context(draft, chosen, tabs, complaints, request.method == "POST"),
    )


def _posted(
    request: HttpRequest, left: list[str], base: Plan, tabs: list[Tab], draft: Draft
) -> tuple[Plan, list[str]]:
    """The plan as the page says it; where only tabs of another layout are read on, it is guessed anew over
    them.
    """
    read = [tab for tab in tabs if tab.name not in left]
    if (
        read
        and set(left) != set(base.tabs_left)
        and not any(find_headings(grid_of(tab), base) for tab in read)
    ):
        plan = _guessed(draft, read)
        names = in_words([tab.name for tab in read if tab.name not in plan.tabs_left])
        said = f"The columns below are those of the tab {names} now. Look at them, then read it so."
        return replace(plan, tabs_left=(*plan.tabs_left, *left)), [said]
    plan, complaints = fields.plan_from(request.POST.dict(), left, base, tabs)
    return plan, complaints + plan.complaints()


def _left(request: HttpRequest, names: list[str]) -> list[str]:
    if "tabs_shown" not in request.POST:
        return []
    read = set(request.POST.getlist("tab"))
    return [name for name in names if name not in read]


def _directory_of(draft: Draft) -> Directory:
    """The pumps that whoever brought the sheet may bring it for."""
    return Directory.load(sites_of(draft.by, drafts.ACT))


def _guessed(draft: Draft, tabs: list[Tab]) -> Plan:
    directory = _directory_of(draft)
    return guess(tabs, lambda name: bool(directory.places_of(name)))


def _plan_context(draft: Draft, chosen: Plan, tabs, complaints: list[str], posted: bool) -> dict:
    grid = fields.main_grid(chosen, tabs)
    lacking = chosen.complaints()
    shown = apply(chosen, tabs, drafts.answers_in(draft))
    first = grid.numbers[:FIRST_ROWS] if grid else []
    width = min(grid.width, FIRST_COLUMNS) if grid else 0
    return {
        "draft": draft,
        "plan": chosen,
        "complaints": complaints if posted else [],
        "lacking": lacking,
        "columns": fields.column_fields(chosen, grid) if grid else [],
        "preview": _by_answers(draft, fields.preview(shown)) if not lacking else fields.preview(shown),
        "words": fields.odd_words(chosen, shown),
        "tabs": [(tab, tab.name not in chosen.tabs_left) for tab in tabs],
        "where": [
            (name, label, *fields.where_fields(chosen, name))
            for name, label in (("pump", "pump"), ("position", "bearing position"), ("site", "site"))
        ],
        "head_letters": [letters(j) for j in range(width)],
        "first_rows": [(n, _as_it_is(grid, n, width)) for n in first] if grid else [],
        "units": fields.UNIT_CHOICES[1:],
        "bases": fields.BASES,
        "methods": fields.method_choices(),
        "plan_name": draft.plan_name or draft.name.rpartition(".")[0][:80] or draft.name[:80],
        "offers": offers(tabs, shown.fates),
        "examples": examples(chosen, shown, _directory_of(draft), today_in("UTC")),
        "fills": bool(chosen.fill_down),
        "tab": grid.name if grid else "",
    }


def _by_answers(draft: Draft, preview: fields.Preview) -> fields.Preview:
    """The preview's pumps and positions by the names they would be stored under, once answers say what they
    mean.
    """
    if not drafts.answers_in(draft):
        return preview
    result = drafts.look(draft)
    wanted = {(row["tab"], row["row"]) for row in preview.rows}
    rows = [
        row for row in result.rows if (row.source.tab if row.source else "", str(row.sheet_row)) in wanted
    ]
    found = {
        (row["tab"], row["row"], row.get("pump_typed", ""), row.get("position_typed", "")): row
        for row in shown_rows(rows, result.directory)
    }
    for row in preview.rows:
        key = (row["tab"], row["row"], row.get("pump", ""), row.get("position", ""))
        if known := found.get(key):
            row |= {name: known[name] for name in ("pump", "position") if name in known}
    return preview


def _as_it_is(grid: Grid, number: int, width: int) -> list[str]:
    """A row's cells; what a merged area covers is blank, as the sheet shows it."""
    return ["" if (number, j) in grid.covered else grid.text(number, j) for j in range(width)]


@require_http_methods(["GET", "HEAD", "POST"])
def questions(request: HttpRequest, draft_id: UUID) -> HttpResponse:
    """What is asked, one answer for all alike; a post answers, or stores what stands."""
    draft = own_draft(request, draft_id)
    if request.method != "POST" and drafts.wants_plan(draft):
        return redirect("import-plan", draft_id=draft.id)
    if request.method == "POST":
        then = request.POST.get("then", "answer")
        if then == "forget":
            drafts.forget(draft)
            return redirect("import")
        if then == "again":
            drafts.ask_again(draft, request.POST.get("again", ""))
            return redirect("import-questions", draft_id=draft.id)
        if then == "answer":
            _take_answers(request, draft)
            return redirect("import-questions", draft_id=draft.id)
        set_aside = request.POST.get("set_aside", "").strip()[:300]
        if then == "look":
            return redirect(last_page_of(draft, set_aside))
        result = drafts.store(draft, shown=request.POST.get("shown", ""), set_aside=set_aside)
        if result.ok and result.sheet is not None:
            return redirect("import-done", sheet_id=result.sheet.id)
        if any(one.code == NOT_SHOWN for one in result.faults):
            messages.error(
                request, "Nothing was stored: this is what would be stored now. Look at it, then store it."
            )
            return redirect(last_page_of(draft, set_aside))
    else:
        result = drafts.look(draft)
    return render(request, "fleet/import_questions.html", _questions_context(draft, result))


def last_page_of(draft: Draft, set_aside: str = "") -> str:
    """Where a draft is looked at before it is stored; `set_aside`: why rows that are
    still asked about wait.
    """
    asked = f"?{urlencode({'set_aside': set_aside})}" if set_aside else ""
    return f"{reverse('import-last', args=[draft.id])}{asked}"


def _questions_context(draft: Draft, result: Result) -> dict:
    faults = by_kind(result.faults)
    return {
        "draft": draft,
        "result": result,
        "groups": result.groups,
        "sections": sections_of(result.groups),
        "counts": result.counts,
        "faults": faults,
        "of_cells": any(one.number is not None for one in result.faults),
        "n_open": sum(group.n_rows for group in result.groups),
        "given": result.given,
        "rows": shown_rows(result.rows[:12], result.directory),
        "n_rows": len(result.rows),
        "site_of_all": _site_of_all(draft, result),
        "plan_url": reverse("import-plan", args=[draft.id]) if draft.plan else "",
        "left": result.applied.left() if result.applied else [],
        "n_sheet_rows": result.applied.n_rows if result.applied else 0,
    }


def _site_of_all(draft: Draft, result: Result) -> str:
    """Where pumps stand whose rows name no site: the site declared, or the only one there is."""
    names = {site.pk: site.name for site in result.directory.sites.values()}
    declared = draft.options.get("site", "")
    return declared or (next(iter(names.values())) if len(names) == 1 else "as answered below")


@dataclass(frozen=True)
class Section:
    """Questions that stand in one table with one answer: one group, or all of a kind that
    are asked together.
    """

    groups: list[QuestionGroup]

    @property
    def code(self) -> str:
        return self.groups[0].code

    @property
    def is_together(self) -> bool:
        return self.code in TOGETHER

    @property
    def names_pumps(self) -> bool:
        """Whether its rows are pumps and positions to be made."""
        return self.code == "new_pump"

    @property
    def names_sites(self) -> bool:
        """Whether the sheet names the site of one of these pumps."""
        return self.names_pumps and any(group.subject[0] for group in self.groups)

    @property
    def tells_of(self) -> str:
        """The heading over what the rows tell of."""
        if self.code not in MEASURED:
            return "Work"
        return "Contact" if self.code == "remark_contact" else "Clearance"

    @property
    def key(self) -> str:
        """By what its fields are named."""
        return self.code if self.is_together else self.groups[0].key

    @property
    def about(self) -> str:
        return "" if self.is_together else self.groups[0].about

    @property
    def words(self) -> str:
        return kind_words(self.code) if self.is_together else self.groups[0].words

    @property
    def lead(self) -> str:
        return self.groups[0].lead

    @property
    def n_rows(self) -> int:
        return sum(group.n_rows for group in self.groups)

    @property
    def n_more(self) -> int:
        return sum(group.n_more for group in self.groups)

    @property
    def is_picked(self) -> bool:
        return self.is_together or self.groups[0].is_picked

    @property
    def shown(self) -> list[tuple[QuestionGroup, Asked]]:
        """Its rows, each with the question it belongs to."""
        return [
            (group, row) for group in self.groups for row in (group.rows if self.is_together else group.shown)
        ]

    @property
    def choices(self) -> Sequence[Choice]:
        return self.groups[0].choices


def sections_of(groups: Sequence[QuestionGroup]) -> list[Section]:
    """Questions as the page shows them."""
    found: dict[str, Section] = {}
    for group in groups:
        key = group.code if group.code in TOGETHER else group.key
        found.setdefault(key, Section([])).groups.append(group)
    return list(found.values())


def shown_rows(rows: Sequence[ParsedRow], directory: Directory) -> list[dict[str, str]]:
    """Rows as they would be stored: pump and position by the names the register has, whatever the sheet calls
    them.
    """
    shown = []
    for row in rows:
        said = dict(row.typed)
        said |= {f"{name}_typed": said.get(name, "") for name in ("pump", "position")}
        if row.site and "pump" in row.content:
            place = directory.place(UUID(row.content["pump"]))
            said["pump"] = place.tag if place else said["pump"]
        if row.bearing:
            said["position"] = directory.name_of(row.bearing)
        said["event"] = str(row.get("event", "")).replace("_", " ")
        said["stage"] = fields.placed_words(str(row.get("stage", "")), str(row.get("station", "")))
        said["row"], said["tab"] = str(row.sheet_row), row.source.tab if row.source else ""
        shown.append(said)
    return shown


def _take_answers(request: HttpRequest, draft: Draft) -> None:
    """The posted answers, each with the rows that were ticked where rows can be ticked."""
    result = drafts.look(draft)
    given = Answers()
    for key, said in draft.answers.items():
        given.add_said(key, said)
    by_key = {group.key: group for group in result.groups}
    for name, choice in request.POST.items():
        asked = name.removeprefix("choice-") if name.startswith("choice-") and choice else ""
        together = [group for group in result.groups if group.code in TOGETHER and group.code == asked]
        for group in [by_key[asked]] if asked in by_key else together:
            _take_answer(request, group, asked, choice, given, draft.holds)
    draft.answers = dict(given)
    draft.save(update_fields=["answers"])


def _take_answer(
    request: HttpRequest, group: QuestionGroup, asked: str, choice: str, given: Answers, holds: str
) -> None:
    """One posted answer to one question; `asked` is what the fields of its section are named by."""
    value = request.POST.get(f"value-{asked}-{choice}", "").strip()[:300]
    wanted = next((one for one in group.choices if one.word == choice), None)
    if wanted is None or (wanted.needs and not value) or (wanted.only and value not in wanted.offered):
        if wanted is not None:
            messages.error(request, f"{group.words[:1].upper()}{group.words[1:]}: give {wanted.needs}.")
        return
    ticked = request.POST.getlist(f"row-{group.key}")
    is_picked = group.is_picked or group.code in TOGETHER
    idents = [one.ident for one in group.rows if not is_picked or one.ident in ticked]
    loader = LOADERS[holds]
    further = loader.spreading if choice == TYPED.word else loader.spreading | loader.for_further
    is_for_all = len(idents) == len(group.rows) and group.code in further
    rows = None if is_for_all or not any(idents) else idents
    if idents:
        given.add(group.code, group.about, choice, value, rows)


@require_safe
@costly("GET")
def marked(request: HttpRequest, draft_id: UUID) -> HttpResponse:
    """The user's own sheet with a column of remarks."""
    draft = own_draft(request, draft_id)
    result = drafts.look(draft)
    return with_remarks(request, drafts.data_of(draft), draft.name, result.findings)


def with_remarks(request: HttpRequest, data: bytes, name: str, findings: Sequence[Finding]) -> HttpResponse:
    """A sheet with remarks as a download; one that a page cannot read is refused with the reason."""
    try:
        workbook = marked_workbook(data, name, findings)
    except SheetFault as fault:
        messages.error(request, str(fault))
        return redirect("import")
    answer = HttpResponse(workbook, content_type=XLSX)
    answer["Content-Disposition"] = 'attachment; filename="sheet-with-remarks.xlsx"'
    return answer
