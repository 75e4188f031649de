"""The inputs as arrays: chances at the outages, what each possible job costs, and where it may stand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from dashboards.outage_plan.bearing_jobs.inputs import (
    ACTIONS,
    LEAVE,
    OPEN,
    REPLACE,
    SCRAPE,
    FloatArray,
    Inputs,
    Settings,
)

BoolArray = NDArray[np.bool_]
ABOVE = 1e-6  # of the accepted risk: less is not above it


@dataclass(frozen=True)
class Layout:
    """B bearings by T outages; the opening of the pump is not in the bearings' costs and hours."""

    inputs: Inputs
    pump: NDArray[np.int64]  # (B,)
    open_hours: FloatArray  # (P,) of the pump, shared by its bearings
    open_dearer: FloatArray  # (T,) how many times its hours an opening costs
    chance: FloatArray  # (B, T) passed by the outage if left
    chance_end: FloatArray  # (B,) by the horizon's end
    chance_after: FloatArray  # (B, T) by the next outage the pump could have
    leave_cost: FloatArray  # (B,)
    most: FloatArray  # (B,) what the dearest work with a new shell thrown away unused comes to
    cost: dict[str, FloatArray]  # action -> (B, T)
    hours: dict[str, FloatArray]  # action -> (B,)
    kept: NDArray[np.int64]  # (B, T) the outage for which an opening keeps a new shell and its hours, or -1
    eligible: BoolArray  # (B, T) the pump is in the outage
    offered: dict[str, BoolArray]  # action -> (B, T): may be proposed
    n_before: NDArray[np.int64]  # (B, T + 1) outages of the pump before this one


def at_days(grid: FloatArray, curves: FloatArray, when: FloatArray) -> FloatArray:
    """Curves (B, D) on a grid of days at the days ``when`` (T,) or (B, T)."""
    when = np.broadcast_to(np.clip(when, grid[0], grid[-1]), (len(curves), np.shape(when)[-1]))
    right = np.clip(np.searchsorted(grid, when), 1, len(grid) - 1)
    share = (when - grid[right - 1]) / (grid[right] - grid[right - 1])
    rows = np.arange(len(curves))[:, None]
    return (1 - share) * curves[rows, right - 1] + share * curves[rows, right]


def breach(p: FloatArray, consequence: FloatArray, step: FloatArray, settings: Settings) -> FloatArray:
    """The stated penalty for a chance above the accepted risk.

    It begins with a step as high as the dearest work, so that no bearing stays above to save its work: only
    where hours, shells, twins or days are lacking. Beyond it grows, so that of two that lack the worse comes first.
    """
    over = p - settings.accepted_risk
    return np.where(over > ABOVE, step + settings.breach_factor * consequence * over, 0.0)


def run_past(grid: FloatArray, left: FloatArray, when: FloatArray, interval: float) -> FloatArray:
    """(B, T) expected outage intervals run past the maximum by each day: passing is not over once passed."""
    steps = 0.5 * (left[:, 1:] + left[:, :-1]) * np.diff(grid)
    so_far = np.concatenate([np.zeros((len(left), 1)), np.cumsum(steps, axis=1)], axis=1)
    return at_days(grid, so_far, when) / interval


def thrown_away(grid: FloatArray, left: FloatArray, when: FloatArray, life: FloatArray) -> FloatArray:
    """(B, T) share of a shell's usual life still unused: the expected days left over the usual life."""
    alive = 1.0 - left
    steps = 0.5 * (alive[:, 1:] + alive[:, :-1]) * np.diff(grid)
    ahead = np.concatenate([np.cumsum(steps[:, ::-1], axis=1)[:, ::-1], np.zeros((len(left), 1))], axis=1)
    return np.minimum(at_days(grid, ahead, when) / life[:, None], 1.0)


