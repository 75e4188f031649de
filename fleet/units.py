"""Numbers, lengths and days as people type them: read strictly, kept exact, shown back with their unit."""

import calendar
import datetime as dt
import math
import re
from collections.abc import Callable
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Context, Decimal
from types import MappingProxyType

from fleet.month_names import MONTHS

_MILS = Decimal("25.4")
_CANONICAL_UM = {
    "mm": Decimal(1000),
    "um": Decimal(1),
    "mil": _MILS,
    "thou": _MILS,
    "in": Decimal(25400),
}
_SPELLINGS = {"\u00b5m": "um", "\u03bcm": "um", '"': "in"}

LENGTH_UNITS = MappingProxyType(
    _CANONICAL_UM | {other: _CANONICAL_UM[unit] for other, unit in _SPELLINGS.items()}
)
"""Every accepted spelling (lower case) and its length in um; an inch is 25.4 mm (by definition, 1959)."""

SHOWN_UNIT = {"um": "\u00b5m"}
_DIGITS = {"mm": 3, "um": 0, "mil": 1, "thou": 1, "in": 4}
_NEAR_UNITS = {
    "mils": "mil",
    "thous": "thou",
    "inch": "in",
    "inches": "in",
    "in.": "in",
    "''": "in",
    "micron": "um",
    "microns": "um",
    "micrometre": "um",
    "micrometer": "um",
    "millimetre": "mm",
    "millimeter": "mm",
    "u": "um",
}

_EXACT = Context(prec=60, rounding=ROUND_HALF_EVEN)
_UM_STEP = Decimal("0.0001")
_LONGEST_WHOLE, _LONGEST_FRACTION = 15, 20
_LONGEST_CELL = 80  # longer texts are no numbers and are not worth a search for the reason
_UNSIGNED = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_NUMBER = re.compile(rf"[+-]?{_UNSIGNED}")
_BETWEEN = re.compile(rf"(-?{_UNSIGNED}) *[-\u2013] *(-?{_UNSIGNED})")
_MIXED = re.compile(r"([0-9]{1,4}) +([0-9]{1,3})/(2|4|8|16|32|64|128|256)")
FIRST_YEAR, LAST_YEAR = 1900, 2199


class Unreadable(ValueError):
    """A text that cannot be read: what was found, what is expected, and the likely remedy."""

    def __init__(self, found: str, expected: str, remedy: str) -> None:
        self.found, self.expected, self.remedy = found, expected, remedy
        super().__init__(f"{shown(found)} found, {expected} expected; {remedy}")


class NotANumber(Unreadable):
    """The text is no number under the strict grammar."""


class NotADay(Unreadable):
    """The text is no day, month or year in the expected form."""


class UnknownUnit(Unreadable):
    """The text is no unit of length known here."""


class BadDateFormat(Unreadable):
    """The declared date format itself cannot be used."""


@dataclass(frozen=True, slots=True)
class Measured:
    """One measured cell: `value`, or an interval whose open side is None (`>0.006`,
    `<0.002`, `0.003-0.004`).
    """

    value: Decimal | None = None
    low: Decimal | None = None
    high: Decimal | None = None

    @property
    def is_interval(self) -> bool:
        """True for `>`, `<` and `low-high`."""
        return self.value is None

    def each(self, change: Callable[[Decimal], Decimal]) -> "Measured":
        """The same reading with every number changed, for example into um."""
        value, low, high = (None if n is None else change(n) for n in (self.value, self.low, self.high))
        return Measured(value, low, high)

    def to_um(self, unit: str) -> "Measured":
        """The same reading in um, to four decimals."""
        return self.each(lambda number: to_um(number, unit))


@dataclass(frozen=True, slots=True)
class Day:
    """A date as precisely as it is known; `precision` is `day`, `month` or `year`."""

    first: dt.date
    last: dt.date
    precision: str


def shown(text: str, longest: int = 40) -> str:
    """A found text in quotation marks, with unseen characters spelled out and long ones cut."""
    if text == "":
        return "an empty cell"
    cut = text if len(text) <= longest else text[: longest - 3] + "..."
    return "'" + "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in cut) + "'"


