"""A machine's own book: its unit, and what the plant has entered of it for one bearing.

What is entered is plant data, dated and with its author: the dated setting `machine_book ID` of the bearing's
site, each entry as typed. Nothing is entered by default; side gap and end float, given as low-high, are what
a reading of them is held against.
"""

import datetime as dt
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from uuid import UUID

from fleet import units
from fleet.models import Authority, Bearing, LimitUse, Setting
from fleet.plant.acts import Refused
from fleet.plant.choices import MACHINE_BOOK, set_setting
from inspections.forecasts.wear_inputs import Known

SETTING = MACHINE_BOOK
LONGEST = 120
# Each entry: its words, and what is given there.
ENTRIES = {
    "cap_torque": ("Cap torque", "With its unit, and the order of the bolts."),
    "shims": ("Shims", "Thickness of each side as fitted."),
    "oil_ring": ("Oil ring", "Bore and width when new, and the least it may be worn to."),
    "end_float": ("End float", "From and to with the unit, such as 0.20-0.35 mm."),
    "side_gap": ("Side gap", "Of each side, from and to with the unit, such as 0.08-0.12 mm."),
    "document": ("Where it stands", "Book, drawing or page."),
}
RANGES = ("end_float", "side_gap")

# Which entry of the book speaks first; a rule of thumb is no entry of the machine's book.
_FIRST = (LimitUse.IN_SERVICE_MAX, LimitUse.FITTING_MAX, LimitUse.FITTING_MIN, LimitUse.REPLACE)


def book_unit(known: Known) -> str:
    """The unit in which the book of a bearing's machine speaks: `mm`, `um`, `mil`, `thou` or `in`.

    That of its limits as entered, the maximum first; else the one that most of its clearances were typed in,
    the latest of two that are even; empty where neither says.
    """
    for use in _FIRST:
        limit = known.limits.get(use)
        if limit is not None and limit.unit and limit.authority != Authority.GENERAL_RULE:
            return str(limit.unit)
    typed = [one.unit for one in known.story.measured if one.quantity == "clearance" and one.unit]
    return Counter(reversed(typed)).most_common(1)[0][0] if typed else ""


@dataclass(frozen=True)
class MachineBook:
    """What is entered of one bearing's machine: entries as typed, by whom (a person's id), since when."""

    entries: Mapping[str, str] = field(default_factory=dict)
    by: UUID | None = None
    on: dt.date | None = None

    @property
    def lines(self) -> list[tuple[str, str]]:
        """(what, value as typed) in the order of the page."""
        return [(words, self.entries[name]) for name, (words, _) in ENTRIES.items() if name in self.entries]

    @property
    def limits(self) -> dict[tuple[str, str], float]:
        """What side gap and end float are held against, um, as found and as left alike."""
        found = {}
        for quantity in RANGES:
            if quantity in self.entries:
                low, high = _range(quantity, self.entries[quantity])
                for uses, um in (
                    ((LimitUse.IN_SERVICE_MIN, LimitUse.FITTING_MIN), low),
                    ((LimitUse.IN_SERVICE_MAX, LimitUse.FITTING_MAX), high),
                ):
                    found |= {(quantity, str(use)): float(um) for use in uses}
        return found


def named(bearing: UUID) -> str:
    """The name of the setting that keeps a bearing's entries."""
    return f"{SETTING} {bearing}"


def book_of(bearing: Bearing, day: dt.date, rows: Iterable[Setting]) -> MachineBook:
    """What is entered for a bearing as it holds on a day, among settings of its site."""
    name = named(bearing.pk)
    held = [row for row in rows if row.name == name and row.from_on is not None and row.from_on <= day]
    if not held:
        return MachineBook()
    row = max(held, key=lambda one: (one.from_on, one.entry_n))
    return MachineBook(
        {key: str(row.value[key]) for key in ENTRIES if row.value.get(key)}, row.recorded_by, row.from_on
    )


def enter(*, bearing: Bearing, entries: Mapping[str, str], on: dt.date, by: UUID) -> Setting:
    """Record what the machine's book says, from a day on; what is empty is not entered.

    Raises
    ------
    Refused
        for an entry that is too long, or a range that is none.
    """
    kept = {}
    for name, (words, _) in ENTRIES.items():
        typed = " ".join(entries.get(name, "").split())
        if "\0" in typed or len(typed) > LONGEST:
            raise Refused(f"{words}: {len(typed)} letters; at most {LONGEST}. Shorten it.")
        if typed and name in RANGES:
            _range(name, typed)
        if typed:
            kept[name] = typed
    return set_setting(name=named(bearing.pk), value=kept, site=bearing.place.site, from_on=on, by=by)


def _range(name: str, typed: str) -> tuple[Decimal, Decimal]:
    """From and to, um.

    >>> _range("end_float", "0.20-0.35 mm")
    (Decimal('200.0000'), Decimal('350.0000'))
    """
    words = ENTRIES[name][0]
    try:
        bare, unit = units.split_unit(typed)
        measured = units.parse_measured(bare, decimal_comma="," in bare)
    except units.Unreadable as fault:
        raise Refused(f"{words}: {fault}.") from None
    if unit is None or measured.low is None or measured.high is None:
        raise Refused(f"{words}: “{typed}” found; give from and to with the unit, such as 0.20-0.35 mm.")
    low, high = (units.to_um(end, unit) for end in (measured.low, measured.high))
    if not 0 <= low < high <= 10_000:
        raise Refused(f"{words}: “{typed}” lies outside 0 to 10 mm. Check the value and its unit.")
    return low, high
