"""How often curved wear is named and steady wear is not: `python -m tests.bench.wear_misfit`.

Power-law wear with exponent 0.5, six readings over two doublings of exposure, new metal read when fitted.
"""

from __future__ import annotations

import numpy as np

from inspections.wear.forecast import OUTCOMES, forecast
from inspections.wear.history import Histories, Kind, Method, build
from inspections.wear.population import Population, fit_fleet

from .worlds import WORLDS, make, smaller

MISFIT = OUTCOMES.index("misfit")


def powered(n: int, exponent: float, wear: tuple[float, float], sd: float, seed: int = 5) -> Histories:
    """n bearings whose clearance grows by ``wear`` um over 40 kh as a power of exposure."""
    rng = np.random.default_rng(seed)
    rows = []
    for _ in range(n):
        new, total = 130 * (1 + 0.1 * rng.normal()), rng.uniform(*wear)
        events = [{"kind": Kind.NEW_LIFE, "exposure_kh": 0.0}]
        for u in (0.0, *(10.0 * 2 ** np.linspace(0, 2, 6))):
            value = new + total * (u / 40.0) ** exponent + sd * rng.normal()
            events.append(
                {"kind": Kind.READING, "exposure_kh": float(u), "value_um": value, "method": "lead wire"}
            )
        rows.append(({"fitting_um": 130.0, "limit_um": 500.0, "now_kh": 40.0, "class_": 0}, events))
    return build(rows, [Method("lead wire", sd)])


def share(h: Histories, population: Population) -> float:
    """Per cent of bearings called misfit."""
    return float(100 * np.mean(forecast(h, population).outcome == MISFIT))


def main() -> None:
    """Print the table."""
    print("| wear over the life, um | sd of a reading, um | power law named, % | steady wear named, % |")
    for wear, sd in (((60, 120), 10.0), ((120, 240), 10.0), ((60, 120), 5.0), ((120, 240), 5.0)):
        population = fit_fleet(powered(400, 1.0, wear, sd, seed=9))
        named = [share(powered(400, exponent, wear, sd), population) for exponent in (0.5, 1.0)]
        print(f"| {wear[0]} to {wear[1]} | {sd:.0f} | {named[0]:.1f} | {named[1]:.1f} |", flush=True)
    for name in ("plain", "uneven wear", "two kinds", "rounded", "opened because bad", "running in"):
        fleet = make(smaller(WORLDS[name], 1000), 12).histories
        print(f"| world {name} |  |  | {share(fleet, fit_fleet(fleet)):.1f} |", flush=True)


if __name__ == "__main__":
    main()
