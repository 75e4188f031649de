"""A bearing's belief as the decision takes it: a few nodes of log rate, each with a level
and its variance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from scipy.special import ndtr

from . import crossing
from .arrays import FloatArray, IntArray
from .belief import Clouds

NODES = 15
QUADRATURE = 8  # points a usual interval of the time spent past the maximum
TINY_VARIANCE = 1e-9


@dataclass(frozen=True)
class Predictive:
    """Beliefs of B bearings on N nodes: weight, log rate (um/kh), level (um), variance (um2), all (B, N).

    Given its node a bearing's level x kh ahead is normal: mean level + r x, variance v + beta r x, r =
    exp(log rate); ``unevenness_um`` (B,) is beta. A node of weight 0 counts for nothing.
    """

    weight: FloatArray
    log_rate: FloatArray
    level: FloatArray
    variance: FloatArray
    unevenness_um: FloatArray

    def __len__(self) -> int:
        """How many bearings."""
        return len(self.weight)

    @property
    def rate(self) -> FloatArray:
        """(B, N) rates, um/kh."""
        return np.exp(self.log_rate)

    def take(self, chosen: Any) -> Predictive:
        """The beliefs of the chosen bearings (indices or a mask), in that order."""
        return Predictive(
            *(getattr(self, k)[chosen] for k in ("weight", "log_rate", "level", "variance", "unevenness_um"))
        )

    def ahead(self, x: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Mean and variance (B, N) of the level x (B,) kh ahead, um and um2."""
        gain = self.rate * np.asarray(x, dtype=float)[:, None]
        return self.level + gain, self.variance + self.unevenness_um[:, None] * gain

    def later(self, x: FloatArray) -> Predictive:
        """The beliefs x (B,) kh ahead with nothing seen meanwhile."""
        level, variance = self.ahead(x)
        return Predictive(self.weight, self.log_rate, level, variance, self.unevenness_um)

    def widened(self, duty_sd: Any) -> Predictive:
        """The log rates spread about their mean by sqrt(1 + s_d^2 / var), for a duty known to a share
        ``duty_sd`` (B,).

        A bearing whose rate is known without any doubt stays as it is: there is nothing to spread.
        """
        mean = np.sum(self.weight * self.log_rate, axis=1, keepdims=True)
        var = np.sum(self.weight * (self.log_rate - mean) ** 2, axis=1, keepdims=True)
        sd = np.broadcast_to(np.asarray(duty_sd, dtype=float), (len(self),))[:, None]
        factor = np.sqrt(1.0 + sd**2 / np.maximum(var, TINY_VARIANCE))
        wide = mean + (self.log_rate - mean) * factor
        return Predictive(self.weight, wide, self.level, self.variance, self.unevenness_um)

    def past(self, limit: FloatArray, x: FloatArray) -> FloatArray:
        """Chance (B, T) that the level has reached ``limit`` (B,) after x (B, T) kh; never falls with x.

        Wear only grows: a node already past the limit keeps at least the chance it has today (as in
        ``crossing``).

        >>> p = Predictive(*(np.array([[v]]) for v in (1.0, np.log(2.0), 200.0, 100.0)), np.array([0.0]))
        >>> p.past(np.array([220.0]), np.array([[0.0, 10.0, 30.0]])).round(4).tolist()
        [[0.0228, 0.5, 1.0]]
        """
        x = np.asarray(x, dtype=float)
        gain = self.rate[:, None, :] * x[:, :, None]
        short = (self.level - limit[:, None])[:, None, :]
        var = self.variance[:, None, :] + self.unevenness_um[:, None, None] * gain
        d = (short + gain) / np.sqrt(var + TINY_VARIANCE)
        now = short / np.sqrt(self.variance[:, None, :] + TINY_VARIANCE)
        d = np.where(short > 0.0, np.maximum(d, now), d)
        return np.einsum("bn,btn->bt", self.weight, ndtr(d))

    def run_past(self, limit: FloatArray, x: FloatArray, time: FloatArray) -> FloatArray:
        """Expected time (B, T) spent past ``limit`` (B,) up to each column, in the unit of ``time``.

        x (B, T) kh and time (B, T), both not falling along the columns; exposure runs evenly between two
        columns. Gauss-Legendre with 8 points an interval; between two columns further apart, 8 for each
        interval begun.

        >>> p = Predictive(*(np.array([[v]]) for v in (1.0, np.log(2.0), 200.0, 1.0)), np.array([0.0]))
        >>> p.run_past(np.array([220.0]), np.array([[10.0, 20.0]]), np.array([[1.0, 2.0]])).round(2).tolist()
        [[0.02, 1.0]]
        """
        begin_x, begin_t = (np.concatenate([np.zeros((len(self), 1)), a[:, :-1]], axis=1) for a in (x, time))
        span = np.maximum(time - begin_t, 0.0)
        parts = int(np.clip(np.ceil(span.max(initial=0.0) - 1e-9), 1, 8))
        node, weight = np.polynomial.legendre.leggauss(QUADRATURE)
        at = ((np.arange(parts)[:, None] + 0.5 * (node + 1.0)) / parts).ravel()
        share = np.tile(0.5 * weight, parts) / parts
        points = begin_x[:, :, None] + (x - begin_x)[:, :, None] * at
        chance = self.past(limit, points.reshape(len(self), -1)).reshape(points.shape)
        return np.cumsum(span * (chance @ share), axis=1)


