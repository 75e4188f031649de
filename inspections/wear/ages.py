"""Wear along a power of a life's age: how old each life is, and the exposure that wears like steady wear.

A life of age x has worn r L(x), L(x) = X (x / X)^q, X one age for the whole pool, kh. The filter stays as it
is: a step of exposure counts as what L grows by in it. Where the start of a life is not known its age is
believed from the clearance. See docs/wear-model.md, section 4.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from .arrays import FloatArray, Histories, IntArray, Kind

YOUNGEST = 1e-3  # of X: the least age from which a rate is told, since at age 0 it is none or without bound
LOG_AGES = np.linspace(
    -3.0, 1.6, 33
)  # log of age over X at the first reading of a life whose start is not known
AGED_AT = (0.5, 0.71, 1.0, 1.41, 2.0)  # exponents at which the usual age of such a life is worked out
Exponent = float | FloatArray  # one for all, or one for each
KEPT = 8  # curves whose believed ages are kept
NEW_SHARE = 0.1  # sd of new clearance, as a share of it


@dataclass(frozen=True)
class Curve:
    """The power of a life's age that wear follows, and the pool's constants that go with it.

    ``usual_kh`` is X; ``usual_rate``, um/kh, is what wear since new usually comes to, and as wide a spread: a
    constant, since with the fleet's own rates the ages would explain the fleet's spread. ``within``: of a
    life whose start is not known, r is the mean rate over X from its first event on, so that only how a
    record bends speaks of the exponent, never how old it is believed to be. ``log_ages``: the usual log of
    age over X at the first event of such a life, at each of ``AGED_AT``; none: X itself. ``classes``: codes
    of classes with an exponent of their own, in order, and what it is.
    """

    exponent: float = 1.0
    usual_kh: float = 40.0
    usual_rate: float = 1.0
    within: bool = False
    log_ages: tuple[float, ...] = ()
    classes: tuple[tuple[int, float], ...] = ()

    @property
    def straight(self) -> bool:
        """Whether all wear is steady."""
        return self.exponent == 1.0 and not self.classes

    def of(self, class_: NDArray[np.int32]) -> Exponent:
        """The exponents of bearings of some classes (N,); one number where no class has its own."""
        if not self.classes:
            return self.exponent
        codes, own = (np.array(column) for column in zip(*self.classes, strict=True))
        place = np.minimum(np.searchsorted(codes, class_), len(codes) - 1)
        return np.asarray(np.where(codes[place] == class_, own[place], self.exponent), dtype=np.float64)

    def usual_log_age_at(self, exponent: Exponent) -> Exponent:
        """The usual log of age over X at the first event of lives whose start is not known, by exponent."""
        if not self.log_ages:
            return 0.0
        return np.asarray(np.interp(np.log(exponent), np.log(AGED_AT), self.log_ages), dtype=np.float64)

    def grown(self, age: FloatArray, exponent: Exponent) -> FloatArray:
        """L at some ages, kh."""
        return np.asarray(self.usual_kh * (np.maximum(age, 0.0) / self.usual_kh) ** exponent)

    def steepness(self, age: FloatArray, exponent: Exponent) -> FloatArray:
        """What a rate r has become at some ages, as a share of r: the slope of L there."""
        return np.asarray(exponent * (age / self.usual_kh) ** (exponent - 1.0))


STRAIGHT = Curve()


@dataclass(frozen=True)
class Ages:
    """Lives of metal in a fleet's histories, and how old each is where that is known.

    life (E,): number of the life that each event's preceding step belongs to; since (E,): run hours, kh, from
    that life's first event to the beginning of the step; present (B,) and present_kh (B,): each bearing's
    last life, and its run hours at the last event. class_ (N,): code of the class each life belongs to.
    known (N,): whether a life's start is recorded. Readings of lives without one: of (R,), at_kh (R,) since
    its first event, above_um (R,) over new clearance, weight (R,) 1 / variance; new_um (N,).
    """

    life: IntArray
    since: FloatArray
    present: IntArray
    present_kh: FloatArray
    class_: NDArray[np.int32]
    known: NDArray[np.bool_]
    of: IntArray
    at_kh: FloatArray
    above_um: FloatArray
    weight: FloatArray
    new_um: FloatArray
    _believed: dict[Curve, FloatArray] = field(default_factory=dict, repr=False, compare=False)

    def at_start(self, curve: Curve) -> FloatArray:
        """(N,) age of each life at its first event, kh: 0 where its start is recorded, else believed."""
        if self.known.all():
            return np.zeros(len(self.known))
        if curve not in self._believed:
            if len(self._believed) > KEPT:
                self._believed.clear()
            self._believed[curve] = np.where(self.known, 0.0, self._from_clearance(curve))
        return self._believed[curve]

    def share(self, curve: Curve) -> FloatArray:
        """(N,) what a life's rate is multiplied by: 1, or where the curve is learned within records alone and
        the start is not known, X over what L grows by in the X kh after the life's first event.
        """
        if not curve.within or curve.straight or self.known.all():
            return np.ones(len(self.known))
        begin, x, q = self.at_start(curve), curve.usual_kh, curve.of(self.class_)
        grown = curve.grown(begin + x, q) - curve.grown(begin, q)
        return np.where(self.known, 1.0, x / np.maximum(grown, 1e-300))

    def at_end(self, curve: Curve) -> FloatArray:
        """(B,) age at each bearing's last event, kh."""
        return self.at_start(curve)[self.present] + self.present_kh

    def before(self, curve: Curve, events: IntArray) -> FloatArray:
        """(N,) age at the beginning of the step before each of some events, kh."""
        return self.at_start(curve)[self.life[events]] + self.since[events]

    def growth(self, curve: Curve, du: FloatArray) -> FloatArray:
        """(E,) how much more L grows in each step du (E,), kh, than the step is long; 1 where the step is
        empty.
        """
        begin, q = self.at_start(curve)[self.life] + self.since, curve.of(self.class_[self.life])
        gain = curve.grown(begin + du, q) - curve.grown(begin, q)
        return np.where(du > 0, gain / np.maximum(du, 1e-300), 1.0) * self.share(curve)[self.life]

    def tail_along(self, curve: Curve, tail: FloatArray) -> FloatArray:
        """(B,) what L grows by in the ``tail`` (B,) kh after each bearing's last event, kh."""
        if curve.straight:
            return tail
        begin, q = self.at_end(curve), curve.of(self.class_[self.present])
        return (curve.grown(begin + tail, q) - curve.grown(begin, q)) * self.share(curve)[self.present]

    def _from_clearance(self, curve: Curve) -> FloatArray:
        """(N,) posterior mean of log age, as an age, kh; X where a life has no reading."""
        usual = curve.usual_log_age_at(curve.of(self.class_))
        logs = self._age_odds(curve) - 0.5 * (LOG_AGES[:, None] - usual) ** 2
        weight = np.exp(logs - logs.max(axis=0))
        mean = LOG_AGES @ (weight / weight.sum(axis=0))
        read = np.bincount(self.of, minlength=len(self.known)) > 0
        return curve.usual_kh * np.exp(np.where(read, mean, usual))

    def _age_odds(self, curve: Curve) -> FloatArray:
        """(33, N) log evidence of each of ``LOG_AGES`` for each life, up to a constant of the life.

        Given an age the readings are linear in new clearance and rate: two unknowns with normal beliefs, so
        the evidence of each age is half the fitted square less half the log determinant.
        """
        n, x, rate = len(self.known), curve.usual_kh, curve.usual_rate
        exponent = curve.of(self.class_[self.of])
        count = np.bincount(self.of, self.weight, minlength=n)
        high = np.bincount(self.of, self.weight * self.above_um, minlength=n)
        logs = np.empty((len(LOG_AGES), n))
        for k, log_age in enumerate(LOG_AGES):
            t = x * (np.exp(log_age) + self.at_kh / x) ** exponent
            cross = np.bincount(self.of, self.weight * t, minlength=n)
            square = np.bincount(self.of, self.weight * t * t, minlength=n) + rate**-2
            pull = np.bincount(self.of, self.weight * t * self.above_um, minlength=n) + 1.0 / rate
            own = count + (NEW_SHARE * self.new_um) ** -2
            det = own * square - cross**2
            fitted = (square * high**2 - 2.0 * cross * high * pull + own * pull**2) / det
            logs[k] = 0.5 * fitted - 0.5 * np.log(det)
        return logs

    def usual_log_age(self, curve: Curve) -> float:
        """The mean of log age over X at the first reading of lives whose start is not known, under a curve.

        The one of ``LOG_AGES`` that makes all such readings likeliest, ages spread round it as they are
        believed (sd 1), itself believed N(0, 1).
        """
        logs = self._age_odds(curve)[:, np.bincount(self.of, minlength=len(self.known)) > 0]
        spread = -0.5 * (LOG_AGES[:, None] - LOG_AGES) ** 2
        spread -= logsumexp(spread, axis=0)
        total = logsumexp(logs[:, None, :] + spread[:, :, None], axis=0).sum(axis=1) - 0.5 * LOG_AGES**2
        return float(LOG_AGES[np.argmax(total)])


