"""What speaks against a limit about to be set: its range on the journal, the last reading, the rules in
print.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from fleet.formatting import plain_day
from fleet.models import Bearing, LimitUse
from fleet.models.recorded import LAST_FIRST
from fleet.per_mille import LIMIT, part_of
from fleet.published_rules import RULES
from fleet.units import from_um, show_um
from inspections.models import Reading

# Limits that an opening is held against as its most: under the last reading they put the bearing on top at
# once.
MOST = frozenset({LimitUse.IN_SERVICE_MAX, LimitUse.REPLACE})
FAR_FROM_RULE = (
    2  # times the largest rule, or under the smallest divided by it; judgement, no published source
)


@dataclass(frozen=True, slots=True)
class Doubt:
    """One thing that speaks against a limit, as a sentence without its full stop."""

    code: str
    words: str


@dataclass(frozen=True, slots=True)
class Ground:
    """What a limit is looked at against: the journal in um and the last clearance, where they are known."""

    journal_um: Decimal | None = None
    last: Reading | None = None

    @property
    def last_um(self) -> Decimal | None:
        """The last reading, diametral, in um."""
        return self.last.value_um if self.last else None


def ground_of(bearing: Bearing, journal_um: Decimal | None) -> Ground:
    """The journal as it holds, and the last standing clearance that counts."""
    rows = Reading.objects.for_wear().filter(bearing=bearing, quantity="clearance", value_um__isnull=False)
    return Ground(journal_um, rows.order_by("-on", *LAST_FIRST).first())


def own_unit(bearing: Bearing) -> str:
    """The unit this bearing was last read in, else that of its last limit; blank: nobody has said one."""
    read = Reading.objects.standing().filter(bearing=bearing, quantity="clearance")
    unit = read.order_by("-on", *LAST_FIRST).values_list("unit", flat=True).first()
    of_limits = bearing.limits.filter(withdrawn_by__isnull=True).exclude(unit="")
    return unit or of_limits.order_by(*LAST_FIRST).values_list("unit", flat=True).first() or ""


def doubts(use: str, um: Decimal, unit: str, ground: Ground) -> list[Doubt]:
    """Everything that speaks against a limit of `um` (diametral), in the unit it was typed in; empty:
    nothing.

    Examples
    --------
    >>> [one.code for one in doubts("in_service_max", Decimal("7.62"), "thou", Ground(Decimal(100_000)))]
    ['range', 'rule']
    """
    if use == LimitUse.LINING_MIN:
        return []
    found = [_range(um, ground), _beside_last(use, um, ground), _beside_rules(use, um, unit, ground)]
    return [one for one in found if one is not None]


def _range(um: Decimal, ground: Ground) -> Doubt | None:
    journal = ground.journal_um
    if journal is None or LIMIT.holds(um, journal):
        return None
    share = part_of(um, journal)
    words = f"it is {share} per mille of the {show_um(journal, 'mm', 1)} journal, outside {LIMIT.words}"
    return Doubt("range", words)


def _beside_last(use: str, um: Decimal, ground: Ground) -> Doubt | None:
    last, row = ground.last_um, ground.last
    if last is None or row is None:
        return None
    read = f"the last reading, {show_um(last, row.unit)} on {plain_day(row.on)}"
    if use in MOST and um < last:
        return Doubt("last", f"it lies under {read}: the bearing would be over it from that day on")
    if use == LimitUse.IN_SERVICE_MIN and um > last:
        return Doubt("last", f"it lies over {read}: the bearing would be under it from that day on")
    return None


def _beside_rules(use: str, um: Decimal, unit: str, ground: Ground) -> Doubt | None:
    if ground.journal_um is None:
        return None
    values = sorted(rule.value_um(ground.journal_um) for rule in RULES if rule.use == use)
    if not values or values[0] / FAR_FROM_RULE <= um <= values[-1] * FAR_FROM_RULE:
        return None
    least, most = from_um(values[0], unit), show_um(values[-1], unit)
    shown = most if most.startswith(f"{least} ") else f"{least} to {most}"
    side = "beyond twice" if um > values[-1] else "under half of"
    rules = "the published rule" if len(values) == 1 else "the published rules"
    return Doubt("rule", f"it is {side} {rules}, {shown}")


def units_that_fit(
    use: str, units: Sequence[tuple[str, Decimal]], ground: Ground
) -> list[tuple[str, Decimal]]:
    """Of the same number in several units (unit, um), those against which nothing speaks; none without a
    journal.
    """
    if ground.journal_um is None:
        return []
    return [(unit, um) for unit, um in units if not doubts(use, um, unit, ground)]
