"""Why a bearing stays above the accepted risk, and what would make it fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from dashboards.outage_plan.bearing_jobs.inputs import ACTIONS, REPLACE, Job, refuses, when
from dashboards.outage_plan.bearing_jobs.laid import ENOUGH, Laid, early_date
from dashboards.outage_plan.bearing_jobs.model import fixed_jobs, twin_pairs
from dashboards.outage_plan.bearing_jobs.stock import Family, Taken, hand_out
from fleet.formatting import chance


@dataclass(frozen=True)
class NotFitting:
    """A bearing above the accepted risk: how far, why, and what would make it fit."""

    bearing: str
    chance: float
    by: str
    cause: str  # already, no_outage, refused, pinned, frozen, closed, no_shell, no_hours, twin, fits
    reason: str
    remedy: str


def not_fitting(
    at: Laid, stock: dict[tuple[str, str], Family], taken: list[Taken], before: np.ndarray, rows: np.ndarray
) -> tuple[NotFitting, ...]:
    """Why each bearing above the accepted risk is there, from what its outages in time lack; the worst first."""
    inputs = at.layout.inputs
    room, fixed = Room(at, stock, taken), {job.bearing: job for job in fixed_jobs(inputs)}
    pinned = {job.bearing for job in inputs.pinned}
    missing = []
    for i in map(int, rows):
        by = inputs.outages[at.outage[i]].name if at.action[i] >= 0 else "the end of the plan"
        name = inputs.bearings[i].name
        cause = _held(at, i, fixed.get(name), name in pinned) or _lacking(at, room, i)
        missing.append(NotFitting(name, float(before[i]), by, *cause))
    return tuple(sorted(missing, key=lambda m: -m.chance))


Cause = tuple[str, str, str]


def _held(at: Laid, i: int, fixed: Job | None, pinned: bool) -> Cause | None:
    """What no outage or a person keeps out, before anything is counted."""
    layout, inputs = at.layout, at.layout.inputs
    b, risk = inputs.bearings[i], inputs.settings.accepted_risk
    eligible = np.flatnonzero(layout.eligible[i])
    if not len(eligible):
        return "no_outage", f"no outage of the plan takes {b.pump}", f"put {b.pump} into an outage"
    in_time = [int(t) for t in eligible if layout.chance[i, t] <= risk]
    if fixed is not None and in_time:
        where = when(fixed.outage) if fixed.outage else "alone"
        if pinned:
            how = f"it is pinned to be left {where}" if not fixed.outage else f"its job is pinned {where}"
            return "pinned", how, "take the pin back"
        return "frozen", f"its job stands {where}, whose scope is frozen", "pin it into an earlier outage"
    if in_time and not any(layout.offered[REPLACE][i, t] for t in in_time):
        no = [
            t
            for t in in_time
            if any(refuses(x, Job(b.name, REPLACE, inputs.outages[t].name)) for x in inputs.refused)
        ]
        if no:
            names = _listed([inputs.outages[t].name for t in no])
            return "refused", f"a new shell is refused {when(names)}", "take the refusal back"
        if not any(inputs.frozen(t) for t in in_time):
            name = inputs.outages[in_time[-1]].name
            return (
                "closed",
                f"nothing found {when(name)} or before is likely to ask for a new shell",
                f"pin it {when(name)}",
            )
        names = _listed([inputs.outages[t].name for t in in_time if inputs.frozen(t)])
        return "frozen", f"the scope of {names} is frozen without it", "pin it there in spite of the freeze"
    return None


def _lacking(at: Laid, room: Room, i: int) -> Cause:
    """What the outages lack: one reason of a kind, that of the outage which lacks least."""
    layout, inputs = at.layout, at.layout.inputs
    risk = inputs.settings.accepted_risk
    eligible = [int(t) for t in np.flatnonzero(layout.eligible[i])]
    in_time = [t for t in eligible if layout.chance[i, t] <= risk and layout.offered[REPLACE][i, t]]
    if not in_time:
        return _too_late(at, room, i, eligible[0])
    kinds: dict[str, tuple[float, str, str]] = {}
    for t in reversed(in_time):
        lack = room.lack(i, t)
        if lack is None:
            here = when(inputs.outages[t].name)
            return "fits", f"the plan does not have it {here}, where it would fit", f"plan it {here}"
        cause, reason, remedy = lack
        short = room.hours_short(i, t) if cause == "no_hours" else 0.0
        if cause not in kinds or short < kinds[cause][0]:
            kinds[cause] = short, reason, remedy
    cause = min(kinds, key=lambda c: c == "no_hours")
    found = [kinds[cause], *(kinds[c] for c in kinds if c != cause)]
    more = f" (of {len(in_time)} outages in time)" if len(in_time) > len(found) else ""
    return cause, "; ".join(f[1] for f in found) + more, "; or ".join(f[2] for f in found)


def _too_late(at: Laid, room: Room, i: int, first: int) -> Cause:
    """Every outage of the pump comes after the accepted risk is reached."""
    layout, inputs = at.layout, at.layout.inputs
    b, outage = inputs.bearings[i], inputs.outages[first]
    early = early_date(inputs, b.name)
    if early is None or early <= inputs.as_of:
        reason = f"{chance(float(b.chance_left[0]))} have passed today already, before {outage.name}, its first outage"
    else:
        reason = (
            f"no outage before {early.isoformat()}, when it reaches the accepted risk: {outage.name}, its first, "
            f"starts on {outage.start_on.isoformat()} with {chance(layout.chance[i, first])} passed"
        )
    if at.action[i] < 0 or inputs.starts[at.outage[i]] > inputs.starts[first]:
        lack = room.lack(i, first)
        if any(refuses(no, Job(b.name, REPLACE, outage.name)) for no in inputs.refused):
            reason += "; a new shell is refused there"
        elif inputs.frozen(first) and not layout.offered[REPLACE][i, first]:
            reason += "; its scope is frozen without it"
        elif lack:
            reason += f"; {lack[1]}"
    return (
        "already",
        reason,
        f"open {b.pump} before {outage.name}, or record a deferral with checks until then",
    )


def _listed(names: list[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"


class Room:
    """What is left in each outage beside the plan; answers are kept, for many bearings ask the same."""

    def __init__(self, at: Laid, stock: dict[tuple[str, str], Family], taken: list[Taken]) -> None:
        self.at, self.stock = at, stock
        inputs = at.layout.inputs
        self.twins: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for p, t, q, s in twin_pairs(inputs):
            self.twins.setdefault((p, t), []).append((q, s))
            self.twins.setdefault((q, s), []).append((p, t))
        self.wanted: dict[str, list[tuple[int, int]]] = {}
        self.short: dict[str, int] = {}
        for x in taken:
            self.wanted.setdefault(x.family, []).append((inputs.bearing_at[x.bearing], x.outage))
            self.short[x.family] = self.short.get(x.family, 0) + (x.source == "short")
        self.known: dict[tuple, bool] = {}

    def lack(self, i: int, t: int, action: str = REPLACE) -> tuple[str, str, str] | None:
        """(cause, reason, remedy) that keeps a job, as a rule a new shell, out of one outage; None where it fits."""
        at, layout, inputs = self.at, self.at.layout, self.at.layout.inputs
        b, p, outage = inputs.bearings[i], layout.pump[i], inputs.outages[t]
        for q, s in self.twins.get((int(p), t), ()):
            if at.opened[q, s] or at.kept_open[q, s]:
                twin = inputs.pumps[q].name
                return (
                    "twin",
                    f"its twin {twin} is open {when(outage.name)}",
                    f"move {twin} to another outage",
                )
        for half in b.halves if b.shell_type and action == REPLACE else ():
            if self._no_shell(i, t, half):
                name, by = f"{b.shell_type} {half}", outage.start_on.isoformat()
                return ("no_shell", f"no shell {name} in time for {outage.name}", f"one shell {name} by {by}")
        need = self.needs(i, t, action)
        free = outage.crew_hours - at.used[t] - at.expected[t] + self._gone(i, t)
        if need > free + ENOUGH:
            more = f"{need - free:.0f} more crew hours {when(outage.name)}"
            return "no_hours", f"{outage.name} has {max(free, 0):.0f} of the {need:.0f} h it needs", more
        return None

    def hours_short(self, i: int, t: int) -> float:
        """Crew hours by which an outage misses one more new shell."""
        inputs = self.at.layout.inputs
        free = inputs.outages[t].crew_hours - self.at.used[t] - self.at.expected[t] + self._gone(i, t)
        return self.needs(i, t, REPLACE) - float(free)

    def _gone(self, i: int, t: int) -> float:
        """Hours that the bearing's own job of this outage gives back."""
        at = self.at
        is_here = at.outage[i] == t and at.action[i] >= 0
        return float(at.layout.hours[ACTIONS[at.action[i]]][i]) if is_here else 0.0

    def needs(self, i: int, t: int, action: str) -> float:
        """Crew hours of one more job in an outage, with the pump's opening where nothing else opens it."""
        p, layout = self.at.layout.pump[i], self.at.layout
        opening = 0.0 if self.at.opened[p, t] or self.at.kept_open[p, t] else layout.open_hours[p]
        return float(layout.hours[action][i] + opening)

    def _no_shell(self, i: int, t: int, half: str) -> bool:
        """Whether one more shell out in outage t would leave this or a later outage without."""
        inputs = self.at.layout.inputs
        b = inputs.bearings[i]
        family = self.stock[b.shell_type, half]
        mine = self.wanted.get(family.name, [])
        has = next((s for k, s in mine if k == i), -1)
        key = (family.name, family.pool_of(b, inputs.settings.bore_tolerance_um), t, has)
        if key not in self.known:
            wanted = [w for w in mine if w[0] != i] + [(i, t)]
            again = hand_out(inputs, {(b.shell_type, half): family}, wanted)
            self.known[key] = sum(x.source == "short" for x in again) > self.short.get(family.name, 0)
        return self.known[key]
