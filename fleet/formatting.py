"""The one place that writes a number or a day for a reader: its unit, its digits, its words."""

from __future__ import annotations

import math
from datetime import date
from typing import Any

from fleet.month_names import MONTHS
from fleet.units import from_um, show_um

NOT_KNOWN = "not known"
GAP = "\u00a0"  # keeps a figure and its unit on one line
MINUS = "\u2212"
DASH = "\u2013"
NEAR_DAYS = 92  # three months: a day can still be acted on as a day
MONTH_DAYS = 730  # two years: beyond it a month would promise more than is known
SEASON_DAYS = 5 * 365  # beyond it only the year


def _number(value: Any) -> float | None:
    """Return a finite float, or None for everything that is none."""
    if value is None or isinstance(value, bool) or value == "":
        return None
    try:
        number = float(value)
    except (TypeError, ValueError):
        return None
    return number if math.isfinite(number) else None


def grouped(value: float, digits: int = 0) -> str:
    """Write a number with thousands set apart from 10 000 on and a true minus sign."""
    text = f"{abs(value):,.{digits}f}"
    text = text.replace(",", GAP) if abs(value) >= 9999.5 else text.replace(",", "")
    is_zero = not text.strip("0.")
    return text if value >= 0 or is_zero else MINUS + text


def _with_unit(value: Any, digits: int, unit: str) -> str:
    number = _number(value)
    return NOT_KNOWN if number is None else f"{grouped(number, digits)}{GAP}{unit}"


def um(value: Any, digits: int = 0) -> str:
    """229.3 -> "229 um" with the micro sign; a clearance is known to a micrometre at best."""
    return _with_unit(value, int(digits), "µm")


def um_figure(value: Any, digits: int = 0) -> str:
    """The micrometres alone, for a column whose heading names the unit."""
    number = _number(value)
    return NOT_KNOWN if number is None else grouped(number, int(digits))


def um_step(value: Any) -> str:
    """A change of clearance with its sign: "+11 um"."""
    number = _number(value)
    if number is None:
        return NOT_KNOWN
    return ("+" if number >= 0 else "") + um(number)


def in_unit(value: Any, unit: str) -> str:
    """A length in um in the unit of a machine's own book: "0.152 mm", "6.0 thou"."""
    number = _number(value)
    if unit == "um":
        return um(number)
    return NOT_KNOWN if number is None else show_um(number, unit).replace(" ", GAP)


def figure_in_unit(value: Any, unit: str) -> str:
    """The figure of `in_unit` alone: "0.152", "6.0"; micrometres as `um_figure` says them."""
    number = _number(value)
    if number is None or unit == "um":
        return um_figure(number)
    return from_um(number, unit)


def unit_range(low: Any, high: Any, unit: str) -> str:
    """Two lengths in um in the unit of a machine's own book: "6.0-9.3 thou"."""
    first, last = _number(low), _number(high)
    if first is None or last is None:
        return NOT_KNOWN
    return f"{figure_in_unit(first, unit)}{DASH}{in_unit(last, unit)}"


def um_range(low: Any, high: Any) -> str:
    """Two clearances as "218-236 um"."""
    first, last = _number(low), _number(high)
    if first is None or last is None:
        return NOT_KNOWN
    return f"{grouped(first)}{DASH}{um(last)}"


def mm(value_um: Any, digits: int = 0) -> str:
    """A length kept in um, shown in mm: a journal of 110000 is "110 mm"."""
    number = _number(value_um)
    return NOT_KNOWN if number is None else _with_unit(number / 1000, int(digits), "mm")


def rpm(value: Any) -> str:
    """A speed in turns a minute."""
    return _with_unit(value, 0, "rpm")


def rate_figure(value: Any) -> str:
    """A wear rate's figure alone, two digits that mean something: 9.8, 13, 0.42."""
    number = _number(value)
    if number is None:
        return NOT_KNOWN
    if 0 < number < 0.005:
        return "under 0.01"
    size = abs(number)
    return grouped(number, 0 if size >= 9.95 else 1 if size >= 0.995 else 2)


def rate(value: Any, exposure: str = "run_hours") -> str:
    """A wear rate with its unit; without a meter it is per 1000 calendar hours."""
    figure = rate_figure(value)
    if figure == NOT_KNOWN:
        return figure
    return f"{figure}{GAP}µm per 1000{GAP}{'calendar h' if exposure == 'calendar' else 'h'}"


