"""Remarks that name work: in old sheets the only trace of it."""

import re
from collections.abc import Iterable, Iterator

from fleet.importing.findings import Finding
from fleet.importing.reading import ParsedRow
from inspections.importing.alike import ask_alike
from inspections.models import WORK, EventKind

# The trade's words for work; common practice, no published source. A plant's own list comes with reading plans.
_NAMES_WORK: tuple[tuple[str, str], ...] = (
    (EventKind.SCRAPE, r"scraped(?: in)?|re-?scraped|scraping done|hand[- ]fitted"),
    (
        EventKind.SHELL_CHANGE,
        r"new (?:shells?|brgs?|bearings?|halves|liners?|bushes|half)|(?:shells?|brgs?|bearings?) (?:re(?:placed|newed)|changed)"
        r"|(?:replaced|renewed|changed) (?:the )?(?:shells?|brgs?|bearings?)",
    ),
    (EventKind.REBABBITT, r"re-?babbitt?ed|re-?metall?ed|re-?lined|re-?white-?metall?ed|new babbitt?|poured"),
    (EventKind.SHIM_CHANGE, r"re-?shimmed|shimmed|shims? (?:changed|added|removed|taken out|reduced|out)"),
    (
        EventKind.JOURNAL_REGRIND,
        r"(?:journals?|shafts?) (?:re-?ground|ground|re-?machined|turned|chromed)|re-?ground",
    ),
    (EventKind.ROTOR_CHANGE, r"(?:rotor|shaft) (?:changed|replaced|renewed)|(?:new|spare) (?:rotor|shaft)"),
    (EventKind.PUMP_CHANGE, r"pump (?:changed|replaced|swapped)|(?:new|spare|other) pump"),
)
_PATTERNS = [(kind, re.compile(rf"\b(?:{words})\b", re.IGNORECASE)) for kind, words in _NAMES_WORK]
_ANY = re.compile("|".join(f"(?:{words})" for _, words in _NAMES_WORK), re.IGNORECASE)
# Not done, or not yet.
_DENIED = re.compile(
    r"(?:\b(?:not|no|never|nothing|without|needs?(?: to be)?|should|must|to be|if|when|until|due|order(?:ed)?|"
    r"recommend(?:ed)?|propose[sd]?|plan(?:ned)?|next|before|since|was|were|last)\s+(?:\w+\s+){0,2})$",
    re.IGNORECASE,
)
_WORDS_FOR = {
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


def work_named(note: str) -> str | None:
    """The kind of work a remark says was done, or None.

    >>> work_named("scraped, ok"), work_named("not scraped"), work_named("oil clear")
    ('scrape', None, None)
    """
    if not _ANY.search(note):
        return None
    for kind, pattern in _PATTERNS:
        for found in pattern.finditer(note):
            if not _DENIED.search(note[: found.start()]):
                return str(kind)
    return None


def remarks_that_name_work(
    rows: Iterable[ParsedRow], works: dict[object, set[str]], visit_of: dict[int, object]
) -> Iterator[Finding]:
    """Questions about remarks that name work where the visit holds no such event; the same remark is asked about once.

    Parameters
    ----------
    works : dict
        visit to the kinds of work recorded in it, at any of its bearings.
    visit_of : dict
        row number to visit.
    """
    alike: dict[tuple[str, str], list[ParsedRow]] = {}
    known: dict[str, str | None] = {}
    for row in rows:
        note = row.get("note")
        if not note or row.already or row.get("event", "") in WORK:
            continue
        if note not in known:
            known[note] = work_named(note)
        kind = known[note]
        if kind and not _holds(works.get(visit_of.get(row.number), set()), kind):
            alike.setdefault((kind, note.casefold()), []).append(row)
    for (kind, _), some in alike.items():
        yield from ask_alike(
            some, "note", f"an event '{kind}' in that visit",
            f"if it tells of a {_WORDS_FOR[EventKind(kind)]}, add a row of that event; if not, reword it or set the row aside",
            "remark_names_work", found=f"the remark {_quoted(some[0])}",
        )  # fmt: skip


def _holds(kinds: set[str], kind: str) -> bool:
    return kind in kinds or bool(kinds & _SERVES.get(EventKind(kind), set()))


def _quoted(row: ParsedRow) -> str:
    note = " ".join(row.values["note"].split())
    return f"'{note if len(note) <= 60 else note[:57] + '...'}'"
