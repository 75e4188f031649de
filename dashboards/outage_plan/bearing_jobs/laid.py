"""A plan as arrays beside its layout, and the chances under it."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np

from dashboards.outage_plan.bearing_jobs.inputs import ACTIONS, LEAVE, REPLACE, Inputs, Job
from dashboards.outage_plan.bearing_jobs.layout import Layout, at_days

ENOUGH = 1e-6


@dataclass(frozen=True)
class Laid:
    """A plan as arrays beside its layout: action (-1 leave) and outage of each bearing."""

    layout: Layout
    action: np.ndarray
    outage: np.ndarray
    opened: np.ndarray  # (P, T)
    used: np.ndarray  # (T,)
    kept: np.ndarray  # (B,) the outage a new shell is kept for after an opening, or -1
    kept_open: np.ndarray  # (P, T) pumps opened only for what is kept
    expected: np.ndarray  # (T,) hours kept


def as_arrays(plan: tuple[Job, ...], layout: Layout) -> Laid:
    inputs = layout.inputs
    n_b, n_t = layout.chance.shape
    action, outage = np.full(n_b, -1), np.full(n_b, -1)
    opened = np.zeros((len(inputs.pumps), n_t), bool)
    used, expected, kept = np.zeros(n_t), np.zeros(n_t), np.full(n_b, -1)
    kept_open = np.zeros_like(opened)
    for job in plan:
        if job.action == LEAVE:
            continue
        i, t = inputs.bearing_at[job.bearing], inputs.outage_at[job.outage]
        if action[i] >= 0:
            raise ValueError(f"{job.bearing} has two jobs: a plan holds one job per bearing.")
        action[i], outage[i] = ACTIONS.index(job.action), t
        opened[layout.pump[i], t] = True
        used[t] += layout.hours[job.action][i]
        if job.action != REPLACE:
            kept[i] = layout.kept[i, t]
    for i in map(int, np.flatnonzero(kept >= 0)):
        expected[kept[i]] += layout.hours[REPLACE][i]
        kept_open[layout.pump[i], kept[i]] = True
    kept_open &= ~opened
    used += layout.open_hours @ opened
    expected += layout.open_hours @ kept_open
    return Laid(layout, action, outage, opened, used, kept, kept_open, expected)


def chances(at: Laid) -> np.ndarray:
    """(B, T + 1) chance of passing by each outage and by the end with the plan carried out."""
    layout, inputs = at.layout, at.layout.inputs
    chance = np.column_stack([layout.chance, layout.chance_end])
    when = np.append(inputs.starts, inputs.end_day)
    mine = np.flatnonzero(at.action == ACTIONS.index(REPLACE))
    if len(mine):
        new = np.nan_to_num(np.array([inputs.bearings[i].chance_new for i in mine]))
        start = inputs.starts[at.outage[mine]][:, None]
        fresh = at_days(np.asarray(inputs.days, float), new, when - start)
        passed = layout.chance[mine, at.outage[mine]][:, None]
        chance[mine] = np.where(when > start, passed + (1 - passed) * fresh, chance[mine])
    for i in np.flatnonzero((at.action >= 0) & (at.action != ACTIONS.index(REPLACE))):
        opening = inputs.bearings[i].opening
        if opening is not None:
            low = layout.chance[i, at.outage[i]]
            last = max(opening.chance[at.outage[i]], low)
            after = when > inputs.starts[at.outage[i]]
            chance[i, after] = np.minimum(chance[i, after], last)
    return chance


def early_date(inputs: Inputs, bearing: str) -> dt.date | None:
    """The day on which the chance of having passed the maximum reaches the accepted risk."""
    curve = np.maximum.accumulate(np.nan_to_num(inputs.bearings[inputs.bearing_at[bearing]].chance_left))
    risk, days = inputs.settings.accepted_risk, np.asarray(inputs.days)
    if curve[-1] < risk:
        return None
    k = int(np.searchsorted(curve, risk))
    if k == 0:
        return inputs.as_of
    share = (risk - curve[k - 1]) / (curve[k] - curve[k - 1])
    return inputs.as_of + dt.timedelta(days=int(days[k - 1] + share * (days[k] - days[k - 1])))