# numbers ---------------------------------------------------------------------------------------------------


def parse_number(text: str, *, decimal_comma: bool = False) -> Decimal:
    """The one number a text can mean, exactly as typed; anything with two readings or none is refused."""
    bare = text.strip()
    plain = _with_point(bare, decimal_comma)
    if plain is None or len(plain) > _LONGEST_CELL or _NUMBER.fullmatch(plain) is None:
        raise NotANumber(
            text,
            _expected_number(decimal_comma),
            _number_remedy(bare[:_LONGEST_CELL], decimal_comma),
        )
    whole, _, fraction = plain.lstrip("+-").partition(".")
    if len(whole) > _LONGEST_WHOLE or len(fraction) > _LONGEST_FRACTION:
        limits = f"at most {_LONGEST_WHOLE} digits before and {_LONGEST_FRACTION} after the decimal mark"
        raise NotANumber(
            text,
            f"a number with {limits}",
            "check the cell; no measurement needs so many digits",
        )
    number = Decimal(plain)
    return number if number else abs(number)


def parse_measured(text: str, *, decimal_comma: bool = False) -> Measured:
    """A value (`0.152`, `9 1/2`), a bound (`>0.006`) or a closed interval (`0.003-0.004`,
    the smaller first).
    """
    bare = text.strip()
    if (mixed := mixed_number(bare)) is not None:
        return Measured(value=mixed[0])
    if bare[:1] in (">", "<"):
        bound = _number_inside(bare[1:].lstrip(" "), text, decimal_comma)
        return Measured(low=bound) if bare[0] == ">" else Measured(high=bound)
    plain = _with_point(bare, decimal_comma)
    pair = None if plain is None or len(plain) > _LONGEST_CELL else _BETWEEN.fullmatch(plain)
    if pair is None:
        return Measured(value=_number_inside(bare, text, decimal_comma))
    low, high = parse_number(pair[1]), parse_number(pair[2])
    if low >= high:
        remedy = "write the smaller number first" if low > high else "write the number once"
        raise NotANumber(text, "an interval from a smaller to a larger number", remedy)
    return Measured(low=low, high=high)


def mixed_number(text: str) -> tuple[Decimal, Decimal] | None:
    """A whole number with a fraction, `9 1/2`, and its step, one part of the denominator; None for anything
    else.

    A bare `1/2` is none: it may be two values.
    """
    found = _MIXED.fullmatch(text)
    if found is None or not 0 < int(found[2]) < int(found[3]):
        return None
    step = Decimal(1) / Decimal(found[3])
    return Decimal(found[1]) + int(found[2]) * step, step


def _number_inside(part: str, whole: str, decimal_comma: bool) -> Decimal:
    """A number that is all or part of a cell; a fault quotes the whole cell."""
    try:
        return parse_number(part, decimal_comma=decimal_comma)
    except NotANumber as fault:
        raise NotANumber(whole, fault.expected, fault.remedy) from None


def _with_point(text: str, decimal_comma: bool) -> str | None:
    """The text with its decimal mark as a point, or None when the other mark stands in it."""
    if not decimal_comma:
        return None if "," in text else text
    return None if "." in text else text.replace(",", ".")


def _expected_number(decimal_comma: bool) -> str:
    return "a plain number with a decimal comma" if decimal_comma else "a plain number with a decimal point"


