"""One file into the record: read, checked as a whole, then stored in one transaction or not at all."""

import uuid
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from django.db import DatabaseError, DataError, IntegrityError, OperationalError, transaction
from django.db.models import QuerySet
from django.utils.crypto import constant_time_compare

from fleet import bulk
from fleet.clock import now, today_at
from fleet.importing.answers import ASIDE, Answers
from fleet.importing.columns import Column
from fleet.importing.directory import Directory
from fleet.importing.findings import Finding, in_order, of_file
from fleet.importing.given_answers import GivenAnswer, given_answers
from fleet.importing.kept_files import answer_facts, answers_for, digest_of, keep_file, plan_named, plan_names
from fleet.importing.loaders import LOADERS, Context, Counts, Loader, Progress, counted_words
from fleet.importing.options import Options
from fleet.importing.parsed_rows import Parsed, ParsedRow, parse, parse_made
from fleet.importing.questions import QuestionGroup, Settling, groups_of, relocated
from fleet.importing.reading_plans.cell_fates import Applied, apply
from fleet.importing.reading_plans.cell_marks import marks_of, sentences
from fleet.importing.reading_plans.reading_plan import Plan
from fleet.importing.rows_before import SetAsideBefore, give_keys, mark_known
from fleet.importing.shown_rows import NOT_SHOWN, digest_of_rows
from fleet.ledger.commitments import ROWS, rows_body
from fleet.ledger.refusals import sentence_of
from fleet.ledger.writing import Fact, write
from fleet.models import Person, ReadingPlan, SetAside, Sheet, SheetRow, Site
from fleet.sheets.files import SheetFault, read_sheet

AS_TEMPLATES_SAY = Options()
MOST_TURNS = 8


@dataclass
class Result:
    """What came of an import. `ok`: stored (or would be, in a dry run). Findings are in the sheet's order.

    `rows` are new; `there` came before; `waits` an earlier import set aside, each with the inner id of its
    words. `digest` knows what a look found to be stored again.
    """

    ok: bool
    holds: str
    name: str
    faults: list[Finding] = field(default_factory=list)
    questions: list[Finding] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)
    counts: Counts = field(default_factory=Counts)
    sheet: Sheet | None = None
    dry_run: bool = False
    groups: list[QuestionGroup] = field(default_factory=list)
    n_answered: int = 0
    given: list[GivenAnswer] = field(default_factory=list)
    applied: Applied | None = None
    waits: list[tuple[ParsedRow, uuid.UUID]] = field(default_factory=list)
    there: list[ParsedRow] = field(default_factory=list)
    rows: list[ParsedRow] = field(default_factory=list)
    directory: Directory = field(default_factory=Directory)
    digest: str = ""

    @property
    def findings(self) -> list[Finding]:
        """Faults and questions together, in the sheet's order."""
        return in_order([*self.faults, *self.questions])

    def saying(self) -> str:
        """The outcome in one sentence."""
        if self.ok:
            would = "would be stored: " if self.dry_run else ""
            return f"{self.name}: {would}{self.counts.words()}."
        parts = [
            counted_words(len(self.faults), "fault"),
            counted_words(len(self.questions), "open question"),
        ]
        return f"{self.name}: {' and '.join(part for part in parts if part)}; nothing was stored."


