"""How often curved wear is named and steady wear is not: `python -m tests.bench.wear_misfit`.

Power-law wear with exponent 0.5, six readings over two doublings of exposure, new metal read when fitted.
Beside it what the most powerful test reaches that falsely names 2 %, told the exponent, the size of the wear
and the reading's sd (the lemma of Neyman and Pearson, Phil. Trans. R. Soc. A 231 (1933) 289): nothing can do
better.
"""

from __future__ import annotations

import numpy as np
from scipy.stats import norm

from inspections.wear.advice import OUTCOMES
from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.population import Population

from .worlds import WORLDS, make, smaller

MISFIT = OUTCOMES.index("misfit")
READ_AT = (0.0, *(10.0 * 2 ** np.linspace(0, 2, 6)))  # kh after the fitting
FALSELY = 0.02


def powered(n: int, exponent: float, wear: tuple[float, float], sd: float, seed: int = 5) -> Histories:
    """n bearings whose clearance grows by ``wear`` um over 40 kh as a power of exposure."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        new, total = 130 * (1 + 0.1 * rng.normal()), rng.uniform(*wear)
        events = [{"kind": Kind.NEW_LIFE, "exposure_kh": 0.0}]
        for u in READ_AT:
            value = new + total * (u / 40.0) ** exponent + sd * rng.normal()
            events.append(
                {"kind": Kind.READING, "exposure_kh": float(u), "value_um": value, "method": "lead wire"}
            )
        rows.append(({"fitting_um": 130.0, "limit_um": 500.0, "now_kh": 40.0, "class_": 0}, events))
    return build(rows, [Method("lead wire", sd)])


def share(h: Histories, population: Population) -> float:
    """Per cent of bearings called misfit."""
    return float(100 * np.mean(forecast(h, population).outcome == MISFIT))


def most(exponent: float, wear: tuple[float, float], sd: float) -> float:
    """Per cent of curved records that the most powerful test names; any level and any steady rate are let
    pass.
    """
    u = np.asarray(READ_AT)
    line = np.stack([np.ones_like(u), u], axis=1)
    curve = np.linspace(*wear, 200) * ((u / 40.0) ** exponent)[:, None] / sd
    rest = curve - line @ np.linalg.lstsq(line, curve, rcond=None)[0]
    return float(100 * norm.cdf(np.linalg.norm(rest, axis=0) - norm.isf(FALSELY)).mean())


def main() -> None:
    """Print the table."""
    print(
        "| wear over the life, um | sd of a reading, um | power law named, % | at most, % | steady wear"
        " named, % |"
    )
    for wear, sd in (((60, 120), 10.0), ((120, 240), 10.0), ((60, 120), 5.0), ((120, 240), 5.0)):
        population = fit_fleet(powered(400, 1.0, wear, sd, seed=9))
        named = [share(powered(400, exponent, wear, sd), population) for exponent in (0.5, 1.0)]
        bound = most(0.5, wear, sd)
        print(
            f"| {wear[0]} to {wear[1]} | {sd:.0f} | {named[0]:.1f} | {bound:.1f} | {named[1]:.1f} |",
            flush=True,
        )
    for name in ("plain", "uneven wear", "two kinds", "rounded", "opened because bad", "running in", "slips"):
        fleet = make(smaller(WORLDS[name], 1000), 12).histories
        print(f"| world {name} |  |  |  | {share(fleet, fit_fleet(fleet)):.1f} |", flush=True)


if __name__ == "__main__":
    main()