class Components(NamedTuple):
    """Beliefs of B bearings by components: those of bearing i are begin[i]:begin[i+1] of flat arrays (M,) of
    weight, log rate (um/kh), level (um) and its variance (um2); ``unevenness_um`` (B,).
    """

    begin: IntArray
    weight: FloatArray
    log_rate: FloatArray
    level: FloatArray
    variance: FloatArray
    unevenness_um: FloatArray


def merged(components: Components, nodes: int = NODES) -> Predictive:
    """The same beliefs on ``nodes`` nodes.

    A bearing's components are sorted by log rate and cut into parts of equal weight, a component on a cut
    being shared out; a part keeps its weight, its mean log rate and level, and the whole variance of its
    level. A bearing without components gets weight 0 everywhere, and NaN for its
    mean.

    >>> rates, levels = np.array([0.3, 0.1, 0.2, 0.4]), np.array([3.0, 1.0, 2.0, 4.0])
    >>> given = Components(np.array([0, 4]), np.full(4, 0.25), rates, levels, np.ones(4), np.zeros(1))
    >>> p = merged(given, nodes=2)
    >>> p.log_rate.round(2).tolist(), p.level.tolist(), p.variance.tolist()
    ([[0.15, 0.35]], [[1.5, 3.5]], [[1.25, 1.25]])
    """
    begin, weight, log_rate, level, variance, unevenness_um = components
    n, counts = len(begin) - 1, np.diff(begin)
    owner = np.repeat(np.arange(n), counts)
    order = np.lexsort((log_rate, owner))
    w, z, m, v = weight[order], log_rate[order], level[order], variance[order]
    total = np.bincount(owner, w, minlength=n)
    w = w / np.where(total > 0, total, 1.0)[owner]
    running = np.cumsum(w)
    end = running - np.concatenate([[0.0], running])[begin[:-1]][owner]
    cut = np.arange(nodes + 1) / nodes
    inside = np.minimum(end[:, None], cut[1:]) - np.maximum((end - w)[:, None], cut[:-1])
    share = np.maximum(inside, 0.0)

    def summed(values: FloatArray) -> FloatArray:
        flat = owner[:, None] * nodes + np.arange(nodes)
        added = np.bincount(flat.ravel(), values.ravel(), minlength=n * nodes)
        return np.asarray(added, dtype=np.float64).reshape(n, nodes)

    mass = summed(share)
    safe = np.where(mass > 0, mass, 1.0)
    centre = (np.bincount(owner, w * m, minlength=n))[owner]
    off = m - centre
    mean_off = summed(share * off[:, None]) / safe
    square = summed(share * (v + off**2)[:, None]) / safe
    back = np.bincount(owner, w * m, minlength=n)[:, None]
    norm = np.where(total > 0, mass.sum(axis=1), 1.0)[:, None]
    return Predictive(
        mass / norm,
        summed(share * z[:, None]) / safe,
        back + mean_off,
        np.maximum(square - mean_off**2, 0.0),
        np.asarray(unevenness_um, dtype=float),
    )


