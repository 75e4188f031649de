"""How well the forecasts would have done: the last readings hidden, the fleet fitted without them, then told.

The readings of the last k openings of every bearing are set aside, the events stay (what was done is known,
what was read is not). The fleet is fitted once on what is left, and the first reading of each hidden opening
is predicted from its own bearing's earlier, visible readings. The straight line does the same beside it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import crossing
from .arrays import FloatArray, Histories, IntArray, Kind
from .belief import Clouds, believe, pile, rate_under
from .event_effects import Frame, frame, lay_out
from .fit import fit_fleet
from .forecast import quantiles
from .larger_end import Belief, mean_of_ends, outlook_apart
from .line import FleetLines, fleet_lines
from .population import Pool, Population
from .slips import likely_slips
from .unwritten import read_record, supposed

SHARES = crossing.SHARES
ENOUGH = 20  # predictions under which shares say nothing (a twentieth of fewer is less than one)


@dataclass(frozen=True)
class Told:
    """N predicted readings: bearing and event (N,), what was read, and the five quantiles of each forecast,
    um.
    """

    bearing: IntArray
    event: IntArray
    opening: IntArray  # 1: the first that was hidden, 2: the one after it ...
    ahead_kh: FloatArray  # exposure since the last visible reading
    value_um: FloatArray
    ours: FloatArray  # (N, 5), or as many as shares were asked for
    line: FloatArray  # (N, 5)
    young: bool
    converged: bool


@dataclass(frozen=True)
class Score:
    """How one forecaster did: per cent of readings below each quantile, mean pinball loss and median miss,
    um.
    """

    below: tuple[float, ...]
    loss_um: float
    miss_um: float


def hide_and_tell(
    h: Histories, openings: int = 1, *, threads: bool = False, shares: FloatArray = SHARES
) -> Told:
    """Hide the readings of every bearing's last ``openings``, refit once, and predict their quantiles at
    ``shares``.

    A bearing keeps at least one opening with a reading; a hidden reading is scored where its own life (or
    level) holds a visible one, so that there is wear to predict and the line has something to draw.
    """
    hidden, first, number = _hidden(h, max(int(openings), 1))
    visible = h.keep_events(~hidden)
    population = fit_fleet(visible, threads=threads)
    lines = fleet_lines(h, hidden)
    chosen = np.flatnonzero(first)
    ours = np.full((len(chosen), len(shares)), np.nan)
    owner = h.owner
    with np.errstate(all="ignore"):
        for clock in np.unique(h.clock[owner[chosen]]) if len(chosen) else []:
            here = np.flatnonzero(h.clock[owner[chosen]] == clock)
            ours[here] = _predicted(h, hidden, chosen[here], population.pool(int(clock)), shares)
    known = np.all(np.isfinite(ours), axis=1)
    chosen, ours = chosen[known], ours[known]
    steps = _usual_step(h, hidden)
    line = np.array([_by_line(h, lines, int(e), steps) for e in chosen]).reshape(-1, len(SHARES))
    ahead = h.exposure_kh[chosen] - lines.last_at[owner[chosen]]
    return Told(
        owner[chosen],
        chosen,
        number[chosen],
        ahead,
        h.value_um[chosen],
        ours,
        line,
        population.young,
        population.converged,
    )


def _hidden(h: Histories, openings: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_], IntArray]:
    """(E,) readings hidden, those of them that are scored, and the number of their
    opening (1 the earliest).
    """
    seen = h.among(Kind.READING, Kind.INTERVAL, Kind.DROP) & (h.method >= 0)
    hidden, first = np.zeros(len(h.kind), dtype=bool), np.zeros(len(h.kind), dtype=bool)
    number = np.zeros(len(h.kind), dtype=np.int64)
    fresh = h.among(Kind.NEW_LIFE, Kind.NEW_BASELINE, Kind.UNSURE)
    for i in range(h.n_bearings):
        own = np.arange(h.start[i], h.start[i + 1])
        read = own[seen[own]]
        times = np.unique(h.exposure_kh[read])
        if len(times) < 2:
            continue
        cut = times[-min(openings, len(times) - 1) :]
        gone = read[h.exposure_kh[read] >= cut[0]]
        hidden[gone] = True
        number[gone] = np.searchsorted(cut, h.exposure_kh[gone]) + 1
        last = read[h.exposure_kh[read] < cut[0]][-1]
        for e in gone:
            at = h.exposure_kh[e]
            is_first = not np.any(hidden[own[0] : e] & (h.exposure_kh[own[0] : e] == at))
            if fresh[last:e].any():
                break
            first[e] = is_first and h.kind[e] == Kind.READING and np.isfinite(h.value_um[e])
    return hidden, first, number


def _predicted(
    h: Histories, hidden: NDArray[np.bool_], events: IntArray, pool: Pool, asked: FloatArray
) -> FloatArray:
    """(N, S) quantiles at the shares ``asked`` (S,) of what will be read at each event, from the visible
    readings before it.
    """
    owner = h.owner[events]
    many = h.take(owner)
    origin = np.repeat(h.start[owner] - many.start[:-1], np.diff(many.start)) + np.arange(len(many.kind))
    stop = many.start[:-1] + (events - h.start[owner])
    f = _ages_from_what_is_read(many, hidden[origin])
    aside = hidden[origin] | likely_slips(_without(f, hidden[origin]), pool.designs[0], last_too=False)
    used = [(p, w) for p, w in zip(pool.designs, pool.weights, strict=True) if w > 0]
    shares = [w / sum(w for _, w in used) for _, w in used]
    clouds = []
    for p, _ in used:
        work = lay_out(f, p, aside)
        told = lay_out(f, p)  # the hidden reading's own error
        loc, var = outlook_apart(f, p, work, stop)
        cloud = believe(f, work, rate_under(p, loc, var), f.du[stop], stop=stop)
        shift = (many.value_um[stop] - told.a[stop])[cloud.owner]
        cloud.parts[:, crossing.VAR] += told.b[stop][cloud.owner]
        cloud.parts[:, crossing.MEAN] += shift
        clouds.append(cloud)
    found = _quantiles(pile(clouds, shares), asked)
    _weigh_falls(
        many.keep_events(~hidden[origin] & (np.arange(len(origin)) < stop[f.owner])),
        many,
        stop,
        pool,
        found,
        asked,
    )
    return found


def _ages_from_what_is_read(many: Histories, hidden: NDArray[np.bool_]) -> Frame:
    """The frame of some bearings, the ages of lives without a recorded start believed from visible readings
    alone.
    """
    visible = replace(many, method=np.where(hidden, -1, many.method).astype(many.method.dtype))
    return replace(frame(many), ages=frame(visible).ages)


def _quantiles(clouds: Clouds, asked: FloatArray) -> FloatArray:
    """(N, S) quantiles of the level itself."""
    zero = np.zeros(len(clouds.begin) - 1)
    return quantiles(Belief(clouds, zero, zero, zero, zero, zero), asked)


def _weigh_falls(
    visible: Histories, many: Histories, stop: IntArray, pool: Pool, found: FloatArray, asked: FloatArray
) -> None:
    """Put in the quantiles (N, S) of records in doubt, a fall that nobody explained weighed in every way it
    may be read.

    visible: what had been read of each of ``many`` before its event ``stop`` (N,).
    """
    s = supposed(visible)
    doubted = np.unique(s.histories.owner[s.place])
    if not len(doubted):
        return
    when = many.exposure_kh[stop[doubted]]
    clouds = mean_of_ends(read_record(replace(visible.take(doubted), now_kh=when), pool.designs[0]), pool)
    told = lay_out(frame(many), pool.designs[0])
    event = stop[doubted][clouds.owner]
    clouds.parts[:, crossing.VAR] += told.b[event]
    clouds.parts[:, crossing.MEAN] += many.value_um[event] - told.a[event]
    found[doubted] = _quantiles(clouds, asked)


def _without(f: Frame, hidden: NDArray[np.bool_]) -> Frame:
    return replace(f, usable=f.usable & ~hidden)


def _usual_step(h: Histories, hidden: NDArray[np.bool_]) -> float:
    """What scrapes have usually added, um: the median of as left minus as found where both were read."""
    chain = np.flatnonzero(~h.among(Kind.DROP, Kind.OPENED))
    at = np.flatnonzero(h.kind[chain] == Kind.SCRAPE)
    at = at[(at > 0) & (at < len(chain) - 1)]
    before, after = chain[at - 1], chain[at + 1]
    near = (h.owner[before] == h.owner[after]) & (h.exposure_kh[before] == h.exposure_kh[after])
    seen = (h.kind == Kind.READING) & ~hidden
    near &= seen[before] & seen[after]
    steps = (h.value_um[after] - h.value_um[before])[near]
    steps = steps[np.isfinite(steps)]
    return float(np.median(steps)) if len(steps) else 0.0


def _by_line(h: Histories, lines: FleetLines, event: int, step: float) -> FloatArray:
    """(5,) the line's quantiles of the reading at an event, its scrapes since then added
    as they usually are.
    """
    i = int(h.owner[event])
    since = h.kind[lines.last[i] : event] == Kind.SCRAPE
    x = np.array([h.exposure_kh[event]])
    band = [lines.band(i, x, float(share), reading=True)[0] for share in SHARES]
    return np.array(band) + step * int(since.sum())


def score(value: FloatArray, quantiles_um: FloatArray) -> Score:
    """Calibration and error of N predictions (N, 5) of what was then read (N,)."""
    off = value[:, None] - quantiles_um
    below = 100.0 * np.mean(off < 0, axis=0)
    loss = float(np.mean(np.maximum(SHARES * off, (SHARES - 1.0) * off)))
    return Score(tuple(np.round(below, 2).tolist()), loss, float(np.median(np.abs(off[:, 2]))))


def slack(n: int) -> FloatArray:
    """(5,) points by which shares of n well-made predictions may differ from what they say, two standard
    errors.
    """
    return 200.0 * np.sqrt(SHARES * (1.0 - SHARES) / max(n, 1))


def summary(told: Told, openings: int) -> dict[str, Any]:
    """What is printed, stored and shown of a backtest: plain numbers."""
    n = len(told.value_um)
    ours = asdict(score(told.value_um, told.ours)) if n else None
    line = asdict(score(told.value_um, told.line)) if n else None
    by_opening = [
        {"opening": int(k), "n": int(np.sum(told.opening == k)), **_both(told, told.opening == k)}
        for k in np.unique(told.opening)
    ]
    return {
        "openings": int(openings),
        "n": n,
        "bearings": len(np.unique(told.bearing)),
        "ours": ours,
        "line": line,
        "ahead_kh": float(np.median(told.ahead_kh)) if n else None,
        "by_opening": by_opening,
        "young": bool(told.young),
        "converged": bool(told.converged),
    }


def _both(told: Told, chosen: NDArray[np.bool_]) -> Mapping[str, Any]:
    pair = {"ours": told.ours[chosen], "line": told.line[chosen]}
    return {name: asdict(score(told.value_um[chosen], dates)) for name, dates in pair.items()}


__all__ = ["ENOUGH", "Population", "Score", "Told", "hide_and_tell", "score", "slack", "summary"]
