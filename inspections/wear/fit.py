"""Fitting one pool of bearings: maximum marginal posterior, and a design of points round the mode."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from scipy.stats import norm, qmc

from . import effects, shape
from .classes import by_class
from .drivers import members, nearly_same
from .filtering import Rate, believe, evidence
from .history import FloatArray, Histories, Kind
from .layout import Frame, frame, lay_out
from .population import FACTORS, LOG_RATE_PRIOR, Params, Pool
from .slips import likely_slips, rate_of
from .taper import fleet_taper, wear_since_start

MOST_FITTED = 2500  # fleet-wide parameters are known to a per cent or two from this many bearings
CARRIED_UP_TO = 300  # above it the parameters stay at their mode (they move no 10 % date by 1 %)
FD = 2e-3  # forward differences: off by half of it in each parameter, and above the steps the grid leaves
# Logarithms of an exponential belief of mean 2 h a start, and of one of mean 2 um of running in: mean and sd of each.
START_PRIOR = RUN_IN_PRIOR = (float(np.log(2.0)) - 0.5772, 1.2825)
LEAST_OPENED = 5  # visits for a cause, and as many without, from which a reason's weight is learned
# Share of the room from new to maximum at which half the visits have a cause, and log of its spread: mean, sd.
OPENED_AT_PRIOR, OPENED_SD_PRIOR = (1.0, 0.5), (float(np.log(0.5)), 0.7)
LEAST_RUN_IN = 5  # readings with new metal's whole running in behind them since one before it
ABSURD = -60.0  # log evidence a reading: ten standard deviations off on average


@dataclass(frozen=True)
class Slot:
    """One fitted number: its name, prior mean and sd (design assumptions, no published source)."""

    name: str
    mean: float
    sd: float


def slots(f: Frame, d: effects.Design) -> list[Slot]:
    """The parameters this pool's record can speak about."""
    h = f.histories
    found = [
        Slot("log_tau", float(np.log(0.5)), 0.5),
        Slot("log_beta", 0.0, 1.0),
        Slot("new_shift", 0.0, 0.15),
        Slot("log_new_spread", float(np.log(0.1)), 0.5),
    ]
    if np.any(h.kind == Kind.NEW_LIFE) or np.any(h.kind == Kind.RATE_BREAK):
        found.append(Slot("atanh_rho", 0.8, 0.5))
    if np.any(h.kind == Kind.SCRAPE):
        found += [Slot("log_step", float(np.log(15.0)), 0.7), Slot("log_step_sd", float(np.log(8.0)), 0.5)]
    if np.any(f.starts > 0):
        found.append(Slot("log_start_hours", *START_PRIOR))
    behind = f.usable & (f.run_in > 0.5)
    behind[1:] &= f.usable[:-1]
    if np.sum(behind) >= LEAST_RUN_IN:
        found.append(Slot("log_run_in", *RUN_IN_PRIOR))
    reasons = h.value_um[(h.kind == Kind.OPENED) & (h.limit_um > f.new_um)[f.owner]]
    if min(np.sum(reasons > 0.5), np.sum(reasons < 0.5)) >= LEAST_OPENED:
        found += [Slot("opened_at", *OPENED_AT_PRIOR), Slot("log_opened_sd", *OPENED_SD_PRIOR)]
    for index in np.unique(h.method[f.usable]):
        method = h.methods[index]
        found.append(Slot(f"sd {method.name}", float(np.log(max(method.sd_um, 1e-3))), 0.3))
        if method.bias_sd_um > 0:
            found.append(Slot(f"bias {method.name}", 0.0, float(method.bias_sd_um)))
    if h.n_bearings > CARRIED_UP_TO:
        found += [Slot(f"warp {k}", 0.0, shape.PRIOR_SD) for k in range(len(shape.KNOTS))]
    found += [Slot(f"sigma {factor}", *effects.SIGMA_PRIOR) for factor in d.factors]
    return found


