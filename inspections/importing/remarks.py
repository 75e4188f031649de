"""Remarks that name work: in old sheets the only trace of it."""

import datetime as dt
import re
from collections.abc import Callable, Iterable, Iterator

from fleet.importing.findings import Finding
from fleet.importing.reading import ParsedRow
from fleet.models import Setting
from inspections.importing.alike import ask_alike
from inspections.models import WORK, EventKind

# The trade's words for work, with abbreviations and misspellings met in old sheets; common practice, no published
# source. A plant adds its own by the setting `remark_words`.
_NAMES_WORK: tuple[tuple[str, str], ...] = (
    (
        EventKind.SCRAPE,
        r"(?:re-?)?scr?app?(?:ed|d)(?: in)?|(?:re-?)?scrpd|scraping (?:done|carried out)|hand[- ]?(?:fitted|scraped)|"
        r"high spots? (?:removed|dressed|taken (?:off|down))|bedded in|blued (?:and|&) scraped|touched up",
    ),
    (
        EventKind.SHELL_CHANGE,
        r"(?:new|nu) (?:set of )?(?:shells?|br?gs?|bearings?|be?a?rings?|halves|liners?|bushe?s?|half|inserts?)(?: fitted)?|"
        r"(?:shells?|br?gs?|bearings?|bushe?s?|halves) (?:re(?:pl(?:aced|'?d|cd)?|newed|nwd)|changed|chgd|exchanged)|"
        r"(?:repl(?:aced|'?d|cd)?|renewed|changed|chgd) (?:both |the |all )?(?:shells?|br?gs?|bearings?|bushe?s?|halves)|"
        r"spare (?:shells?|br?gs?|bearings?) fitted",
    ),
    (
        EventKind.REBABBITT,
        r"re-?babb?itt?ed|re-?mett?all?ed|re-?metle?'?d|re-?lined|re-?white-?mett?all?ed|new (?:babbitt?|w/?m|white ?metal)|re-?poured|poured",
    ),
    (
        EventKind.SHIM_CHANGE,
        r"re-?shimmed|shimm?ed|shims? (?:changed|added|removed|taken out|reduced|out)|(?:removed|added|took out|changed) (?:[0-9./]+ ?\w* )?shims?",
    ),
    (
        EventKind.JOURNAL_REGRIND,
        r"(?:journals?|jrnls?|shafts?) (?:re-?ground|ground|re-?machined|turned|chromed|polished and ground|metal ?sprayed)|re-?ground",
    ),
    (
        EventKind.ROTOR_CHANGE,
        r"(?:rotor|shaft|rotating element|cartridge) (?:changed|replaced|repl'?d|renewed|exchanged)|(?:new|spare) (?:rotor|shaft|rotating element)(?: fitted)?",
    ),
    (EventKind.PUMP_CHANGE, r"pump (?:changed|replaced|swapped|exchanged)|(?:new|spare|other) pump(?: fitted| installed)?|pump (?:moved|came) (?:from|to)"),
)  # fmt: skip
REMARK_WORDS = "remark_words"
_PATTERNS = [(kind, re.compile(rf"\b(?:{words})\b", re.IGNORECASE)) for kind, words in _NAMES_WORK]
_ANY = re.compile("|".join(f"(?:{words})" for _, words in _NAMES_WORK), re.IGNORECASE)
# Not done, or not yet.
_DENIED = re.compile(
    r"(?:\b(?:not|no|never|nothing|without|needs?(?: to be)?|should|must|to be|if|when|until|due|order(?:ed)?|"
    r"recommend(?:ed)?|propose[sd]?|plan(?:ned)?|next|before|since|was|were|last)\s+(?:\w+\s+){0,2})$",
    re.IGNORECASE,
)
WORDS_FOR = {
    EventKind.SCRAPE: "scrape", EventKind.SHELL_CHANGE: "shell change", EventKind.REBABBITT: "rebabbitt",
    EventKind.SHIM_CHANGE: "shim change", EventKind.JOURNAL_REGRIND: "journal regrind",
    EventKind.ROTOR_CHANGE: "rotor change", EventKind.PUMP_CHANGE: "pump change",
}  # fmt: skip
# A remark may call one what the sheet's event calls the other.
_SERVES = {
    EventKind.SCRAPE: {EventKind.SHELL_CHANGE, EventKind.REBABBITT},  # new metal is scraped in
    EventKind.SHELL_CHANGE: {EventKind.REBABBITT},
    EventKind.REBABBITT: {EventKind.SHELL_CHANGE},
}


