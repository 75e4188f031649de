"""What is believed of each bearing's larger end today, under every design of its pool (sections 3 and 4)."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from . import crossing
from .arrays import FloatArray, IntArray
from .belief import Clouds, believe, evidence, pile, rate_under
from .event_effects import Frame, Work, lay_out
from .own_curve import bent_params, rate_shift
from .parameters import Params
from .population import Pool
from .rate_effects import STEP, without_own
from .shape import spread_beyond
from .slips import last_readings
from .taper import taper_now
from .unwritten import Record

CAVITY_FROM = (
    0.01  # share of the fleet's doubt in a bearing's own spread above which its own part is taken out
)


@dataclass(frozen=True)
class Belief:
    """A bearing's cloud at the as-of day with its larger end: B bearings, um and um per um of wear."""

    clouds: Clouds
    taper: FloatArray
    taper_sd: FloatArray
    prior_var: FloatArray
    step_mean: FloatArray
    step_sd: FloatArray


Change = Callable[[Work], Work]


def believe_all(
    f: Frame,
    pool: Pool,
    aside: NDArray[np.bool_],
    change: Change | None = None,
    stop: IntArray | None = None,
    times: float = 1.0,
) -> Belief:
    """The larger end's cloud under every design of the pool; ``stop`` looks only at earlier events, ``times``
    every exponent so many times over.
    """
    cloud, prior_var, first = _mean_of_ends(f, pool, aside, change, stop, times)
    return _larger_end(f, bent_params(pool.designs[0], times), first, cloud, prior_var)


def _mean_of_ends(
    f: Frame, pool: Pool, aside: NDArray[np.bool_], change: Change | None, stop: IntArray | None, times: float
) -> tuple[Clouds, FloatArray, Params]:
    """The mean of the ends' cloud under every design, the rates' variance (B,) before any reading, the first
    design.
    """
    used = [(p, w) for p, w in zip(pool.designs, pool.weights, strict=True) if w > 0]
    shares = [w / sum(w for _, w in used) for _, w in used]
    clouds, means, variances = [], [], []
    for straight, _ in used:
        p = bent_params(straight, times)
        work = lay_out(f, p, aside)
        if change is not None:
            work = change(work)
        loc, var = outlook_apart(f, straight, work, stop)
        if times != 1.0:
            loc = loc + rate_shift(f, straight, times)
        rate = rate_under(p, loc, var)
        tail = f.tail if stop is None else np.zeros(len(loc))
        clouds.append(believe(f, work, rate, tail, stop=stop))
        means.append(loc)
        variances.append(rate.tau**2 * spread_beyond(p.outlying))
    # summed in a fixed order: a bearing alone must get the very bits it gets in the fleet
    mean, prior_var = np.zeros(f.histories.n_bearings), np.zeros(f.histories.n_bearings)
    for share, loc in zip(shares, means, strict=True):
        mean += share * loc
    for share, loc, var in zip(shares, means, variances, strict=True):
        prior_var += share * (var + (loc - mean) ** 2)
    return pile(clouds, shares), prior_var, used[0][0]


def believe_record(record: Record, pool: Pool) -> Belief:
    """The larger end's cloud with every account of a record in doubt, each by its share."""
    likeliest = believe_all(record.f, pool, record.aside)
    if not record.others:
        return likeliest
    others = [
        believe_all(account.f, pool, account.aside, times=account.times).clouds for account in record.others
    ]
    return replace(likeliest, clouds=_piled(record, likeliest.clouds, others))


def mean_of_ends(record: Record, pool: Pool) -> Clouds:
    """What is believed of the mean of the ends at the as-of day, every account of a record in doubt by its
    share.
    """
    likeliest = _mean_of_ends(record.f, pool, record.aside, None, None, 1.0)[0]
    others = [
        _mean_of_ends(account.f, pool, account.aside, None, None, account.times)[0]
        for account in record.others
    ]
    return _piled(record, likeliest, others) if others else likeliest


def _piled(record: Record, likeliest: Clouds, others: list[Clouds]) -> Clouds:
    """The clouds of all accounts of B bearings' records by their shares; ``others`` in the record's order."""
    n = record.f.histories.n_bearings
    clouds, shares = [likeliest], [record.share]
    for account, own in zip(record.others, others, strict=True):
        count, edge, share = np.zeros(n, dtype=np.int64), np.zeros(n), np.zeros(n)
        count[account.members], edge[account.members] = np.diff(own.begin), own.edge
        share[account.members] = account.share
        begin = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
        clouds.append(Clouds(begin, own.parts, edge))
        shares.append(share)
    return pile(clouds, shares)


def outlook_apart(f: Frame, p: Params, work: Work, stop: IntArray | None) -> tuple[FloatArray, FloatArray]:
    """(B,) expected log rate and its variance, the bearing's own readings taken out of
    the fleet's estimate.
    """
    loc, var = p.outlook(f.histories)
    n = len(loc)
    shared = var > CAVITY_FROM * p.tau**2
    if not shared.any():
        return loc, var
    at = [evidence(f, work, rate_under(p, loc + d, np.zeros(n)), stop=stop) for d in (-STEP, 0.0, STEP)]
    bend = np.maximum(-(at[2] - 2 * at[1] + at[0]) / STEP**2, 0.0)
    apart, wide = without_own(loc, var, loc, (at[2] - at[0]) / (2 * STEP), bend)
    return np.where(shared, apart, loc), np.where(shared, wide, var)


def _larger_end(f: Frame, first: Params, p: Params, cloud: Clouds, prior_var: FloatArray) -> Belief:
    """Move the clouds from the mean of the ends to the larger one, and add what a bias may still be."""
    h = f.histories
    rate = _at_usual_age(f, first, cloud)
    level, _ = cloud.moments(crossing.MEAN)
    now, now_var, taper, taper_sd = taper_now(f, first, rate, level)
    last = last_readings(f)
    bias = p.bias_sd(h.methods)[np.clip(h.method[np.maximum(last, 0)], 0, None)] if len(h.kind) else 0.0
    bias = np.where(last >= 0, bias, 0.0)
    if len(h.kind):
        bias = np.hypot(bias, np.where(last >= 0, p.gauge_doubt(h)[np.maximum(last, 0)], 0.0))
    parts = cloud.parts.copy()
    owner = cloud.owner
    parts[:, crossing.MEAN] += 0.5 * now[owner]
    parts[:, crossing.VAR] += (0.25 * now_var + bias**2)[owner]
    mean, sd = first.of_steps(h.class_)
    return Belief(replace(cloud, parts=parts), taper, taper_sd, prior_var, mean, sd)


def _at_usual_age(f: Frame, p: Params, clouds: Clouds) -> FloatArray:
    """(B,) expected rate that multiplies L, um/kh: today's less what the curve has made of it."""
    parts, curve = clouds.parts.copy(), p.curve
    exponent, age = parts[:, crossing.EXPONENT], parts[:, crossing.AGE]
    slope = exponent * (age / curve.usual_kh) ** (exponent - 1.0)
    if curve.within:
        begin = np.maximum(age - (f.ages.present_kh + f.tail)[clouds.owner], 0.0)
        x = curve.usual_kh
        grown = x * ((begin / x + 1.0) ** exponent - (begin / x) ** exponent)
        slope *= np.where(f.ages.known[f.ages.present][clouds.owner], 1.0, x / np.maximum(grown, 1e-300))
    parts[:, crossing.RATE] /= np.where(exponent == 1.0, 1.0, slope)
    return replace(clouds, parts=parts).moments(crossing.RATE)[0]
