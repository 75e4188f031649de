"""The columns of a sheet: what each is called, whether it must be filled, and how its text is read."""

import datetime as dt
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from fleet.importing.findings import Misfit
from fleet.importing.options import Options
from fleet.units import Day, Measured, canonical_unit, parse_day, parse_measured, parse_number

Read = Callable[[str, Options], Any]


class _Clear:
    """The value of a cell that holds `-`: what was known is cleared."""

    def __repr__(self) -> str:
        return "CLEAR"


CLEAR = _Clear()


@dataclass(frozen=True)
class Column:
    """One column of a template.

    Parameters
    ----------
    name : str
        the heading, compared without case.
    read : callable
        text (stripped, never empty) and options to a value; raises `fleet.units.Unreadable` with the
        sentence.
    required : bool
        a row without it is at fault.
    clearable : bool
        `-` clears what is known.
    takes_dates : bool
        a cell that a workbook holds as a date may stand here.
    names_row : bool
        the column holds the sheet's own id of the row (`entry_id`); at most one column does.
    """

    name: str
    read: Read
    required: bool = False
    clearable: bool = False
    takes_dates: bool = False
    names_row: bool = False


def text(longest: int) -> Read:
    """Free text of at most so many characters; marks that nobody can see are refused."""

    def read(typed: str, options: Options) -> str:
        for mark in typed:
            if mark not in "\n\t\r" and unicodedata.category(mark) in ("Cc", "Cs", "Cn", "Co"):
                raise Misfit(typed, "text that can be printed", "type the cell again", "text")
        return _not_longer(typed, longest)

    return read


def identifier(longest: int) -> Read:
    """A name by which something is known: kept as typed, but for spaces; unseen marks are refused."""

    def read(typed: str, options: Options) -> str:
        name = " ".join(typed.split())
        if not name.isprintable():
            raise Misfit(
                typed, "a name without unseen marks", "type the name again on a plain keyboard", "text"
            )
        return _not_longer(name, longest)

    return read


def _not_longer(typed: str, longest: int) -> str:
    if len(typed) > longest:
        raise Misfit(
            typed, f"at most {longest} characters", f"{len(typed)} were typed: shorten it", "too_long"
        )
    return typed


def number(low: Decimal | int, high: Decimal | int, unit: str = "") -> Read:
    """A number from `low` to `high`, exactly as typed."""

    def read(typed: str, options: Options) -> Decimal:
        value = parse_number(typed, decimal_comma=options.decimal_comma)
        if not low <= value <= high:
            raise _outside(typed, low, high, unit)
        return value

    return read


def whole(low: int, high: int, unit: str = "") -> Read:
    """A whole number from `low` to `high`; `12.0`, as workbooks write it, is one."""
    as_number = number(low, high, unit)

    def read(typed: str, options: Options) -> int:
        value = as_number(typed, options)
        if value != value.to_integral_value():
            raise Misfit(typed, "a whole number", "round it, or check the column", "number")
        return int(value)

    return read


def _outside(typed: str, low: Decimal | int, high: Decimal | int, unit: str) -> Misfit:
    words = f"a number from {low:,} to {high:,}".replace(",", " ")
    return Misfit(typed, f"{words} {unit}".rstrip(), "check the cell and its column", "bounds")


def measured(typed: str, options: Options) -> Measured:
    """A measured value, a bound or an interval; its bounds depend on the row's unit and are checked later."""
    return parse_measured(typed, decimal_comma=options.decimal_comma)


def day(*, whole_day: bool = False, past: bool = False) -> Read:
    """A date as precisely as it is known; `whole_day` takes no month or year, `past` nothing after today."""

    def read(typed: str, options: Options) -> Day:
        found = _span(typed) or parse_day(typed, options.date_format or None)
        if whole_day and found.precision != "day":
            raise Misfit(
                typed,
                "a whole date with its day",
                f"only the {found.precision} is given: add the day",
                "date",
            )
        if past and options.today and found.first > options.today:
            raise Misfit(typed, f"a date up to today ({options.today})", "check the year", "future")
        return found

    return read


def _span(typed: str) -> Day | None:
    """A span of months as a reading plan writes a season: `2011-03..2011-05`."""
    if ".." not in typed:
        return None
    first, _, last = typed.partition("..")
    begin, end = parse_day(first), parse_day(last)
    return Day(begin.first, end.last, "outage") if begin.first <= end.last else None


def one_of(allowed: Mapping[str, Any], what: str, code: str = "word") -> Read:
    """One of the allowed words, compared without case and with any spaces or hyphens for the underscore."""
    by_word = {_bare(word): value for word, value in allowed.items()}
    listed = ", ".join(dict.fromkeys(allowed))

    def read(typed: str, options: Options) -> Any:
        try:
            return by_word[_bare(typed)]
        except KeyError:
            raise Misfit(typed, f"{what} ({listed})", "write one of these words", code) from None

    return read


def _bare(word: str) -> str:
    return "".join(c for c in word.casefold() if c.isalnum())


def unit(typed: str, options: Options) -> str:
    """A unit of length in the house's spelling."""
    return canonical_unit(typed)


yes_or_no = one_of(
    {"yes": True, "no": False, "y": True, "n": False, "true": True, "false": False}, "yes or no"
)


def canonical_text(value: Any) -> str:
    """A read value as the text by which the same content is known again: `0.150` is `0.15`, dates are ISO."""
    if isinstance(value, str):
        return value
    if isinstance(value, Decimal):
        return _plain(value)
    if isinstance(value, Day):
        return f"{value.first}/{value.precision}"
    if isinstance(value, Measured):
        if value.value is not None:
            return _plain(value.value)
        return f"{_plain(value.low)}..{_plain(value.high)}"
    if isinstance(value, dt.date):
        return value.isoformat()
    return repr(value)


def _plain(value: Decimal | None) -> str:
    return "" if value is None else format(value.normalize(), "f")
