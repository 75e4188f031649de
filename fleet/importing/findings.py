"""What an import has to say about a file: faults that must be mended and questions that
wait for an answer.
"""

from dataclasses import dataclass

from fleet.units import Unreadable, shown

# A page is no place for a hundred thousand lines; the commands print every one.
MOST_OF_A_KIND = 200


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found in a file.

    Parameters
    ----------
    code : str
        the kind, one word for all findings alike (`number`, `date`, `missing`, `unknown_pump`, ...).
    found, expected, remedy : str
        the text found (already in quotation marks), what is expected, and the likely remedy.
    number : int, optional
        the sheet's own row number; None for the whole file.
    column : str
        the column's name, as in the template.
    rows : tuple of int
        further rows that the same question touches; set aside together with `number`.
    about : str
        of a question: what it is about (a tag, a word), so that one answer serves all alike; blank: its kind
        alone.
    is_sure : bool
        whether the likely answer holds for this row; where not, a person ticks it by hand.
    """

    code: str
    found: str
    expected: str
    remedy: str = ""
    number: int | None = None
    column: str = ""
    tab: str = ""
    is_question: bool = False
    rows: tuple[int, ...] = ()
    about: str = ""
    is_sure: bool = True

    @property
    def place(self) -> str:
        """Where it stands: `row 7, column value`, `tab DE, row 7, column value`, or `file`."""
        if self.number is None:
            return f"tab {self.tab}" if self.tab else "file"
        parts = [f"tab {self.tab}"] if self.tab else []
        parts.append(f"row {self.number}")
        if self.column:
            parts.append(f"column {self.column}")
        return ", ".join(parts)

    @property
    def sentence(self) -> str:
        """What was found, what is expected, what to do."""
        said = f"{self.found} found, {self.expected} expected" if self.expected else self.found
        return f"{said}; {self.remedy}" if self.remedy else said

    def line(self) -> str:
        """The finding on one line, as commands print it."""
        return f"{self.place}: {self.sentence}"

    @property
    def touched(self) -> tuple[int, ...]:
        """All rows it touches."""
        return self.rows if self.number is None else (self.number, *self.rows)


class Misfit(Unreadable):
    """A cell whose text can be read but is not allowed here; `code` says which kind of fault it is."""

    def __init__(self, found: str, expected: str, remedy: str, code: str = "value") -> None:
        super().__init__(found, expected, remedy)
        self.code = code


_CODES = {"NotANumber": "number", "NotADay": "date", "UnknownUnit": "unit", "BadDateFormat": "date_format"}


def of_cell(error: Unreadable, number: int, column: str, tab: str = "") -> Finding:
    """The fault of one cell from the error its column raised."""
    code = getattr(error, "code", None) or _CODES.get(type(error).__name__, "value")
    return Finding(code, shown(error.found), error.expected, error.remedy, number, column, tab)


def of_file(sentence: str, remedy: str = "", code: str = "file") -> Finding:
    """A fault of the whole file, in one sentence."""
    return Finding(code, sentence, "", remedy)


def in_order(findings: list[Finding]) -> list[Finding]:
    """Findings as they are shown: of the file first, then by tab and row."""
    return sorted(findings, key=lambda one: (one.number is not None, one.tab, one.number or 0))


# What each kind of finding is called where many are shown together.
_KIND_WORDS = {
    "file": "about the whole file",
    "options": "how the file is to be read",
    "heading": "headings",
    "empty": "nothing to read",
    "missing": "cells that must be filled and are not",
    "missing_unit": "lengths without a unit",
    "number": "no number",
    "date": "no date",
    "future": "dates in the future",
    "date_in_value": "dates where a value belongs",
    "unit": "no unit of length",
    "bounds": "outside what it can be",
    "word": "no word that is known here",
    "too_long": "text that is too long",
    "text": "text that cannot be kept",
    "beyond": "cells without a heading",
    "twice": "told twice",
    "limits": "limits in the wrong order",
    "dates": "dates in the wrong order",
    "basis": "no basis that is known here",
    "time_zone": "time zones",
    "per_mille": "clearances that do not fit the journal",
    "pump_disagrees": "rows of one pump that disagree",
    "shell_twice": "one shell in two positions",
    "unknown_site": "sites nobody has registered",
    "unknown_pump": "pumps nobody has registered",
    "unknown_class": "classes no bearing has",
    "id_with_other_content": "known ids with other content",
    "not_yours": "sites that are not yours",
    "constraint": "what the record refuses",
    "record": "the record",
    "plan": "the reading plan",
    "two_values": "two values in one cell",
    "swallowed_date": "dates that a spreadsheet probably made of a fraction or range",
    "odd_word": "words where a value belongs",
    "marked_number": "numbers with a mark",
    "season": "seasons for dates",
    "size": "numbers of very different size in one column",
    "no_day": "dates that cannot be read",
}


# What an answer on the page does, where the finding's own remedy speaks of mending the sheet.
_LEADS = {
    "two_values": "Say once what the two are; numbers written another way are asked about apart.",
    "swallowed_date": (
        "The spreadsheet probably took a fraction or a range such as 3-4 for a date. The sheet's year is no"
        " part of it."
    ),
    "missing": "Without it these rows cannot be placed. Say in the plan where it stands, or set them aside.",
}


def name_kinds(words: dict[str, str], leads: dict[str, str] | None = None) -> None:
    """Say what further kinds of finding are called, and what answering them does; a higher app names its own
    in `ready()`.
    """
    _KIND_WORDS.update(words)
    _LEADS.update(leads or {})


def lead_words(code: str) -> str:
    """What an answer to a kind of question does; blank where its own remedy says enough."""
    return _LEADS.get(code, "")


def kind_words(code: str) -> str:
    """What a kind of finding is called."""
    return _KIND_WORDS.get(code, code.replace("_", " "))


@dataclass(frozen=True)
class FindingGroup:
    """Findings of one kind, as they are shown: its code and words, the first of them, how many there are."""

    code: str
    words: str
    findings: list[Finding]
    n: int

    @property
    def n_more(self) -> int:
        """How many are not shown."""
        return self.n - len(self.findings)


def by_kind(findings: list[Finding]) -> list[FindingGroup]:
    """Findings grouped by their kind, the kind that came first before the others, each with as many as a page
    can show.
    """
    groups: dict[str, list[Finding]] = {}
    for one in findings:
        groups.setdefault(one.code, []).append(one)
    return [
        FindingGroup(code, kind_words(code), alike[:MOST_OF_A_KIND], len(alike))
        for code, alike in groups.items()
    ]
