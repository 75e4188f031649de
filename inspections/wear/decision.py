"""One rule: open, look at all bearings of the pump, decide by a trigger printed beforehand.

Numbers only: beliefs, terms and outages in, costs, chances, triggers and words out. At an open pump a bearing
gets a new shell if, with its reading counted in, its chance of passing the in-service maximum before the
pump's next outage is above the accepted risk; a scrape is judged by the same sentence with its step added. A
pump is opened where cost expected from then on is least, and never after its due outage. Own derivation
throughout.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from .arrays import FloatArray, IntArray
from .first_opening import Openings, first_openings, looking_by_cost, undecided
from .predictive import Predictive, from_clouds, merged, whole, worn_ahead
from .pump_opening import PumpOpenings, pump_openings
from .terms import NO_LIFE, NO_MAXIMUM, READY, Terms, accepted_risks, consequence, price_of_passing, terms
from .trigger import Ruling, bisected, look, ruling, triggers
from .value_table import Tables, tables

__all__ = [
    "NO_LIFE",
    "NO_MAXIMUM",
    "READY",
    "AtPump",
    "Decision",
    "Openings",
    "Outages",
    "Predictive",
    "PumpOpenings",
    "Ruling",
    "Tables",
    "Terms",
    "Word",
    "accepted_risks",
    "at_pump",
    "bisected",
    "consequence",
    "decide",
    "first_openings",
    "from_clouds",
    "look",
    "looking_by_cost",
    "merged",
    "price_of_passing",
    "pump_openings",
    "ruling",
    "tables",
    "terms",
    "triggers",
    "undecided",
    "whole",
    "worn_ahead",
]
PAST = 0.5  # chance from which a bearing counts as past its maximum today


class Word(IntEnum):
    """The only words of the list; "close up", "scrape" and "replace" are words at the open pump."""

    SET_LIMIT = 0
    LEAVE = 1
    OPEN = 2
    DECIDE_NOW = 3


@dataclass(frozen=True)
class Outages:
    """When B bearings can be opened: T columns, the last one the first outage after the horizon.

    ``ahead`` (B, T) kh from today, ``step`` (B, T) kh from each to the pump's next outage, ``intervals`` (B,
    T) time to each in usual intervals; ``now`` (B,) kh to the earliest possible day outside an outage,
    ``now_step`` (B,) kh from then to the next outage, ``now_intervals`` (B,).
    """

    ahead: FloatArray
    step: FloatArray
    intervals: FloatArray
    now: FloatArray
    now_step: FloatArray
    now_intervals: FloatArray


def outages(
    ahead: FloatArray,
    t: Terms,
    now: FloatArray | float = 0.0,
    worn: Callable[[FloatArray], FloatArray] | None = None,
) -> Outages:
    """Outages of B bearings from exposure alone: ``ahead`` (B, T + 1) kh, the last only ends the step before
    it.

    ``now`` (B,) or a number, kh. For plants whose pumps run evenly; else state the six arrays. ``worn`` turns
    exposures (B, K) kh from today into what they wear like at today's rate (``worn_ahead``), for bearings
    whose wear follows a power of age.

    >>> from .terms import example_terms
    >>> t = example_terms(1, interval_kh=13.0)
    >>> outages(np.array([[6.5, 19.5, 32.5]]), t).intervals.tolist()
    [[0.5, 1.5]]
    >>> outages(np.array([[6.5, 19.5, 32.5]]), t, worn=lambda x: 2.0 * x).step.tolist()
    [[26.0, 26.0]]
    """
    ahead = np.asarray(ahead, dtype=np.float64)
    start = np.broadcast_to(np.asarray(now, dtype=np.float64), (len(t),))
    early = np.minimum(start, ahead[:, 0])
    both = np.concatenate([early[:, None], ahead], axis=1)
    wears = both if worn is None else worn(both)
    return Outages(
        wears[:, 1:-1],
        np.diff(wears[:, 1:], axis=1),
        ahead[:, :-1] / t.interval_kh[:, None],
        wears[:, 0],
        wears[:, 1] - wears[:, 0],
        early / t.interval_kh,
    )


@dataclass(frozen=True)
class Decision:
    """What stands for B bearings and P pumps.

    ``word`` (B,) of ``Word``; ``first`` (P,) column at which the pump is opened (-1: nothing to decide by);
    ``now`` openings on the earliest day, ``now_cost`` (P,) and ``stopping_h`` (P,) what opening then saves
    against the next outage, before the cost of the stop; ``past`` (B,) whether the bearing is past its
    maximum today.
    """

    word: NDArray[np.int8]
    first: IntArray
    openings: Openings
    pumps: PumpOpenings
    now: Openings
    now_cost: FloatArray
    stopping_h: FloatArray
    past: NDArray[np.bool_]


def decide(
    p: Predictive,
    t: Terms,
    when: Outages,
    pump: IntArray,
    open_h: FloatArray,
    *,
    stop_h: FloatArray | None = None,
    contact_open: NDArray[np.bool_] | None = None,
    fits: NDArray[np.bool_] | None = None,
    exact: bool = False,
) -> Decision:
    """Judge a fleet: B bearings on P pumps, T outages.

    ``pump`` (B,); ``open_h`` (P,) crew hours of opening; ``stop_h`` (P,) cost of a stop outside an outage
    (NaN or none given: not stated, then only its worth is worked out); ``contact_open`` (B,) a contact
    finding waits: that bearing is counted as having one at its next opening; ``fits`` (B,) whether the belief
    fits (never where there is none). ``exact``: tables of each bearing's own figures instead of the
    lattice's.

    >>> from .terms import example_terms
    >>> t = example_terms(2, limit_um=[260, np.nan])
    >>> p = Predictive(
    ...     np.ones((2, 1)),
    ...     np.full((2, 1), 0.9),
    ...     np.full((2, 1), 270.0),
    ...     np.full((2, 1), 64.0),
    ...     np.full(2, 2.0),
    ... )
    >>> d = decide(p, t, outages(np.array([[6.6, 19.7, 32.9]] * 2), t), np.array([0, 1]), np.full(2, 8.0))
    >>> [Word(w).name for w in d.word], d.first.tolist()
    (['DECIDE_NOW', 'SET_LIMIT'], [0, -1])
    """
    believed = np.isfinite(p.weight).all(axis=1) & (p.weight.sum(axis=1) > 0)
    fits = believed if fits is None else fits & believed
    v = tables(t, exact=exact)  # of the class: one bearing's open finding does not change them
    if contact_open is not None:
        t = replace(t, contact_share=np.where(contact_open, 1.0, t.contact_share))
    o, columns = _columns(p, t, v, when, pump, open_h, contact_open, fits)
    now, early = _columns(p, t, v, _today(when), pump, open_h, None, fits)
    saved = columns.cost[:, 0] - early.cost[:, 0]
    past = np.nan_to_num(o.past_now) >= PAST
    stop = np.full(len(open_h), np.nan) if stop_h is None else np.asarray(stop_h, dtype=np.float64)
    pays = np.nan_to_num(saved, nan=-np.inf) > np.where(np.isfinite(stop), stop, np.inf)
    word = _words(t, columns.first[pump], past | pays[pump])
    return Decision(word, columns.first, o, columns, now, early.cost[:, 0], saved, past)


def _today(when: Outages) -> Outages:
    """The same pumps with today as their only outage."""
    now, step, intervals = when.now, when.now_step, when.now_intervals
    return Outages(now[:, None], step[:, None], intervals[:, None], now, step, intervals)


def _words(t: Terms, first: IntArray, at_once: NDArray[np.bool_]) -> NDArray[np.int8]:
    """(B,) `Word` of each bearing from its pump's first opening (B,) and whether to decide now (B,)."""
    word = np.where(first == 0, Word.OPEN, Word.LEAVE)
    word = np.where(at_once, Word.DECIDE_NOW, word)
    return np.where((t.standing != READY) | (first < 0), Word.SET_LIMIT, word).astype(np.int8)