def words_of_plant(today: dt.date) -> tuple[tuple[str, re.Pattern[str]], ...]:
    """The plant's own words for work, from its setting `remark_words`: kind to words."""
    said = Setting.objects.in_force(REMARK_WORDS, None, today) or {}
    return tuple(
        (kind, re.compile(rf"\b(?:{'|'.join(re.escape(word) for word in words)})\b", re.IGNORECASE))
        for kind, words in said.items()
        if words and kind in WORDS_FOR
    )


def works_named(note: str, own: tuple[tuple[str, re.Pattern[str]], ...] = ()) -> list[str]:
    """The kinds of work a remark says were done, in the order of the list.

    >>> works_named("new brgs, scraped in"), works_named("not scraped"), works_named("oil clear")
    (['scrape', 'shell_change'], [], [])
    """
    if not own and not _ANY.search(note):
        return []
    found = []
    for kind, pattern in (*_PATTERNS, *own):
        done = any(not _DENIED.search(note[: one.start()]) for one in pattern.finditer(note))
        if done and str(kind) not in found:
            found.append(str(kind))
    return found


def work_named(note: str) -> str | None:
    """The first kind of work a remark says was done, or None.

    >>> work_named("scraped, ok"), work_named("not scraped"), work_named("oil clear")
    ('scrape', None, None)
    """
    return next(iter(works_named(note)), None)


def remarks_that_name_work(
    rows: Iterable[ParsedRow],
    works: dict[object, set[str]],
    visit_of: dict[int, object],
    own: tuple[tuple[str, re.Pattern[str]], ...] = (),
    told_before: Callable[[str, ParsedRow], bool] = lambda kind, row: False,
) -> Iterator[Finding]:
    """Questions about remarks that name work where the visit holds no such event; the same remark is asked about once.

    Parameters
    ----------
    works : dict
        visit to the kinds of work recorded in it, at any of its bearings.
    visit_of : dict
        row number to visit.
    own : tuple
        the plant's own words, as `words_of_plant` gives them.
    told_before : callable
        whether the record holds that work of that row's visit already.
    """
    alike: dict[tuple[str, str], list[ParsedRow]] = {}
    known: dict[str, list[str]] = {}
    for row in rows:
        note = row.get("note")
        if not note or row.already or row.typed.get("event", row.get("event", "")) in WORK:
            continue
        if note not in known:
            known[note] = works_named(note, own)
        for kind in known[note]:
            there = _holds(works.get(visit_of.get(row.number), set()), kind)
            if row.get("event") != kind and not there and not told_before(kind, row):
                alike.setdefault((kind, note.casefold()), []).append(row)
    for (kind, _), some in alike.items():
        yield from ask_alike(
            some, "note", f"an event '{kind}' in that visit",
            f"if it tells of a {WORDS_FOR[EventKind(kind)]}, add a row of that event; if not, reword it or set the row aside",
            "remark_names_work", found=f"the remark {_quoted(some[0])}", about=kind,
        )  # fmt: skip


def _holds(kinds: set[str], kind: str) -> bool:
    return kind in kinds or bool(kinds & _SERVES.get(EventKind(kind), set()))


def _quoted(row: ParsedRow) -> str:
    note = " ".join(row.values["note"].split())
    return f"'{note if len(note) <= 60 else note[:57] + '...'}'"