def rate_range(low: Any, high: Any) -> str:
    """Two rates as "3.9-7.0"."""
    if _number(low) is None or _number(high) is None:
        return NOT_KNOWN
    return f"{rate_figure(low)}{DASH}{rate_figure(high)}"


def chance(value: Any, is_passed: bool = False) -> str:
    """A chance as a count a reader can picture, the same everywhere: "4 in 10", "3 in 100", "under 1 in 100",
    "passed".
    """
    if is_passed:
        return "passed"
    share = _number(value)
    if share is None:
        return NOT_KNOWN
    if share < 0.005:
        return "under 1 in 100"
    if share < 0.095:
        return f"{math.floor(share * 100 + 0.5)} in 100"
    if share >= 0.95:
        return "more than 9 in 10"
    return f"{max(1, min(9, math.floor(share * 10 + 0.5)))} in 10"


def percent(value: Any) -> str:
    """A share of one as per cent: 0.61 -> "61 %"."""
    share = _number(value)
    if share is None:
        return NOT_KNOWN
    if 0 < share < 0.005:
        return f"under 1{GAP}%"
    if 0.995 <= share < 1:
        return f"over 99{GAP}%"
    return f"{grouped(share * 100)}{GAP}%"


def hours(value: Any) -> str:
    """Hours: "17.5 h" below a hundred, "52 300 h" above."""
    number = _number(value)
    if number is None:
        return NOT_KNOWN
    return _with_unit(number, 0 if abs(number) >= 99.5 or number == int(number) else 1, "h")


def run_hours(value_kh: Any) -> str:
    """Thousands of run hours, shown as hours."""
    number = _number(value_kh)
    return NOT_KNOWN if number is None else hours(number * 1000)


def cut_underscores(value: str) -> str:
    """A word of the record as it is said: "shaft_drop" is a shaft drop."""
    return str(value).replace("_", " ")


def tilded(value: str) -> str:
    """A name as an address writes it, `/` as `~`."""
    return str(value).replace("/", "~")


def count(value: Any) -> str:
    """A whole number of things."""
    number = _number(value)
    return NOT_KNOWN if number is None else grouped(number)


def counted(value: Any, one: str, many: str = "") -> str:
    """A count with its noun: "1 bearing", "80 bearings"."""
    number = _number(value)
    if number is None:
        return NOT_KNOWN
    return f"{grouped(number)}{GAP}{one if number == 1 else many or one + 's'}"


def day(value: date | None, precision: str = "day") -> str:
    """A day as it is known: "9 Apr 2026", "Apr 2026" or "2026"."""
    if value is None or value == "":
        return NOT_KNOWN
    month = MONTHS[value.month - 1][:3]
    if precision == "year":
        return str(value.year)
    text = f"{month}{GAP}{value.year}"
    return text if precision in ("month", "outage") else f"{value.day}{GAP}{text}"


def plain_day(value: date) -> str:
    """A day as `day` says it, with plain blanks: for tables, files and words that are kept."""
    return day(value).replace(GAP, " ")


def day_words(value: date | None, today: date | None = None) -> str:
    """The period a coming day falls in, no finer than it is known.

    A day within three months, a month within two years, then the season, then the year.
    Seasons are those of the northern half of the world (common practice, no published source).
    """
    if value is None or value == "":
        return NOT_KNOWN
    away = (value - today).days if today else 0
    if away <= NEAR_DAYS:
        return f"{value.day}{GAP}{MONTHS[value.month - 1]}{GAP}{value.year}"
    if away <= MONTH_DAYS:
        return f"{MONTHS[value.month - 1]}{GAP}{value.year}"
    return season(value) if away <= SEASON_DAYS else str(value.year)


def season(value: date) -> str:
    """The season of a day; a winter is named by both its years."""
    if value.month in (12, 1, 2):
        first = value.year if value.month == 12 else value.year - 1
        return f"winter{GAP}{first}{DASH}{(first + 1) % 100:02d}"
    name = {0: "spring", 1: "summer", 2: "autumn"}[(value.month - 3) // 3]
    return f"{name}{GAP}{value.year}"


def days_ago(value: date | None, today: date) -> str:
    """How long ago a day was: "82 days ago", then months, then years."""
    if value is None or value == "":
        return NOT_KNOWN
    gone = (today - value).days
    if gone <= 0:
        return "today" if gone == 0 else day(value)
    if gone < 120:
        return f"{gone}{GAP}day{'' if gone == 1 else 's'} ago"
    if gone < 730:
        return f"{round(gone / 30.44)}{GAP}months ago"
    return f"{grouped(gone / 365.25, 1)}{GAP}years ago"
