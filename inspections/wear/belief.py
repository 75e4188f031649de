"""Running the filter over part or all of a fleet, in one thread or several."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Any

import numpy as np

from . import grid, passes
from .ages import STRAIGHT, YOUNGEST, Curve
from .arrays import FloatArray, IntArray
from .event_effects import Frame, Work
from .parameters import Params
from .pass_inputs import Priors, Steps
from .shape import spread

CUT = -12.0  # components below 6e-6 of the best are left out of a cloud
CAP = 160
COLUMNS = 10  # of a component, see ``crossing``
CHUNK = 1024
NOTHING = np.zeros((1, 1))


@dataclass(frozen=True)
class Rate:
    """What is expected of each bearing's log rate (B,): mean, spread, memory between lives, unevenness."""

    loc: FloatArray
    tau: FloatArray
    rho: FloatArray
    beta: FloatArray
    warp: tuple[float, ...] = ()  # how rates are spread beyond the normal bell; see ``shape``
    start_hours: float = 0.0  # run hours that a start wears like
    outlying: float = 0.0  # share of bearings whose log rates are spread far more widely; see ``shape``
    curve: Curve = STRAIGHT  # the power of a life's age that wear follows

    def take(self, bearings: IntArray) -> Rate:
        """What is expected of some bearings, repeats allowed."""
        loc, tau, rho, beta = (x[bearings] for x in (self.loc, self.tau, self.rho, self.beta))
        return Rate(loc, tau, rho, beta, self.warp, self.start_hours, self.outlying, self.curve)


def rate_under(p: Params, loc: FloatArray, var: FloatArray) -> Rate:
    """The rates under parameters, where the expected log rate itself is known to a variance (B,)."""
    tau = np.sqrt(p.tau**2 + var)
    rho = (p.rho * p.tau**2 + var) / tau**2
    return Rate(loc, tau, rho, np.full(len(loc), p.beta), p.warp, p.start_hours, p.outlying, p.curve)


def pass_inputs(
    work: Work, rate: Rate, du: FloatArray, start: IntArray, stop: IntArray, lean: FloatArray, part: slice
) -> tuple[Steps, Priors]:
    """What one pass over a part of the bearings is given; ``start``, ``stop``, ``lean`` are of the part."""
    steps = Steps(start, stop, work.op, du, work.a, work.b, work.c, work.jump, work.jump_var, work.zero)
    loc, tau, rho, beta = (x[part] for x in (rate.loc, rate.tau, rate.rho, rate.beta))
    return steps, Priors(loc, tau, rho, beta, work.m0[part], work.v0[part], lean)