def whole(components: Components) -> Predictive:
    """The same beliefs with every component a node of its own (N = the most of any bearing), nothing merged.

    >>> weights = np.array([0.5, 0.5, 1.0])
    >>> given = Components(
    ...     np.array([0, 2, 3]), weights, np.zeros(3), np.arange(3.0), np.ones(3), np.zeros(2)
    ... )
    >>> p = whole(given)
    >>> p.weight.tolist(), p.level.tolist()
    ([[0.5, 0.5], [1.0, 0.0]], [[0.0, 1.0], [2.0, 0.0]])
    """
    begin, weight = components.begin, components.weight
    n, counts = len(begin) - 1, np.diff(begin)
    most = int(counts.max(initial=1))
    owner = np.repeat(np.arange(n), counts)
    column = np.arange(len(weight)) - begin[:-1][owner]

    def filled(values: FloatArray, blank: float) -> FloatArray:
        out = np.full((n, most), blank)
        out[owner, column] = values
        return out

    return Predictive(
        filled(weight, 0.0),
        filled(components.log_rate, 0.0),
        filled(components.level, 0.0),
        filled(components.variance, 1.0),
        np.asarray(components.unevenness_um, dtype=float),
    )


def worn_ahead(clouds: Clouds, x: FloatArray) -> FloatArray:
    """Exposures (B, T) that x (B, T) kh from today wear like at today's rate, kh: x itself where wear is
    straight.

    Where wear follows a power of a life's age (``crossing.stretch``), the mean over a bearing's components;
    what ``ahead`` and ``step`` of an opening are then given in.
    """
    x = np.asarray(x, dtype=np.float64)
    owner, n = clouds.owner, len(clouds.begin) - 1
    bent = _stretched(clouds, x[owner]) * clouds.parts[:, crossing.WEIGHT, None]
    total = np.bincount(owner, clouds.parts[:, crossing.WEIGHT], minlength=n)
    out = np.zeros(x.shape)
    np.add.at(out, owner, bent)
    return np.where(total[:, None] > 0, out / np.where(total > 0, total, 1.0)[:, None], x)


def _stretched(clouds: Clouds, x: FloatArray) -> FloatArray:
    """(M, T) the same for each component, x (M, T) kh."""
    exponent, age = (clouds.parts[:, k, None] for k in (crossing.EXPONENT, crossing.AGE))
    with np.errstate(divide="ignore", invalid="ignore"):
        bent = age / exponent * (np.maximum(1.0 + x / age, 0.0) ** exponent - 1.0)
    return np.where((exponent == 1.0) | (x == 0.0), x, bent)


def from_clouds(
    clouds: Clouds,
    taper: FloatArray,
    taper_sd: FloatArray,
    duty_sd: FloatArray,
    nodes: int | None = NODES,
    at_kh: FloatArray | None = None,
) -> Predictive:
    """The engine's beliefs of the larger end as the decision takes them; ``nodes`` None keeps every
    component.

    ``clouds`` of B bearings already moved to the larger end; ``taper`` and ``taper_sd`` (B,): growth of the
    ends' difference per um of wear and its sd; ``duty_sd`` (B,): relative sd of the duty ahead. The larger
    end wears at r (1 + taper/2): its unevenness is beta / (1 + taper/2), and what the taper may still be
    spreads the log rate by taper_sd / 2 / (1 + taper/2), as a duty known to that share would. Exposure ahead
    is ``worn_ahead``'s; where components disagree on the power of age, their rates are those of the wear over
    the coming ``at_kh`` (B,) kh (by default today's rates).
    """
    parts, owner = clouds.parts, clouds.owner
    growth = 1.0 + 0.5 * np.asarray(taper, dtype=float)
    rate = parts[:, crossing.RATE] * growth[owner]
    if at_kh is not None:
        coming = np.maximum(np.asarray(at_kh, dtype=float), 1e-6)[:, None]
        rate = rate * (_stretched(clouds, coming[owner]) / worn_ahead(clouds, coming)[owner])[:, 0]
    rate = np.maximum(rate, 1e-9)
    lean2 = parts[:, crossing.LEAN] ** 2
    variance = parts[:, crossing.VAR] + crossing.inside(parts[:, crossing.VAR], lean2)
    weight, n = parts[:, crossing.WEIGHT], len(growth)
    total = np.bincount(owner, weight, minlength=n)
    beta = np.bincount(owner, weight * parts[:, crossing.BETA], minlength=n) / np.where(total > 0, total, 1.0)
    level = parts[:, crossing.MEAN]
    given = Components(clouds.begin, weight, np.log(rate), level, variance, beta / growth)
    belief = whole(given) if nodes is None else merged(given, nodes)
    return belief.widened(np.sqrt(np.asarray(duty_sd) ** 2 + (0.5 * np.asarray(taper_sd) / growth) ** 2))