def ages(
    h: Histories, du: FloatArray, owner: IntArray, usable: NDArray[np.bool_], new_um: FloatArray
) -> Ages:
    """The lives of a fleet; ``du`` (E,) kh between events, ``new_um`` (B,) clearance when new."""
    first = h.start[:-1][np.diff(h.start) > 0]
    begins = h.among(Kind.NEW_LIFE, Kind.UNSURE)
    is_first = np.zeros(len(owner), dtype=bool)
    is_first[first] = True
    begins |= is_first
    number = np.cumsum(begins) - 1
    known = np.ones(int(begins.sum()), dtype=bool)
    known[number[is_first]] = h.fresh[owner[first]]
    known[number[h.kind == Kind.UNSURE]] = False
    known[number[h.kind == Kind.NEW_LIFE]] = True
    total = np.cumsum(du)
    since = total - total[begins][number] if len(total) else total
    life = np.where(is_first, number, np.roll(number, 1)) if len(number) else number
    gone = np.where(is_first, 0.0, np.roll(since, 1)) if len(number) else since
    present, present_kh = np.zeros(h.n_bearings, dtype=np.int64), np.zeros(h.n_bearings)
    filled = np.diff(h.start) > 0
    last = h.start[1:][filled] - 1
    present[filled], present_kh[filled] = number[last], since[last]
    if not len(known):
        known = np.ones(1, dtype=bool)
    begun = owner[np.flatnonzero(begins)] if len(owner) else np.zeros(1, dtype=np.int64)
    new = new_um[begun] if len(new_um) else np.full(len(known), 100.0)
    class_ = h.class_[begun] if len(h.class_) else np.full(len(known), -1, dtype=np.int32)
    read, above, weight = _readings(h, owner, usable, number, since, new_um, known)
    return Ages(life, gone, present, present_kh, class_, known, number[read], since[read], above, weight, new)