def chunks(n: int, threads: bool) -> list[slice]:
    """Parts of at most CHUNK bearings; at least two where threads may share the work."""
    size = min(CHUNK, max(1, -(-n // 2))) if threads else CHUNK
    return [slice(i, min(i + size, n)) for i in range(0, n, size)]


def spread_out(task: Callable[[slice], Any], parts: list[slice], threads: bool) -> list[Any]:
    """Run the task on every part, in order; kernels release the interpreter lock."""
    if threads and len(parts) > 1:
        with ThreadPoolExecutor(2) as pool:
            return list(pool.map(task, parts))
    return [task(part) for part in parts]


def evidence(
    f: Frame,
    work: Work,
    rate: Rate,
    *,
    stop: IntArray | None = None,
    lean: FloatArray | None = None,
    linear: bool = False,
    nodes: FloatArray = grid.NODES,
    threads: bool = False,
) -> FloatArray:
    """(B,) log marginal likelihood of each bearing's readings."""
    start, end = f.histories.start[:-1], f.histories.start[1:] if stop is None else stop
    lean = np.zeros(len(start)) if lean is None else lean
    apart, du = spread(rate.warp, nodes, rate.outlying), f.spent(rate.start_hours, rate.curve)

    def task(s: slice) -> FloatArray:
        inputs = pass_inputs(work, rate, du, start[s], end[s], lean[s], s)
        return passes.run(*inputs, linear, nodes, apart, False, NOTHING, NOTHING, NOTHING)

    return np.concatenate(spread_out(task, chunks(len(start), threads), threads) or [np.zeros(0)])


@dataclass(frozen=True)
class Clouds:
    """Beliefs of B bearings: components begin[i]:begin[i+1] of parts (N, 10); mass in the end cells (B,)."""

    begin: IntArray
    parts: FloatArray
    edge: FloatArray

    @property
    def owner(self) -> IntArray:
        """(N,) bearing of each component."""
        return np.repeat(np.arange(len(self.begin) - 1), np.diff(self.begin))

    def moments(self, column: int) -> tuple[FloatArray, FloatArray]:
        """(B,) mean and variance of one column over the components (not within them)."""
        n = len(self.begin) - 1
        weight, value = self.parts[:, 0], self.parts[:, column]
        mean = np.bincount(self.owner, weight * value, minlength=n)
        square = np.bincount(self.owner, weight * (value - mean[self.owner]) ** 2, minlength=n)
        return np.asarray(mean, dtype=np.float64), np.asarray(square, dtype=np.float64)


def believe(
    f: Frame,
    work: Work,
    rate: Rate,
    tail: FloatArray,
    *,
    stop: IntArray | None = None,
    nodes: FloatArray = grid.NODES,
    linear: bool = False,
    lean: FloatArray | None = None,
) -> Clouds:
    """What is believed of every bearing ``tail`` kh after its last event (before event ``stop``)."""
    start, end = f.histories.start[:-1], f.histories.start[1:] if stop is None else stop
    lean = np.zeros(len(start)) if lean is None else lean
    apart, du = spread(rate.warp, nodes, rate.outlying), f.spent(rate.start_hours, rate.curve)
    at_starts = 1.0 + rate.start_hours * f.starts_per_hour
    growth, age, now = _ahead(f, rate.curve, tail, stop)
    spent = tail * at_starts * growth
    begin, parts, edges = [np.zeros(1, dtype=np.int64)], [], []
    total = 0
    for s in chunks(len(start), False):
        n = s.stop - s.start
        w, m, v = (np.empty((n, len(nodes))) for _ in range(3))
        inputs = pass_inputs(work, rate, du, start[s], end[s], lean[s], s)
        passes.run(*inputs, linear, nodes, apart, True, w, m, v)
        out = np.empty((n * max(CAP, 2 * len(nodes)), COLUMNS))
        count = passes.clouds(
            w, m, v, rate.loc[s], rate.tau[s], rate.beta[s], spent[s], nodes, apart.x, linear, CUT, out
        )
        parts.append(out[: count.sum()].copy())
        begin.append(total + np.cumsum(count))
        total += int(count.sum())
        edges.append(end_mass(w))
    if not parts:
        return Clouds(np.zeros(1, dtype=np.int64), np.zeros((0, COLUMNS)), np.zeros(0))
    found = Clouds(np.concatenate(begin), np.concatenate(parts), np.concatenate(edges))
    exponent = np.broadcast_to(rate.curve.of(f.histories.class_), len(start))
    found.parts[:, -2], found.parts[:, -1] = exponent[found.owner], age[found.owner]
    _to_run_hours(found, at_starts * now)
    _run_in(found, f, work, stop)
    return found


def _ahead(
    f: Frame, curve: Curve, tail: FloatArray, stop: IntArray | None
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """(B,) how much more L grows in the tail, kh, than it is long, the age at its end, kh, and the slope of L
    there.
    """
    begin, life = f.ages.at_end(curve), f.ages.present
    if stop is not None and len(f.owner):
        inner = np.minimum(stop, len(f.owner) - 1)
        inside = stop < f.histories.start[1:]
        begin = np.where(inside, f.ages.before(curve, inner), begin)
        life = np.where(inside, f.ages.life[inner], life)
    age = np.maximum(begin + tail, YOUNGEST * curve.usual_kh)
    if curve.straight:
        return np.ones(len(tail)), age, np.ones(len(tail))
    share, q = f.ages.share(curve)[life], curve.of(f.histories.class_)
    gain = curve.grown(begin + tail, q) - curve.grown(begin, q)
    growth = np.where(tail > 0, gain / np.maximum(tail, 1e-300), 1.0)
    return growth * share, age, curve.steepness(age, q) * share


def _to_run_hours(clouds: Clouds, at_starts: FloatArray) -> None:
    """From here on rates are of this day, per run hour at the pump's own starts an hour, whatever a start
    wears like.
    """
    if np.any(at_starts != 1.0):
        clouds.parts[:, 3] *= at_starts[clouds.owner]
        clouds.parts[:, 5] *= at_starts[clouds.owner]


def _run_in(clouds: Clouds, f: Frame, work: Work, stop: IntArray | None) -> None:
    """Add what running in has still to give: all of it by the as-of day and after, or up
    to event ``stop``.
    """
    if stop is None:
        more, var = work.jump_left, work.jump_left_var
    else:
        inner = np.minimum(stop, max(len(work.jump) - 1, 0))
        more, var = (np.append(x, 0.0)[inner] for x in (work.jump, work.jump_var))
    if np.any(var > 0.0):
        clouds.parts[:, 1] += more[clouds.owner]
        clouds.parts[:, 2] += var[clouds.owner]


def end_mass(w: FloatArray) -> FloatArray:
    """(B,) share of the posterior in the two end cells: above 1e-3 the prior does not hold the bearing."""
    top = w.max(axis=1, keepdims=True)
    ends = np.exp(np.clip(w[:, [0, -1]] - top, -700, 0))
    inner = np.exp(np.clip(w - top, -700, 0)).sum(axis=1)
    return ends.sum(axis=1) / np.maximum(inner, 1e-300)


def pile(clouds: Sequence[Clouds], shares: Sequence[float | FloatArray]) -> Clouds:
    """One belief per bearing from several; the shares, of all bearings or (B,) of each, sum to one."""
    if len(clouds) == 1:
        return clouds[0]
    n = len(clouds[0].begin) - 1
    owner = np.concatenate([c.owner for c in clouds])
    parts = np.concatenate([c.parts for c in clouds])
    share = np.concatenate(
        [np.broadcast_to(share, n)[c.owner] for share, c in zip(shares, clouds, strict=True)]
    )
    parts[:, 0] *= share
    keep = parts[:, 0] > 1e-7
    owner, parts = owner[keep], parts[keep]
    order = np.argsort(owner, kind="stable")
    owner, parts = owner[order], parts[order]
    counts = np.bincount(owner, minlength=n)
    totals = np.bincount(owner, parts[:, 0], minlength=n)
    parts[:, 0] /= np.maximum(totals[owner], 1e-300)
    begin = np.concatenate([[0], np.cumsum(counts)]).astype(np.int64)
    edge = sum(part * c.edge for part, c in zip(shares, clouds, strict=True))
    return Clouds(begin, parts, np.asarray(edge))
