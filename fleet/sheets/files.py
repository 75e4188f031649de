"""A CSV or a workbook (XLSX, XLS, ODS) as text cells with the sheet's own row numbers, within limits that no
file can break.
"""

import csv
import hashlib
import io
import json
import re
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from fleet.recent import Recent

MOST_BYTES = 50_000_000
MOST_ROWS = 300_000
MOST_ROWS_OF_PAGE = 30_000  # a page answers at once; a command shows its progress and reads more
MOST_COLUMNS = 200
MOST_CELLS = 5_000_000
MOST_TEXT = 100_000_000
LONGEST_CELL = 1_000_000

_CHILD = Path(__file__).with_name("workbook_child.py")
_CHILD_SECONDS = 40
_ORDERS: dict[str, Any] = {
    "memory": 1_000_000_000,
    "cpu_seconds": 20,
    "entries": 2000,
    "unpacked": 300_000_000,
    "ratio": 200,
    "rows": MOST_ROWS,
    "columns": MOST_COLUMNS,
    "cells": MOST_CELLS,
    "text": MOST_TEXT,
}

_OLD_OFFICE = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
# What the child said of the last workbooks; longer answers are not kept.
MOST_KEPT, MOST_KEPT_BYTES = 8, 4_000_000
_CHILD_SAID: Recent[bytes] = Recent(MOST_KEPT)
_NONE: frozenset[int] = frozenset()
OLD_ERRORS = "it is an old workbook (XLS): cells that show an error in it, such as #DIV/0!, are read as blank"


class SheetFault(ValueError):
    """The file cannot be read as a sheet; the text begins `file: ` and says what to do."""

    def __init__(self, sentence: str) -> None:
        super().__init__(f"file: {sentence}")


@dataclass(frozen=True, slots=True)
class Row:
    """One row: the sheet's own number (from 1) and its cells as text.

    `date_columns` and `number_columns` (from 0) tell which cells the workbook holds as a date or time,
    written here in ISO form, and which as a number, written here with a decimal point whatever the file
    declares.
    """

    number: int
    cells: list[str]
    date_columns: frozenset[int] = _NONE
    number_columns: frozenset[int] = _NONE

    @property
    def is_blank(self) -> bool:
        """True when no cell holds more than white space."""
        return not any(cell.strip() for cell in self.cells)


