"""A plan proposed: the programme solved, its columns as jobs of every bearing of each pump opened."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from dashboards.outage_plan.pump_openings.coefficients import accepted_columns, coefficients, instance
from dashboards.outage_plan.pump_openings.inputs import OPEN, Inputs, Job
from dashboards.outage_plan.pump_openings.programme import solve

STEPS = 2
Tell = Callable[[int, str], None]


@dataclass(frozen=True)
class Solution:
    """A plan's jobs, what it costs, and how far the best could lie below: crew hours from now on, without
    end.
    """

    jobs: tuple[Job, ...]
    cost: float
    bound: float
    stopped_by: str

    @property
    def gap(self) -> float:
        """By what share a better plan could cost less."""
        return max(self.cost - self.bound, 0.0) / abs(self.cost) if self.cost else 0.0


def quiet(step: int, words: str) -> None:
    """Nobody is told how far it is."""


def proposed(inputs: Inputs, tell: Tell = quiet) -> Solution:
    """The plan of least expected cost; an accepted plan's places are kept where they cost no more than the
    gap.

    Raises
    ------
    NoPlan
        where none is found within the programme's nodes.
    """
    tell(1, f"{len(inputs.pumps)} pumps and {len(inputs.outages)} times to open them are laid out")
    given = instance(coefficients(inputs))
    tell(2, "the openings of least expected cost are looked for")
    plan = solve(given, previous=accepted_columns(inputs))
    jobs = [
        Job(inputs.bearings[i].name, OPEN, inputs.outages[int(plan.column[k])].name)
        for k, pump in enumerate(inputs.pumps)
        if plan.column[k] < len(inputs.outages)
        for i in inputs.members[pump.name]
    ]
    return Solution(tuple(sorted(jobs)), plan.cost, plan.bound, plan.stopped_by)
