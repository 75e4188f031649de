"""What a fleet's fit has taught beside its parameters, kept with them so that one bearing alone means the
same later.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from inspections.wear.duty_drift import BELIEVED, STEADY_FROM

FACTORS = ("class_", "site", "service", "position")


@dataclass
class Codes:
    """Numbers for the words that effects are learned for, and how fast the duties of pumps wander.

    `duty_drift`: variance of log duty gained a year, of pumps under 23 h a day and of those that run nearly
    always.
    """

    by_factor: dict[str, dict[str, int]] = field(default_factory=lambda: {factor: {} for factor in FACTORS})
    duty_drift: tuple[float, float] = (BELIEVED, BELIEVED)

    def of(self, factor: str, word: str) -> int:
        """The number of a word; -1 for an empty one."""
        known = self.by_factor[factor]
        return known.setdefault(word, len(known)) if word else -1

    def drift_at(self, hours_a_day: float) -> float:
        """Variance of log duty that a pump running so long gains a year."""
        return self.duty_drift[hours_a_day > STEADY_FROM]

    def stored(self) -> dict[str, Any]:
        """What is kept among a run's parameters."""
        return {"codes": self.by_factor, "duty_drift": list(self.duty_drift)}

    @classmethod
    def of_stored(cls, parameters: Mapping[str, Any]) -> Codes:
        """The codes of a run's parameters, their words copied; runs from before drift was learned have the
        belief.
        """
        slow, steady = parameters.get("duty_drift", (BELIEVED, BELIEVED))
        words = {factor: dict(known) for factor, known in parameters["codes"].items()}
        return cls(words, (float(slow), float(steady)))
