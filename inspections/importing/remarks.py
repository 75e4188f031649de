"""Remarks that name work: in old sheets the only trace of it. Each work is asked about at the bearing it was
done at.
"""

import datetime as dt
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from fleet.importing.findings import Finding
from fleet.importing.parsed_rows import ParsedRow
from fleet.models import Setting
from inspections.importing.alike import ask_alike
from inspections.importing.clauses import Telling, Words, tellings
from inspections.models import WHOLE_PUMP, WORK, EventKind

REMARK_WORDS = "remark_words"
NAMES_WORK, DOUBTFUL_WORD = "remark_names_work", "scrapped_or_scraped"
WORDS_FOR = {
    EventKind.SCRAPE: "scrape",
    EventKind.SHELL_CHANGE: "shell change",
    EventKind.REBABBITT: "rebabbitt",
    EventKind.SHIM_CHANGE: "shim change",
    EventKind.JOURNAL_REGRIND: "journal regrind",
    EventKind.ROTOR_CHANGE: "rotor change",
    EventKind.PUMP_CHANGE: "pump change",
}
# A remark may call one what the sheet's event calls the other.
_SERVES = {
    EventKind.SCRAPE: {EventKind.SHELL_CHANGE, EventKind.REBABBITT},  # new metal is scraped in
    EventKind.SHELL_CHANGE: {EventKind.REBABBITT},
    EventKind.REBABBITT: {EventKind.SHELL_CHANGE},
}


def words_of_plant(today: dt.date) -> tuple[Words, ...]:
    """The plant's own words for work, from its setting `remark_words`: kind to words."""
    said = Setting.objects.in_force(REMARK_WORDS, None, today) or {}
    return tuple(
        (kind, re.compile(rf"\b(?:{'|'.join(re.escape(word) for word in words)})\b", re.IGNORECASE))
        for kind, words in said.items()
        if words and kind in WORDS_FOR
    )


def works_named(note: str, own: Sequence[Words] = ()) -> list[str]:
    """The kinds of work a remark says were done, in the order of the remark.

    >>> works_named("new brgs, scraped in"), works_named("nicht geschabt"), works_named("new shells ordered")
    (['shell_change', 'scrape'], [], [])
    """
    return list(dict.fromkeys(one.kind for one in tellings(note, own=own) if not one.is_doubtful))


def work_named(note: str) -> str | None:
    """The first kind of work a remark says was done, or None.

    >>> work_named("scraped, ok"), work_named("not scraped"), work_named("oil clear")
    ('scrape', None, None)
    """
    return next(iter(works_named(note)), None)


def about_work(kind: str, position: str) -> str:
    """What a question about a work is about: its kind, and the position where it is not of the whole pump."""
    return f"{kind}|{position}" if position else kind


@dataclass(frozen=True)
class Surroundings:
    """What the file and the record say around a remark.

    Parameters
    ----------
    visit_of : mapping
        row number to visit.
    works : mapping
        visit to the works recorded in it: kind and bearing (None: the whole pump).
    measured : mapping
        visit to the names of the positions that were measured or opened in it.
    names : callable
        a row's pump's positions: name to the pattern of its spellings.
    bearings : callable
        a row's pump's positions: name to inner id.
    told_before : callable
        whether the record holds that kind of work of that row's visit already, and no answer made this remark
        it.
    """

    visit_of: Mapping[int, object]
    works: Mapping[object, set[tuple[str, UUID | None]]]
    measured: Mapping[object, Sequence[str]]
    names: Callable[[ParsedRow], Mapping[str, re.Pattern[str]]]
    bearings: Callable[[ParsedRow], Mapping[str, UUID]]
    told_before: Callable[[str, str, ParsedRow], bool]


def remarks_that_name_work(
    rows: Iterable[ParsedRow], around: Surroundings, own: Sequence[Words] = ()
) -> Iterator[Finding]:
    """Questions about remarks that name work where the visit holds no such event, a question for each
    bearing.
    """
    alike: dict[tuple[str, str, str], list[ParsedRow]] = defaultdict(list)
    for row in rows:
        note = row.get("note")
        if not note or row.already or row.typed.get("event", row.get("event", "")) in WORK:
            continue
        for telling in tellings(note, around.names(row), own):
            code = DOUBTFUL_WORD if telling.is_doubtful else NAMES_WORK
            for position in _asked_at(telling, row, around):
                about = position if telling.is_doubtful else about_work(telling.kind, position)
                some = alike[code, about, note.casefold()]
                if not some or some[-1] is not row:
                    some.append(row)
    for (code, about, _), some in alike.items():
        yield from _questions(code, about, some)


def _questions(code: str, about: str, some: Sequence[ParsedRow]) -> Iterator[Finding]:
    kind, _, position = about.partition("|")
    if code == DOUBTFUL_WORD:
        expected, remedy = "'scraped', or 'scrapped' for thrown away", "say which of the two is meant"
    else:
        where = f" at {position}" if position else ""
        expected = f"an event '{kind}'{where} in that visit"
        remedy = (
            f"if it tells of a {WORDS_FOR[EventKind(kind)]}, add a row of that event; if not, reword it or"
            " set the row aside"
        )
    yield from ask_alike(
        some, "note", expected, remedy, code, found=f"the remark {_quoted(some[0])}", about=about
    )


def _asked_at(telling: Telling, row: ParsedRow, around: Surroundings) -> Sequence[str]:
    """The positions at which a work is asked about, one blank for the whole pump; none
    where it is recorded.
    """
    kind, visit = telling.kind, around.visit_of.get(row.number)
    works = around.works.get(visit, set())
    if not telling.positions and not telling.is_doubtful and _holds({k for k, _ in works}, kind):
        return ()
    if not telling.is_doubtful and around.told_before(
        kind, telling.positions[0] if telling.positions else "", row
    ):
        return ()
    own = row.get("position") if not row.get("_told") else None
    if kind in WHOLE_PUMP or (kind == EventKind.JOURNAL_REGRIND and not telling.positions and not own):
        return ("",)
    known = around.bearings(row)
    if not telling.positions:
        return [own] if own else list(around.measured.get(visit, ())) or list(known)
    there = {name: _holds({k for k, of in works if of in (pk, None)}, kind) for name, pk in known.items()}
    return [name for name in telling.positions if telling.is_doubtful or not there.get(name)]


def _holds(kinds: set[str], kind: str) -> bool:
    return kind in kinds or bool(kinds & _SERVES.get(EventKind(kind), set()))


def _quoted(row: ParsedRow) -> str:
    note = " ".join(row.values["note"].split())
    return f"'{note if len(note) <= 60 else note[:57] + '...'}'"
