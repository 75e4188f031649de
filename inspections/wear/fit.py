"""Fitting one pool of bearings: maximum marginal posterior, and a design of points round the mode."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from scipy.special import logit, ndtri

from . import gauge_bias, rate_effects
from .arrays import FloatArray, Histories, Kind
from .ascent import climb, hessian
from .belief import believe, evidence, rate_under
from .class_curves import curved_classes
from .classes import by_class
from .event_effects import Frame, frame, lay_out
from .factors_against_fleet import members, nearly_same
from .grounds import bend_score, bent_in_time
from .objective import CARRIED_UP_TO, OWN_EXPONENT, Objective, Slot
from .own_curve import learned_share
from .parameters import FACTORS, LOG_RATE_PRIOR, Params
from .population import Pool, Population
from .slips import cannot_be, likely_slips, rate_of
from .taper import fleet_taper
from .unwritten import likeliest, supposed

MOST_FITTED = 2500  # fleet-wide parameters are known to a per cent or two from this many bearings
MOST_WITH_OWN_CURVE = (
    1 / 3
)  # of a pool's bearings; more of them, and the fleet's own exponent has to explain them
CLIMBS = 4  # at most, each with the slips, accounts and votes that the one before left
FEW_APART = {"log_tau": float(np.log(0.2)), "logit_outlying": float(logit(0.1))}  # the second start of a fit
PLAINLY = 0.05  # nats a bearing by which it has to end higher: two kinds four times apart do by 0.3
ABSURD = -60.0  # log evidence a reading: ten standard deviations off on average


def lives_with_two(f: Frame) -> int:
    """Lives (new metal or a new level starts one) that hold two usable readings."""
    h = f.histories
    begins = h.among(Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE).astype(int)
    first = np.zeros(len(h.kind), dtype=int)
    first[h.start[:-1][np.diff(h.start) > 0]] = 1
    number = np.cumsum(np.maximum(begins, first)) - 1
    distinct = f.usable & (h.kind == Kind.READING)
    return int(np.sum(np.bincount(number[distinct]) >= 2)) if distinct.any() else 0


def log_median_slope(f: Frame) -> float:
    """Log of the median slope of single stretches, um/kh: where the climb starts."""
    h = f.histories
    seen = f.usable & (h.kind == Kind.READING)
    cut = h.among(Kind.SCRAPE, Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE)
    cut[h.start[:-1][np.diff(h.start) > 0]] = True
    part = np.unique(np.cumsum(cut)[seen], return_inverse=True)[1]
    x, y = f.since_start[0][seen], h.value_um[seen]
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


def fit_fleet(
    histories: Histories, *, previous: Population | None = None, threads: bool = False, carry: bool = True
) -> Population:
    """Fit every pool by maximum marginal posterior; never raises for what the data are.

    ``previous`` gives the starting point. ``carry``: small fleets carry the uncertainty of the fleet-wide
    parameters as a design of points round the mode. A fit that fails falls back to the priors and says so.
    """
    pools = []
    for clock in sorted(set(histories.clock.tolist())):
        members = histories.take(np.flatnonzero(histories.clock == clock))
        known = previous.pool(clock) if previous is not None else None
        pools.append(fit_pool(members, clock, known, threads=threads, carry=carry))
    return Population(tuple(pools))


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
    plain = replace(
        plain,
        log_duty=_log_duty(h),
        members=members(h, informed, FACTORS),
        same=nearly_same(h, informed, FACTORS),
    )
    try:
        with np.errstate(all="ignore"):
            return _fit(f, plain, known, threads, carry)
    except (np.linalg.LinAlgError, FloatingPointError, ValueError) as error:
        return replace(plain, converged=False, note=f"the fit failed ({error}): the priors stand in")


def _log_duty(h: Histories) -> tuple[float, float]:
    """Mean and sd of the log of the bearings' hours a day over 24; (0, 0) where none is known."""
    hours = h.hours_per_day[(h.hours_per_day > 0) & (h.hours_per_day <= 24.0)]
    logs = np.log(hours / 24.0)
    return (float(np.mean(logs)), float(np.std(logs))) if len(logs) else (0.0, 0.0)