def unpack(found: list[Slot], theta: FloatArray, base: Params) -> Params:
    """Parameters from their fitted numbers."""
    get = dict(zip((slot.name for slot in found), theta.tolist(), strict=True))
    changes: dict[str, Any] = {
        "tau": float(np.exp(get["log_tau"])),
        "beta": float(np.exp(get["log_beta"])),
        "new_shift": get["new_shift"],
        "new_spread": float(np.exp(get["log_new_spread"])),
        "method_sd": {n[3:]: float(np.exp(x)) for n, x in get.items() if n.startswith("sd ")},
        "method_bias": {n[5:]: x for n, x in get.items() if n.startswith("bias ")},
        "sigma": {n[6:]: float(np.exp(x)) for n, x in get.items() if n.startswith("sigma ")},
    }
    if "log_start_hours" in get:
        changes["start_hours"] = float(np.exp(get["log_start_hours"]))
    if "log_run_in" in get:
        changes["run_in"] = float(np.exp(get["log_run_in"]))
    if "atanh_rho" in get:
        changes["rho"] = float(np.tanh(get["atanh_rho"]))
    if "opened_at" in get:
        changes["opened"] = (get["opened_at"], float(np.exp(get["log_opened_sd"])))
    if "warp 0" in get:
        changes["warp"] = tuple(get[f"warp {k}"] for k in range(len(shape.KNOTS)))
    if "log_step" in get:
        changes["step_mean"] = float(np.exp(get["log_step"]))
        changes["step_sd"] = float(np.exp(get["log_step_sd"]))
    return replace(base, **changes)


class Objective:
    """The log marginal posterior of a pool's parameters, effects integrated by Laplace's method."""

    def __init__(self, f: Frame, d: effects.Design, set_aside: np.ndarray, threads: bool) -> None:
        self.f, self.d, self.set_aside, self.threads = f, d, set_aside, threads
        self.weight = np.ones(f.histories.n_bearings)  # 0: a bearing no rate of the fleet's explains
        self.slots = slots(f, d)
        self.mean = np.array([s.mean for s in self.slots])
        self.sd = np.array([s.sd for s in self.slots])
        self.base = Params()
        self.fixed = np.array([s.name.startswith("sigma ") for s in self.slots])
        self.shapes = np.array([s.name.startswith("warp ") for s in self.slots])
        self.bends_move = len(d.factors) > 0 or f.histories.n_bearings < 400

    def params(self, theta: FloatArray) -> Params:
        """The parameters at theta."""
        return unpack(self.slots, theta, self.base)

    def of(self, p: Params):
        """Evidence (B,) as a function of expected log rates (B,)."""
        work = lay_out(self.f, p, self.set_aside)
        n = self.f.histories.n_bearings

        def at(loc: FloatArray) -> FloatArray:
            rate = Rate(loc, np.full(n, p.tau), np.full(n, p.rho), np.full(n, p.beta), p.warp, p.start_hours)
            return self.weight * evidence(self.f, work, rate, threads=self.threads)

        return at

    def sigma(self, p: Params) -> FloatArray:
        """(F,) spreads of the factors."""
        return np.array([p.sigma[factor] for factor in self.d.factors])

    def look(self, theta: FloatArray, u: FloatArray) -> effects.Local:
        """The quadratic of the evidence at theta about effects u."""
        return effects.look(self.of(self.params(theta)), self.d, u)

    def prior(self, theta: FloatArray) -> float:
        """Log prior density up to a constant."""
        return float(-0.5 * np.sum(((theta - self.mean) / self.sd) ** 2))

    def value(self, theta: FloatArray, u: FloatArray, local: effects.Local | None = None) -> float:
        """Log marginal posterior at theta, the effects' quadratic taken about u."""
        local = local or self.look(theta, u)
        solved = effects.solve(local, self.d, self.sigma(self.params(theta)), with_cov=False)
        return solved.total + self.prior(theta)

    def settle(
        self, theta: FloatArray, u: FloatArray, rounds: int = 2
    ) -> tuple[effects.Local, effects.Solved]:
        """Newton's steps to the effects' mode at theta."""
        for _ in range(rounds):
            local = self.look(theta, u)
            solved = effects.solve(local, self.d, self.sigma(self.params(theta)))
            u = u + np.clip(solved.mean - u, -1.5, 1.5)
        return local, solved

    def gradient(self, theta: FloatArray, local: effects.Local) -> tuple[float, FloatArray, FloatArray]:
        """Value, gradient (P,) and the evidence's slopes per bearing (B, P), by forward differences."""
        here = self.value(theta, local.u, local)
        slope = np.zeros(len(theta))
        each = np.zeros((len(local.value), len(theta)))
        at = effects.expected(self.d, local.u)
        for k in range(len(theta)):
            moved = theta.copy()
            moved[k] += FD
            if self.fixed[k]:
                there = local
            elif self.bends_move:
                there = self.look(moved, local.u)
            else:
                there = replace(local, value=self.of(self.params(moved))(at))
            slope[k] = (self.value(moved, local.u, there) - here) / FD
            each[:, k] = (there.value - local.value) / FD
        return here, slope, each