@bulk.without_collecting()
def import_file(
    data: bytes,
    name: str,
    *,
    holds: str,
    by: uuid.UUID,
    options: Options = AS_TEMPLATES_SAY,
    sites: frozenset[uuid.UUID] | None = None,
    progress: Progress | None = None,
    plan: Plan | None = None,
    answers: Answers | None = None,
    only_look: bool = False,
    shown: str | None = None,
) -> Result:
    """Import one file, whole or not at all.

    Parameters
    ----------
    data, name : bytes, str
        the file and what it is called.
    holds : str
        a value of `Sheet.Holds` for which a loader is registered.
    by : UUID
        the inner id of the person who imports.
    sites : frozenset of UUID, optional
        the sites at which this person may import this kind; None: all, also new ones.
    progress : callable, optional
        told in a few words what is being done.
    plan, answers : Plan, Answers, optional
        how a layout of the plant's own is read (else the one that `options.plan` names, else the template),
        and answers to the file's questions, beside those kept from before.
    only_look : bool
        find what is wrong and what would be stored, and stop before anything is prepared.
    shown : str, optional
        the digest of what a page showed before; anything else is refused. None: a command, no page.

    Returns
    -------
    Result
        refused files too: with every fault and open question, and nothing stored. LookupError: no such kind.
    """
    loader = LOADERS[holds]
    context = _context(options, by, sites)
    result = Result(False, holds, name, dry_run=options.dry_run, directory=context.directory)
    if complaint := _complaint(options, context.site, holds):
        result.faults.append(of_file(complaint, code="options"))
        return result
    context.progress, context.shown = progress or context.progress, shown
    context.answers = _answers(answers_for(data, name, holds, sites), options, answers)
    try:
        kept, plan = _plan_of(options, plan)
        context.progress("reading the file")
        parsed, result.applied = _read(data, name, loader, context, plan)
    except SheetFault as fault:
        result.faults.append(of_file(str(fault).removeprefix("file: ")))
    except ValueError as fault:
        result.faults.append(of_file(str(fault), code="options"))
    else:
        _Import(data, loader, parsed, context, result, kept, only_look).run()
    return result


def _context(options: Options, by: uuid.UUID, sites: frozenset[uuid.UUID] | None) -> Context:
    """What the import works with: today is the latest day of any site."""
    directory = Directory.load(sites)
    site = directory.site(options.site) if options.site else None
    today = max([today_at(known) for known in directory.sites.values()] or [now().date()])
    return Context(replace(options, today=today), by, today, directory, site, sites)


def _complaint(options: Options, site: Site | None, holds: str) -> str:
    """What makes the options useless for any file; empty where they serve."""
    unknown = options.site and site is None and holds != Sheet.Holds.REGISTER
    return options.complaint() or (
        f"no site is called '{options.site}'; write its name as the register has it" if unknown else ""
    )


def _answers(before: Answers, options: Options, more: Answers | None) -> Answers:
    """The answers kept from before, without what is to be asked again, and those given now."""
    given = before.without(ASIDE) if options.reopen else before
    for key, said in more or ():
        given.add_said(key, said)
    return given


def _plan_of(options: Options, plan: Plan | None) -> tuple[ReadingPlan | None, Plan | None]:
    """The plan asked for by name, or given; a given one that is kept under the name is that one."""
    if not options.plan:
        return None, plan
    found = plan_named(options.plan)
    if found is None and plan is None:
        known = ", ".join(f"'{one}'" for one in plan_names()) or "none yet"
        raise ValueError(
            f"no reading plan is called '{options.plan}' (kept: {known}); make it on the page Sheets"
        )
    if found and (plan is None or plan == found[1]):
        return found
    return None, plan


def _read(
    data: bytes, name: str, loader: Loader, context: Context, plan: Plan | None
) -> tuple[Parsed, Applied | None]:
    columns = _columns(loader, context.options)
    if plan is None:
        sheet = read_sheet(data, name, tab=0, most_rows=context.options.most_rows)
        parsed = parse(sheet.tabs[0], columns, context.options)
        parsed.remarks = [*sheet.remarks, *parsed.remarks]
        return parsed, None
    if not loader.takes_plans:
        raise ValueError("only a history is read by a plan; leave the plan out")
    complaints = plan.complaints()
    if complaints:
        raise ValueError(f"the plan cannot serve: {' '.join(complaints)}")
    sheet = read_sheet(data, name, most_rows=context.options.most_rows)
    applied = apply(plan, sheet.tabs, context.answers)
    context.options = replace(context.options, date_format=plan.date_format, decimal_comma=plan.decimal_comma)
    parsed = parse_made(applied.made, columns, context.options, context.answers)
    parsed.faults = [*applied.faults, *parsed.faults]
    left = set(plan.tabs_left)
    marks = {tab: said for tab, said in marks_of(data).items() if tab not in left}
    parsed.remarks = [*sheet.remarks, *applied.remarks, *sentences(marks)]
    parsed.n_seen, parsed.n_blank = len(applied.made) + applied.n_left, applied.n_left
    return parsed, applied


