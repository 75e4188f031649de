"""Questions closed by answers: rows changed, waived or set aside, then checked again until nothing more
changes.
"""

import hashlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace

from fleet.importing.answers import ASIDE, TYPED, Answers, Choice, ChosenAnswer, question_key
from fleet.importing.findings import Finding, kind_words, lead_words
from fleet.importing.parsed_rows import Parsed, ParsedRow

MOST_ROWS_SHOWN = 40
# Measurements that remarks tell of: about position, stage, number and unit.
MEASURED = frozenset(
    {
        "remark_clearance",
        "remark_clearance_no_unit",
        "remark_clearance_two",
        "remark_clearance_two_no_unit",
        "remark_contact",
    }
)
# What these are about is a word of ours, no word of the sheet.
ABOUT_KINDS = MEASURED | {
    "remark_names_work",
    "scrapped_or_scraped",
    "stage_unclear",
    "size",
    "new_pump",
    "taken_out",
}
# Questions of these kinds stand in one table whatever they are about, and one answer is given to all that are
# ticked.
TOGETHER = MEASURED | {"remark_names_work", "scrapped_or_scraped", "new_pump"}


@dataclass(frozen=True)
class Asked:
    """One row of a question, as it is shown: where, what the row says, what was found, and how an answer
    knows it.
    """

    ident: str
    place: str
    row: str
    found: str
    expected: str
    remedy: str
    n: int = 1
    is_sure: bool = True


@dataclass
class QuestionGroup:
    """Questions alike: of one kind and about one thing. One answer settles them all, or those that are
    ticked.
    """

    code: str
    about: str
    findings: list[Finding]
    choices: Sequence[Choice]
    rows: list[Asked] = field(default_factory=list)
    n_rows: int = 0

    @property
    def key(self) -> str:
        """A short name for the page's fields."""
        return hashlib.sha256(f"{self.code}|{self.about}".encode()).hexdigest()[:12]

    @property
    def subject(self) -> tuple[str, str]:
        """Site (blank: not said) and name of a pump asked about."""
        site, _, tag = self.about.partition("|")
        return site, tag

    @property
    def about_words(self) -> str:
        """What it is about, as it is shown."""
        if self.code not in ABOUT_KINDS:
            return f"'{self.about}'"
        if self.code == "scrapped_or_scraped":
            return f"at {self.about}"
        kind, _, position = self.about.partition("|")
        if self.code in MEASURED:
            stage, text, unit = position.split("|")
            return f"{' '.join(part for part in (text, unit) if part)} at {kind}" + (
                f", {stage.replace('_', ' ')}" if stage else ""
            )
        if self.code == "new_pump":
            return f"'{position}'" + (f" at {kind}" if kind else "")
        if self.code == "taken_out":
            return f"{kind} {position}"
        return kind.replace("_", " ") + (f" at {position}" if position else "")

    @property
    def words(self) -> str:
        """What is asked, in words."""
        about = self.about_words
        return kind_words(self.code) + (f": {about}" if self.about else "")

    @property
    def lead(self) -> str:
        """What an answer to it does; the first row's own remedy where nothing better is known."""
        return lead_words(self.code) or next((one.remedy for one in self.rows), "")

    @property
    def shown(self) -> list[Asked]:
        return self.rows[:MOST_ROWS_SHOWN]

    @property
    def n_more(self) -> int:
        return max(0, self.n_rows - sum(one.n for one in self.shown))

    @property
    def is_picked(self) -> bool:
        """Whether rows can be ticked one by one."""
        return 1 < len(self.rows) <= MOST_ROWS_SHOWN


