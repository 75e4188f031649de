"""What the words beside a table say of its numbers: units, and whether clearances are radial or diametral."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from fleet.importing.reading_plans.layout import Grid
from fleet.importing.reading_plans.reading_plan import Plan, letters
from fleet.sheets.files import Tab
from fleet.unit_words import basis_in, units_in

MOST_OFFERS = 6
LONGEST = 300  # a longer text is a remark of its own and no note to a table
_FIGURE = re.compile(r"[-+<>~]?\s*[0-9]+(?:[.,][0-9]+)?\s*[a-zA-Z\u00b5\u03bc\"']*")
TAKEN_UP = frozenset(
    {"read", "remark", "a heading"}
)  # what became of cells that say nothing of the table as a whole


@dataclass(frozen=True)
class Offer:
    """What one cell beside the table says: a unit, a basis, or both, with the cell and its words."""

    place: str
    text: str
    unit: str = ""
    basis: str = ""

    @property
    def words(self) -> str:
        return ", ".join(part for part in (self.unit, self.basis) if part)

    @property
    def value(self) -> str:
        """As a field of the page holds it."""
        return f"{self.unit}|{self.basis}"


def offers(tabs: Sequence[Tab], fates: Mapping[tuple[str, int, int], str]) -> list[Offer]:
    """What titles, notes and tab names say, in order of the sheet; each said once.

    Parameters
    ----------
    fates : mapping
        (tab, row, column from 0) to what became of the cell: those taken up by rows say nothing of the table.
    """
    texts = {tab.name: {row.number: row.cells for row in tab.all_rows()} for tab in tabs}
    found: dict[tuple[str, str, str], Offer] = {}
    for place, text in _beside(texts, fates):
        for one in _said(place, text):
            found.setdefault((one.unit, one.basis, one.text), one)
    return list(found.values())[:MOST_OFFERS]


def _beside(
    texts: Mapping[str, Mapping[int, Sequence[str]]], fates: Mapping[tuple[str, int, int], str]
) -> Iterator[tuple[str, str]]:
    several = len(texts) > 1
    for name in texts:
        if name:
            yield f"tab {name}", name
    for (name, number, j), fate in fates.items():
        cells = texts.get(name, {}).get(number, ())
        if fate not in TAKEN_UP and j < len(cells):
            yield f"{f'tab {name}, ' if several else ''}cell {letters(j)}{number}", cells[j].strip()


def _said(place: str, text: str) -> Iterator[Offer]:
    if not _is_note(text):
        return
    units, basis = units_in(text), basis_in(text)
    for unit in units or ([""] if basis else []):
        yield Offer(place, " ".join(text.split()), unit, basis)


def _is_note(text: str) -> bool:
    """A text that may speak of the table, and is no figure of it."""
    return 0 < len(text) <= LONGEST and _FIGURE.fullmatch(text) is None


@dataclass(frozen=True)
class TabSays:
    """The units and bases that a tab's name, its title and its notes name."""

    units: tuple[str, ...] = ()
    bases: tuple[str, ...] = ()


def says(grid: Grid, plan: Plan, first: int, last: int) -> TabSays:
    """What stands above the headings of a tab, in rows that the plan skips, and in the tab's name."""
    units: dict[str, None] = {}
    bases: dict[str, None] = {}
    for text in (grid.name, *_notes(grid, plan, first, last)):
        if _is_note(text):
            units |= dict.fromkeys(units_in(text))
            bases |= dict.fromkeys(part for part in (basis_in(text),) if part)
    return TabSays(tuple(units), tuple(bases))


def _notes(grid: Grid, plan: Plan, first: int, last: int) -> Iterable[str]:
    for number in grid.numbers:
        texts = [text for text in grid.texts(number) if text]
        if number < first or (number > last and len(texts) == 1) or _is_skipped(plan, texts):
            yield from texts


def _is_skipped(plan: Plan, texts: Sequence[str]) -> bool:
    return bool(texts) and texts[0].casefold().startswith(tuple(plan.skip))
