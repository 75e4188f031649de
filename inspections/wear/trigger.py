"""The trigger: the reading from which a bearing found so gets a new shell, and the one above which it is not
scraped.

Own derivation: both are roots of the chance of passing the maximum before the pump's next outage, the reading
counted in, less the accepted risk. Within what may be expected the chance never falls as the reading rises.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from .arrays import FloatArray
from .predictive import TINY_VARIANCE, Predictive
from .terms import Terms

READINGS = 25
LOW_SD, HIGH_SD = 3.0, 3.5  # sds of the reading expected, below and above its mean
MOST_HALVINGS = 60
BY_RULE, BY_PLANT, BY_GUARD = 0, 1, 2  # what the printed trigger comes from


@dataclass(frozen=True)
class Readings:
    """What Y readings at an opening would say of B bearings.

    ``reading`` (B, Y) um; ``chance`` (B, Y) that it will read about so, summing to 1; ``weight`` and
    ``level`` (B, Y, N) of the nodes with the reading counted in; ``variance`` (B, N) of the level then, um2;
    ``log_rate`` (B, N) of the nodes.
    """

    reading: FloatArray
    chance: FloatArray
    weight: FloatArray
    level: FloatArray
    variance: FloatArray
    log_rate: FloatArray
    unevenness_um: FloatArray

    @property
    def mean_level(self) -> FloatArray:
        """(B, Y) expected clearance, um."""
        return np.einsum("byn,byn->by", self.weight, self.level)

    @property
    def mean_log_rate(self) -> FloatArray:
        """(B, Y) expected log rate."""
        return np.einsum("byn,bn->by", self.weight, self.log_rate)

    def passing(
        self,
        limit: FloatArray,
        x: FloatArray,
        step: FloatArray | None = None,
        step_sd: FloatArray | None = None,
    ) -> FloatArray:
        """Chance (B, Y) that the level has reached ``limit`` (B,) x (B,) kh after the reading.

        ``step``, ``step_sd`` (B,) um: what a scrape adds to it first.
        """
        gain = np.exp(self.log_rate) * x[:, None]
        var = self.variance + self.unevenness_um[:, None] * gain
        start = -limit[:, None] + gain
        if step is not None:
            start = start + step[:, None]
        if step_sd is not None:
            var = var + step_sd[:, None] ** 2
        d = (self.level + start[:, None, :]) / np.sqrt(var + TINY_VARIANCE)[:, None, :]
        return np.einsum("byn,byn->by", self.weight, ndtr(d))


def expected_readings(mean: FloatArray, variance: FloatArray, weight: FloatArray, count: int) -> FloatArray:
    """(B, Y) readings from 3 sd under to 3.5 sd over the mean of what is expected; (B, N) mean, variance of
    each node.
    """
    middle = np.sum(weight * mean, axis=1)
    sd = np.sqrt(np.sum(weight * (variance + (mean - middle[:, None]) ** 2), axis=1))
    at = np.linspace(-LOW_SD, HIGH_SD, count)
    return middle[:, None] + sd[:, None] * at


def look(
    p: Predictive,
    x: FloatArray,
    reading_sd: FloatArray,
    count: int = READINGS,
    reading: FloatArray | None = None,
) -> Readings:
    """What a reading of sd ``reading_sd`` (B,) um taken x (B,) kh ahead would say; ``reading`` (B, Y) or
    ``count`` of them.

    Bayes' rule on the nodes; within a node the level moves by the gain v / (v + s^2).

    >>> p = Predictive(*(np.array([[v]]) for v in (1.0, 0.0, 200.0, 64.0)), np.array([0.0]))
    >>> f = look(p, np.array([0.0]), np.array([8.0]), reading=np.array([[200.0, 220.0]]))
    >>> f.level[:, :, 0].tolist(), f.variance.tolist()
    ([[200.0, 210.0]], [[32.0]])
    """
    mean, var = p.ahead(x)
    s2 = np.asarray(reading_sd, dtype=float)[:, None] ** 2
    total = var + s2
    y = (
        expected_readings(mean, total, p.weight, count)
        if reading is None
        else np.asarray(reading, dtype=float)
    )
    off = y[:, :, None] - mean[:, None, :]
    with np.errstate(divide="ignore"):
        log_w = np.log(p.weight) - 0.5 * np.log(total)
    log_w = log_w[:, None, :] - 0.5 * off**2 / total[:, None, :]
    top = log_w.max(axis=2, keepdims=True)
    w = np.exp(log_w - top)
    density = w.sum(axis=2, keepdims=True)
    log_f = np.log(density[:, :, 0]) + top[:, :, 0]
    f = np.exp(log_f - log_f.max(axis=1, keepdims=True))
    level = mean[:, None, :] + (var / total)[:, None, :] * off
    return Readings(
        y, f / f.sum(axis=1, keepdims=True), w / density, level, var * s2 / total, p.log_rate, p.unevenness_um
    )


def root(reading: FloatArray, score: FloatArray) -> FloatArray:
    """(B,) reading at which a score (B, Y) that rises with the reading (B, Y) passes 0, linear between
    readings.

    -inf where every reading lies above (replacement expected), inf where none does. Far below every likely
    reading a score may rise again (only the fastest nodes, whose wear is the most uneven, can explain it):
    the last passing counts.

    >>> y = np.array([[1.0, 2.0, 3.0]] * 4)
    >>> root(y, np.array([[-1.0, 1.0, 2.0], [0.5, 1.0, 2.0], [-3.0, -2.0, -1.0], [1.0, -1.0, 1.0]])).tolist()
    [1.5, -inf, inf, 2.5]
    """
    count = reading.shape[1]
    under = ~(score > 0)
    last = count - 1 - under[:, ::-1].argmax(axis=1)
    rows, after = np.arange(len(reading)), np.minimum(last + 1, count - 1)
    low, high = score[rows, last], score[rows, after]
    share = np.where(high > low, -low / np.where(high > low, high - low, 1.0), 0.0)
    between = reading[rows, last] + share * (reading[rows, after] - reading[rows, last])
    return np.where(under[:, -1], np.inf, np.where(under.any(axis=1), between, -np.inf))


def scores(readings: Readings, t: Terms, step: FloatArray) -> tuple[FloatArray, FloatArray]:
    """(B, Y) chance of passing before the next outage, ``step`` (B,) kh later, less the accepted: as found,
    and scraped.
    """
    risk = t.accepted[:, None]
    closed = readings.passing(t.limit_um, step) - risk
    return closed, readings.passing(t.limit_um, step, t.scrape_um, t.scrape_sd_um) - risk


def triggers(
    p: Predictive, t: Terms, x: FloatArray, step: FloatArray, count: int = READINGS
) -> tuple[FloatArray, FloatArray]:
    """(B,) trigger and do-not-scrape-above reading, um, of an opening x (B,) kh ahead, the next outage
    ``step`` (B,) later.

    -inf: replacement expected whatever is read; inf: no reading that may be expected asks for it.

    >>> from .terms import example_terms
    >>> t = example_terms(1, reading_sd_um=1e-3, scrape_sd_um=0)
    >>> p = Predictive(*(np.array([[v]]) for v in (1.0, np.log(2.2), 225.0, 100.0)), np.array([0.0]))
    >>> [round(float(v[0]), 1) for v in triggers(p, t, np.zeros(1), np.full(1, 13.15), 20001)]
    [231.1, 219.1]
    """
    readings = look(p, x, t.reading_sd_um, count)
    closed, scraped = scores(readings, t, step)
    return root(readings.reading, closed), root(readings.reading, scraped)


@dataclass(frozen=True)
class Ruling:
    """What is printed, (B,): the trigger, the do-not-scrape-above reading, what each comes from, and room to
    scrape.
    """

    trigger_um: FloatArray
    trigger_from: NDArray[np.int8]
    scrape_from_um: FloatArray
    scrape_from_from: NDArray[np.int8]
    no_room: NDArray[np.bool_]


def ruling(
    trigger: FloatArray, scrape_from: FloatArray, t: Terms, replace_um: FloatArray, guard_um: FloatArray
) -> Ruling:
    """The lowest of the rule's root, the plant's replace limit and the maximum less the reading's guard band,
    all (B,) um.

    ``replace_um`` NaN: the plant has set none. A do-not-scrape-above reading is the lower of its root and the
    plant's limit; under the fitted clearance there is no room to scrape. NaN where a bearing has no trigger.
    A root at or under the least that is read of such a bearing, or 0, is whatever is read (-inf).

    >>> from .terms import example_terms
    >>> t = example_terms(3)
    >>> r = ruling(
    ...     np.array([215.0, 215.0, np.inf]),
    ...     np.array([120.0, 201.0, 230.0]),
    ...     t,
    ...     np.array([np.nan, 200, np.nan]),
    ...     np.full(3, 8.0),
    ... )
    >>> r.trigger_um.tolist(), r.trigger_from.tolist(), r.scrape_from_um.tolist(), r.no_room.tolist()
    ([215.0, 200.0, 252.0], [0, 1, 2], [120.0, 200.0, 230.0], [True, False, False])
    """
    plant = np.where(np.isfinite(replace_um), replace_um, np.inf)
    least = np.maximum(np.nan_to_num(t.least_reading_um), 0.0)
    trigger, scrape_from = (np.where(a <= least, -np.inf, a) for a in (trigger, scrape_from))
    three = np.stack([trigger, plant, t.limit_um - guard_um])
    two = np.stack([scrape_from, plant])
    known = ~np.isnan(trigger)
    lowest, lower = (np.where(np.isnan(a), np.inf, a) for a in (three, two))
    return Ruling(
        np.where(known, lowest.min(axis=0), np.nan),
        lowest.argmin(axis=0).astype(np.int8),
        np.where(known, lower.min(axis=0), np.nan),
        lower.argmin(axis=0).astype(np.int8),
        known & (lower.min(axis=0) < t.new_um),
    )


def bisected(
    chance: Callable[[FloatArray], FloatArray],
    accepted: FloatArray,
    low: FloatArray,
    high: FloatArray,
    resolution: FloatArray,
) -> FloatArray:
    """(B,) least reading on the gauge's steps at which ``chance`` of the readings (B,) is above ``accepted``
    (B,).

    ``chance`` asks whatever judges at the pump, so that the printed trigger and the pump agree at every
    reading the gauge can show; it must not fall as a reading rises, which holds within 99.7 % of what is
    expected (beyond that the pump asks to measure again first). ``low``, ``high`` (B,): where to look, um;
    ``resolution`` (B,) um. inf where even ``high`` is accepted; where ``low`` is not, the first step at or
    above it.

    >>> bisected(
    ...     lambda y: y / 1000, np.array([0.2004]), np.zeros(1), np.full(1, 500.0), np.full(1, 0.5)
    ... ).tolist()
    [200.5]
    """
    least = np.ceil(np.round(low / resolution, 9)).astype(np.int64)
    most = np.ceil(np.round(high / resolution, 9)).astype(np.int64)
    never = ~(chance(most * resolution) > accepted)
    below, above = least - 1, most
    for _ in range(MOST_HALVINGS):
        middle = (below + above) // 2
        if np.all(above - below <= 1):
            break
        over = chance(middle * resolution) > accepted
        open_ = above - below > 1
        below, above = np.where(open_ & ~over, middle, below), np.where(open_ & over, middle, above)
    return np.where(never, np.inf, above * resolution)
