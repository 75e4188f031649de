"""A pump's openings from those of its bearings: one column per outage, its due outage, and what follows
later.

Own derivation. A pump opened is looked at whole, so its bearings share a column; between openings nothing is
learned.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .arrays import FloatArray, IntArray
from .first_opening import Openings
from .terms import READY, Terms
from .value_table import GAPS, Tables

# times the dearest work for each unit of chance beyond the accepted: late only where something is short
LATE = 5.0
CONTACT = 2.0  # times the dearest work for each outage a contact finding stands open
LONGEST = 60  # usual intervals ahead to which re-openings are followed


@dataclass(frozen=True)
class PumpOpenings:
    """P pumps, each first opened at one of T columns; (P, T) unless said; crew hours.

    ``cost`` F, the pump's own opening counted in (NaN where none of its bearings can be decided on);
    ``hours``, ``variance`` of the whole job; ``new`` expected new shells; ``past`` the largest chance of a
    bearing to have passed by then; ``late`` what of ``cost`` is for lying beyond the due outage; ``due`` (P,)
    the last column before which no bearing has a chance above the accepted (0 where the first already has);
    ``by_rule`` (P,) opened at the first column whatever it costs, because a belief does not fit;
    ``reopening`` (P, T, T) expected further openings at a column after a first one; ``again_h`` (P,) hours
    and ``again_new`` (B,) new shells of each such opening.
    """

    cost: FloatArray
    hours: FloatArray
    variance: FloatArray
    new: FloatArray
    past: FloatArray
    late: FloatArray
    due: IntArray
    by_rule: NDArray[np.bool_]
    reopening: FloatArray
    again_h: FloatArray
    again_new: FloatArray

    @property
    def first(self) -> IntArray:
        """(P,) the column of least cost; 0 by rule; -1 where nothing can be decided."""
        known = np.isfinite(self.cost).any(axis=1)
        cheapest = np.where(np.isfinite(self.cost), self.cost, np.inf).argmin(axis=1)
        return np.where(self.by_rule, 0, np.where(known, cheapest, -1))

    @property
    def waiting_h(self) -> FloatArray:
        """(P, T - 1) what waiting one column longer costs: F of the next column less F of this one."""
        return np.diff(self.cost, axis=1)


def pump_openings(
    o: Openings,
    t: Terms,
    v: Tables,
    pump: IntArray,
    open_h: FloatArray,
    intervals: FloatArray,
    *,
    contact_open: NDArray[np.bool_] | None = None,
    fits: NDArray[np.bool_] | None = None,
) -> PumpOpenings:
    """The columns of P pumps from the openings of their B bearings.

    ``pump`` (B,) whose bearing it is; ``open_h`` (P,) crew hours of opening; ``intervals`` (P, T) time to
    each column in usual intervals; ``contact_open`` (B,) a contact finding waits for work; ``fits`` (B,)
    whether the belief fits its bearing. Every pump needs a bearing. Raises ValueError where shapes do not
    fit.

    >>> from .first_opening import first_openings
    >>> from .predictive import Predictive
    >>> from .terms import example_terms
    >>> from .value_table import tables
    >>> t = example_terms(2)
    >>> one, level = np.ones((2, 1)), np.array([[200.0], [150.0]])
    >>> p = Predictive(one, 0.9 * one, level, 64.0 * one, np.full(2, 2.0))
    >>> at = np.array([[0.5, 1.5, 2.5]])
    >>> v = tables(t)
    >>> o = first_openings(p, t, v, 13.15 * np.repeat(at, 2, axis=0), np.full((2, 3), 13.15))
    >>> q = pump_openings(o, t, v, np.zeros(2, dtype=int), np.full(1, 8.0), at)
    >>> q.due.tolist(), q.first.tolist(), q.reopening.shape
    ([0], [0], (1, 3, 3))
    """
    _refuse(o, t, pump, open_h, intervals)
    pumps, ready = len(open_h), t.standing == READY
    sure = np.ones(len(t), dtype=bool) if fits is None else fits
    own = ready & sure
    chance = np.where(own[:, None], np.nan_to_num(o.past), 0.0)
    over = chance > t.accepted[:, None]
    past = np.zeros((pumps, chance.shape[1]))
    np.maximum.at(past, pump, chance)
    late = _summed(_lateness(t, chance, over), pump, pumps)
    bearing_cost = np.where(own[:, None], o.cost, 0.0)
    if contact_open is not None:
        bearing_cost += (CONTACT * t.dearest_h * contact_open)[:, None] * np.arange(chance.shape[1])
    cost = _opening_cost(t, pump, open_h, intervals) + _summed(bearing_cost, pump, pumps) + late
    hours = np.where(np.isfinite(o.hours), o.hours, t.measure_h[:, None])
    again_h, again_new = _usual_work(t, v, pump, open_h)
    return PumpOpenings(
        cost=np.where(np.bincount(pump, own, minlength=pumps)[:, None] > 0, cost, np.nan),
        hours=open_h[:, None] + _summed(hours, pump, pumps),
        variance=_summed(np.nan_to_num(o.variance), pump, pumps),
        new=_summed(np.nan_to_num(o.new), pump, pumps),
        past=past,
        late=late,
        due=_due(over, pump, pumps),
        by_rule=np.bincount(pump, ready & ~sure, minlength=pumps) > 0,
        reopening=_reopening(o, v, own, pump, intervals),
        again_h=again_h,
        again_new=again_new,
    )


def _opening_cost(t: Terms, pump: IntArray, open_h: FloatArray, intervals: FloatArray) -> FloatArray:
    """(P, T) crew hours of opening each pump at each column, discounted by the intervals until then."""
    discount = np.ones(len(open_h))
    discount[pump] = t.discount
    return np.asarray(discount[:, None] ** intervals * open_h[:, None])


def _lateness(t: Terms, chance: FloatArray, over: NDArray[np.bool_]) -> FloatArray:
    """(B, T) crew hours charged for a first opening after the chance has passed the accepted risk."""
    beyond = np.where(over, t.dearest_h[:, None] * (1.0 + LATE * (chance - t.accepted[:, None])), 0.0)
    beyond[:, 0] = 0.0
    return beyond


def _refuse(o: Openings, t: Terms, pump: IntArray, open_h: FloatArray, intervals: FloatArray) -> None:
    shape = (len(open_h), o.cost.shape[1])
    if np.shape(intervals) != shape or len(pump) != len(t) or len(o.cost) != len(t):
        raise ValueError(
            f"Columns of {len(open_h)} pumps with {len(t)} bearings: intervals {np.shape(intervals)} must be"
            f" {shape}, and pump and openings one row a bearing, found {len(pump)} and {len(o.cost)}."
        )


def _summed(values: FloatArray, pump: IntArray, pumps: int) -> FloatArray:
    """(P, ...) sums over each pump's bearings of values (B, ...)."""
    out = np.zeros((pumps, *values.shape[1:]))
    np.add.at(out, pump, values)
    return out


