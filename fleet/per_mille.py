"""The ranges that clearances and limits have as per mille of their journal. Outside one asks; nothing is
refused.
"""

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class PerMille:
    """A range in per mille of the journal's diameter; clearances are diametral.

    Parameters
    ----------
    least, most : Decimal
    source : str
        who says so.

    Examples
    --------
    >>> CLEARANCE.of(Decimal(100_000)), CLEARANCE.holds(Decimal(45), Decimal(100_000)), CLEARANCE.words
    ((Decimal('50.0'), Decimal('400')), False, '0.5 to 4 per mille')
    """

    least: Decimal
    most: Decimal
    source: str

    def of(self, journal_um: Decimal) -> tuple[Decimal, Decimal]:
        """The least and the most in um on a journal in um."""
        return journal_um * self.least / 1000, journal_um * self.most / 1000

    def holds(self, um: Decimal, journal_um: Decimal) -> bool:
        """Whether a length lies in the range on a journal."""
        low, high = self.of(journal_um)
        return low <= um <= high

    @property
    def words(self) -> str:
        return f"{self.least.normalize():f} to {self.most.normalize():f} per mille"


def part_of(um: Decimal, journal_um: Decimal) -> str:
    """A length in per mille of its journal, as it is shown.

    >>> part_of(Decimal("7.62"), Decimal(100_000)), part_of(Decimal(381_000), Decimal(100_000))
    ('0.08', '3810')
    """
    part = um / journal_um * 1000
    return f"{part:.2f}" if part < 100 else f"{part:.0f}"


CLEARANCE = PerMille(
    Decimal("0.5"),
    Decimal(4),
    source=(
        "covers every published rule from the smallest to the largest; standard fits have means of 0.56 to"
        " 3.15 (scope of ISO 12129-1:2019)"
    ),
)
"""A clearance read from a sheet, or fitted."""

ENTRY = PerMille(CLEARANCE.least, CLEARANCE.most, source="as of a clearance in a sheet")
"""A clearance typed at the pump where nothing was measured before."""

USUAL = Decimal("1.5")
"""The middle of what is expected there: 0.0015 in per inch, typical of pumps
(Practical Machinery Management for Process Plants, Major Process Equipment Maintenance and Repair, p. 30)."""

LIMIT = PerMille(
    Decimal("0.5"),
    Decimal("6.3"),
    source=(
        "the least as of a clearance; the most is twice the widest standard fit (3.15, ISO 12129-1:2019), as"
        " an in-service maximum in print is twice the new clearance (Practical Machinery Management for"
        " Process Plants, Major Process Equipment Maintenance and Repair, p. 30)"
    ),
)
"""A limit of a clearance."""

TYPED = PerMille(
    Decimal(0), Decimal(10), source="three times the widest standard fit (3.15, ISO 12129-1:2019); judgement"
)
"""A clearance typed at the pump: outside it one asks, whatever else is known."""