class Settling:
    """Which questions of a file are answered.

    `aside` holds the reason of every row that an answer sets aside; `by_number` every row, waiting ones
    included.
    """

    def __init__(self, loader, parsed: Parsed, context, answers: Answers) -> None:
        self.loader, self.parsed, self.context, self.answers = loader, parsed, context, answers
        self.aside: dict[int, str] = {}
        self.used: dict[str, set[str]] = {}
        # What an answer makes of a cell is done before its row is read: a row that waits still was read by
        # none.
        self.unread = {row.number for row, _ in parsed.waiting}
        self.closed: dict[ChosenAnswer, list[ParsedRow]] = {}
        self._done: set[tuple[int, str, str]] = set()
        self._typed: set[tuple[int, str, str]] = set()

    def settle(self, findings: Iterable[Finding]) -> tuple[list[Finding], bool]:
        """Findings still open or set aside, and whether rows were changed so that all
        must be checked again.
        """
        rows = self.by_number()
        todo: dict[ChosenAnswer, list[ParsedRow]] = {}
        left: list[Finding] = []
        for one in findings:
            if not one.is_question or not one.touched:
                left.append(one)
                continue
            still = [n for n in one.touched if not self._answered(one, rows[n], todo)]
            if still:
                left.append(replace(one, number=still[0], rows=tuple(still[1:])))
        changed = False
        for given, alike in todo.items():
            changed |= bool(self.loader.answer(given, alike, self.parsed, self.context))
            self._done.update((row.number, given.code, given.about) for row in alike)
            if given.choice == TYPED.word:
                self._typed.update((row.number, given.code, given.about) for row in alike)
        self.aside.update(self.context.memory.get("dropped", {}))
        return left, changed

    def kept(self) -> Answers:
        """The answers as they are kept with the file: one that spread is bound to the rows it settled."""
        kept = Answers()
        for key, said in self.answers:
            used = sorted({*self.used.get(key, ()), *self.context.memory.get("spread", {}).get(key, ())})
            kept.add_said(key, [one | {"rows": used} if used and "rows" not in one else one for one in said])
        return kept

    def by_number(self) -> dict[int, ParsedRow]:
        """Every row by its number in the file as it is read."""
        return {row.number: row for row in self.parsed.rows} | {
            row.number: row for row, _ in self.parsed.waiting
        }

    def _answered(self, one: Finding, row: ParsedRow, todo: dict[ChosenAnswer, list[ParsedRow]]) -> bool:
        """Whether a question about a row is closed; a row set aside stays questioned,
        with its reason kept.
        """
        if (row.number, one.code, one.about) in self._done:
            # A name that is asked about again led nowhere; a value typed anew fits no better than the
            # sheet's.
            return (
                one.code not in self.loader.names_asked
                and (row.number, one.code, one.about) not in self._typed
            )
        ident = self.loader.ident(one.code, row)
        said = self.answers.of(one.code, one.about, ident)
        if said is None:
            said = self.answers.of(one.code, one.about, self.loader.wide_ident(one.code, row))
        if said is None:
            return False
        if one.code in self.loader.spreading:
            self.used.setdefault(question_key(one.code, one.about), set()).add(ident)
        some = self.closed.setdefault(ChosenAnswer(one.code, one.about, *said), [])
        if row not in some[-1:]:
            some.append(row)
        if said[0] == ASIDE:
            self.aside[row.number] = said[1] or "set aside when the sheet was brought"
            return False
        if row.number in self.unread:
            return False
        todo.setdefault(ChosenAnswer(one.code, one.about, *said), []).append(row)
        return True


def groups_of(findings: Sequence[Finding], settling: Settling) -> list[QuestionGroup]:
    """Open questions by kind and subject, the kinds in the order in which they were met."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for one in findings:
        if one.is_question:
            groups.setdefault((one.code, one.about), []).append(one)
    rows = settling.by_number()
    found = []
    for (code, about), some in groups.items():
        touched = [rows[n] for one in some for n in one.touched if n in rows]
        choices = settling.loader.choices(code, about, touched, settling.context)
        group = QuestionGroup(code, about, some, choices, n_rows=len(touched) or 1)
        alike = _alike(some, rows, settling, settling.loader.ident)
        if len(alike) > MOST_ROWS_SHOWN:
            alike = _alike(some, rows, settling, settling.loader.wide_ident)
        group.rows = list(alike.values())
        if group.rows or not touched:
            found.append(group)
    return found


def _alike(
    some: Sequence[Finding],
    rows: dict[int, ParsedRow],
    settling: Settling,
    ident_of: Callable[[str, ParsedRow], str],
) -> dict[str, Asked]:
    """The rows of a question by how an answer knows them, the first of each with how many are alike."""
    alike: dict[str, Asked] = {}
    for one in some:
        for n in one.touched:
            if n not in rows or n in settling.aside:
                continue
            ident = ident_of(one.code, rows[n])
            known = alike.get(ident)
            place = relocated(replace(one, number=n, rows=()), rows).place
            alike[ident] = (
                replace(known, n=known.n + 1)
                if known
                else Asked(
                    ident,
                    place,
                    row_words(rows[n]),
                    one.found,
                    one.expected,
                    one.remedy,
                    is_sure=one.is_sure,
                )
            )
    return alike


def row_words(row: ParsedRow) -> str:
    """What a row says, in a few words: pump, day, and its value, hours, event or remark."""
    typed = row.typed
    where = " ".join(text for name in ("pump", "position") if (text := typed.get(name)))
    event = str(row.get("event", typed.get("event", ""))).replace("_", " ")
    said = " ".join(text for name in ("value", "unit") if (text := typed.get(name)))
    if not said:
        said = f"{typed['run_hours']} h" if "run_hours" in typed and event == "hours" else event
    stage = str(row.get("stage", "")).replace("_", " ")
    note = typed.get("note", "")
    return ", ".join(
        text for text in (where, typed.get("date", ""), f"{said} {stage}".strip(), note[:60]) if text
    )


def relocated(one: Finding, rows: dict[int, ParsedRow]) -> Finding:
    """A finding with the places of the plant's own sheet, where a plan made its row."""
    row = rows.get(one.number) if one.number is not None else None
    if row is None or row.source is None:
        return one
    others = tuple(rows[n].sheet_row for n in one.rows if n in rows)
    column = row.source.columns.get(one.column, one.column)
    return replace(one, number=row.source.row, tab=row.source.tab or one.tab, column=column, rows=others)