def _columns(loader: Loader, options: Options) -> list[Column]:
    """The loader's columns; the site need not stand in the sheet where it is given for the whole file."""
    given = bool(options.site)
    return [replace(one, required=False) if given and one.name == "site" else one for one in loader.columns]


class _Import:
    """The steps of one import over one parsed sheet."""

    def __init__(
        self,
        data: bytes,
        loader: Loader,
        parsed: Parsed,
        context: Context,
        result: Result,
        plan: ReadingPlan | None,
        only_look: bool,
    ) -> None:
        self.data, self.loader, self.parsed, self.context, self.result = data, loader, parsed, context, result
        self.answers, self.plan, self.only_look = context.answers, plan, only_look
        self.id_column = next((one.name for one in loader.columns if one.names_row), "")
        self.settling = Settling(loader, parsed, context, self.answers)
        self.aside: list[ParsedRow] = []
        self.aside_before: list[tuple[ParsedRow, uuid.UUID]] = []
        self.settled: list[uuid.UUID] = []
        self.kept: list[ParsedRow] = []

    def run(self) -> None:
        self.context.progress("checking the rows")
        findings = self._check()
        self.result.remarks = [*self.parsed.remarks, *_seen_before(self.data, self.loader.holds)]
        self.result.faults = in_order(
            [*self.parsed.faults, *(one for one in findings if not one.is_question)]
        )
        self.result.questions = in_order([one for one in findings if one.is_question])
        self._part_rows()
        self._show()
        if self.result.faults or self.result.questions or self.only_look or not self._was_shown():
            return
        try:
            self.context.progress("preparing the entries")
            self.loader.prepare(self.kept, self.context)
            self.context.progress("storing")
            with transaction.atomic():
                self._store()
                if self.context.options.dry_run:
                    transaction.set_rollback(True)
        except (IntegrityError, DataError) as error:
            self.result.faults.append(of_file(sentence_of(error), "nothing was stored", "constraint"))
            return
        except OperationalError as error:
            remedy = "try again in a moment; nothing was stored"
            self.result.faults.append(of_file(f"the record could not be written ({error})", remedy, "record"))
            return
        self.result.ok = True
        self.result.remarks = [*self.context.after, *self.result.remarks]
        if self.context.options.dry_run:
            self.result.sheet = None

    def _was_shown(self) -> bool:
        """Whether what would be stored is what was shown before, where something had to be."""
        if self.context.shown is None or constant_time_compare(self.context.shown, self._digest()):
            return True
        self.result.faults.append(
            of_file(
                "what would be stored is not what was shown",
                "look at it, then store it; nothing was",
                NOT_SHOWN,
            )
        )
        return False

    def _digest(self) -> str:
        options = self.context.options
        return digest_of_rows(self.kept, self.aside, self.context.directory, options.set_aside)

    def _show(self) -> None:
        """What the caller is told: open questions grouped, places of the plant's own sheet, what would be
        stored.
        """
        rows = self.settling.by_number()
        self.result.groups = groups_of(self.result.questions, self.settling)
        self.result.faults = in_order([relocated(one, rows) for one in self.result.faults])
        self.result.questions = in_order([relocated(one, rows) for one in self.result.questions])
        self.result.n_answered = sum(len(said) for _, said in self.answers)
        self.result.given = given_answers(self.settling) if self.only_look else []
        self.result.rows, self.result.waits = self.kept, self.aside_before
        self.result.digest = self._digest() if self.only_look else ""
        self.result.there = [row for row in self.parsed.rows if row.already]
        waits = len(self.aside_before)
        asked_again = waits if self.context.options.reopen else 0
        already = sum(row.already for row in self.parsed.rows) + waits - asked_again
        seen = self.parsed.n_seen + self.parsed.n_added
        aside = len(self.aside) + asked_again
        self.result.counts = Counts(seen, len(self.kept), aside, already, self.parsed.n_blank)

    def _check(self) -> list[Finding]:
        """All findings that no answer closes; after an answer that changes rows
        everything is checked again.
        """
        for _ in range(MOST_TURNS):
            findings, changed = self.settling.settle(self._find())
            if not changed:
                break
        return findings

    def _find(self) -> list[Finding]:
        rows = self.parsed.rows
        waiting = [row for row, _ in self.parsed.waiting]
        if not rows and not waiting:
            return []
        for row in rows:
            row.already = False
        both = replace(self.parsed, rows=[*rows, *waiting]) if waiting else self.parsed
        told = {row.number for row in waiting}
        findings = [
            one for one in self.loader.resolve(both, self.context) if not told.intersection(one.touched)
        ]
        findings += self._elsewhere()
        if self.loader.known_by_rows:
            findings += give_keys(rows, holds=self.loader.holds, id_column=self.id_column)
            findings += mark_known(rows, id_column=self.id_column)
        findings += self.loader.check(self.parsed, self.context)
        for row in rows:
            row.already = row.already or row.number in self.context.memory.get("ignored", ())
        return findings + [question for _, question in self.parsed.waiting]

    def _elsewhere(self) -> Iterator[Finding]:
        """Rows of sites at which this person may not import; a loader that knows no sites
        needs all of them.
        """
        allowed = self.context.sites
        if allowed is None:
            return
        if not self.loader.of_sites:
            remedy = "ask someone whose role holds at all sites"
            yield of_file("this sheet holds for the whole plant, and your role does not", remedy, "not_yours")
            return
        for row in self.parsed.rows:
            is_new = row.site is None and self.loader.makes_sites and "site" in row.values
            if is_new or (row.site is not None and row.site not in allowed):
                expected = "a site at which your role lets you import"
                yield row.fault("site", expected, "leave the row out, or ask for the role there", "not_yours")

    def _part_rows(self) -> None:
        """Which rows are set aside (now, or before with the same words), which are there already, which are
        stored.
        """
        if self.result.faults:
            return
        questioned = {number for one in self.result.questions for number in one.touched}
        before = SetAsideBefore(self.loader.holds, digest_of(self.data))
        open_still: set[int] = set()
        other: list[ParsedRow] = []
        for row in [*self.parsed.rows, *(row for row, _ in self.parsed.waiting)]:
            if row.already:
                continue
            waiting = before.take(self.parsed, row)
            if row.number in questioned or row.number in self.settling.aside:
                if waiting:
                    self.aside_before.append((row, waiting))
                    if self.context.options.reopen and self.only_look:
                        open_still.add(row.number)
                else:
                    self.aside.append(row)
                    if row.number not in self.settling.aside:
                        open_still.add(row.number)
            else:
                self.kept.append(row)
                if waiting:
                    self.settled.append(waiting)
                else:
                    other.append(row)
        self.settled += [pk for row in other if (pk := before.take_settled(self.parsed, row))]
        may = bool(self.context.options.set_aside)
        self._asked = self.result.questions
        self.result.questions = [
            one
            for one in self._asked
            if not one.touched or (not may and open_still.intersection(one.touched))
        ]

    def _store(self) -> None:
        act, context, holds = uuid.uuid4(), self.context, self.loader.holds
        file = keep_file(self.data)
        site = context.site or self._only_site()
        sheet = Sheet(file=file, name=self.result.name[-200:], holds=holds, site=site, plan=self.plan)
        sheet.options = context.options.declared()
        if self.result.applied:
            sheet.options |= {
                "n_sheet_rows": self.result.applied.n_rows,
                "left_out": self.result.applied.left(),
            }
        context.sheet = sheet
        stored, already = self.loader.store(self.kept, context, act)
        already += sum(row.already for row in self.parsed.rows) + len(self.aside_before)
        sheet.n_seen, sheet.n_blank = self.parsed.n_seen + self.parsed.n_added, self.parsed.n_blank
        sheet.n_stored, sheet.n_already, sheet.n_set_aside = stored, already, len(self.aside)
        self.result.counts = Counts(sheet.n_seen, stored, len(self.aside), already, self.parsed.n_blank)
        before = _same_file(file.sha256, holds).first()
        if before and not (stored or self.aside or self.settled):
            self.result.sheet = before  # the same file again adds nothing, not even that it came
            return
        chain = f"site:{site.id}" if site else "plant"
        facts = [Fact(chain, "sheet", row=sheet), *answer_facts(file, self.settling.kept(), chain)]
        facts += [self._set_aside(row, sheet) for row in self.aside]
        chains = (
            dict(SetAside.objects.filter(pk__in=self.settled).values_list("id", "chain"))
            if self.settled
            else {}
        )
        facts += [
            Fact(
                chain,
                "withdrawal",
                body={"of": "set_aside", "id": pk, "reason": "settled: the row was stored"},
            )
            for pk, chain in chains.items()
        ]
        write(facts, by=context.by, act=act)
        if self.loader.known_by_rows:
            ignored = self.context.memory.get("ignored", ())
            known = [*self.kept, *(row for row in self.parsed.rows if row.number in ignored)]
            _know_rows(sheet, known)
            rows = [(row.sheet_row, row.site, row.key, row.digest) for row in known]
            if rows:
                write([Fact(chain, ROWS, body=rows_body(sheet.pk, rows))], by=context.by, act=act)
        self.result.sheet = sheet

    def _only_site(self) -> Site | None:
        """The one site all rows are of, if there is one."""
        ids = {row.site for row in self.parsed.rows}
        only = ids.pop() if len(ids) == 1 else None
        return next((site for site in self.context.directory.sites.values() if site.pk == only), None)

    def _set_aside(self, row: ParsedRow, sheet: Sheet) -> Fact:
        asked = "; ".join(one.sentence for one in self._asked if row.number in one.touched)
        aside = SetAside(
            sheet=sheet,
            number=row.sheet_row,
            bearing=row.bearing,
            cells=self.parsed.words_of(row),
            question=asked[:500],
            reason=(self.settling.aside.get(row.number) or self.context.options.set_aside)[:300],
        )
        chain = f"bearing:{row.bearing}" if row.bearing else f"site:{row.site}" if row.site else "plant"
        return Fact(chain, "set_aside", row=aside)


