"""What drives wear: each class, site, service and position against the fleet, aliased ones as one."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from .arrays import Histories
from .normal import NINE_IN_TEN
from .population import Pool

Level = tuple[str, int]
SAME = 0.8  # share of common bearings (of all in either) from which two levels are shown as one
FEWEST = 2


@dataclass(frozen=True)
class Driver:
    """Levels that the record cannot part (usually one), how many times the fleet's rate they wear, and its 90
    % interval.
    """

    levels: tuple[Level, ...]
    n: int
    ratio: float
    low: float
    high: float

    @property
    def stands_out(self) -> bool:
        """Whether the interval leaves out the fleet's own rate."""
        return self.low > 1.0 or self.high < 1.0

    @property
    def distance(self) -> float:
        """Log ratio of the interval's end nearer to 1; 0 where it holds 1."""
        return (
            float(np.log(self.low)) if self.low > 1 else float(-np.log(self.high)) if self.high < 1 else 0.0
        )


def members(h: Histories, informed: np.ndarray, factors: tuple[str, ...]) -> tuple[tuple[str, int, int], ...]:
    """(factor, code, number of bearings) of every level that a bearing with readings has."""
    rows = []
    for factor in factors:
        codes, counts = np.unique(getattr(h, factor)[informed], return_counts=True)
        rows += [(factor, int(c), int(n)) for c, n in zip(codes, counts, strict=True) if c >= 0]
    return tuple(rows)


def nearly_same(
    h: Histories, informed: np.ndarray, factors: tuple[str, ...]
) -> tuple[tuple[Level, Level], ...]:
    """Pairs of levels of different factors that nearly the same bearings have: their effects cannot be
    parted.
    """
    pairs = []
    for a, b in combinations(factors, 2):
        one, other = getattr(h, a)[informed], getattr(h, b)[informed]
        both, counts = np.unique(np.stack([one, other]), axis=1, return_counts=True)
        for (code, twin), n in zip(both.T.tolist(), counts.tolist(), strict=True):
            either = int(np.sum(one == code) + np.sum(other == twin)) - n
            if min(code, twin) >= 0 and n >= FEWEST and n >= SAME * either:
                pairs.append(((a, int(code)), (b, int(twin))))
    return tuple(pairs)


def drivers(pool: Pool) -> list[Driver]:
    """Every level's ratio to the fleet with its interval, over all designs; levels nearly the same are
    summed.

    A group's log ratio is the sum of its levels' effects, its variance that of the sum: where only the sum is
    known the single effects are not.
    """
    number = {(factor, code): n for factor, code, n in pool.members}
    known = set(pool.designs[0].effect_levels[1:])
    rows = []
    for group in _groups(pool):
        learned = [level for level in group if level in known]
        if learned:
            middle, sd = _together(pool, learned)
            low, high = np.exp(middle - NINE_IN_TEN * sd), np.exp(middle + NINE_IN_TEN * sd)
            n = max(number.get(level, 0) for level in group)
            rows.append(Driver(tuple(group), n, float(np.exp(middle)), float(low), float(high)))
    return rows


def _groups(pool: Pool) -> list[list[Level]]:
    """The levels, those that cannot be parted together, in the order of the effects."""
    leader: dict[Level, Level] = {level: level for level in pool.designs[0].effect_levels[1:]}
    for a, b in pool.same:
        leader.setdefault(a, a)
        leader.setdefault(b, b)
        first, second = _top(leader, a), _top(leader, b)
        leader[second] = first
    groups: dict[Level, list[Level]] = {}
    for level in leader:
        groups.setdefault(_top(leader, level), []).append(level)
    return list(groups.values())


def _top(leader: dict[Level, Level], level: Level) -> Level:
    while leader[level] != level:
        level = leader[level]
    return level


def _together(pool: Pool, levels: list[Level]) -> tuple[float, float]:
    """Mean and sd of the summed effects, over the designs by their weights."""
    means, variances, weights = [], [], []
    for params, weight in zip(pool.designs, pool.weights, strict=True):
        place = {level: k for k, level in enumerate(params.effect_levels)}
        index = [place[level] for level in levels if level in place]
        means.append(sum(params.effect_mean[k] for k in index))
        variances.append(sum(params.effect_cov[j][k] for j in index for k in index))
        weights.append(weight)
    share = np.array(weights) / sum(weights)
    middle = float(share @ np.array(means))
    spread = float(share @ (np.array(variances) + (np.array(means) - middle) ** 2))
    return middle, float(np.sqrt(max(spread, 0.0)))