_NUMBER_REMEDIES: tuple[tuple[str, str], ...] = (
    (r"", "give the number, or leave out the row"),
    (r"(?i)[+-]?(nan|inf(inity)?)", "give the measured number, or leave out the row"),
    (r"[^\S ]|.*[\u00a0\u2009\u202f ].*[0-9]", "take out the space inside the number"),
    (r"[+-]?[0-9.,]+[eE][+-]?[0-9]+", "write the number out without an exponent"),
    (r".*[0-9]_[0-9].*", "take out the underscore"),
    (r"[+-]?[0-9]+[.,]", "finish the number or take out the mark at its end"),
    (r"[0-9]+ ?/ ?[0-9]+", "write a fraction as a decimal number, and two values in a row each"),
    (r"[\u2212\u2013].*", "write the minus sign as a plain hyphen"),
    (r"[<>].+", "give the number alone; only a measured value may be a bound"),
    (
        r"[0-9.,]+ ?[/&;+] ?[0-9.,]+",
        "give each value its own row; an interval is written low-high",
    ),
    (r"[~\u2248].*", "give the number alone; an interval is written low-high"),
    (
        r"[+-]?[0-9.,]+\s*([a-zA-Z\u00b5\u03bc]+|\"|'')",
        "give the number alone and its unit in the unit column",
    ),
)


def _number_remedy(text: str, decimal_comma: bool) -> str:
    """The likely remedy for a text that is no number."""
    if any(c.isdigit() and not c.isascii() for c in text):
        return "type the digits 0 to 9 on a plain keyboard"
    for pattern, remedy in _NUMBER_REMEDIES:
        if re.fullmatch(pattern, text):
            return remedy
    if (
        re.fullmatch(r"[+-]?[0-9]+(?:[.,' ][0-9]{3})*[.,][0-9]+", text)
        and len(re.findall(r"[.,' ]", text)) > 1
    ):
        return "take out the separators between the thousands"
    if not decimal_comma and re.fullmatch(r"[<>]?[+-]?[0-9]*,[0-9]+", text):
        return "declare the decimal comma for the whole file, or write a decimal point"
    if decimal_comma and re.fullmatch(r"[<>]?[+-]?[0-9]*\.[0-9]+", text):
        return "write a decimal comma as declared, or declare the decimal point for the whole file"
    return "type digits with one decimal mark and nothing else"


# lengths ---------------------------------------------------------------------------------------------------


def canonical_unit(text: str) -> str:
    """The house's spelling of a typed unit: `mm`, `um`, `mil`, `thou` or `in`."""
    key = text.strip().lower()
    unit = _SPELLINGS.get(key, key)
    if unit in _CANONICAL_UM:
        return unit
    near = _NEAR_UNITS.get(key)
    remedy = f"write {near}" if near else "give the unit the length was read in"
    raise UnknownUnit(text, "a unit of length (mm, um, mil, thou, in)", remedy)


def split_unit(text: str) -> tuple[str, str | None]:
    """A cell such as `6 thou`, `0.15mm` or `0.005"` as its number text and its unit; no unit gives None."""
    bare = text.strip()
    if len(bare) > _LONGEST_CELL:
        return bare, None
    found = re.fullmatch(r"(.*?[0-9.,])\s*([a-zA-Z\u00b5\u03bc]+|\")", bare, re.DOTALL)
    return (bare, None) if found is None else (found[1].rstrip(), canonical_unit(found[2]))


def to_um(value: Decimal, unit: str) -> Decimal:
    """A length in um to four decimals; the factors are exact (1 in = 25400 um)."""
    exact = _EXACT.multiply(value, _CANONICAL_UM[canonical_unit(unit)])
    return exact.quantize(_UM_STEP, context=_EXACT)


def from_um(um: Decimal | float, unit: str, digits: int | None = None) -> str:
    """A length in um as a bare number in `unit`, rounded half up to `digits` (None: the
    unit's usual digits).
    """
    name = canonical_unit(unit)
    exact = um if isinstance(um, Decimal) else Decimal(str(um))
    if not exact.is_finite():
        raise ValueError(f"a length that is {exact} cannot be shown")
    places = _DIGITS[name] if digits is None else digits
    number = _EXACT.divide(exact, _CANONICAL_UM[name]).quantize(
        Decimal(1).scaleb(-places), rounding=ROUND_HALF_UP, context=_EXACT
    )
    return format(number if number else abs(number), "f")


