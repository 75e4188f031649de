"""Cells of a workbook as the text a sheet shows; used by the guarded child beside it, and knows nothing of
ours.
"""

import datetime as dt
import re
from collections.abc import Iterable, Iterator
from typing import Any

_UNWRITTEN = re.compile("[\x00\ufffd]")
NO_RESULT = "=(formula without a result)"


class Fault(Exception):
    """The workbook is refused; the text is the sentence without its `file: `."""


def _number_text(number: float) -> str:
    """A number as a sheet shows it: no tail of binary noise, whole numbers without a point."""
    if number.is_integer() and abs(number) < 1e15:
        return str(int(number))
    text = repr(number)
    if len(text) > 16:  # more than 15 digits: the tail is binary noise no sheet shows
        text = format(number, ".15g")
    if "e" not in text or not 1e-9 < abs(number) < 1e15:
        return text
    return _small_number_text(text)


def _small_number_text(text: str) -> str:
    """`1.5e-05` written out as 0.000015."""
    mantissa, exponent = text.split("e")
    sign, digits = ("-", mantissa[1:]) if mantissa[0] == "-" else ("", mantissa)
    return f"{sign}0.{'0' * (-int(exponent) - 1)}{digits.replace('.', '')}"


def _other_text(value: Any) -> str:
    """Truth values, dates and times as text."""
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, dt.datetime):
        at_midnight = value.time() == dt.time(0)
        return value.date().isoformat() if at_midnight else value.isoformat(" ")
    if isinstance(value, dt.timedelta):
        minutes, seconds = divmod(round(value.total_seconds()), 60)
        hours, minutes = divmod(minutes, 60)
        return f"{hours}:{minutes:02}:{seconds:02}"
    return value.isoformat() if isinstance(value, dt.date | dt.time) else str(value)


def row_texts(
    rows: Iterable[list[Any]],
    left: list[str],
    patches: dict[int, dict[int, str]],
    orders: dict[str, Any],
    tab: str,
) -> Iterator[list[Any]]:
    """Each row as text; which of its cells were dates and which numbers goes with it. Rows told by patches
    alone follow.
    """
    known: dict[float, str] = {}
    n_text, number = orders["text"], 0
    for number, values in enumerate(rows, start=1):
        row = _row(number, left, values, patches, known)
        n_text -= sum(map(len, row[1]))
        _check_row_text("".join(row[1]), n_text, number, tab)
        yield row
    below = [n for n in patches if n > number]
    if below and max(below) <= orders["rows"]:
        for n in range(number + 1, max(below) + 1):
            yield _row(n, left, [], patches, known)


def _row(
    number: int,
    left: list[str],
    values: list[Any],
    patches: dict[int, dict[int, str]],
    known: dict[float, str],
) -> list[Any]:
    """One row as [number, cells, columns of dates, columns of numbers]."""
    cells, dates, numbers = left + values, [], []
    for column, value in enumerate(values, start=len(left)):
        kind = type(value)
        if kind is str:
            continue
        if kind is float or kind is int:
            numbers.append(column)
            cells[column] = known.get(value) or known.setdefault(value, _number_text(float(value)))
        else:
            cells[column] = _other_text(value)
            if kind is not bool:
                dates.append(column)
    for column, text in patches.get(number, {}).items():
        cells += [""] * (column + 1 - len(cells))
        cells[column] = text
        if text.startswith(("#", "=")) and column in numbers:
            numbers.remove(column)
    return [number, cells, dates, numbers]


def _check_row_text(whole: str, n_text: int, number: int, tab: str) -> None:
    if _UNWRITTEN.search(whole):
        raise Fault(
            f"tab {tab}, row {number} holds a character that was lost or is none; type the cell again"
        )
    if n_text < 0:
        raise Fault(f"tab {tab} holds more text than is read at once; split the sheet")