@dataclass(frozen=True, slots=True)
class Tab:
    """One tab: its first row with anything in it as the heading, and every row below, blank ones included."""

    name: str
    heading: list[str]
    rows: list[Row]
    heading_row: Row | None = None
    hidden: bool = False
    hidden_rows: frozenset[int] = _NONE
    merged: list[tuple[int, int, int, int]] = field(default_factory=list)
    """Merged areas as (first row from 1, first column from 0, last row, last column)."""

    def all_rows(self) -> list[Row]:
        """Heading row and rows, for sheets whose heading is not their first row."""
        return self.rows if self.heading_row is None else [self.heading_row, *self.rows]

    def rows_beyond_heading(self) -> list[Row]:
        """Rows with something in a column that has no heading: usually an unquoted separator."""
        blank = {n for n, title in enumerate(self.heading) if not title}
        width = len(self.heading)
        return [
            row for row in self.rows if any(row.cells[width:]) or any(row.cells[n].strip() for n in blank)
        ]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file's tabs; `kind` is `csv`, `xls` or `xlsx` (ODS too); `separator` is the CSV's; `remarks` on how
    it was read.
    """

    kind: str
    tabs: list[Tab]
    separator: str = ""
    remarks: list[str] = field(default_factory=list)


def read_sheet(data: bytes, name: str, *, tab: str | int | None = None, most_rows: int = MOST_ROWS) -> Sheet:
    """The cells of a CSV or workbook; `tab` is a tab's name, or 0 for the first one shown (None: all tabs).

    A file of more than `most_rows` is refused before its rows are read.
    """
    if not data.strip():
        raise SheetFault("it is empty; a heading row and rows below it are expected")
    if len(data) > MOST_BYTES:
        size, most = len(data) // 1_000_000, MOST_BYTES // 1_000_000
        raise SheetFault(f"{size} MB found, at most {most} MB are read at once; split the sheet")
    if data.startswith(_OLD_OFFICE):
        _check_old_office(data)
        return Sheet("xls", list(_read_workbook(data, tab, most_rows)), remarks=[OLD_ERRORS])
    if data.startswith(b"PK"):
        return Sheet("xlsx", list(_read_workbook(data, tab, most_rows)))
    if name.lower().endswith((".xlsx", ".xlsm", ".xls", ".xlsb", ".ods")):
        raise SheetFault("its name says workbook but its content is none; save it as XLSX or CSV")
    if isinstance(tab, str) and tab:
        raise SheetFault(f"tab {tab!r} asked for, and a CSV has no tabs; leave the tab out")
    return _read_csv(data, most_rows)


def _check_old_office(data: bytes) -> None:
    """An old workbook is read; a password and macros are refused as in a new one."""
    if "EncryptedPackage".encode("utf-16-le") in data:
        raise SheetFault("the workbook is protected by a password; take it off and save the workbook again")
    if "_VBA_PROJECT".encode("utf-16-le") in data:
        raise SheetFault("the workbook carries macros; save it as XLSX without macros")


def _tab(name: str, rows: list[Row], **more: Any) -> Tab:
    """A tab from its rows in order: leading and trailing blank rows fall away, numbers stay."""
    filled = [n for n, row in enumerate(rows) if not row.is_blank]
    if not filled:
        return Tab(name, [], [], **more)
    first, last = filled[0], filled[-1]
    heading = rows[first]
    return Tab(
        name,
        [cell.strip() for cell in heading.cells],
        rows[first + 1 : last + 1],
        heading,
        **more,
    )


def _advice(most_rows: int) -> str:
    """What to do with a sheet of too many rows."""
    split = "split the sheet, for instance by years"
    if most_rows >= MOST_ROWS:
        return split
    return (
        f"{split}, or have it brought whole with manage.py import_history FILE, which reads {MOST_ROWS}"
        " and shows how far it is (a layout of its own: bring its first rows here, keep the plan, and add"
        " --plan NAME)"
    )


# XLSX ------------------------------------------------------------------------------------------------------


def _read_workbook(data: bytes, tab: str | int | None, most_rows: int) -> Iterator[Tab]:
    """The tabs of a workbook, each time as objects of their own.

    What the child said of these very bytes and orders is kept for a while: every page of a sheet on its way
    in reads it again.
    """
    own = {"tab": tab, "rows": most_rows, "advice": _advice(most_rows)}
    orders = json.dumps(_ORDERS | own).encode() + b"\n"
    key = hashlib.sha256(orders + data).digest()
    try:
        said = _CHILD_SAID[key]
    except KeyError:
        said = _asked_of_child(orders + data)
        if len(said) <= MOST_KEPT_BYTES:
            _CHILD_SAID[key] = said
    answers = [json.loads(line) for line in said.splitlines()]
    for answer in answers:
        if "fault" in answer:
            raise SheetFault(answer["fault"])
    return (_tab_of(answer) for answer in answers)


def _asked_of_child(words: bytes) -> bytes:
    """What a child process says of orders and workbook: a hostile one kills the child, never this process."""
    command = [sys.executable, "-I", str(_CHILD)]
    try:
        # An empty environment keeps passwords and addresses out of the process that meets the file.
        done = subprocess.run(
            command, check=False, input=words, capture_output=True, timeout=_CHILD_SECONDS, env={}
        )
    except subprocess.TimeoutExpired:
        raise SheetFault("the workbook takes too long to read; split it or save it as CSV") from None
    if done.returncode < 0:
        raise SheetFault(
            "the workbook needs too much memory or time to read; save only the rows needed as CSV"
        )
    if done.returncode > 0:
        raise RuntimeError(f"the sheet reader could not start: {done.stderr[-500:].decode(errors='replace')}")
    return done.stdout


def _tab_of(answer: dict[str, Any]) -> Tab:
    """One tab from the child's answer; equal sets of columns are one object."""
    known: dict[tuple[int, ...], frozenset[int]] = {}

    def columns(numbers: list[int]) -> frozenset[int]:
        key = tuple(numbers)
        found = known.get(key)
        if found is None:
            found = known[key] = frozenset(key)
        return found

    rows = [
        Row(number, cells, columns(dates), columns(figures))
        for number, cells, dates, figures in answer["rows"]
    ]
    return _tab(
        answer["name"],
        rows,
        hidden=answer["hidden"],
        hidden_rows=frozenset(answer["rows_hidden"]),
        merged=[tuple(area) for area in answer["merged"]],
    )