# Of the squared distance to the mode in the parameters' own standard errors: nearer moves no date that is shown.
NEAR = 0.1
STILL = 5  # steps over which the posterior must have risen by more than that


def climb(
    o: Objective, theta: FloatArray, u: FloatArray, most: int = 80
) -> tuple[FloatArray, FloatArray, bool]:
    """Quasi-Newton ascent from the scores' own metric, the effects re-settled at every step.

    At rest where the mode is near, or where several steps have hardly raised the posterior: what the grid
    leaves of roughness is then larger than what could be gained.
    """
    u = o.settle(theta, u)[1].mean
    local = o.look(theta, u)
    here, slope, each = o.gradient(theta, local)
    metric = _metric(o, each)
    seen = [here]
    for _ in range(most):
        step: FloatArray = np.asarray(np.linalg.solve(metric, slope), dtype=np.float64)
        gain = float(slope @ step)
        if gain < 2e-3 or (len(seen) > STILL and here - seen[-1 - STILL] < NEAR):
            return theta, u, True
        trial = _uphill(o, theta, u, here, step, gain)
        if trial is None:
            return theta, u, gain < NEAR or (len(seen) > 1 and here - seen[-2] < NEAR)
        old, old_theta = slope, theta
        theta = trial
        solved = effects.solve(o.look(theta, u), o.d, o.sigma(o.params(theta)))
        u = u + np.clip(solved.mean - u, -1.0, 1.0)
        local = o.look(theta, u)
        here, slope, each = o.gradient(theta, local)
        metric = _updated(metric, theta - old_theta, old - slope)
        seen.append(here)
    return theta, u, gain < NEAR


def _uphill(
    o: Objective, theta: FloatArray, u: FloatArray, here: float, step: FloatArray, gain: float
) -> FloatArray | None:
    """The point along a step, held to a trusted length, from which the posterior is higher; None where none is."""
    step = step * min(1.0, 1.0 / np.max(np.abs(step) / np.maximum(o.sd, 0.6)))
    size = 1.0
    while size > 1e-3:
        there = o.value(theta + size * step, u)
        if np.isfinite(there) and there > here + 1e-4 * size * gain * 0.5:
            return theta + size * step
        size *= 0.4
    return None


def _metric(o: Objective, each: FloatArray) -> FloatArray:
    return each.T @ each + np.diag(1.0 / o.sd**2)


def _updated(metric: FloatArray, s: FloatArray, y: FloatArray) -> FloatArray:
    """The scores' metric with the last step's true bend written in (BFGS)."""
    if float(s @ y) < 1e-8:
        return metric
    ms = metric @ s
    return metric - np.outer(ms, ms) / float(s @ ms) + np.outer(y, y) / float(s @ y)


