"""What an import has to say about a file: faults that must be mended and questions that wait for an answer."""

from dataclasses import dataclass

from fleet.units import Unreadable, shown


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


def by_kind(findings: list[Finding]) -> list[tuple[str, list[Finding]]]:
    """Findings grouped by their kind, the kind that came first before the others."""
    groups: dict[str, list[Finding]] = {}
    for one in findings:
        groups.setdefault(one.code, []).append(one)
    return list(groups.items())