# CSV -------------------------------------------------------------------------------------------------------


def _read_csv(data: bytes, most_rows: int) -> Sheet:
    """A CSV whose separator is found from its heading row."""
    text, remarks = _decoded(data)
    skipped = 0
    declared = re.match(r"sep=([,;\t])\r?\n", text)  # a spreadsheet's own hint
    if declared:
        text, skipped = text[declared.end() :], 1
    separator = declared[1] if declared else _separator(text)
    rows = list(_csv_rows(text, separator, skipped, most_rows))
    width = max((len(row.cells) for row in rows), default=0)
    for row in rows:
        row.cells.extend([""] * (width - len(row.cells)))
    tab = _tab("", rows)
    if not tab.heading:
        raise SheetFault("it holds no cell; a heading row and rows below it are expected")
    return Sheet("csv", [tab], separator, remarks)


def _decoded(data: bytes) -> tuple[str, list[str]]:
    """The text of a CSV and how it was read: UTF-8, UTF-16, else the code page 1252, with its words shown."""
    wide = _utf_16(data)
    if wide:
        return _checked(_wide_text(data, wide)), ["its text is UTF-16 and was read as that"]
    if 0 in data:
        row = data.count(b"\n", 0, data.index(0)) + 1
        raise SheetFault(f"row {row} holds a NUL character, so it is damaged or no CSV; {_REMEDY}")
    try:
        return _checked(data.decode("utf-8-sig")), []
    except UnicodeDecodeError as error:
        return _of_code_page(data, error.start)


_REMEDY = "save it as CSV UTF-8"