def _due(over: NDArray[np.bool_], pump: IntArray, pumps: int) -> IntArray:
    """(P,) the last column before which no bearing's chance is above the accepted; 0 where the first one's
    is.
    """
    worst = np.zeros((pumps, over.shape[1]), dtype=bool)
    np.logical_or.at(worst, pump, over)
    beyond = np.where(worst.any(axis=1), worst.argmax(axis=1), over.shape[1])
    return np.maximum(beyond - 1, 0)


def _usual_work(t: Terms, v: Tables, pump: IntArray, open_h: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(P,) crew hours of a usual opening, (B,) new shells at it."""
    new, scraped = np.nan_to_num(v.usual_new), np.nan_to_num(v.usual_scrape)
    hours = np.asarray(open_h, dtype=np.float64).copy()
    np.add.at(hours, pump, t.measure_h + new * t.replace_h + scraped * t.scrape_h)
    return hours, new


def earliest(gaps: FloatArray, pump: IntArray, pumps: int) -> FloatArray:
    """(P, ..., 5) chance that the earliest of a pump's bearings comes after 1 to 5 intervals, from theirs (B,
    ..., 5).

    Bearings count as independent; rows of NaN (nothing known) as never coming first.

    >>> earliest(np.array([[0.5, 0.5, 0, 0, 0], [0.5, 0.0, 0.5, 0, 0]]), np.zeros(2, dtype=int), 1).tolist()
    [[0.75, 0.25, 0.0, 0.0, 0.0]]
    """
    left = np.clip(1.0 - np.cumsum(np.nan_to_num(gaps), axis=-1), 0.0, 1.0)
    together = np.ones((pumps, *gaps.shape[1:]))
    np.multiply.at(together, pump, left)
    before = np.concatenate([np.ones((*together.shape[:-1], 1)), together[..., :-1]], axis=-1)
    return before - together


def _reopening(
    o: Openings, v: Tables, own: NDArray[np.bool_], pump: IntArray, intervals: FloatArray
) -> FloatArray:
    """(P, T, T) expected openings at a column after a first one: the pump's own gap, then the class's usual
    ones.
    """
    pumps, columns = intervals.shape
    out = np.zeros((pumps, columns, columns))
    if columns < 2:
        return out
    first = earliest(np.where(own[:, None, None], o.gaps, np.nan), pump, pumps)
    usual = earliest(np.where(own[:, None], v.usual_gap, np.nan), pump, pumps)
    reach = int(min(np.ceil((intervals[:, -1] - intervals[:, 0]).max()), LONGEST))
    expected = np.zeros((pumps, columns, reach + 1))
    rows, at = np.arange(pumps)[:, None], np.arange(columns)[None, :]
    for k in range(1, reach + 1):
        if k <= GAPS:
            expected[:, :, k] += first[:, :, k - 1]
        for i in range(1, min(GAPS, k - 1) + 1):
            expected[:, :, k] += expected[:, :, k - i] * usual[:, i - 1, None]
        when = intervals + k
        nearest = np.abs(when[:, :, None] - intervals[:, None, :]).argmin(axis=2)
        inside = (when < intervals[:, -1:] + 0.5) & (nearest > at)
        np.add.at(out, (rows, at, nearest), np.where(inside, expected[:, :, k], 0.0))
    return out
