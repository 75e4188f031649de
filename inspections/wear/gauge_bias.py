"""What single gauges read too much, learned where they meet: at bearings that other gauges measured too.

A period is a gauge between two of its checks. Its bias b follows a Student t with 4 degrees of freedom and a
learned scale, so that one gauge far off is not drawn to the good ones; a check that measured it is one more
reading of b. See docs/wear-model.md, section 9.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from . import grid
from .arrays import FloatArray, Histories, IntArray, Kind
from .belief import evidence
from .event_effects import Frame, Work, frame, lay_out
from .parameters import Params
from .slips import rate_of

STEP_UM = 3.0  # how far aside a gauge's readings are moved for the slope and the bend of their evidence
MOST_UM = 8.0  # of one step of a bias
ROUNDS = 4
CLIMBS = 4  # more of the fleet's numbers, each followed by the biases
RESTED_UM = 0.3  # a fit has come to rest where no bias moves by more
FREEDOM = 4.0  # degrees of freedom of the Student t: a design assumption with no published source
SPREAD_PRIOR = (float(np.log(4.0)), 0.7)  # log of its scale, um: mean, sd; a design assumption, no source
CHECK_SD_UM = 2.0  # of what a check measured, where it says none (common practice, no published source)
MEETS_WITH = 2  # periods, or one that a check measured, from which biases are learned: one alone is the level


def told_apart(f: Frame) -> bool:
    """Whether the record can speak of single gauges: two periods, or one with a bias that
    a check measured.
    """
    used = np.unique(f.histories.gauge[_measured(f)])
    checked = any(np.isfinite(f.histories.gauges[g].found_um) for g in used)
    return len(used) >= MEETS_WITH or checked


def settle(f: Frame, p: Params, aside: NDArray[np.bool_], weight: FloatArray) -> tuple[Params, float]:
    """The parameters with the gauges' biases at their mode under the other numbers, and the furthest any
    moved, um.

    Parameters
    ----------
    f : Frame
        of the fleet's B bearings, as they are read.
    p : Params
        the fleet's numbers; the biases it holds are where the search begins.
    aside : (E,) bool
        readings that count as not taken.
    weight : (B,)
        0 for bearings that do not vote.
    """
    h = f.histories
    used: IntArray = np.unique(h.gauge[_measured(f) & ~aside]).astype(np.int64)
    names = [h.gauges[g].name for g in used]
    began = b = np.array([p.gauge_bias.get(name, 0.0) for name in names])
    found, found_sd = _checks(h, used)
    spread, sure = p.gauge_spread or float(np.exp(SPREAD_PRIOR[0])), np.zeros(len(used))
    for _ in range(ROUNDS):
        slope, bend = _quadratic(f, p, aside, weight, used)
        prior = (FREEDOM + 1) / (FREEDOM + (b / spread) ** 2) / spread**2
        slope = slope + np.nan_to_num((found - b) / found_sd**2)
        whole = bend + np.diag(prior + np.nan_to_num(found_sd**-2.0))
        cov = np.linalg.inv(whole)
        b = b + np.clip(cov @ (slope - prior * b), -MOST_UM, MOST_UM)
        sure = np.sqrt(np.diag(cov))
        spread = _scale(b, sure, spread)
        p = replace(
            p,
            gauge_bias=dict(zip(names, b.tolist(), strict=True)),
            gauge_bias_sd=dict(zip(names, sure.tolist(), strict=True)),
            gauge_spread=spread,
        )
    return p, float(np.max(np.abs(b - began), initial=0.0))


def _measured(f: Frame) -> NDArray[np.bool_]:
    """(E,) clearances, or bounds of one, that a named gauge measured."""
    h = f.histories
    return f.usable & h.among(Kind.READING, Kind.INTERVAL) & (h.gauge >= 0)


def _checks(h: Histories, used: IntArray) -> tuple[FloatArray, FloatArray]:
    """(G,) what each period's later check found, um, and its sd; NaN where none measured it."""
    found = np.array([h.gauges[g].found_um for g in used])
    sd = np.array([h.gauges[g].found_sd_um for g in used])
    sd = np.where(sd > 0, sd, CHECK_SD_UM)
    return found, np.where(np.isfinite(found), sd, np.nan)


