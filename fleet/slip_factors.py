"""The slips of the pen that a length can carry: units taken for one another, twice or half of it, a moved
decimal mark.

The one home of these factors: the pump's question and the sheets read them here, and a test holds the wear
model's to them. 1 in = 25.4 mm exactly (by definition, 1959); radial for diametral and a lost digit are
common practice, no published source.
"""

from dataclasses import dataclass
from functools import cache

UNIT_UM: dict[str, float] = {"mm": 1000.0, "um": 1.0, "mil": 25.4, "thou": 25.4, "in": 25400.0}
HUNDREDTH_MM = "hundredths of a millimetre"  # the divisions of a metric dial
_MEANT: tuple[tuple[str, float], ...] = (
    ("mm", 1000.0),
    ("um", 1.0),
    ("thou", 25.4),
    ("in", 25400.0),
    (HUNDREDTH_MM, 10.0),
)
RADIAL, DOUBLED, MARK = "radial where diametral is asked", "doubled already", "decimal mark misplaced"
AS_HUNDREDTHS, AS_THOU = (
    "thou typed as hundredths of a millimetre",
    "hundredths of a millimetre typed as thou",
)
_SHIFTS: tuple[tuple[float, str], ...] = (
    (0.5, RADIAL),
    (2.0, DOUBLED),
    (0.1, MARK),
    (10.0, MARK),
    (0.01, MARK),
    (100.0, MARK),
    (1 / 2.54, AS_HUNDREDTHS),
    (2.54, AS_THOU),
)


@dataclass(frozen=True, slots=True)
class Slip:
    """How many times too large a number becomes, what was probably done, and the unit it was meant in (empty:
    the box's).
    """

    factor: float
    words: str
    unit: str = ""


@cache
def slips_of(unit: str) -> tuple[Slip, ...]:
    """Every slip that a number in a box of this unit can be, those of a unit first.

    Examples
    --------
    >>> [round(slip.factor, 4) for slip in slips_of("thou")][:4]
    [0.0254, 25.4, 0.001, 2.54]
    """
    own = UNIT_UM[unit]
    meant = [Slip(own / um, name, name) for name, um in _MEANT if um != own]
    taken = {round(slip.factor, 9) for slip in meant}
    return (*meant, *(Slip(factor, words) for factor, words in _SHIFTS if round(factor, 9) not in taken))


# What two stored numbers that differ by a factor may be: the factors at which a sheet's value is asked about.
APART: dict[float, str] = {
    2.0: "a radial clearance and a diametral one differ by 2",
    10.0: "a zero may have been lost or added",
    25.4: "in and mm, or mil and um, differ by 25.4",
    39.37: "mm and mil differ by 39.37",
    1000.0: "mm and um, or in and mil, differ by 1000",
}
# What a surprising stored value may be, by how many times too large it is.
MIXED: dict[float, str] = {
    0.5: "a radial value given as diametral",
    2.0: "a diametral value doubled",
    25.4: "inches and millimetres mixed",
    39.37: "thou and millimetres mixed",
    10.0: "a misplaced decimal point",
    0.1: "a misplaced decimal point",
    1000.0: "millimetres and micrometres mixed",
    0.001: "millimetres and micrometres mixed",
}