def hessian(o: Objective, theta: FloatArray, u: FloatArray) -> FloatArray:
    """Negative second derivatives of the log posterior (P, P) by differences."""
    n = len(theta)
    h = 0.1 * o.sd
    f0 = o.value(theta, u)
    up, out = np.zeros(n), np.zeros((n, n))
    for i in range(n):
        e = np.zeros(n)
        e[i] = h[i]
        up[i] = o.value(theta + e, u)
        out[i, i] = -(up[i] - 2 * f0 + o.value(theta - e, u)) / h[i] ** 2
    for i in range(n):
        for j in range(i):
            e = np.zeros(n)
            e[i], e[j] = h[i], h[j]
            out[i, j] = out[j, i] = -(o.value(theta + e, u) - up[i] - up[j] + f0) / (h[i] * h[j])
    scaled = out * np.outer(o.sd, o.sd)  # the prior alone is the unit matrix here
    values, vectors = np.linalg.eigh(0.5 * (scaled + scaled.T))
    return (vectors * np.maximum(values, 0.5)) @ vectors.T / np.outer(o.sd, o.sd)


def lives_with_two(f: Frame) -> int:
    """Lives (new metal or a new level starts one) that hold two usable readings."""
    h = f.histories
    begins = np.isin(h.kind, [Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE]).astype(int)
    first = np.zeros(len(h.kind), dtype=int)
    first[h.start[:-1][np.diff(h.start) > 0]] = 1
    number = np.cumsum(np.maximum(begins, first)) - 1
    distinct = f.usable & (h.kind == Kind.READING)
    return int(np.sum(np.bincount(number[distinct]) >= 2)) if distinct.any() else 0


def log_median_slope(f: Frame) -> float:
    """Log of the median slope of single stretches, um/kh: where the climb starts."""
    h = f.histories
    seen = f.usable & (h.kind == Kind.READING)
    cut = np.isin(h.kind, [Kind.SCRAPE, Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE])
    cut[h.start[:-1][np.diff(h.start) > 0]] = True
    part = np.unique(np.cumsum(cut)[seen], return_inverse=True)[1]
    x, y = wear_since_start(f)[0][seen], h.value_um[seen]
    count = np.maximum(np.bincount(part), 1)
    dx = x - (np.bincount(part, x) / count)[part]
    sxx, sxy = np.bincount(part, dx * dx), np.bincount(part, dx * y)
    slopes = sxy[sxx > 0.5] / sxx[sxx > 0.5]
    middle = float(np.median(slopes)) if len(slopes) else 0.0
    return float(np.log(middle)) if 1e-3 < middle < 1e3 else LOG_RATE_PRIOR[0]


def canonical(h: Histories) -> np.ndarray:
    """An order of the bearings that depends only on what they hold, so that results never do on theirs."""
    owner, n = h.owner, h.n_bearings
    number = np.arange(len(owner)) - h.start[:-1][owner] + 1.0
    keys = [np.bincount(owner, np.clip(np.nan_to_num(h.value_um), -1e9, 1e9) * number, minlength=n)]
    gap = (
        h.exposure_kh - h.exposure_kh[np.minimum(h.start[:-1], len(owner) - 1)][owner]
        if len(owner)
        else h.exposure_kh
    )
    keys.append(np.bincount(owner, np.round(np.nan_to_num(gap) * number, 6), minlength=n))
    keys += [np.diff(h.start), h.position, h.service, h.site, h.class_]
    return np.lexsort(keys)


def fit_pool(h: Histories, clock: int, known: Pool | None, *, threads: bool, carry: bool) -> Pool:
    """The pool of one clock, fitted; priors with a note where that fails."""
    h = h.take(canonical(h))
    f = frame(h)
    lives = lives_with_two(f)
    young = lives < 3
    plain = Pool(clock, h.n_bearings, lives, young, True, "", (Params(),), (1.0,))
    if not f.usable.any():
        return plain
    informed = np.bincount(f.owner[f.usable], minlength=h.n_bearings) > 0
    plain = replace(plain, members=members(h, informed, FACTORS), same=nearly_same(h, informed, FACTORS))
    try:
        with np.errstate(all="ignore"):
            return _fit(f, plain, known, threads, carry)
    except (np.linalg.LinAlgError, FloatingPointError, ValueError) as error:
        return replace(plain, converged=False, note=f"the fit failed ({error}): the priors stand in")


