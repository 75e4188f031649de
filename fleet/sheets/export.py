"""Rows as a CSV or XLSX file in which no text can act as a formula and every number stays a number."""

import csv
import datetime as dt
import io
import math
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from decimal import Decimal
from numbers import Integral, Real
from typing import Any

import xlsxwriter  # type: ignore[import-untyped]

_STARTS_FORMULA = re.compile(r"'*[=+\-@\t\r\n\uff1d\uff0b\uff0d\uff20]")
_PLAIN = re.compile(r"[+-]?[0-9]*[.,]?[0-9]+|-")
_MOST_ROWS, _LONGEST_TEXT = 1_048_576, 32_767
_NO_INSTANT = dt.datetime(1980, 1, 1)  # the file carries no moment of its own: equal rows give equal bytes


def guarded(text: str) -> str:
    """A text cell for CSV: one that a spreadsheet would take for a formula gets a leading apostrophe.

    A plain number typed as text and the lone `-` that clears a cell are harmless and stay as they are. Text
    that looks guarded already gets one more, so that `unguarded` always gives back what was written. Source:
    OWASP, CSV injection (characters = + - @ tab CR).
    """
    return f"'{text}" if _STARTS_FORMULA.match(text) and not _PLAIN.fullmatch(text) else text


def unguarded(text: str) -> str:
    """The text before `guarded`, for a sheet of ours that comes back."""
    return text[1:] if text.startswith("'") and guarded(text[1:]) != text[1:] else text


def csv_bytes(headings: Sequence[str], rows: Iterable[Sequence[Any]], *, mark: bool = False) -> bytes:
    """Rows as UTF-8 CSV (comma, decimal point, ISO dates); `mark` adds the byte-order mark some spreadsheets
    need.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")  # RFC 4180; with a bare \n a lone \r would go unquoted
    writer.writerow([guarded(heading) for heading in headings])
    for row in rows:
        _check_width(headings, row)
        writer.writerow([_csv_cell(value) for value in row])
    return out.getvalue().encode("utf-8-sig" if mark else "utf-8")


def _check_width(headings: Sequence[str], row: Sequence[Any]) -> None:
    if len(row) != len(headings):
        raise ValueError(f"a row of {len(row)} cells under {len(headings)} headings")


def _csv_cell(value: Any) -> str:
    """One value as CSV text."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, Decimal | Real):
        return _number_text(value)
    if isinstance(value, dt.date | dt.time):
        return value.isoformat()
    return guarded(str(value))


def _number_text(value: Any) -> str:
    """A number written out with a decimal point and no exponent where the type is exact."""
    if not math.isfinite(value):
        raise ValueError(f"{value} is no number a sheet can hold; leave the cell blank (None)")
    if isinstance(value, Decimal):
        return format(value, "f")
    return str(int(value)) if isinstance(value, Integral) else repr(float(value))


def xlsx_bytes(headings: Sequence[str], rows: Iterable[Sequence[Any]], *, sheet_name: str) -> bytes:
    """Rows as an XLSX workbook of one tab: text as text, numbers with their recorded
    decimals, days as dates.
    """
    with _workbook() as (book, out):
        tab = book.add_worksheet(_tab_name(sheet_name))
        tab.freeze_panes(1, 0)
        cells = _Cells(book, tab)
        for column, heading in enumerate(headings):
            cells.text(0, column, heading, cells.style(bold=True))
        for number, row in enumerate(rows, start=1):
            _check_width(headings, row)
            if number >= _MOST_ROWS:
                raise ValueError(f"a workbook's tab holds at most {_MOST_ROWS} rows; write CSV")
            cells.row(number, row)
    return out.getvalue()


def workbook_bytes(sheets: Iterable[tuple[str, Sequence[Sequence[str]]]]) -> bytes:
    """Tabs of text as an XLSX workbook, each cell where it stood; names that a workbook refuses are made to
    fit.
    """
    taken: set[str] = set()
    with _workbook() as (book, out):
        for name, rows in sheets:
            cells = _Cells(book, book.add_worksheet(_name_not_taken(name, taken)))
            for number, row in enumerate(rows):
                cells.row(number, [text[:_LONGEST_TEXT] for text in row])
    return out.getvalue()


@contextmanager
def _workbook() -> Iterator[tuple[Any, io.BytesIO]]:
    """A workbook that takes no text for a formula, a link or a number; its bytes stand when the block is
    left.
    """
    out = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
    }
    book = xlsxwriter.Workbook(out, options)
    book.set_properties({"created": _NO_INSTANT})
    yield book, out
    book.close()


def _name_not_taken(name: str, taken: set[str]) -> str:
    """A name a workbook accepts and no other tab of it has."""
    fit, n = _tab_name(name), 1
    while fit.casefold() in taken:
        n += 1
        fit = f"{_tab_name(name)[:26]} ({n})"
    taken.add(fit.casefold())
    return fit


def _tab_name(text: str) -> str:
    """A name a workbook accepts: 31 characters, none of []:*?/\\, no apostrophe at either end."""
    return re.sub(r"[\[\]:*?/\\\x00-\x1f]", " ", text)[:31].strip().strip("'") or "Sheet"


class _Cells:
    """Writes typed cells into one tab and keeps one format per kind."""

    def __init__(self, book: Any, tab: Any) -> None:
        self._book, self._tab = book, tab
        self._styles: dict[tuple[tuple[str, Any], ...], Any] = {}

    def style(self, **properties: Any) -> Any:
        key = tuple(properties.items())
        if key not in self._styles:
            self._styles[key] = self._book.add_format(properties)
        return self._styles[key]

    def text(self, row: int, column: int, text: str, style: Any = None) -> None:
        if len(text) > _LONGEST_TEXT:
            raise ValueError(
                f"a text of {len(text)} characters; a workbook's cell holds {_LONGEST_TEXT}; write CSV"
            )
        if style is None and guarded(text) != text:
            style = self.style(quote_prefix=True)  # stays text when someone edits the cell
        self._tab.write_string(row, column, text, style)

    def row(self, number: int, values: Iterable[Any]) -> None:
        """One row of cells."""
        for column, value in enumerate(values):
            self.write(number, column, value)

    def write(self, row: int, column: int, value: Any) -> None:
        """One value by its type; what a workbook cannot hold exactly goes in as text."""
        if value is None or value == "":
            return
        if isinstance(value, bool):
            self._tab.write_boolean(row, column, value)
        elif isinstance(value, Decimal | Real):
            self._number(row, column, value)
        elif isinstance(value, dt.date) and not isinstance(value, dt.datetime) and value.year >= 1901:
            self._tab.write_datetime(row, column, value, self.style(num_format="yyyy-mm-dd"))
        elif isinstance(value, dt.date | dt.time):
            self.text(row, column, value.isoformat())
        else:
            self.text(row, column, str(value))

    def _number(self, row: int, column: int, value: Any) -> None:
        exact = _number_text(value)
        if isinstance(value, Decimal | Integral) and len(exact.lstrip("-0.").replace(".", "")) > 15:
            self.text(row, column, exact)
            return
        places = len(exact.partition(".")[2]) if isinstance(value, Decimal) else 0
        style = self.style(num_format="0." + "0" * places) if places else None
        self._tab.write_number(row, column, float(value), style)
