"""Limits that a sheet names: in titles, notes, footers, limit columns, or a cell like "max 12 thou all
pumps".

Offered with the cell they stand in, never stored unasked. English and German words of the trade (common
practice, no published source).
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

from fleet.importing.reading_plans.reading_plan import letters
from fleet.importing.reading_plans.value_notation import in_hundredths, unit_in
from fleet.models import folded
from fleet.sheets.files import Row, Tab
from fleet.unit_words import HUNDREDTHS, units_in
from fleet.units import shown

MOST_OFFERS = 12
LONGEST_TEXT = 300
LONGEST_HEADING = 60
_REPLACE = (
    r"replace(?:ment)?|renew(?:al)?|reject|discard|condemn\w*"
    r"|verschlei(?:ß|ss)grenze|austausch\w*|wechselgrenze"
)
_LEAST = r"min(?:imum|imal|destens)?"
_MOST = (
    r"max(?:imum|imal)?|limits?|allow(?:ed|able)|permissible|grenz(?:e|wert|ma(?:ß|ss)|spiel)|zul(?:(?:ä|ae)ssig\w*)?|not"
    r" (?:over|above)"
)
_LIMITING = re.compile(
    rf"\b(?:(?P<replace>{_REPLACE})|(?P<in_service_max>{_MOST})|(?P<in_service_min>{_LEAST}))\b",
    re.IGNORECASE,
)
_OTHER = re.compile(
    r"\b(?:side|end|axial\w*|thrust|float|seal|ring|impeller|temp\w*|vib\w*|bar|rpm|hours?|speed|load|oil|new|fitting|einbau\w*|torque)\b",
    re.IGNORECASE,
)
_ALL = re.compile(r"\b(?:all|every|each|both|alle[nr]?|jede\w?|s(?:ä|ae)mtliche\w?)\b", re.IGNORECASE)
_NUMBER = re.compile(
    r"(?<![\w.,/])(?P<n>[0-9]{0,6}[.,]?[0-9]{1,9})\s*(?P<u>mm|[uµμ]m|microns?|mils?|thous?|inch(?:es)?|in\b|\"|zoll|hundertstel)?(?![\w/%]|[.,][0-9])",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class OfferedLimit:
    """One limit a sheet names.

    Parameters
    ----------
    place, text : str
        the cell it stands in, and its words.
    use : str
        `replace`, `in_service_max` or `in_service_min`.
    value, unit : str
        the number with a decimal point; the unit blank where neither the cell nor its heading names one.
    named : frozenset of frozenset of str
        for each row it stands in the texts of the row and its tab's name, folded, among them the pump's and
        the position's where they stand there.
    for_all : bool
        its words say all, or it is a title or a footer: for every pump where `named` names none.
    """

    place: str
    text: str
    use: str
    value: str
    unit: str = ""
    named: frozenset[frozenset[str]] = frozenset()
    for_all: bool = False

    def words(self) -> str:
        """Its cell's words without numbers and their units, which may name a position."""
        return " ".join(_NUMBER.sub(" ", self.text).split())


def offered_limits(tabs: Iterable[Tab]) -> list[OfferedLimit]:
    """The limits that a workbook names, in its order, each once.

    Parameters
    ----------
    tabs : iterable of Tab
        as `fleet.sheets.files.read_sheet` gives them.

    Returns
    -------
    list of OfferedLimit
        at most `MOST_OFFERS`; a cell that names other quantities, or a new clearance, offers none.
    """
    found: dict[tuple[str | bool, ...], OfferedLimit] = {}
    for tab in tabs:
        for one in _of_tab(tab):
            key = (one.use, one.value, one.unit, one.words(), one.for_all)
            before = found.setdefault(key, one)
            found[key] = replace(before, named=before.named | one.named)
    return list(found.values())[:MOST_OFFERS]


