"""Whether one more pump fits into an outage beside the rest of a plan, and what is
lacking where it does not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dashboards.outage_plan.pump_openings.coefficients import Coefficients, twins
from dashboards.outage_plan.pump_openings.inputs import LEAVE, SHELL_FROM, Inputs, Job, when
from dashboards.outage_plan.pump_openings.stock import Family, Taken, families, hand_out
from inspections.wear.arrays import FloatArray
from inspections.wear.normal import EIGHT_IN_TEN

ENOUGH = 1e-6


@dataclass(frozen=True)
class Lack:
    """What keeps a pump out of an outage: a word, the reason, what would make it fit,
    what it is moved for.
    """

    cause: str  # no_outage, refused, frozen, twin, no_hours, no_shell
    reason: str
    remedy: str
    moved_for: str


@dataclass(frozen=True)
class Room:
    """A plan's jobs beside its coefficients: hours used, shells taken, pumps open."""

    c: Coefficients
    jobs: tuple[Job, ...]

    @property
    def inputs(self) -> Inputs:
        """What the plan is made from."""
        return self.c.inputs

    @cached_property
    def groups(self) -> dict[tuple[int, int], tuple[int, ...]]:
        """The bearings to be looked at, by pump and outage."""
        found: dict[tuple[int, int], tuple[int, ...]] = {}
        for job in self.jobs:
            if job.action != LEAVE and job.outage in self.inputs.outage_at:
                i = self.inputs.bearing_at[job.bearing]
                key = int(self.c.pump[i]), self.inputs.outage_at[job.outage]
                found[key] = (*found.get(key, ()), i)
        return found

    def hours(self, pump: int, t: int, bearings: Sequence[int]) -> float:
        """Expected crew hours of a pump's job."""
        own = np.nan_to_num(self.c.hours[list(bearings), t])
        return float(self.c.open_h[pump] + own.sum())

    @cached_property
    def used(self) -> FloatArray:
        """(T,) expected crew hours."""
        used = np.zeros(len(self.inputs.outages))
        for (pump, t), bearings in self.groups.items():
            used[t] += self.hours(pump, t, bearings)
        return used

    @cached_property
    def spread(self) -> FloatArray:
        """(T,) variance of the crew hours."""
        spread = np.zeros(len(self.inputs.outages))
        for (_, t), bearings in self.groups.items():
            spread[t] += np.nan_to_num(self.c.variance[list(bearings), t]).sum()
        return spread

    @property
    def reserve(self) -> FloatArray:
        """(T,) crew hours more that 9 in 10 outages need at most."""
        return np.asarray(EIGHT_IN_TEN * np.sqrt(self.spread))

    @cached_property
    def pumps_at(self) -> dict[int, tuple[int, ...]]:
        """The outages at which each pump is opened."""
        found: dict[int, tuple[int, ...]] = {}
        for pump, t in self.groups:
            found[pump] = (*found.get(pump, ()), t)
        return found

    @cached_property
    def twin_of(self) -> dict[int, int]:
        """Each pump's twin."""
        pairs = twins(self.inputs)
        return dict(pairs) | {b: a for a, b in pairs}

    @cached_property
    def stock(self) -> dict[tuple[str, str], Family]:
        """Every half of every shell type."""
        return families(self.inputs)

    def wants_shell(self, i: int, t: int) -> bool:
        """Whether a shell is had ready for a bearing opened there; not where nothing can be judged of it."""
        return bool(self.c.new[i, t] >= SHELL_FROM)

    def shells(self, extra: Sequence[tuple[int, int]] = (), but: int = -1) -> list[Taken]:
        """Half shells handed out to every opening that may ask for one `but` a pump's, and to these more
        (bearing, outage).
        """
        wanted = [
            (i, t)
            for (pump, t), bearings in self.groups.items()
            for i in bearings
            if pump != but and self.wants_shell(i, t)
        ]
        more = [(i, t) for i, t in extra if self.wants_shell(i, t)]
        return hand_out(self.inputs, self.stock, [*wanted, *more])

    @cached_property
    def taken(self) -> list[Taken]:
        """Half shells of the plan as it is."""
        return self.shells()

    def twin_there(self, pump: int, t: int) -> str:
        """The twin that would be open on the same days; empty where none would."""
        other = self.twin_of.get(pump, -1)
        for s in self.pumps_at.get(other, ()):
            if self.inputs.outages[s].overlaps(self.inputs.outages[t]):
                return self.inputs.pumps[other].name
        return ""

    def lack(self, pump: int, t: int) -> Lack | None:
        """What keeps a pump out of an outage beside all other jobs of the plan; None where it fits."""
        outage, name = self.inputs.outages[t], self.inputs.pumps[pump].name
        if not self.c.takes[pump, t]:
            why = "does not take place" if outage.skipped else f"does not include {name}"
            return Lack("no_outage", f"{outage.name} {why}", f"put {name} into {outage.name}", "its outage")
        if twin := self.twin_there(pump, t):
            reason = f"its twin {twin} is open {when(outage.name)} and must run"
            return Lack("twin", reason, f"move {twin} to another outage", f"its twin {twin}")
        bearings = self.inputs.members[name]
        need = self.hours(pump, t, bearings)
        own_here = self.groups.get((pump, t), ())
        used, spread = float(self.used[t]), float(self.spread[t])
        if own_here:
            used -= self.hours(pump, t, own_here)
            spread -= float(np.nan_to_num(self.c.variance[list(own_here), t]).sum())
        more = need + used + EIGHT_IN_TEN * float(np.sqrt(max(spread, 0.0))) - outage.crew_hours
        if more > ENOUGH:
            reason = (
                f"{outage.name} has no crew hours"
                if outage.crew_hours <= 0
                else (
                    f"its {need:.0f} crew hours do not fit into {outage.name} ({outage.crew_hours:.0f} in"
                    " all)"
                )
            )
            return Lack("no_hours", reason, f"{more:.0f} more crew hours {when(outage.name)}", "crew hours")
        own = {self.inputs.bearings[i].name for i in bearings}
        short = [
            x
            for x in self.shells([(i, t) for i in bearings], pump)
            if x.source == "short" and x.bearing in own
        ]
        if short:
            reason = f"no {short[0].family} shell can be there {when(outage.name)}"
            return Lack("no_shell", reason, f"a {short[0].family} shell by {outage.name}", "shells")
        return None
