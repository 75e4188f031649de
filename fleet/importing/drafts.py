"""A file on its way in: kept with what was planned and answered, until it is stored or forgotten."""

import datetime as dt
from dataclasses import replace

from fleet.access import sites_of
from fleet.clock import now
from fleet.importing.answers import Answers
from fleet.importing.given_answers import asked_again
from fleet.importing.kept_files import answers_for, keep_file, keep_plan, plan_named
from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.importing.reading_plans.layout import find_headings, grid_of
from fleet.importing.reading_plans.reading_plan import Plan, plan_of
from fleet.models import Account, Draft, Sheet, StoredFile
from fleet.sheets.files import MOST_ROWS_OF_PAGE, read_sheet

DAYS_KEPT = 30
ACT = "import"


def begin(
    account: Account, data: bytes, name: str, holds: str, options: Options, *, own_layout: bool = False
) -> Draft:
    """Keep a file that has questions or a layout of its own, whose plan is blank until it is said; forgotten
    drafts go.

    What the account said of an earlier draft of this name is not asked again: its answers hold, and its plan
    where the headings stand.
    """
    for old in Draft.objects.filter(made_at__lt=now() - dt.timedelta(days=DAYS_KEPT)):
        forget(old)
    said = {"site": options.site, "date_format": options.date_format, "decimal_comma": options.decimal_comma}
    found = plan_named(options.plan) if options.plan else None
    before = Draft.objects.filter(by=account, name=name[-200:], holds=holds).order_by("-made_at").first()
    draft = Draft(
        file=keep_file(data),
        name=name[-200:],
        holds=holds,
        by=account,
        options=said,
        answers=before.answers if before else {},
        plan_name=options.plan,
        plan=found[1].body() if found else {} if own_layout else None,
    )
    if own_layout and not found and before and _still_serves(before, data, name):
        draft.plan, draft.plan_name = before.plan, before.plan_name
    draft.save()
    return draft


def _still_serves(before: Draft, data: bytes, name: str) -> bool:
    """Whether the plan of an earlier draft was said whole and finds its headings in this file."""
    plan = plan_in(before)
    if plan is None or plan.complaints():
        return False
    tabs = read_sheet(data, name, most_rows=MOST_ROWS_OF_PAGE).tabs
    return any(find_headings(grid_of(tab), plan) for tab in tabs if tab.name not in plan.tabs_left)


def reopen(account: Account, sheet: Sheet) -> Draft:
    """A stored sheet's draft, to settle what was set aside: its file, its plan and what was declared."""
    said = {name: sheet.options[name] for name in ("site", "date_format") if name in sheet.options}
    said |= {"decimal_comma": sheet.options.get("decimal") == "comma", "reopen": True}
    plan = sheet.plan
    draft, _ = Draft.objects.get_or_create(
        file_id=sheet.file_id,
        by=account,
        options=said,
        name=sheet.name,
        holds=sheet.holds,
        defaults={"plan_name": plan.name if plan else "", "plan": plan.body if plan else None},
    )
    return draft


def forget(draft: Draft) -> None:
    """Drop a draft, and its file where nothing else holds it."""
    file = draft.file_id
    draft.delete()
    if not (Draft.objects.filter(file=file).exists() or Sheet.objects.filter(file=file).exists()):
        StoredFile.objects.filter(pk=file, answers__isnull=True, attachment__isnull=True).delete()


def plan_in(draft: Draft) -> Plan | None:
    """The draft's plan; None where the template's headings serve."""
    return plan_of(draft.plan) if draft.plan else None


def wants_plan(draft: Draft) -> bool:
    """Whether what the columns hold is still to be said: nothing can be asked about the rows before."""
    plan = plan_in(draft)
    return bool(plan.complaints()) if plan else draft.plan is not None


def data_of(draft: Draft) -> bytes:
    """The file's bytes."""
    return bytes(draft.file.data)


def answers_in(draft: Draft) -> Answers:
    """What was answered for the draft, and before for files of its name."""
    answers = answers_for(data_of(draft), draft.name, draft.holds, sites_of(draft.by, ACT))
    for key, said in draft.answers.items():
        answers.add_said(key, said)
    return answers


def ask_again(draft: Draft, key: str) -> None:
    """Take back one answer, given now or for an earlier sheet of this name: its question stands open once
    more.
    """
    draft.answers = asked_again(answers_in(draft), draft.answers, key)
    draft.save(update_fields=["answers"])


def look(draft: Draft, *, set_aside: str = "") -> Result:
    """What is asked, and what would be stored; nothing is. `set_aside`: why rows still asked about would
    wait.
    """
    return _bring(draft, replace(Options(**draft.options), set_aside=set_aside), only_look=True)


def store(draft: Draft, *, shown: str, set_aside: str = "") -> Result:
    """Bring the draft in: its plan kept under its name, its answers with its file.

    shown: the digest of what the last page showed; where anything else would be stored now, nothing is.
    """
    plan = plan_in(draft)
    name = ""
    if plan is not None:  # a sheet stored by a plan that nobody kept could not be read again
        name = draft.plan_name or draft.name[:80]
        keep_plan(name, plan, by=draft.by.person_id)
    options = replace(Options(**draft.options), set_aside=set_aside, plan=name)
    result = _bring(draft, options, shown=shown)
    if result.ok:
        forget(draft)
    return result


def _bring(draft: Draft, options: Options, *, only_look: bool = False, shown: str | None = None) -> Result:
    given = Answers()
    for key, said in draft.answers.items():
        given.add_said(key, said)
    return import_file(
        data_of(draft),
        draft.name,
        holds=draft.holds,
        by=draft.by.person_id,
        options=replace(options, most_rows=MOST_ROWS_OF_PAGE),
        sites=sites_of(draft.by, ACT),
        plan=plan_in(draft),
        answers=given,
        only_look=only_look,
        shown=shown,
    )
