"""What the fleet as a whole has taught: pools of bearings with their parameters, and how sure we are of them."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

import numpy as np

from .parameters import Params


@dataclass(frozen=True)
class Pool:
    """The bearings of one clock (run hours, stated duty, calendar); designs with weights, the mode first."""

    clock: int
    n_bearings: int
    n_lives: int
    young: bool
    converged: bool
    note: str
    designs: tuple[Params, ...]
    weights: tuple[float, ...]
    aliased: tuple[tuple[str, str], ...] = ()
    members: tuple[tuple[str, int, int], ...] = ()  # factor, code, number of bearings with readings
    same: tuple[
        tuple[tuple[str, int], tuple[str, int]], ...
    ] = ()  # levels that nearly the same bearings have


@dataclass(frozen=True)
class Population:
    """All pools; ``young`` and ``converged`` speak for the largest."""

    pools: tuple[Pool, ...] = ()

    def pool(self, clock: int) -> Pool:
        """The pool of a clock; an empty young one where the fleet has none."""
        for pool in self.pools:
            if pool.clock == clock:
                return pool
        return Pool(clock, 0, 0, True, True, "no bearing of this clock yet", (Params(),), (1.0,))

    @property
    def main(self) -> Pool:
        """The largest pool."""
        return max(self.pools, key=lambda pool: pool.n_bearings, default=self.pool(0))

    @property
    def young(self) -> bool:
        """Fewer than three lives with two readings each."""
        return self.main.young

    @property
    def converged(self) -> bool:
        """Whether the fit came to rest."""
        return self.main.converged

    @property
    def trouble(self) -> str:
        """What went wrong in fitting, of all pools; empty where every fit came to rest."""
        return "; ".join(dict.fromkeys(pool.note for pool in self.pools if not pool.converged))

    @property
    def log_median(self) -> float:
        """Log of the fleet's median rate, um/kh."""
        return self.main.designs[0].effect_mean[0]

    @property
    def median_rate_um_per_kh(self) -> float:
        """The fleet's median rate."""
        return float(np.exp(self.log_median))

    def to_json(self) -> dict[str, Any]:
        """Plain dicts, lists, floats and strings; ``from_json`` brings back the same numbers to the bit."""
        return {"format": 1, "pools": [asdict(pool) for pool in self.pools]}

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Population:
        """The population ``to_json`` wrote."""
        return cls(tuple(_pool(row) for row in data["pools"]))


def _pool(row: dict[str, Any]) -> Pool:
    designs = tuple(_params(design) for design in row["designs"])
    aliased = tuple((str(a), str(b)) for a, b in row["aliased"])
    counted = tuple((str(f), int(c), int(n)) for f, c, n in row.get("members", ()))
    same = tuple(((str(a), int(i)), (str(b), int(j))) for (a, i), (b, j) in row.get("same", ()))
    made = {"designs": designs, "weights": tuple(row["weights"]), "aliased": aliased}
    return Pool(**{**row, **made, "members": counted, "same": same})


def _params(row: dict[str, Any]) -> Params:
    levels = tuple((str(factor), int(code)) for factor, code in row["effect_levels"])
    cov = tuple(tuple(line) for line in row["effect_cov"])
    return Params(
        **{
            **row,
            "effect_levels": levels,
            "effect_mean": tuple(row["effect_mean"]),
            "effect_cov": cov,
            "warp": tuple(row.get("warp", ())),
            "opened": tuple(row.get("opened", ())),
        }
    )