def _quadratic(
    f: Frame, p: Params, aside: NDArray[np.bool_], weight: FloatArray, used: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Slope (G,) and bend (G, G), minus the second derivative, of the fleet's log evidence in the biases.

    Only the bearings that a gauge measured are passed again; two gauges bend together where they measured one
    bearing.
    """
    n = len(used)
    pairs = _pairs(f, aside, used)
    pairs = pairs[weight[pairs[:, 0]] > 0]
    met = _meetings(pairs)
    owners, first = np.unique(pairs[:, 0], return_inverse=True)
    alone = np.concatenate([pairs, pairs[:, 1:]], axis=1)
    blank = np.stack([owners, np.zeros_like(owners), np.zeros_like(owners)], axis=1)
    moved = np.concatenate([blank, alone, alone, met])
    sign = np.repeat([0.0, 1.0, -1.0, 1.0], [len(blank), len(alone), len(alone), len(met)])
    log = _evidence(f, p, aside, moved[:, 0], used[moved[:, 1:]], sign)
    here, above, below, both = np.split(log, np.cumsum([len(blank), len(alone), len(alone)]))
    here = here[first]
    steep = np.bincount(pairs[:, 1], (above - below) / (2 * STEP_UM), minlength=n)
    own = np.bincount(pairs[:, 1], -(above - 2 * here + below) / STEP_UM**2, minlength=n)
    bend = np.diag(np.maximum(own, 0.0))
    key = pairs[:, 0] * n + pairs[:, 1]  # ascending
    i, j = (np.searchsorted(key, met[:, 0] * n + met[:, k]) for k in (1, 2))
    cross = -(both - above[i] - above[j] + here[i]) / STEP_UM**2
    np.add.at(bend, (met[:, 1], met[:, 2]), cross)
    np.add.at(bend, (met[:, 2], met[:, 1]), cross)
    return np.asarray(steep, dtype=np.float64), _no_valley(bend)


def _pairs(f: Frame, aside: NDArray[np.bool_], used: IntArray) -> IntArray:
    """(N, 2) each bearing with the places, in ``used``, of the gauges that measured it, in order."""
    seen = _measured(f) & ~aside
    place = np.searchsorted(used, f.histories.gauge[seen])
    return np.unique(np.stack([f.owner[seen], place], axis=1), axis=0).astype(np.int64)


def _meetings(pairs: IntArray) -> IntArray:
    """(M, 3) bearing and two different gauges that measured it."""
    found = []
    for group in np.split(pairs, np.flatnonzero(np.diff(pairs[:, 0])) + 1):
        one, other = np.triu_indices(len(group), 1)
        found.append(np.stack([group[one, 0], group[one, 1], group[other, 1]], axis=1))
    return np.concatenate(found)


def _evidence(
    f: Frame,
    p: Params,
    aside: NDArray[np.bool_],
    copies: IntArray,
    gauges: IntArray,
    sign: FloatArray,
) -> FloatArray:
    """(C,) log evidence of copies (C,) of bearings, the readings of two ``gauges`` (C, 2) of each moved by a
    step.
    """
    h = f.histories
    many = h.take(copies)
    g = frame(many)
    whose = g.owner
    origin = h.start[copies][whose] - many.start[:-1][whose] + np.arange(len(many.kind))
    mine = np.any(many.gauge[:, None] == gauges[whose], axis=1)
    work = _moved(lay_out(g, p, aside[origin]), mine * sign[whose] * STEP_UM)
    return evidence(g, work, rate_of(f, p).take(copies))


def _moved(work: Work, by: FloatArray) -> Work:
    """The instructions with readings and bounds lower by (E,) um."""
    point = np.isin(work.op, [grid.READ, grid.CENSOR])
    bound = work.op == grid.CENSOR
    return replace(work, a=work.a - np.where(point, by, 0.0), b=work.b - np.where(bound, by, 0.0))


def _no_valley(bend: FloatArray) -> FloatArray:
    """The nearest symmetric matrix that nowhere bends the other way."""
    value, vector = np.linalg.eigh(0.5 * (bend + bend.T))
    return np.asarray((vector * np.maximum(value, 0.0)) @ vector.T)


def _scale(b: FloatArray, sure: FloatArray, spread: float) -> float:
    """The scale of the biases, um, at its mode: Newton's steps on its log, the weights of the t taken anew in
    each.
    """
    log = float(np.log(spread))
    for _ in range(20):
        share = (FREEDOM + 1) / (FREEDOM + (b / np.exp(log)) ** 2)
        rest = float(np.sum(share * (b**2 + sure**2))) / np.exp(2 * log)
        slope = rest - len(b) - (log - SPREAD_PRIOR[0]) / SPREAD_PRIOR[1] ** 2
        log += float(np.clip(slope / (2 * rest + SPREAD_PRIOR[1] ** -2), -0.5, 0.5))
    return float(np.exp(log))