def _columns(
    p: Predictive,
    t: Terms,
    v: Tables,
    when: Outages,
    pump: IntArray,
    open_h: FloatArray,
    contact_open: NDArray[np.bool_] | None,
    fits: NDArray[np.bool_] | None,
) -> tuple[Openings, PumpOpenings]:
    """Openings of the bearings and of their pumps at the outages."""
    o = first_openings(p, t, v, when.ahead, when.step, intervals=when.intervals)
    if fits is not None and not fits.all():
        o = _set_aside(o, t, fits)
    times = np.zeros((len(open_h), when.intervals.shape[1]))
    times[pump] = when.intervals
    return o, pump_openings(o, t, v, pump, open_h, times, contact_open=contact_open, fits=fits)


def _set_aside(o: Openings, t: Terms, fits: NDArray[np.bool_]) -> Openings:
    """The openings, those of bearings whose belief does not fit not costed."""
    blank = undecided(t, o.cost.shape[1])
    arrays = {}
    for f in fields(Openings):
        own, other = getattr(o, f.name), getattr(blank, f.name)
        arrays[f.name] = np.where(fits.reshape(-1, *[1] * (own.ndim - 1)), own, other)
    return Openings(**arrays)


@dataclass(frozen=True)
class AtPump:
    """What a reading at the open pump says, (B,): chances of passing before the next outage, and what
    follows.
    """

    closed: FloatArray
    scraped: FloatArray
    renew: NDArray[np.bool_]
    renew_if_scraped: NDArray[np.bool_]


def at_pump(p: Predictive, t: Terms, reading: FloatArray, reading_sd: FloatArray, step: FloatArray) -> AtPump:
    """Judge readings (B,) um of sd ``reading_sd`` (B,) taken today, the next outage ``step`` (B,) kh later.

    The same chance the trigger is the root of: a reading at or above the trigger renews.

    >>> from .terms import example_terms
    >>> t = example_terms(1)
    >>> p = Predictive(*(np.array([[v]]) for v in (1.0, np.log(2.2), 215.0, 400.0)), np.array([2.0]))
    >>> seen = at_pump(p, t, np.array([225.0]), np.array([10.0]), np.array([13.15]))
    >>> round(float(seen.closed[0]), 2), bool(seen.renew[0])
    (0.25, True)
    """
    readings = look(p, np.zeros(len(p)), reading_sd, reading=np.asarray(reading, dtype=np.float64)[:, None])
    closed = readings.passing(t.limit_um, step)[:, 0]
    scraped = readings.passing(t.limit_um, step, t.scrape_um, t.scrape_sd_um)[:, 0]
    return AtPump(closed, scraped, closed > t.accepted, scraped > t.accepted)