def _fit(f: Frame, plain: Pool, known: Pool | None, threads: bool, carry: bool) -> Pool:
    informed = np.bincount(f.owner[f.usable], minlength=f.histories.n_bearings) > 0
    part = np.flatnonzero(informed)
    every = max(1, -(-len(part) // MOST_FITTED))
    small = frame(f.histories.take(part[::every]))
    d = effects.design(small.histories, np.ones(small.histories.n_bearings, dtype=bool))
    aside = np.zeros(len(small.owner), dtype=bool)
    o = Objective(small, d, aside, threads)
    theta, u = _start(o, known)
    p = replace(o.params(theta), effect_mean=(float(u[0]),))
    for attempt in range(4):
        aside = likely_slips(small, p, last_too=True)
        weight = _explained(small, p, aside)
        if attempt and np.array_equal(aside, o.set_aside) and np.array_equal(weight, o.weight):
            break
        o.set_aside, o.weight = aside, weight
        if weight.mean() < 0.5:
            raise ValueError("most readings do not look like wear")
        theta, u, converged = climb(o, theta, u)
        p = _with_effects(o, theta, o.settle(theta, u, 1)[1])
    if not np.all(np.isfinite(theta)):
        raise ValueError("parameters are not finite")
    if every > 1:
        o = _on_everyone(o, f, part, p, threads)
        u = _widened(p, o.d)
    designs, weights = _designs(o, theta, u, carry and every == 1)
    note = "" if converged else "the fit did not come to rest; its last point is used"
    return replace(
        plain, converged=converged, note=note, designs=designs, weights=weights, aliased=o.d.aliased
    )


def _explained(f: Frame, p: Params, aside: np.ndarray) -> FloatArray:
    """(B,) 1, or 0 for bearings that no rate on the grid explains: they would steer the fit blindly."""
    loc = rate_of(f, p).loc
    rate = Rate(
        loc,
        np.full_like(loc, p.tau),
        np.full_like(loc, p.rho),
        np.full_like(loc, p.beta),
        p.warp,
        p.start_hours,
    )
    work = lay_out(f, p, aside)
    edge = believe(f, work, rate, np.zeros(len(loc))).edge
    count = np.bincount(f.owner[f.usable & ~aside], minlength=len(loc))
    absurd = evidence(f, work, rate) < ABSURD * np.maximum(count, 1)
    return np.where((edge > 1e-3) | absurd, 0.0, 1.0)


def _start(o: Objective, known: Pool | None) -> tuple[FloatArray, FloatArray]:
    """The priors, or the former fit's numbers where it had them; log median from plain differences."""
    theta = o.mean.copy()
    u = np.zeros(o.d.n)
    u[0] = log_median_slope(o.f)
    if known is not None and not known.young:
        before = known.designs[0]
        kept = {"log_tau": np.log(before.tau), "log_beta": np.log(before.beta)}
        kept |= {f"sd {name}": np.log(sd) for name, sd in before.method_sd.items()}
        kept |= {f"warp {k}": value for k, value in enumerate(before.warp)}
        kept |= {"atanh_rho": np.arctanh(before.rho), "new_shift": before.new_shift}
        theta = np.array([kept.get(s.name, s.mean) for s in o.slots], dtype=float)
        u[0] = before.effect_mean[0]
    return theta, u


def _on_everyone(o: Objective, f: Frame, part: np.ndarray, p: Params, threads: bool) -> Objective:
    """The objective over all bearings, for the effects: class means are never taken from a sample."""
    whole = frame(f.histories.take(part))
    d = effects.design(whole.histories, np.ones(whole.histories.n_bearings, dtype=bool))
    everyone = Objective(whole, d, likely_slips(whole, p, last_too=True), threads)
    everyone.base = p
    everyone.slots = o.slots
    missing = [Slot(f"sigma {x}", *effects.SIGMA_PRIOR) for x in d.factors if x not in o.d.factors]
    everyone.slots = o.slots + missing
    everyone.mean = np.array([s.mean for s in everyone.slots])
    everyone.sd = np.array([s.sd for s in everyone.slots])
    everyone.shapes = np.array([s.name.startswith("warp ") for s in everyone.slots])
    everyone.fixed = np.array([s.name.startswith("sigma ") for s in everyone.slots])
    return everyone


def _widened(p: Params, d: effects.Design) -> FloatArray:
    known = dict(zip(p.effect_levels, p.effect_mean, strict=True))
    return np.array([known.get(level, 0.0) for level in d.levels])


def _with_effects(
    o: Objective, theta: FloatArray, solved: effects.Solved, spread: dict | None = None
) -> Params:
    p = o.params(theta)
    p = replace(
        p,
        effect_levels=o.d.levels,
        effect_mean=tuple(solved.mean.tolist()),
        effect_cov=tuple(tuple(row) for row in solved.cov.tolist()),
        method_bias_sd=spread or {},
    )
    return by_class(o.f, fleet_taper(o.f, p), o.set_aside)


def _designs(
    o: Objective, theta: FloatArray, u: FloatArray, carry: bool
) -> tuple[tuple[Params, ...], tuple[float, ...]]:
    """The mode, and for a small fleet points round it weighed by the posterior there.

    A fixed Sobol sequence through the normal approximation at the mode, made 1.2 times as wide; weights
    are held within a factor e^2 of each other so that no single point speaks for all.
    """
    if len(theta) < len(o.slots):
        theta = np.append(theta, [s.mean for s in o.slots[len(theta) :]])
    _, solved = o.settle(theta, u)
    n = o.f.histories.n_bearings
    biased = [k for k, s in enumerate(o.slots) if s.name.startswith("bias ")]
    if not carry or n > CARRIED_UP_TO:
        spread = {o.slots[k].name[5:]: _bias_sd(o, theta, solved.mean, k) for k in biased}
        return (_with_effects(o, theta, solved, spread),), (1.0,)
    bend = hessian(o, theta, solved.mean)
    cov = np.linalg.inv(bend)
    spread = {o.slots[k].name[5:]: float(np.sqrt(cov[k, k])) for k in biased}
    points = 32 if n <= 40 else 16
    sequence = qmc.Sobol(len(theta), scramble=False).random_base2(int(np.log2(points)))
    draws = norm.ppf(sequence[1 : points // 2 + 1])
    draws = 1.2 * np.clip(np.concatenate([draws, -draws]), -2.5, 2.5)
    root = np.linalg.cholesky(cov)
    best = o.value(theta, solved.mean)
    designs, logs = [], []
    for xi in draws:
        at = theta + root @ xi
        local, there = o.settle(at, solved.mean)
        logs.append(o.value(at, local.u, local) - best + 0.5 * float(xi @ xi) / 1.44)
        designs.append(_with_effects(o, at, there, dict.fromkeys(spread, 0.0)))
    logs_ = np.nan_to_num(np.array(logs), nan=-50.0)
    weight = np.exp(np.maximum(np.minimum(logs_ - np.median(logs_), 2.0), -12.0))
    weight /= weight.sum()
    # the mode leads the list for display; the dates rest on the points alone
    first = _with_effects(o, theta, solved, spread)
    return (first, *designs), (0.0, *weight.tolist())


def _bias_sd(o: Objective, theta: FloatArray, u: FloatArray, k: int) -> float:
    """What a method's bias may still be, from the bend of the posterior along it."""
    e = np.zeros(len(theta))
    e[k] = 0.3 * o.sd[k]
    bend = -(o.value(theta + e, u) - 2 * o.value(theta, u) + o.value(theta - e, u)) / e[k] ** 2
    return float(1.0 / np.sqrt(max(bend, 1.0 / o.sd[k] ** 2)))