def _know_rows(sheet: Sheet, rows: Sequence[ParsedRow]) -> None:
    """Keep by what each stored row is known when it comes again."""
    astray = next((row.number for row in rows if row.site is None), None)
    if astray is not None:
        raise DatabaseError(f"row {astray} is to be stored and its site was never resolved")
    columns: dict[str, list[Any]] = {
        "sheet_id": [sheet.pk] * len(rows),
        "number": [row.sheet_row for row in rows],
        "site": [row.site for row in rows],
        "key": [row.key for row in rows],
        "digest": [row.digest for row in rows],
    }
    bulk.insert_columns(SheetRow, columns)


def _same_file(digest: str, holds: str) -> QuerySet[Sheet]:
    """The imports of a file with these very bytes, the latest first."""
    return Sheet.objects.standing().filter(file=digest, holds=holds).last_recorded_first()


def _seen_before(data: bytes, holds: str) -> list[str]:
    """That the very same file was imported before, when and by whom."""
    digest = digest_of(data)
    before = _same_file(digest, holds).first()
    if before is None:
        return []
    who = Person.objects.filter(pk=before.recorded_by).first()
    return [
        f"this very file was imported before, on {before.recorded_at:%Y-%m-%d} by"
        f" {who or 'someone not known'}"
    ]
