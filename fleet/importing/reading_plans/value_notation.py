"""One cell of a value column: a number with or without its unit, two numbers, a swallowed date, or a word."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from fleet.unit_words import HUNDREDTHS, unit_named
from fleet.units import mixed_number

_UNIT_WORDS = {
    "mm": "mm",
    "millimetre": "mm",
    "millimeter": "mm",
    "um": "um",
    "µm": "um",
    "μm": "um",
    "micron": "um",
    "microns": "um",
    "mil": "mil",
    "mils": "mil",
    "thou": "thou",
    "thous": "thou",
    "th": "thou",
    "in": "in",
    "in.": "in",
    "inch": "in",
    "inches": "in",
    '"': "in",
    "''": "in",
    "″": "in",
}
_NUMBER = r"[-+]?(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)"
_UNIT = r"mm|millimet(?:re|er)|[uµμ]m|microns?|mils?|thous?|th|in\.?|inch(?:es)?|\"|''|″"
_ONE = re.compile(rf"(?P<n>[<>]?\s*{_NUMBER})\s*(?P<u>{_UNIT})?", re.IGNORECASE)
_TWO = re.compile(
    rf"(?P<a>{_NUMBER})\s*(?P<ua>{_UNIT})?\s*(?P<mark>/|&|;|\+|and|-|–|to)\s*(?P<b>{_NUMBER})\s*(?P<ub>{_UNIT})?",
    re.IGNORECASE,
)
_DENOMINATOR = r"(?:2|4|8|16|32|64|128|256)"
_FRACTION = re.compile(
    r"(?<![0-9.,/])(?:(?P<whole>[0-9]{1,3})(?:"
    rf" +|-))?(?P<top>[0-9]{{1,3}})/(?P<bottom>{_DENOMINATOR})(?![0-9.,/])"
)
_VULGAR = {"½": "1/2", "¼": "1/4", "¾": "3/4", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8"}
_MARKED = re.compile(
    rf"(?P<before>~|≈|ca\.?|c\.|abt\.?|about|approx\.?)?\s*(?P<n>{_NUMBER}\s*(?:{_UNIT})?)\s*(?P<after>\?|\*+|!|\(\?\)|est\.?|approx\.?)?",
    re.IGNORECASE,
)

# How large a bare number is, and the units in which such a number is a clearance somebody may have measured.
SIZES = (
    (Decimal("0.02"), "below 0.02", ("in",)),
    (Decimal(1), "0.02 to 1", ("mm",)),
    (Decimal(50), "1 to 50", ("mil", "thou", HUNDREDTHS)),
    (Decimal("Infinity"), "50 and more", ("um",)),
)


@dataclass(frozen=True)
class Part:
    """A number of a cell: its text as the template takes it, its unit where the cell has one, the end it is
    of.
    """

    text: str
    unit: str = ""
    end: str = ""
    note: str = ""


@dataclass(frozen=True)
class Odd:
    """A cell that is no plain number: what kind, about what, and the parts if they are known."""

    code: str
    about: str
    mark: str = ""


def unit_in(text: str) -> str:
    """The house's spelling of a unit word in a sheet; blank for what is none."""
    if not text:
        return ""
    return _UNIT_WORDS.get(text.strip().casefold()) or unit_named(text)


@lru_cache(maxsize=50_000)
def folded_word(text: str) -> str:
    """A word as it is looked up."""
    return " ".join(text.casefold().split()).rstrip(".") or text.strip()


def read_value_cell(text: str, held: int, *, two: str, words: Mapping[str, str]) -> list[Part] | Odd | str:
    """The numbers of a cell; what it is instead (`Odd`); or the meaning of its word (`opened`, `leave`,
    `remark`).

    Parameters
    ----------
    held : int
        1 where the workbook holds a date, 2 where it holds a number.
    two : str
        what two values are: `ends`, `range`, `repeat`, or blank (not known).

    Examples
    --------
    >>> read_value_cell("6 thou", 0, two="", words={})
    [Part(text='6', unit='thou', end='', note='')]
    >>> [part.end for part in read_value_cell(".006/.007", 0, two="ends", words={})]
    ['in', 'out']
    """
    if held == 1:
        return Odd("swallowed_date", "")
    meaning = words.get(text.strip().casefold()) or words.get(folded_word(text))
    if meaning:
        return meaning
    read = _numbers(text, two)
    return list(read) if isinstance(read, tuple) else read


