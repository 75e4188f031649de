"""What a reading is worth: how often it would change the decision, and how much that saves.

Worked out before the plan and handed to it as coefficients. A bearing is K equally likely cases, each with
the clearance it would show in every outage and the day it passes the maximum; the days are those of the
bearing's own forecast (its chances), so that reading and plan speak of the same risk. Preposterior analysis as
in Raiffa & Schlaifer, Applied Statistical Decision Theory (1961), chapter 1: the mean over the possible readings
of the best cost after each, against the best cost without.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import ndtri

from dashboards.outage_plan.bearing_jobs.inputs import REPLACE, FloatArray, Inputs, Opening
from dashboards.outage_plan.bearing_jobs.layout import Layout, breach, lay_out
from inspections.wear.normal import EIGHT_IN_TEN

N_LEVEL, N_RATE = 7, 9
N_READINGS = 15
WORTH_SAYING = 1e-9
NOISE = np.array([-1.2247, 0.0, 1.2247])  # three equally likely values of a unit normal


Costs = Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Outlook:
    """A forecast's clearance and rate at 1 in 10, even, 9 in 10 for each bearing, and a reading's error."""

    clearance_um: FloatArray  # (B, 3)
    rate_um_per_kh: FloatArray  # (B, 3)
    hours_per_day: FloatArray  # (B,)
    limit_um: FloatArray  # (B,)
    reading_sd_um: FloatArray  # (B,)


def cases(inputs: Inputs, outlook: Outlook) -> tuple[FloatArray, FloatArray]:
    """(B, K) days of passing and (B, K, T) clearances in every outage, as if left alone."""
    zl = ndtri((np.arange(N_LEVEL) + 0.5) / N_LEVEL)
    zr = ndtri((np.arange(N_RATE) + 0.5) / N_RATE)
    level_z, rate_z = (g.ravel() for g in np.meshgrid(zl, zr, indexing="ij"))
    c, r = outlook.clearance_um, np.maximum(outlook.rate_um_per_kh, 1e-3)
    sd = np.maximum(c[:, 2] - c[:, 0], 1e-6) / (2 * EIGHT_IN_TEN)
    spread = np.log(r[:, 2] / r[:, 0]) / (2 * EIGHT_IN_TEN)
    now = c[:, 1:2] + sd[:, None] * level_z
    a_day = r[:, 1:2] * np.exp(spread[:, None] * rate_z) * outlook.hours_per_day[:, None] / 1000.0
    level = now[:, :, None] + a_day[:, :, None] * inputs.starts
    days = np.maximum(outlook.limit_um[:, None] - now, 0.0) / np.maximum(a_day, 1e-9)
    return _by_rank(inputs, days), level


def _by_rank(inputs: Inputs, days: FloatArray) -> FloatArray:
    """The same order of cases with the dates of the bearing's own chances; beyond the grid: infinite."""
    k = days.shape[1]
    rank = days.argsort(axis=1, kind="stable").argsort(axis=1, kind="stable")
    share = (np.arange(k) + 0.5) / k
    out = np.empty_like(days)
    for i, b in enumerate(inputs.bearings):
        curve = np.maximum.accumulate(np.nan_to_num(b.chance_left))
        dates = np.interp(share, curve, inputs.days, left=0.0, right=np.inf)
        out[i] = dates[rank[i]]
    return out


def with_openings(inputs: Inputs, outlook: Outlook) -> Inputs:
    """The inputs with each bearing's worth of a reading."""
    layout = lay_out(inputs)
    days, level = cases(inputs, outlook)
    made = []
    for i, b in enumerate(inputs.bearings):
        known = np.isfinite(b.chance_left).all() and np.isfinite(level[i]).all()
        worth = _worth(layout, i, days[i], level[i], outlook.reading_sd_um[i]) if known else None
        made.append(replace(b, opening=worth))
    return replace(inputs, bearings=tuple(made))


def _worth(layout: Layout, i: int, days: FloatArray, level: FloatArray, sd: float) -> Opening | None:
    """One bearing's openings; None where no reading would change anything."""
    n_t = level.shape[1]
    cost, passed = _costs(layout, i, days)
    own = np.full((1, len(days)), 1.0 / len(days))
    may = np.append(layout.eligible[i], True)
    before = int(np.where(may, cost(own), np.inf)[0].argmin())
    value, changes, chance = np.zeros(n_t), np.zeros(n_t), np.zeros(n_t)
    follow = np.zeros((n_t, n_t))
    for t in np.flatnonzero(layout.eligible[i]):
        belief = _beliefs(level[:, t], sd)
        # What was meant for this outage or before is decided anew, from the next outage of the pump on.
        later = np.append((layout.inputs.starts > layout.inputs.starts[t]) & layout.eligible[i], True)
        costs = cost(belief)
        after = np.where(later, costs, np.inf)
        best = after.argmin(axis=1)
        # Both decisions are judged by what the reading says: the penalty bends upward, so that judged by
        # what is known today the decision without a reading would look cheaper than it is.
        value[t] = np.mean(costs[:, before] - after.min(axis=1))
        changes[t] = np.mean(best != before)
        chance[t] = np.mean((belief @ passed)[np.arange(len(best)), best])
        follow[t] = np.bincount(best, minlength=n_t + 1)[:n_t] / len(best)
    return Opening(value, chance, changes, follow) if (value > WORTH_SAYING).any() else None


def _costs(layout: Layout, i: int, days: FloatArray) -> tuple[Costs, FloatArray]:
    """What costs what: from beliefs (R, K) over the cases to (R, T + 1) a new shell by outage or none; and the passings."""
    inputs, b = layout.inputs, layout.inputs.bearings[i]
    s, weight, step = inputs.settings, np.array(layout.inputs.bearings[i].consequence), layout.most[i]
    when = np.append(inputs.starts, inputs.end_day)
    passed = (days[:, None] <= when).astype(float)
    past = s.again_factor * np.maximum(when - days[:, None], 0.0) / inputs.interval_days
    capped = np.minimum(days[:, None], inputs.days[-1])
    unused = np.minimum(np.maximum(capped - when, 0.0) / max(b.life_days, 1.0), 1.0)
    unused[:, -1] = 0.0
    work = np.append(np.full(len(inputs.starts), s.hour_cost * layout.hours[REPLACE][i]), 0.0)

    def cost(belief: FloatArray) -> FloatArray:
        p = belief @ passed
        return (
            weight * (p + belief @ past)
            + breach(p, weight, step, s)
            + b.shell_cost * (belief @ unused)
            + work
        )

    return cost, passed


def _beliefs(level: FloatArray, sd: float) -> FloatArray:
    """(R, K) what is believed of the cases after each of R equally likely readings."""
    possible = np.sort((level[:, None] + sd * NOISE).ravel())
    at = ((np.arange(N_READINGS) + 0.5) / N_READINGS * len(possible)).astype(int)
    off = (possible[at][:, None] - level) / sd
    like = np.exp(-0.5 * (off**2 - np.min(off**2, axis=1, keepdims=True)))
    return like / like.sum(axis=1, keepdims=True)