def lay_out(inputs: Inputs) -> Layout:
    """Work out every possible job's cost and hours."""
    s, grid, starts = inputs.settings, np.asarray(inputs.days, float), inputs.starts
    bearings, n_b, n_t = inputs.bearings, len(inputs.bearings), len(inputs.outages)
    pump = np.array([inputs.pump_at[b.pump] for b in bearings], dtype=np.int64)
    in_outage = np.array([[o.takes(p) for o in inputs.outages] for p in inputs.pumps]).reshape(-1, n_t)
    eligible = in_outage[pump] if n_b else np.zeros((0, n_t), bool)
    # A bearing without a limit has no chance of passing it: nothing but a pin gives it work.
    left = np.nan_to_num(np.array([b.chance_left for b in bearings]).reshape(n_b, len(grid)))
    new = np.nan_to_num(np.array([b.chance_new for b in bearings]).reshape(n_b, len(grid)))
    weight = np.array([b.consequence for b in bearings])
    chance = at_days(grid, left, starts)
    end = at_days(grid, left, np.array([inputs.end_day]))[:, 0]
    after_day = _next_days(eligible & ~inputs.between, starts, inputs.end_day)
    chance_after = at_days(grid, left, after_day)
    h = np.array([[b.hours.measure_h, b.hours.scrape_h, b.hours.replace_h] for b in bearings]).reshape(n_b, 3)
    hours = {OPEN: h[:, 0] + s.scrape_share * h[:, 1], SCRAPE: h[:, 0] + h[:, 1], REPLACE: h[:, 2]}
    shell = np.array([b.shell_cost for b in bearings])
    life = np.array([max(b.life_days, 1.0) for b in bearings])
    fresh = at_days(grid, new, after_day - starts)
    per = weight[:, None]
    past = s.again_factor * run_past(grid, left, np.append(starts, inputs.end_day), inputs.interval_days)
    open_hours = np.zeros(len(inputs.pumps))
    np.maximum.at(open_hours, pump, np.array([b.hours.open_h for b in bearings]))
    most = s.hour_cost * (open_hours[pump] + np.maximum(hours[SCRAPE], hours[REPLACE])) + shell
    replace = (
        per * (chance + (1 - chance) * fresh + past[:, :-1])
        + breach(chance, per, most[:, None], s)
        + s.hour_cost * hours[REPLACE][:, None]
        + shell[:, None] * thrown_away(grid, left, starts, life)
    )
    leave = weight * (end + past[:, -1]) + breach(end, weight, most, s)
    n_before = np.concatenate([np.zeros((n_b, 1), int), np.cumsum(eligible, axis=1)], axis=1)
    owed = np.array([b.scrape_owed for b in bearings], dtype=bool)
    # An owed scrape must be done: waiting for an outage costs more than the dearer of its two works.
    waits = s.owed_factor * np.maximum(most, s.accepted_risk * weight) * owed
    cost, kept = _looking(inputs, replace, leave, eligible)
    cost[OPEN] += s.hour_cost * hours[OPEN][:, None] + (waits * n_before[:, -1])[:, None]
    cost[SCRAPE] += s.hour_cost * hours[SCRAPE][:, None] + waits[:, None] * n_before[:, :-1]
    cost[REPLACE] = replace + waits[:, None] * n_before[:, :-1]
    return Layout(
        inputs,
        pump,
        open_hours,
        np.where(inputs.between, s.between_factor, 1.0),
        chance,
        end,
        chance_after,
        leave + waits * n_before[:, -1],
        most,
        cost,
        hours,
        kept,
        eligible,
        _offered(inputs, eligible, owed),
        n_before,
    )


def _next_days(eligible: BoolArray, starts: FloatArray, end: float) -> FloatArray:
    """(B, T) the day of the pump's next outage after each, or the horizon's end."""
    later = (starts[None, :] > starts[:, None])[None, :, :] & eligible[:, None, :]
    return np.min(np.where(later, starts[None, None, :], end), axis=2, initial=end)


def _looking(
    inputs: Inputs, replace: FloatArray, leave: FloatArray, eligible: BoolArray
) -> tuple[dict[str, FloatArray], NDArray[np.int64]]:
    """Costs of opening and of an owed scrape, and the outage each keeps a new shell for.

    A job that looks leaves the bearing to the best decision afterwards: without a reading's value the best
    of the later outages, with it so much less. Where a new shell may well follow, one and the hours to fit
    it are kept in the outage where it most often would: else looking would buy a shell that is not there.
    """
    n_b, n_t = eligible.shape
    starts = inputs.starts
    later = (starts[None, :] > starts[:, None])[None] & eligible[:, None, :]
    after = np.where(later, replace[:, None, :], np.inf)
    best = after.min(axis=2, initial=np.inf)
    plain = np.minimum(best, leave[:, None])
    kept = np.where(best < leave[:, None], after.argmin(axis=2) if n_t else -1, -1)
    value = np.zeros((n_b, n_t))
    ever = np.minimum(leave, np.where(eligible, replace, np.inf).min(axis=1, initial=np.inf))
    for i, b in enumerate(inputs.bearings):
        if b.opening is not None:
            # The value is against the best without a reading in any outage, as the opening module has it.
            plain[i], value[i] = ever[i], b.opening.value
            often = b.opening.follow_up.sum(axis=1) >= inputs.settings.keep_from
            kept[i] = np.where(often, b.opening.follow_up.argmax(axis=1), -1)
    return {OPEN: plain - value, SCRAPE: plain - value}, kept


def _keep_closed(inputs: Inputs, offered: dict[str, BoolArray]) -> None:
    """Take away what the judgement of a bearing leaves closed, and new shells that hardly any reading would ask for."""
    for i, b in enumerate(inputs.bearings):
        for name, look in b.looks.items():
            for action, mask in offered.items():
                if name in inputs.outage_at and (look.closed or (action == REPLACE and not look.shell)):
                    mask[i, inputs.outage_at[name]] = False


def _offered(inputs: Inputs, eligible: BoolArray, owed: BoolArray) -> dict[str, BoolArray]:
    """Where each action may be proposed; pins and frozen outages come on top (`programme.py`)."""
    has = np.array([b.opening is not None for b in inputs.bearings], dtype=bool)
    may = np.array([b.scrapeable for b in inputs.bearings], dtype=bool)
    offered = {
        OPEN: eligible & has[:, None],
        SCRAPE: eligible & (owed & may)[:, None],
        REPLACE: eligible.copy(),
    }
    _keep_closed(inputs, offered)
    for no in inputs.refused:
        i = inputs.bearing_at[no.bearing]
        for action in ACTIONS if no.action == "" else (no.action,):
            if action != LEAVE:
                offered[action][i, inputs.outage_at[no.outage] if no.outage else slice(None)] = False
    if inputs.accepted is not None:
        for t in range(len(inputs.outages)):
            if inputs.frozen(t):
                for mask in offered.values():
                    mask[:, t] = False
        for job in inputs.accepted:
            if job.outage in inputs.outage_at and job.bearing in inputs.bearing_at and job.action in offered:
                i, t = inputs.bearing_at[job.bearing], inputs.outage_at[job.outage]
                offered[job.action][i, t] |= bool(inputs.frozen(t) and eligible[i, t])
    return offered