@lru_cache(maxsize=50_000)
def _numbers(text: str, two: str) -> tuple[Part, ...] | Odd:
    """The numbers of a cell, remembered: sheets repeat themselves."""
    read = _parts(text, two)
    return tuple(read) if isinstance(read, list) else read


def _parts(text: str, two: str) -> list[Part] | Odd:
    spelt = _with_fractions_spelt(text)
    if (fraction := _fraction(spelt)) is not None:
        return [fraction]
    text = _FRACTION.sub(_as_decimal, spelt) if re.search(r"[0-9](?: |-)[0-9]+/[0-9]", spelt) else text
    one = _ONE.fullmatch(text)
    if one:
        return [Part(re.sub(r"\s", "", one["n"]), unit_in(one["u"] or ""))]
    pair = _TWO.fullmatch(text)
    if pair:
        return _pair(pair, two)
    marked = _MARKED.fullmatch(text)
    if marked and (marked["before"] or marked["after"]):
        return Odd("marked_number", (marked["before"] or marked["after"]).casefold(), marked["n"])
    return Odd("odd_word", folded_word(text)[:80])


def _with_fractions_spelt(text: str) -> str:
    """`9½` as `9 1/2`."""
    for sign, words in _VULGAR.items():
        text = text.replace(sign, f" {words}")
    return text.strip()


def _fraction(text: str) -> Part | None:
    """A fraction that can be nothing else: with its whole number, or bare in inches, where `1/128` cannot be
    two values.
    """
    found = re.fullmatch(rf"(?P<n>{_FRACTION.pattern})\s*(?P<u>{_UNIT})?", text, re.IGNORECASE)
    if found is None or not 0 < int(found["top"]) < int(found["bottom"]):
        return None
    unit = unit_in(found["u"] or "")
    if found["whole"] is None and unit != "in":
        return None
    return Part(f"{found['whole'] or 0} {found['top']}/{found['bottom']}", unit)


def _as_decimal(found: re.Match[str]) -> str:
    """A whole number with a fraction as a decimal number; anything else as it stands."""
    mixed = mixed_number(f"{found['whole']} {found['top']}/{found['bottom']}") if found["whole"] else None
    return found[0] if mixed is None else format(mixed[0].normalize(), "f")


def _pair(pair: re.Match[str], two: str) -> list[Part] | Odd:
    mark = {"–": "-", "to": "-"}.get(pair["mark"].casefold(), pair["mark"].casefold())
    unit_a, unit_b = unit_in(pair["ua"] or ""), unit_in(pair["ub"] or "")
    unit_a = unit_a or unit_b
    if two == "ends":
        return [Part(pair["a"], unit_a, "in"), Part(pair["b"], unit_b or unit_a, "out")]
    if two == "repeat":
        return [Part(pair["a"], unit_a), Part(pair["b"], unit_b or unit_a)]
    if two == "range":
        low, high = number_of(pair["a"]), number_of(pair["b"])
        if low is not None and high is not None and low != high:
            first, last = (pair["a"], pair["b"]) if low < high else (pair["b"], pair["a"])
            return [Part(f"{first}-{last}", unit_a)]
        return [Part(pair["a"], unit_a)]
    return Odd("two_values", mark)


def from_date(iso: str, order: str) -> str:
    """What was probably typed where the workbook holds a date: its day and month, in the declared order."""
    month, day = iso[5:7].lstrip("0"), iso[8:10].lstrip("0")
    return f"{day}-{month}" if order == "day_month" else f"{month}-{day}"


def number_of(text: str) -> Decimal | None:
    """A number's text as a number, whichever its decimal mark; None for none."""
    if (mixed := mixed_number(text)) is not None:
        return mixed[0]
    try:
        return Decimal(text.lstrip("<>").strip().replace(",", "."))
    except InvalidOperation:
        return None


@lru_cache(maxsize=50_000)
def size_of(text: str) -> str:
    """Which of `SIZES` a bare number falls in; blank for nought and what is no number."""
    number = number_of(text.partition("-")[0] or text)
    if number is None or number <= 0:
        return ""
    return next(name for end, name, _ in SIZES if number < end)


@lru_cache(maxsize=100)
def size_of_unit(unit: str) -> str:
    """The size that clearances have in a unit."""
    return next((name for _, name, units in SIZES if unit in units), "")


def in_hundredths(text: str) -> str:
    """Hundredths of a millimetre as millimetres; an interval's two numbers each."""
    parts = [number_of(part) for part in re.split(r"(?<=[0-9])-", text)]
    if any(part is None for part in parts):
        return text
    return "-".join(format(part / 100, "f") for part in parts if part is not None)
