"""What the programme is given: P pumps, T outages and one column after the horizon, all in crew hours.

Own derivation: a plan commits each pump to one next opening; what follows it is expected load.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from inspections.wear.arrays import FloatArray, IntArray
from inspections.wear.decision import Openings, PumpOpenings

BY_RULE_H = 1000.0  # for each outage that a pump opened by rule would wait: dearer than any wear


@dataclass(frozen=True)
class Shells:
    """F families of shells: what openings need, and what there is.

    ``new``, ``variance`` (F, P, T) expected shells of an opening and their variance; ``again`` (F, P) of each
    further opening; ``on_hand`` (F,); ``due`` (F, T) delivered in all by each outage; ``buyable`` (F, T)
    whether one bought today is there by then; ``price_h`` (F,) crew hours; ``names`` of the families;
    ``back`` (F, T, T) 1 where a shell taken out in the first outage is back relined for the second.
    """

    new: FloatArray
    variance: FloatArray
    again: FloatArray
    on_hand: FloatArray
    due: FloatArray
    buyable: NDArray[np.bool_]
    price_h: FloatArray
    names: tuple[str, ...]
    back: FloatArray | None = None


@dataclass(frozen=True)
class Instance:
    """One plan to be made; ``cost`` (P, T + 1), other arrays (P, T) or as said.

    ``cost`` of a first opening at each outage, the last column after the horizon; ``allowed`` (P, T + 1)
    which may be chosen; ``hours`` expected and their ``variance``; ``capacity`` (T,) crew hours (inf: not
    limited); ``reopening`` (P, T, T) expected further openings after a first one, ``again_h`` (P,) hours of
    each; ``twins`` pairs of pumps; ``overlaps`` pairs of outages that overlap, each with itself; ``discount``
    of a usual interval; ``names`` and ``outages`` for sentences.
    """

    cost: FloatArray
    allowed: NDArray[np.bool_]
    hours: FloatArray
    variance: FloatArray
    capacity: FloatArray
    reopening: FloatArray
    again_h: FloatArray
    names: tuple[str, ...]
    outages: tuple[str, ...]
    twins: tuple[tuple[int, int], ...] = ()
    overlaps: tuple[tuple[int, int], ...] = ()
    shells: Shells | None = None
    discount: float = 0.97

    def __post_init__(self) -> None:
        """Refuse, with a sentence, figures no plan can be made of."""
        p, t = len(self.names), len(self.outages)
        wanted: dict[str, tuple[int, ...]] = {
            "cost": (p, t + 1),
            "allowed": (p, t + 1),
            "hours": (p, t),
            "variance": (p, t),
            "capacity": (t,),
            "reopening": (p, t, t),
            "again_h": (p,),
        }
        wrong = [
            f"{k} {getattr(self, k).shape}, {w}" for k, w in wanted.items() if getattr(self, k).shape != w
        ]
        if wrong:
            raise ValueError(
                f"A plan of {p} pumps and {t} outages: found, wanted: {'; '.join(wrong)}. Give every pump one"
                " row."
            )
        bad = self.allowed & ~np.isfinite(self.cost)
        if bad.any():
            i, k = (int(a[0]) for a in np.nonzero(bad))
            raise ValueError(
                f"{self.names[i]}: its cost at column {k} is {self.cost[i, k]}; allowed is a finite number."
                " Leave out pumps that nothing can be decided on, or take the column away."
            )
        none = ~self.allowed.any(axis=1)
        if none.any():
            raise ValueError(
                f"{self.names[int(np.argmax(none))]}: every column is taken away. Leave it at least the one"
                " after the horizon, or take a refusal back."
            )

    @property
    def wanted(self) -> IntArray:
        """(P,) the column each pump would take if nothing were short."""
        return np.where(self.allowed, self.cost, np.inf).argmin(axis=1)

    @property
    def fixed(self) -> NDArray[np.bool_]:
        """(P,) whether a pump has but one column."""
        return self.allowed.sum(axis=1) == 1

    def gap_h(self, objective: float, share: float = 0.01) -> float:
        """Absolute gap, crew hours: a share of what the horizon's part of the objective is, (1 - discount^T).

        >>> two = Instance(np.zeros((1, 3)), np.ones((1, 3), bool), *(np.zeros((1, 2)),) * 2, np.zeros(2),
        ...                np.zeros((1, 2, 2)), np.zeros(1), ("P1",), ("A", "B"))
        >>> round(two.gap_h(1000.0), 3)
        0.591
        """
        return share * (1.0 - self.discount ** len(self.outages)) * abs(objective)


@dataclass(frozen=True)
class Waiting:
    """A pump that wants into an outage whose scope is frozen, and what waiting costs, crew hours."""

    pump: int
    outage: int
    waiting_h: float


@dataclass(frozen=True)
class Scope:
    """What people have settled: pins {pump: column}, refusals and blocks (P, T), frozen outages (T,),
    accepted plan (P,).

    ``accepted`` (P,): the column of the accepted plan, -1 none. A pin goes before a freeze: who pinned a pump
    into a frozen outage did so knowing it.
    """

    pins: dict[int, int] = field(default_factory=dict)
    removed: NDArray[np.bool_] | None = None
    frozen: NDArray[np.bool_] | None = None
    accepted: IntArray | None = None


def settled(cost: FloatArray, scope: Scope) -> tuple[NDArray[np.bool_], tuple[Waiting, ...]]:
    """Columns (P, T + 1) that are left, and the pumps that want into an outage whose scope is frozen.

    The column after the horizon stays open to every pump that is not pinned or frozen in.

    >>> cost = np.array([[5.0, 7.0, 9.0], [5.0, 7.0, 9.0]])
    >>> left, waiting = settled(cost, Scope(frozen=np.array([True, False]), accepted=np.array([0, -1])))
    >>> left.tolist(), [(w.pump, w.outage, w.waiting_h) for w in waiting]
    ([[True, False, False], [False, True, True]], [(1, 0, 2.0)])
    """
    pumps, columns = cost.shape
    left = np.isfinite(cost)
    if scope.removed is not None:
        left[:, :-1] &= ~scope.removed
    left[:, -1] = np.isfinite(cost[:, -1])
    frozen = np.zeros(columns - 1, dtype=bool) if scope.frozen is None else scope.frozen
    accepted = np.full(pumps, -1) if scope.accepted is None else scope.accepted
    wanted = np.where(left, cost, np.inf).argmin(axis=1)
    held = (accepted >= 0) & np.append(frozen, False)[accepted]
    left[:, :-1] &= ~frozen
    for i in np.flatnonzero(held):
        left[i] = np.arange(columns) == accepted[i]
    for pinned, k in scope.pins.items():
        left[pinned] = np.arange(columns) == k
    kept_out = np.append(frozen, False)[wanted] & ~held
    kept_out[list(scope.pins)] = False
    best = np.where(left, cost, np.inf).min(axis=1)
    waiting = tuple(
        Waiting(int(i), int(wanted[i]), float(best[i] - cost[i, wanted[i]])) for i in np.flatnonzero(kept_out)
    )
    return left, waiting


def overlapping(start: FloatArray, end: FloatArray) -> tuple[tuple[int, int], ...]:
    """Pairs of outages (T,) whose days overlap, each with itself: start and end in days, both counted.

    >>> overlapping(np.array([0.0, 10.0, 12.0]), np.array([9.0, 14.0, 20.0]))
    ((0, 0), (1, 1), (1, 2), (2, 1), (2, 2))
    """
    meet = (start[:, None] <= end[None, :]) & (start[None, :] <= end[:, None])
    return tuple((int(a), int(b)) for a, b in np.argwhere(meet))


def costs(pumps: PumpOpenings) -> FloatArray:
    """(P, T + 1) the columns' costs; a pump opened by rule pays dearly for each outage it waits, nothing
    else.

    NaN rows: pumps without anything to decide by; leave them out of the plan.
    """
    waited = np.arange(pumps.cost.shape[1])
    return np.where(pumps.by_rule[:, None], BY_RULE_H * waited, pumps.cost)


def shells(
    o: Openings,
    pumps: PumpOpenings,
    pump: IntArray,
    family: IntArray,
    *,
    on_hand: FloatArray,
    due: FloatArray,
    buyable: NDArray[np.bool_],
    price_h: FloatArray,
    names: tuple[str, ...],
) -> Shells:
    """What each family needs at each opening, from the openings of B bearings whose ``family`` (B,) is -1 for
    none.

    ``o`` and ``pumps`` with T + 1 columns, the last after the horizon; a new shell counts as one yes or no a
    bearing.
    """
    columns = o.new.shape[1] - 1
    shape = (len(names), len(pumps.again_h), columns)
    new, variance, again = np.zeros(shape), np.zeros(shape), np.zeros(shape[:2])
    own = family >= 0
    chance = np.nan_to_num(o.new[:, :columns])
    np.add.at(new, (family[own], pump[own]), chance[own])
    np.add.at(variance, (family[own], pump[own]), (chance * (1.0 - chance))[own])
    np.add.at(again, (family[own], pump[own]), pumps.again_new[own])
    return Shells(new, variance, again, on_hand, due, buyable, price_h, names)
