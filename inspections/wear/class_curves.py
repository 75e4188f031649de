"""Whether the whole fleet, or a class in it, wears along another curve than the one its dates are told from.

A bearing alone shows a curve only where it bends far; a class shows it by the sum of its bearings. See
docs/wear-model.md, section 4.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from .ages import Curve
from .arrays import FloatArray, Kind
from .belief import evidence, rate_under
from .event_effects import Frame, lay_out
from .grounds import bent_along
from .parameters import Params
from .rate_effects import STEP
from .slips import last_readings

TIMES = (0.7, 1.4)  # exponents that are tried, times the fleet's own
LEAST_BEARINGS, LEAST_READINGS = 20, 3  # of a class, and of a life of theirs, from which it is looked at
SURE_NATS = 5.0  # summed log odds from which the dates do not stand without the curve
MOST_NATS = 2.0  # that one bearing may add: a few with a curve of their own are a matter for their own test
MOST_APART = 8  # classes with an exponent of their own: those of most bearings
WORTH = 0.1  # share by which the curve has to move an early date
WHOLE = -2  # stands for the whole fleet among the codes of classes
SHIFTS = STEP * np.arange(
    -2.0, 3.0
)  # log rate by which a class's expected rate is fitted anew under each curve


def curved_classes(f: Frame, p: Params, aside: NDArray[np.bool_], weight: FloatArray) -> tuple[int, ...]:
    """Codes of the classes, WHOLE for the fleet, that wear along another curve than the fleet's.

    Parameters
    ----------
    f, p : Frame of B bearings, and the fleet's fitted numbers.
    aside : (E,) bool, readings that count as not taken.
    weight : (B,) 0 for bearings that do not vote.

    Returns
    -------
    tuple of int
        where the log odds of an exponent of ``TIMES`` the fleet's, summed over the bearings at expected rates
        fitted anew, are over ``SURE_NATS``, and where that curve moves an early date by more than ``WORTH``
        (median over the bearings).
    """
    speaks = _speaking(f, aside) & (weight > 0)
    h = f.histories
    groups = {int(code): speaks & (h.class_ == code) for code in np.unique(h.class_[speaks]) if code >= 0}
    groups = {WHOLE: speaks} | (groups if len(groups) > 1 else {})
    groups = {code: mine for code, mine in groups.items() if mine.sum() >= LEAST_BEARINGS}
    if not groups:
        return ()
    straight = _profile(f, p, aside)
    curves = [(times, _profile(replace(f, along=bent_along(f, p.curve, times)), p, aside)) for times in TIMES]
    return tuple(
        code
        for code, mine in groups.items()
        if any(
            _odds(straight, curve, mine) > SURE_NATS and _moves(f, p.curve, times, mine) > WORTH
            for times, curve in curves
        )
    )


def speak_apart(f: Frame) -> tuple[int, ...]:
    """Codes of the classes that can speak of an exponent of their own, in order.

    Of ``LEAST_BEARINGS`` or more that a record could show bent, beside as many of other classes; the
    ``MOST_APART`` largest.
    """
    h = f.histories
    speaks = _speaking(f, np.zeros(len(f.owner), dtype=bool))
    codes, count = np.unique(h.class_[speaks & (h.class_ >= 0)], return_counts=True)
    able = (count >= LEAST_BEARINGS) & (speaks.sum() - count >= LEAST_BEARINGS)
    largest = sorted(zip(-count[able], codes[able], strict=True))[:MOST_APART]
    return tuple(sorted(int(code) for _, code in largest))


def _speaking(f: Frame, aside: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(B,) bearings with a life of readings enough to bend."""
    seen = f.usable & ~aside & (f.histories.kind == Kind.READING)
    count = np.bincount(f.ages.life[seen], minlength=len(f.ages.known))
    most = np.zeros(f.histories.n_bearings, dtype=np.int64)
    np.maximum.at(most, f.owner[seen], count[f.ages.life[seen]])
    return most >= LEAST_READINGS


def _profile(f: Frame, p: Params, aside: NDArray[np.bool_]) -> FloatArray:
    """(S, B) log evidence of each bearing at expected log rates moved by ``SHIFTS``."""
    loc, _ = p.outlook(f.histories)
    work, still = lay_out(f, p, aside), np.zeros(len(loc))
    return np.array([evidence(f, work, rate_under(p, loc + shift, still)) for shift in SHIFTS])


def _odds(straight: FloatArray, curve: FloatArray, mine: NDArray[np.bool_]) -> float:
    """Summed log odds of a curve over the fleet's, each at the expected rate that suits these bearings best,
    nats.
    """
    at = [int(np.argmax(log[:, mine].sum(axis=1))) for log in (straight, curve)]
    each = curve[at[1], mine] - straight[at[0], mine]
    return float(np.sum(np.clip(each, -MOST_NATS, MOST_NATS)))


def _moves(f: Frame, fleets: Curve, times: float, mine: NDArray[np.bool_]) -> float:
    """Median share by which the curve moves the time to the maximum.

    With G worn since new and R left, a life of age a has a ((1 + R / G)^(1 / q) - 1) to go under an exponent
    q.
    """
    h = f.histories
    last = last_readings(f)
    mine = mine & (last >= 0) & (h.limit_um > 0)
    worn = h.value_um[last[mine]] - f.new_um[mine]
    left = h.limit_um[mine] - h.value_um[last[mine]]
    good = (worn > 0) & (left > 0)
    if not good.any():
        return 0.0
    ratio = np.log1p(left[good] / worn[good])
    q = np.broadcast_to(fleets.of(h.class_), h.n_bearings)[mine][good]
    moved = np.expm1(ratio / (q * times)) / np.expm1(ratio / q)
    return float(np.median(np.abs(moved - 1.0)))


def follows_other(codes: tuple[int, ...], class_: NDArray[np.int32]) -> NDArray[np.bool_]:
    """(B,) bearings of classes that follow another curve than their dates, by their class codes (B,)."""
    return np.full(len(class_), WHOLE in codes) | np.isin(class_, codes)
