"""A bearing's own curve: wear along another power of age than its class's, weighed with its whole record.

A bearing whose readings bend is read five times, under its class's exponent and under others; the forecast
piles what they say by their weight. How many such bearings there are, the fleet teaches. See
docs/wear-model.md, section 4.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .ages import YOUNGEST
from .arrays import FloatArray, IntArray
from .belief import evidence, rate_under
from .event_effects import Frame, frame, lay_out
from .grounds import LOOKED_AT, bend_score
from .parameters import Params

# A bearing's exponent over its class's; of bearings with a curve of their own, how many follow each; how many
# have one, Beta(1, 20). Design assumptions with no published source.
TIMES = (1.0, 0.5, 0.5**0.5, 2.0**0.5, 2.0)
OF_CURVED = np.array([0.1875, 0.3125, 0.3125, 0.1875])
BELIEVED = (1.0, 20.0)
ROUNDS = 30  # of expectation and maximization, until the share stands still
KEPT = 0.95  # weight of the class's own exponent from which its dates stand alone


def bent_params(p: Params, times: float) -> Params:
    """The fleet's numbers with every exponent ``times`` over."""
    return p if times == 1.0 else replace(p, exponent=p.exponent * times)


def rate_shift(f: Frame, p: Params, times: float) -> FloatArray:
    """(B,) what an exponent ``times`` over adds to the expected log rate, what has worn by the present life's
    age kept.

    r X (a / X)^q stands for what has worn by age a: it stays where log r moves by (q - q times) log(a / X).
    """
    a = np.maximum(f.ages.at_end(p.curve), YOUNGEST * p.usual_kh)
    return np.asarray(p.curve.of(f.histories.class_) * (1.0 - times) * np.log(a / p.usual_kh))


def curve_logs(f: Frame, p: Params, aside: NDArray[np.bool_], stop: IntArray | None = None) -> FloatArray:
    """(B, 5) log evidence of each bearing's readings, before its event ``stop`` where given, under each of
    ``TIMES``.
    """
    loc, var = p.outlook(f.histories)
    work = lay_out(f, p, aside)
    rates = [rate_under(bent_params(p, times), loc + rate_shift(f, p, times), var) for times in TIMES]
    return np.stack([evidence(f, work, rate, stop=stop) for rate in rates], axis=1)


def curve_weights(logs: FloatArray, share: float) -> FloatArray:
    """(B, 5) weight of each of ``TIMES`` where a ``share`` of bearings has a curve of its own."""
    odds = np.append(1.0 - share, share * OF_CURVED)
    weight = odds * np.exp(np.nan_to_num(logs - np.nanmax(logs, axis=1, keepdims=True), nan=-np.inf))
    return np.asarray(weight / np.maximum(weight.sum(axis=1, keepdims=True), 1e-300))


def learned_share(f: Frame, p: Params, aside: NDArray[np.bool_]) -> float:
    """Share of bearings with a curve of their own, by expectation and maximization over the fleet's records.

    Dempster, Laird and Rubin, J. Royal Statistical Society B 39 (1977) 1, with the belief's counts added.
    """
    told = np.flatnonzero(_begun_in_record(f))
    share = BELIEVED[0] / sum(BELIEVED)
    if not len(told):
        return share
    own, skip = part_of(f, aside, told)
    logs = curve_logs(own, p, skip)
    for _ in range(ROUNDS):
        curved = float(np.sum(1.0 - curve_weights(logs, share)[:, 0]))
        share = (BELIEVED[0] + curved) / (sum(BELIEVED) + len(told))
    return share


def own_curves(f: Frame, p: Params, aside: NDArray[np.bool_]) -> tuple[IntArray, FloatArray]:
    """Bearings (b,) that may well have a curve of their own, and the weight (b, 5) of each of ``TIMES``.

    Looked at are bearings whose present life began in the record and bends over one standard error.
    """
    members = np.flatnonzero(_begun_in_record(f)) if p.own_curves > 0 else np.zeros(0, dtype=np.int64)
    members = members[bend_score(f, p, aside)[members] > LOOKED_AT] if len(members) else members
    if not len(members):
        return members, np.zeros((0, len(TIMES)))
    own, skip = part_of(f, aside, members)
    weight = curve_weights(curve_logs(own, p, skip), p.own_curves)
    apart = (weight[:, 0] < KEPT) & (weight.sum(axis=1) > 0.5)
    return members[apart], weight[apart]


def _begun_in_record(f: Frame) -> NDArray[np.bool_]:
    """(B,) bearings whose present life's start is recorded: of the others only the bend of age and curve
    together is known.
    """
    none = np.zeros(f.histories.n_bearings, dtype=bool)
    return f.ages.known[f.ages.present] if len(f.owner) else none


def part_of(f: Frame, aside: NDArray[np.bool_], bearings: IntArray) -> tuple[Frame, NDArray[np.bool_]]:
    """The frame of some bearings and their readings set aside."""
    start = f.histories.start
    events = np.concatenate([np.arange(start[i], start[i + 1]) for i in bearings])
    return frame(f.histories.take(bearings)), aside[events]