def up_to_step(um: float, unit: str) -> float:
    """A length in um raised to the next that `unit` shows: what is read at it or over is over it too.

    >>> from_um(278, "in"), from_um(up_to_step(278, "in"), "in"), up_to_step(278, "mm")
    ('0.0109', '0.0110', 278.0)
    """
    name = canonical_unit(unit)
    step = float(_CANONICAL_UM[name].scaleb(-_DIGITS[name]))
    return math.ceil(um / step - 1e-6) * step


def show_um(um: Decimal | float, unit: str, digits: int | None = None) -> str:
    """A length in um as people read it, number and unit: `0.152 mm`, `152 um` with its sign, `6.0 mil`."""
    name = canonical_unit(unit)
    return f"{from_um(um, name, digits)} {SHOWN_UNIT.get(name, name)}"


def step_um(text: str, unit: str, *, decimal_comma: bool = False) -> Decimal:
    """The resolution a length was typed with: one unit of its last (finest) decimal place
    or fraction, in um.
    """
    if (mixed := mixed_number(text.strip())) is not None:
        return to_um(mixed[1], unit)
    measured = parse_measured(text, decimal_comma=decimal_comma)
    numbers = [n for n in (measured.value, measured.low, measured.high) if n is not None]
    finest = min(int(number.as_tuple().exponent) for number in numbers)
    return to_um(Decimal(1).scaleb(finest), unit)


def uncertainty_of_step_um(step: Decimal | float) -> float:
    """Standard uncertainty of reading to a step: step/sqrt(12) (JCGM 100:2008, F.2.2.1, u = 0.29 step)."""
    return float(step) / math.sqrt(12)


# days ------------------------------------------------------------------------------------------------------

_MONTH_NAMES = {name.lower(): n for n, name in enumerate(MONTHS, start=1)}
_MONTHS = _MONTH_NAMES | {name[:3]: n for name, n in _MONTH_NAMES.items()} | {"sept": 9}

_ISO = re.compile(
    r"(?P<year>[0-9]{4})(?:-(?P<month>[0-9]{2})(?:-(?P<day>[0-9]{2})"
    r"(?:[ T](?:[01][0-9]|2[0-3]):[0-5][0-9](?::[0-5][0-9](?:\.[0-9]+)?)?)?)?)?"
)
_PARTS = {
    "YYYY": r"(?P<year>[0-9]{4})",
    "%Y": r"(?P<year>[0-9]{4})",
    "YY": r"(?P<short>[0-9]{2})",
    "%y": r"(?P<short>[0-9]{2})",
    "MONTH": r"(?P<name>[A-Za-z]{3,9})",
    "%B": r"(?P<name>[A-Za-z]{3,9})",
    "MON": r"(?P<name>[A-Za-z]{3,9})",
    "%b": r"(?P<name>[A-Za-z]{3,9})",
    "MM": r"(?P<month>[0-9]{#})",
    "M": r"(?P<month>[0-9]{#})",
    "%m": r"(?P<month>[0-9]{#})",
    "DD": r"(?P<day>[0-9]{#})",
    "D": r"(?P<day>[0-9]{#})",
    "%d": r"(?P<day>[0-9]{#})",
}
_WORD = re.compile("|".join(re.escape(word) for word in sorted(_PARTS, key=len, reverse=True)))


def parse_day(text: str, date_format: str | None = None) -> Day:
    """A day, month or year as `2026-03-09`, `2026-03`, `2026`, or only in the declared format(s).

    A format is written `DD/MM/YYYY` (words DD D MM M MON MONTH YYYY YY) or `%d/%m/%Y` (%d %m %b %B %Y %y);
    several are parted by `|`. Month names are English. A two-digit year is 1969 to 2068 (POSIX strptime).
    """
    bare = text.strip()
    patterns = [_ISO] if date_format is None else day_patterns(date_format)
    matches = [match for pattern in patterns if (match := pattern.fullmatch(bare))]
    expected = "a date as 2026-03-09, 2026-03 or 2026" if date_format is None else f"a date as {date_format}"
    if not matches:
        raise NotADay(text, expected, _day_remedy(bare, date_format))
    days = {day for match in matches if (day := _day_of(match)) is not None}
    if not days:
        raise NotADay(
            text,
            expected,
            f"no such day between {FIRST_YEAR} and {LAST_YEAR}: check it",
        )
    if len(days) > 1:
        raise NotADay(
            text,
            expected,
            "two of the declared formats read it differently; declare one of them",
        )
    return days.pop()