def _utf_16(data: bytes) -> str:
    """Which UTF-16 a text is, from its mark or from where its blank bytes stand; blank for none."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        raise SheetFault(f"its text is UTF-32, UTF-8 or UTF-16 expected; {_REMEDY}")
    if data.startswith(b"\xff\xfe"):
        return "utf-16-le"
    if data.startswith(b"\xfe\xff"):
        return "utf-16-be"
    head = data[:400]
    n_even, n_odd = head[::2].count(0), head[1::2].count(0)
    if n_even + n_odd <= len(head) // 4:
        return ""
    if n_even and n_odd:
        raise SheetFault(f"its text is neither UTF-8 nor UTF-16; {_REMEDY}")
    return "utf-16-be" if n_even else "utf-16-le"


def _wide_text(data: bytes, coding: str) -> str:
    try:
        text = data.decode(coding).removeprefix("\ufeff")
    except UnicodeDecodeError:
        raise SheetFault(f"its text begins as UTF-16 and is cut off or damaged; {_REMEDY}") from None
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        raise SheetFault(f"row {row} holds a NUL character, so it is damaged or no CSV; {_REMEDY}")
    return text


_WESTERN = frozenset("ÄÖÜäöüßéèêëàâáåæøçñíìîïóòôõúùûýÅÆØÇÉÈÊÀÁ°±²³µ½¼¾×Øø§“”„‘’‚–—…€«»·\u00a0®´")


def _of_code_page(data: bytes, at: int) -> tuple[str, list[str]]:
    """A text of the code page 1252, where all of its letters beyond ASCII are ones that
    western plants write.
    """
    row = data.count(b"\n", 0, at) + 1
    try:
        text = data.decode("cp1252")
    except UnicodeDecodeError:
        text = "\u0100"
    strange = {letter for letter in text if letter > "\x7f"} - _WESTERN
    if strange or re.search(
        r"[\u00c0-\u00ff]{3}", text
    ):  # three such letters in a row are another alphabet's
        raise SheetFault(
            f"row {row} holds the byte {data[at]:02X}, which is neither UTF-8 nor Windows code page 1252;"
            f" {_REMEDY}"
        ) from None
    words = list(dict.fromkeys(re.findall(r"\w*[^\x00-\x7f]\w*", text)))[:4]
    shown = ", ".join(f"'{word[:40]}'" for word in words)
    return _checked(text), [f"its text is no UTF-8 and was read as Windows code page 1252: {shown}"]


def _checked(text: str) -> str:
    """The text of a CSV, refused where characters were lost or where it is no CSV."""
    if "\ufffd" in text:
        row = text.count("\n", 0, text.index("\ufffd")) + 1
        raise SheetFault(
            f"row {row} holds the mark of a lost character; save it again from the first source as UTF-8"
        )
    if re.match(r"\s*<(!doctype|html|table|\?xml)", text, re.IGNORECASE):
        raise SheetFault(
            "a web page or XML found, a CSV or a workbook expected; open it in a spreadsheet and save as XLSX"
        )
    return text


def _separator(text: str) -> str:
    """Comma, semicolon or tab: the one that cuts the first row which any of them cuts into the most cells."""
    for line in re.split(r"\r\n|\n|\r", text[:100_000]):
        counts = Counter(re.sub(r'"[^"]*"?', "", line))
        best = sorted(((counts[mark], mark) for mark in ",;\t"), reverse=True)
        if best[0][0] == 0:
            continue
        if best[0][0] == best[1][0]:
            raise SheetFault(
                "its heading row can be cut in two ways; put headings that hold , or ; in quotes"
            )
        return best[0][1]
    if "|" in text.split("\n", 1)[0]:
        raise SheetFault(
            "its cells are parted by |, but comma, semicolon or tab are expected; save it as CSV UTF-8"
        )
    return ","


def _csv_rows(text: str, separator: str, skipped: int, most_rows: int) -> Iterator[Row]:
    """Rows with the number of their first line in the file; a cell in quotes may run over several lines."""
    csv.field_size_limit(LONGEST_CELL)  # process-wide; nothing else here reads CSV
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    n_rows, n_cells = 0, 0
    number = skipped + 1
    while True:
        try:
            cells = next(reader)
        except StopIteration:
            return
        except csv.Error as error:
            raise SheetFault(_csv_sentence(number, str(error))) from None
        n_rows, n_cells = n_rows + 1, n_cells + len(cells)
        if len(cells) > MOST_COLUMNS:
            raise SheetFault(
                f"row {number} has {len(cells)} columns, at most {MOST_COLUMNS} are read; take out the rest"
            )
        if n_rows > most_rows:
            raise SheetFault(
                f"more than {most_rows} rows found, at most {most_rows} are read at once;"
                f" {_advice(most_rows)}"
            )
        if n_cells > MOST_CELLS:
            raise SheetFault(f"more than {MOST_CELLS} cells found; split the sheet")
        yield Row(number, cells)
        number = skipped + reader.line_num + 1


def _csv_sentence(number: int, reason: str) -> str:
    if "field limit" in reason or "field larger" in reason:
        return (
            f"row {number} has a cell of more than {LONGEST_CELL} characters; a quotation mark may not be"
            " closed"
        )
    return (
        f"row {number} has a quotation mark that is not closed as it should be; write it twice inside a"
        " quoted cell"
    )
