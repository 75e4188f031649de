"""What the fleet as a whole has taught: pools of bearings with their parameters, and how
sure we are of them.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np

from .parameters import Params

RUN_HOURS, STATED_DUTY, CALENDAR = range(3)  # a pool's clock
COUNTS_HOURS = (RUN_HOURS, STATED_DUTY)
# Log of the hours a day: at least so widely spread where nobody knows them, and where they are stated and not
# metered; design assumptions with no published source.
DUTY_NOT_KNOWN, DUTY_STATED = 0.5, 0.2


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
    curved: tuple[
        int, ...
    ] = ()  # classes that wear along another curve than these numbers: see ``class_curves``
    log_duty: tuple[float, float] = (0.0, 0.0)  # of its bearings' hours a day over 24: mean and sd of the log

    def lent_to(self, clock: int) -> Pool:
        """What this pool teaches of a bearing of another clock: the same wear, its hours a day known only as
        the pool's are.
        """
        calendar = clock == CALENDAR
        mean, sd = self.log_duty if calendar else (0.0, 0.0)
        sd = max(sd, DUTY_NOT_KNOWN if calendar else DUTY_STATED)
        designs = tuple(_lent(p, mean, sd) for p in self.designs)
        return replace(self, clock=clock, designs=designs, n_bearings=0, n_lives=0)


@dataclass(frozen=True)
class Population:
    """All pools; ``young`` and ``converged`` speak for the largest."""

    pools: tuple[Pool, ...] = ()

    def pool(self, clock: int) -> Pool:
        """The pool of a clock; where it is young or missing, what the largest pool that counts run hours
        teaches of it.
        """
        own = next((pool for pool in self.pools if pool.clock == clock), None)
        if own is not None and not own.young:
            return own
        lenders = [pool for pool in self.pools if not pool.young and pool.clock in COUNTS_HOURS]
        if lenders:
            return max(lenders, key=lambda pool: pool.n_bearings).lent_to(clock)
        if own is not None:
            return own
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


def _lent(p: Params, log_duty: float, sd: float) -> Params:
    """Parameters in kh of another clock, of which one holds exp(log_duty) of a run hour, known to ``sd``.

    Rates and their unit of age change together, so that r L stays what has worn; the doubt in the hours a day
    is a place's own and stays with it over its lives.
    """
    tau = float(np.hypot(p.tau, sd))
    share = float(np.exp(log_duty))
    return replace(
        p,
        tau=tau,
        rho=(p.rho * p.tau**2 + sd**2) / tau**2,
        effect_mean=(p.effect_mean[0] + log_duty, *p.effect_mean[1:]),
        usual_kh=p.usual_kh / share,
        usual_rate=p.usual_rate * share,
        start_hours=p.start_hours / share,
    )


def _pool(row: dict[str, Any]) -> Pool:
    designs = tuple(_params(design) for design in row["designs"])
    aliased = tuple((str(a), str(b)) for a, b in row["aliased"])
    counted = tuple((str(f), int(c), int(n)) for f, c, n in row.get("members", ()))
    same = tuple(((str(a), int(i)), (str(b), int(j))) for (a, i), (b, j) in row.get("same", ()))
    mean, sd = row.get("log_duty", (0.0, 0.0))
    row = {**row, "curved": tuple(row.get("curved", ()))}
    made = {
        "log_duty": (float(mean), float(sd)),
        "designs": designs,
        "weights": tuple(row["weights"]),
        "aliased": aliased,
    }
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
            "log_ages": tuple(row.get("log_ages", ())),
        }
    )