def _fit(f: Frame, plain: Pool, known: Pool | None, threads: bool, carry: bool) -> Pool:
    informed = np.bincount(f.owner[f.usable], minlength=f.histories.n_bearings) > 0
    part = np.flatnonzero(informed)
    every = max(1, -(-len(part) // MOST_FITTED))
    gaps = supposed(f.histories.take(part[::every]))
    small = frame(gaps.histories)
    d = rate_effects.design(small.histories, np.ones(small.histories.n_bearings, dtype=bool))
    aside = np.zeros(len(small.owner), dtype=bool)
    o = Objective(small, d, aside, threads)
    theta, u = _start(o, known)
    p = replace(o.params(theta), effect_mean=(float(u[0]),))
    apart, respread = gauge_bias.told_apart(small), False
    for attempt in range(CLIMBS + (gauge_bias.CLIMBS if apart else 0)):
        # at first a gap with a fall begins a level of its own, then what is likeliest there
        small = likeliest(gaps, p) if attempt and gaps.place.any() else small
        aside = likely_slips(small, p, last_too=True) | cannot_be(small)
        weight = _explained(small, p, aside)
        if attempt:
            weight *= _on_the_fleets_curve(small, p, aside)
        p, moved = gauge_bias.settle(small, p, aside, weight) if attempt and apart else (p, 0.0)
        rests = attempt and moved < gauge_bias.RESTED_UM and not respread
        if rests and _same(o, small, aside, weight):
            break
        o.base = _with_gauges(o.base, p)
        o.f, o.set_aside, o.weight = small, aside, weight
        if weight.mean() < 0.5:
            raise ValueError("most readings do not look like wear")
        if not attempt and known is None and "logit_outlying" in (slot.name for slot in o.slots):
            theta, u = _two_starts(o, theta, u)
        theta, u, converged = climb(o, theta, u)
        respread = o.respread(theta, u)
        p = _with_effects(o, theta, o.settle(theta, u, 1)[1])
    if not np.all(np.isfinite(theta)):
        raise ValueError("parameters are not finite")
    curved = curved_classes(o.f, p, o.set_aside, o.weight)
    own = learned_share(o.f, p, o.set_aside)
    o.base, p = replace(o.base, own_curves=own), replace(p, own_curves=own)
    if every > 1:
        o = _on_everyone(o, f, part, p, threads)
        u = _widened(p, o.d)
    designs, weights = _designs(o, theta, u, carry and every == 1)
    note = "" if converged else "the fit did not come to rest; its last point is used"
    return replace(
        plain,
        converged=converged,
        note=note,
        designs=designs,
        weights=weights,
        aliased=o.d.aliased,
        curved=curved,
    )


def _two_starts(o: Objective, theta: FloatArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where a first fit goes on from: two climbs along all numbers but the bend of rates, from where the fit
    begins and from a fleet of bearings alike with a tenth of them far apart.

    Two kinds of bearings are one wide kind, or a narrow one and outlying ones, and a climb along the bend
    ends at whichever it is nearer. The second is taken where the record holds it plainly for likelier.
    """
    free = ~o.shapes
    plain, names = o.of_slots(free), [slot.name for slot in o.slots]
    other = theta.copy()
    other[[names.index(name) for name in FEW_APART]] = list(FEW_APART.values())
    (one, at_one), (two, at_two) = (climb(plain, start[free], u)[:2] for start in (theta, other))
    plainly = PLAINLY * o.f.histories.n_bearings
    theta = theta.copy()
    if plain.value(two, at_two) > plain.value(one, at_one) + plainly:
        theta[free], u = two, at_two
    else:
        theta[free], u = one, at_one
    return theta, u


def _with_gauges(base: Params, p: Params) -> Params:
    """The numbers that a climb leaves as they are, with the gauges' biases of ``p``."""
    kept = p.gauge_bias, p.gauge_bias_sd, p.gauge_spread
    return replace(base, gauge_bias=kept[0], gauge_bias_sd=kept[1], gauge_spread=kept[2])


def _same(o: Objective, f: Frame, aside: np.ndarray, weight: FloatArray) -> bool:
    """Whether a climb would read the very same records again."""
    kinds = np.array_equal(o.f.histories.kind, f.histories.kind)
    return kinds and np.array_equal(o.set_aside, aside) and np.array_equal(o.weight, weight)


def _explained(f: Frame, p: Params, aside: np.ndarray) -> FloatArray:
    """(B,) 1, or 0 for bearings that no rate on the grid explains: they would steer the fit blindly."""
    loc = rate_of(f, p).loc
    rate = rate_under(p, loc, np.zeros_like(loc))
    work = lay_out(f, p, aside)
    edge = believe(f, work, rate, np.zeros(len(loc))).edge
    count = np.bincount(f.owner[f.usable & ~aside], minlength=len(loc))
    absurd = evidence(f, work, rate) < ABSURD * np.maximum(count, 1)
    return np.where((edge > 1e-3) | absurd, 0.0, 1.0)


def _on_the_fleets_curve(f: Frame, p: Params, aside: np.ndarray) -> FloatArray:
    """(B,) 1, or 0 for bearings that after a climb still wear along another curve than the fleet's.

    They would bend the others' dates; where a third or more do, the fleet's own exponent has to explain them.
    """
    own = bent_in_time(f, p, aside, bend_score(f, p, aside))
    return np.where(own & (own.mean() < MOST_WITH_OWN_CURVE), 0.0, 1.0)


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
        kept["log_exponent"] = np.log(before.exponent)
        kept |= {f"{OWN_EXPONENT}{code}": value for code, value in before.class_exponent.items()}
        if before.outlying > 0:
            kept["logit_outlying"] = logit(before.outlying)
        kept |= {"atanh_rho": np.arctanh(before.rho), "new_shift": before.new_shift}
        theta = np.array([kept.get(s.name, s.mean) for s in o.slots], dtype=float)
        u[0] = before.effect_mean[0]
    return theta, u


def _on_everyone(o: Objective, f: Frame, part: np.ndarray, p: Params, threads: bool) -> Objective:
    """The objective over all bearings, for the effects: class means are never taken from a sample."""
    whole = likeliest(supposed(f.histories.take(part)), p)
    d = rate_effects.design(whole.histories, np.ones(whole.histories.n_bearings, dtype=bool))
    everyone = Objective(whole, d, likely_slips(whole, p, last_too=True) | cannot_be(whole), threads)
    everyone.base = p
    everyone.slots = o.slots
    missing = [Slot(f"sigma {x}", *rate_effects.SIGMA_PRIOR) for x in d.factors if x not in o.d.factors]
    everyone.slots = o.slots + missing
    everyone.mean = np.array([s.mean for s in everyone.slots])
    everyone.sd = np.array([s.sd for s in everyone.slots])
    everyone.shapes = np.array([s.name.startswith("warp ") for s in everyone.slots])
    everyone.fixed = np.array([s.name.startswith("sigma ") for s in everyone.slots])
    return everyone


def _widened(p: Params, d: rate_effects.Design) -> FloatArray:
    known = dict(zip(p.effect_levels, p.effect_mean, strict=True))
    return np.array([known.get(level, 0.0) for level in d.levels])


def _with_effects(
    o: Objective, theta: FloatArray, solved: rate_effects.Solved, spread: dict[str, Any] | None = None
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
    from scipy.stats import qmc  # slow to import, and what fits nothing needs none of it

    sequence = qmc.Sobol(len(theta), scramble=False).random_base2(int(np.log2(points)))
    draws = ndtri(sequence[1 : points // 2 + 1])
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