def _of_tab(tab: Tab) -> Iterator[OfferedLimit]:
    rows = tab.all_rows()
    margin = min((k for row in rows for k, cell in enumerate(row.cells) if cell.strip()), default=0)
    for i, row in enumerate(rows):
        for j, cell in enumerate(row.cells):
            text = " ".join(cell.split())
            use = _use(text)
            if not use:
                continue
            place = f"{f'tab {tab.name}, ' if tab.name else ''}cell {letters(j)}{row.number}"
            own = _in_text(text)
            if own is not None:
                is_title = _is_title(rows, i, j, margin)
                yield OfferedLimit(place, text, use, *own, *_names(tab.name, [row], text, is_title=is_title))
            elif len(text) <= LONGEST_HEADING:
                yield from _beside(tab.name, rows, i, j, text, use, margin)


def _use(text: str) -> str:
    """Which limit a text names; blank for none."""
    found = _LIMITING.search(text) if 0 < len(text) <= LONGEST_TEXT else None
    return str(found.lastgroup) if found and not _OTHER.search(text) else ""


def _is_title(rows: list[Row], i: int, j: int, margin: int) -> bool:
    """Whether a cell stands alone in its row at the margin, or in a first row without any other number.

    Alone further right it may belong to a pump that is written once above its rows.
    """
    others = [cell for k, cell in enumerate(rows[i].cells) if k != j and cell.strip()]
    return (not others and j == margin) or (i == 0 and not any(re.search("[0-9]", cell) for cell in others))


def _names(
    tab: str, rows: Iterable[Row], text: str, *, is_title: bool
) -> tuple[frozenset[frozenset[str]], bool]:
    """What the limit may be of, row by row with its tab, and whether it is for all where that names no pump;
    nothing by rows where its words say all.
    """
    if _ALL.search(text):
        return frozenset(), True
    texts = ({folded(cell) for cell in (tab, *row.cells)} - {""} for row in rows)
    return frozenset(frozenset(names) for names in texts if names), is_title


def _in_text(text: str) -> tuple[str, str] | None:
    """Number and unit behind the limit's word, else the last before it."""
    word = _LIMITING.search(text)
    assert word is not None
    numbers = list(_NUMBER.finditer(text))
    behind = [m for m in numbers if m.start() >= word.end()]
    before = [m for m in numbers if m.end() <= word.start() and (m["u"] or re.search("[.,]", m["n"]))]
    one = behind[0] if behind else before[-1] if before else None
    if one is None:
        return None
    return _said(one["n"], unit_in(one["u"] or "") or next(iter(units_in(text)), ""))


def _said(number: str, unit: str) -> tuple[str, str]:
    pointed = number.replace(",", ".")
    return (in_hundredths(pointed), "mm") if unit == HUNDREDTHS else (pointed, unit)


def _beside(
    tab: str, rows: list[Row], i: int, j: int, text: str, use: str, margin: int
) -> Iterator[OfferedLimit]:
    """Numbers right of a footer's word, or below a heading, each with the names of its row."""
    unit = next(iter(units_in(text)), "")
    is_first = not any(cell.strip() for cell in rows[i].cells[:j])
    right = [(i, k) for k in range(j + 1, len(rows[i].cells))] if is_first else []
    below = [(n, j) for n in range(i + 1, len(rows)) if j < len(rows[n].cells)]
    for where, by_row in ((right, False), (below, True)):
        cells = [(n, k, m) for n, k in where if (m := _NUMBER.fullmatch(rows[n].cells[k].strip()))]
        grouped: dict[tuple[str, str], list[tuple[int, int]]] = {}
        for n, k, m in cells:
            grouped.setdefault(_said(m["n"], unit_in(m["u"] or "") or unit), []).append((n, k))
        for (value, its_unit), places in grouped.items():
            n, k = places[0]
            of = [rows[row] for row, _ in places] if by_row else [rows[i]]
            names = _names(tab, of, text, is_title=not by_row and j == margin)
            place = f"{f'tab {tab}, ' if tab else ''}cell {letters(k)}{rows[n].number}"
            words = (
                f"{rows[n].cells[k].strip()} under {shown(text)}"
                if by_row
                else f"{text} {rows[n].cells[k].strip()}"
            )
            yield OfferedLimit(place, words, use, value, its_unit, *names)
        if cells:
            return