def day_patterns(date_format: str) -> list[re.Pattern[str]]:
    """The patterns of a declared format (alternatives parted by `|`); a format that
    cannot serve is refused.
    """
    return [_day_pattern(part.strip(), date_format) for part in date_format.split("|")]


def _day_pattern(form: str, declared: str) -> re.Pattern[str]:
    """One format as a pattern; a number beside another number must have both its digits."""
    pieces: list[str] = []
    end = 0
    for word in _WORD.finditer(form):
        pieces.append(re.escape(form[end : word.start()]))
        glued = (word.start() == end and end > 0) or _WORD.match(form, word.end()) is not None
        pieces.append(_PARTS[word[0]].replace("{#}", "{2}" if glued else "{1,2}"))
        end = word.end()
    rest = form[end:]
    literal = _WORD.sub("", form)
    pieces.append(re.escape(rest))
    expected = "a date format such as DD/MM/YYYY, MM/YYYY or %d.%m.%Y"
    if re.search(r"[A-Za-z0-9%]", literal):
        raise BadDateFormat(
            declared,
            expected,
            "use the words DD, MM, MON, YYYY or %d, %m, %b, %Y and separators",
        )
    try:
        pattern = re.compile("".join(pieces))
    except re.error:
        raise BadDateFormat(declared, expected, "name each of day, month and year once") from None
    names = set(pattern.groupindex)
    if not _is_usable(names):
        raise BadDateFormat(
            declared,
            expected,
            "name the year, the month where a day is named, and each once",
        )
    return pattern


def _is_usable(names: set[str]) -> bool:
    one_year = len(names & {"year", "short"}) == 1
    n_months = len(names & {"month", "name"})
    return one_year and n_months <= 1 and ("day" not in names or n_months == 1)


def _day_of(match: re.Match[str]) -> Day | None:
    """The day a match stands for, or None when the calendar has none such."""
    parts = match.groupdict()
    short = parts.get("short")
    year = int(parts["year"]) if short is None else int(short) + (1900 if int(short) >= 69 else 2000)
    month = _MONTHS.get(parts["name"].lower(), 0) if parts.get("name") else int(parts.get("month") or 0)
    if not FIRST_YEAR <= year <= LAST_YEAR:
        return None
    if parts.get("month") is None and parts.get("name") is None:
        return Day(dt.date(year, 1, 1), dt.date(year, 12, 31), "year")
    if not 1 <= month <= 12:
        return None
    length = calendar.monthrange(year, month)[1]
    if parts.get("day") is None:
        return Day(dt.date(year, month, 1), dt.date(year, month, length), "month")
    number = int(parts["day"])
    if not 1 <= number <= length:
        return None
    day = dt.date(year, month, number)
    return Day(day, day, "day")


def _day_remedy(text: str, date_format: str | None) -> str:
    """The likely remedy for a text that is no day."""
    if text == "":
        return "give the day, or the month or year if no more is known"
    if re.fullmatch(r"[0-9]{5}(\.[0-9]+)?", text):
        return "this looks like a spreadsheet's day number: format the column as a date"
    if re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[ T].*", text):
        return "give the day alone, without time of day or zone"
    if date_format is None and re.fullmatch(r"[0-9]{1,2}[./ -][0-9]{1,2}[./ -]([0-9]{2}|[0-9]{4})", text):
        return "declare the file's date format, for example DD/MM/YYYY; the order is never guessed"
    if date_format is None and re.search(r"[A-Za-z0-9]", text) and re.search(r"[./ -]", text):
        return "declare the file's date format, for example MM/YYYY or D MON YYYY"
    if date_format is not None:
        return "write it in the declared format, or declare further formats parted by |"
    return "write the year first, then month and day"
