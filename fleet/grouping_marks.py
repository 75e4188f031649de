"""Points and commas that part thousands, told from decimal marks by a column's own pattern; asked where both
fit.
"""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

MARKS = (".", ",")
GROUPING, DECIMAL, EITHER = "grouping", "decimal", "either"
_TYPED = re.compile(r"[0-9][0-9.,]*")
_SPACED = re.compile(r"[0-9]{1,3}(?:[ \u00a0\u202f'\u2019][0-9]{3})+(?![0-9])")


@dataclass(frozen=True)
class Unclear:
    """A number that could be read both ways: with which mark."""

    mark: str


def spaces_out(text: str) -> str:
    """A number without the spaces or apostrophes that part its thousands.

    >>> spaces_out("20 500"), spaces_out("70'100,5"), spaces_out("1 2")
    ('20500', '70100,5', '1 2')
    """
    found = _SPACED.match(text)
    return re.sub(r"[^0-9]", "", found[0]) + text[found.end() :] if found else text


def marks_of(texts: Iterable[str], decimal_elsewhere: Iterable[str] = ()) -> dict[str, str]:
    """What each mark is in a column: `grouping`, `decimal`, or `either` where nothing tells; only marks that
    occur.

    Parameters
    ----------
    texts : iterable of str
        the cells as typed; what is no number tells nothing.
    decimal_elsewhere : iterable of str
        marks that other columns of the sheet show to be decimal.

    Examples
    --------
    >>> marks_of(["20.500", "31.000"]), marks_of(["20.500", "31.5"]), marks_of(["1.020.500", "31.000"])
    ({'.': 'either'}, {'.': 'decimal'}, {'.': 'grouping'})
    >>> marks_of(["20.500"], decimal_elsewhere=[","]), marks_of(["20.500,5", "31.000"])
    ({'.': 'grouping'}, {',': 'decimal', '.': 'grouping'})
    """
    shown: dict[str, set[str]] = {}
    for text in texts:
        for mark, kind in _of_one(spaces_out(text.strip())).items():
            shown.setdefault(mark, set()).add(kind)
    known = {mark: _settled(kinds) for mark, kinds in shown.items()}
    decimals = {mark for mark, kind in known.items() if kind == DECIMAL} | set(decimal_elsewhere)
    return {
        mark: GROUPING if kind == EITHER and mark not in decimals and decimals else kind
        for mark, kind in known.items()
    }


def _settled(kinds: set[str]) -> str:
    certain = kinds - {EITHER}
    return certain.pop() if len(certain) == 1 else EITHER


def _of_one(text: str) -> dict[str, str]:
    """What the marks of one number show."""
    if _TYPED.fullmatch(text) is None:
        return {}
    there = [mark for mark in MARKS if mark in text]
    if len(there) == 2:
        last = max(there, key=text.rindex)
        first = next(mark for mark in there if mark != last)
        return {last: DECIMAL, first: GROUPING} if text.count(last) == 1 else {}
    if not there:
        return {}
    (mark,) = there
    whole, *groups = text.split(mark)
    fits = 1 <= len(whole) <= 3 and whole[0] != "0" and all(len(group) == 3 for group in groups)
    if len(groups) > 1:
        return {mark: GROUPING} if fits else {}
    return {mark: EITHER if fits else DECIMAL}


def plain(text: str, marks: Mapping[str, str]) -> str | Unclear:
    """A number with a decimal point and nothing else; `Unclear` where a mark may be either; another text as
    it is.

    Examples
    --------
    >>> plain("20.500", {".": "grouping"}), plain("20.500", {".": "decimal"}), plain(
    ...     "20.500", {".": "either"}
    ... )
    ('20500', '20.500', Unclear(mark='.'))
    >>> plain("20 500", {}), plain("1.020,5", {".": "grouping", ",": "decimal"}), plain("?", {})
    ('20500', '1020.5', '?')
    """
    bare = spaces_out(text.strip())
    shown = _of_one(bare)
    if not shown:
        return bare if _TYPED.fullmatch(bare) else text
    for mark, kind in shown.items():
        meant = marks.get(mark, kind) if kind == EITHER else kind
        if meant == EITHER:
            return Unclear(mark)
        bare = bare.replace(mark, "" if meant == GROUPING else "d")
    return bare.replace("d", ".")
