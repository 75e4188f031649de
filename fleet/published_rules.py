"""Clearance rules found in print, to suggest a limit where a plant has set none. Suggested, never applied.

The rules disagree by up to two times at one size and each was written for certain machines; whoever takes one
over makes it plant data, with its authority and document.
"""

from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

UM_PER_INCH = Decimal(25_400)


@dataclass(frozen=True)
class Rule:
    """A diametral clearance of `base_in` + `per_inch` x journal diameter, both in inches."""

    use: str  # a use of `LimitUse`
    base_in: Decimal
    per_inch: Decimal
    words: str
    source: str
    written_for: str
    per_started_inch: bool = False  # "per inch or fraction": a started inch counts as a whole one

    def value_um(self, journal_diameter_um: Decimal) -> Decimal:
        """The rule's clearance in um for a journal diameter in um."""
        inches = journal_diameter_um / UM_PER_INCH
        if self.per_started_inch:
            inches = inches.to_integral_value(ROUND_CEILING)
        return ((self.base_in + self.per_inch * inches) * UM_PER_INCH).quantize(Decimal("0.0001"))


def _rule(
    use: str, base: str, per_inch: str, words: str, source: str, written_for: str, started=False
) -> Rule:
    return Rule(use, Decimal(base), Decimal(per_inch), words, source, written_for, started)


USES = {"fitting_max": "new", "in_service_max": "in-service maximum"}
PUMPS = "sleeve bearings of pumps"
RULES: tuple[Rule, ...] = (
    _rule(
        "fitting_max",
        "0.002",
        "0.001",
        "0.002 in and 0.001 in per inch of journal",
        "MIL-HDBK-1164, table 17",
        PUMPS,
    ),
    _rule(
        "fitting_max",
        "0.001",
        "0.002",
        "0.001 in and 0.002 in per inch or fraction of journal",
        "NAVFAC MO-209, inspection of pumps",
        PUMPS,
        True,
    ),
    _rule(
        "fitting_max",
        "0",
        "0.0015",
        "0.0015 in per inch of journal",
        "Practical Machinery Management for Process Plants, Major Process Equipment Maintenance and Repair,"
        " p. 30",
        PUMPS,
    ),
    _rule(
        "in_service_max",
        "0",
        "0.003",
        "never over 0.003 in per inch of journal in service",
        "Practical Machinery Management for Process Plants, Major Process Equipment Maintenance and Repair,"
        " p. 30",
        PUMPS,
    ),
)


@dataclass(frozen=True)
class Suggestion:
    use: str
    words: str
    value_um: Decimal
    sentence: str


def suggestions(journal_diameter_um: Decimal | None, missing: set[str]) -> list[Suggestion]:
    """What published rules would say for the limits a bearing lacks; none without a journal diameter."""
    if journal_diameter_um is None:
        return []
    return [
        Suggestion(
            rule.use,
            USES[rule.use],
            rule.value_um(journal_diameter_um),
            f"{rule.words} ({rule.source}; written for {rule.written_for})",
        )
        for rule in RULES
        if rule.use in missing
    ]