def usual_curve(
    h: Histories, own: Ages, owner: IntArray, usable: NDArray[np.bool_], new_um: FloatArray, within: bool
) -> Curve:
    """The constants of a pool: median age of the present lives at their last event, and what that usually has
    worn.

    Fixed before the fit and stored with it: then the exponent hardly trades with the median rate.
    """
    age, known = own.present_kh, own.known[own.present]
    chosen = age[known & (age > 0)]
    chosen = chosen if len(chosen) else age[age > 0]
    usual_kh = float(np.median(chosen)) if len(chosen) else Curve.usual_kh
    usual = Curve(1.0, usual_kh, _usual_wear(h, owner, usable, new_um) / usual_kh)
    if not within or not len(own.of):
        return usual
    logs = tuple(own.usual_log_age(replace(usual, exponent=q)) for q in AGED_AT)
    return replace(usual, within=True, log_ages=logs)


def _usual_wear(h: Histories, owner: IntArray, usable: NDArray[np.bool_], new_um: FloatArray) -> float:
    """What the last reading of a bearing usually lies above new, um; at least a hundredth of new."""
    seen = np.flatnonzero(usable & (h.kind == Kind.READING))
    if not len(seen):
        return 1.0
    last = seen[np.append(np.diff(owner[seen]) > 0, True)]
    above = h.value_um[last] - new_um[owner[last]]
    return float(max(np.median(above), 0.01 * np.median(new_um), 1e-6))


def _readings(
    h: Histories,
    owner: IntArray,
    usable: NDArray[np.bool_],
    number: IntArray,
    since: FloatArray,
    new_um: FloatArray,
    known: NDArray[np.bool_],
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Readings up to the first scrape or new baseline of lives without a recorded start: event, um above new,
    1 / um2.
    """
    cut = np.cumsum(h.among(Kind.SCRAPE, Kind.NEW_BASELINE))
    begin = np.zeros(len(known), dtype=np.int64)
    order = np.flatnonzero(np.diff(number, prepend=-1) > 0) if len(number) else np.zeros(0, dtype=np.int64)
    begin[number[order]] = cut[order]
    seen = (
        usable & (h.kind == Kind.READING) & ~known[number] & (cut == begin[number]) if len(number) else usable
    )
    read = np.flatnonzero(seen)
    sd = np.array([max(m.sd_um, 1.0) for m in h.methods] or [10.0])
    var = sd[np.clip(h.method[read], 0, len(sd) - 1)] ** 2 + np.nan_to_num(h.extra_sd_um[read]) ** 2
    return read, h.value_um[read] - new_um[owner[read]], 1.0 / var
