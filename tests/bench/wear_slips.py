"""What one slip of the pen does to a date, and a real jump: `python -m tests.bench.wear_slips`.

Bearings of the plain world with at least five readings. A slip: one reading, not the last, times or over
25.4, 1000, 10 or 2; how far the 10 % date moves from the date with that reading left out. A jump: the true
clearance steps up by 6 sd at the last reading; the shown 10 % date must not be later than that of the step
hypothesis.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from inspections.wear.arrays import Histories, Kind
from inspections.wear.backtest import hide_and_tell
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.population import Population

from .worlds import SD, WORLDS, make, smaller

FACTORS = (25.4, 1000.0, 10.0, 2.0, 1 / 25.4, 1 / 1000.0, 0.1, 0.5)
MONTH = 30.4
HORIZON = 40 * 365.25


def many_readings(n: int, seed: int = 21) -> tuple[Histories, Population]:
    """Bearings with five readings or more, not past their limit, and their fleet's parameters."""
    fleet = make(smaller(WORLDS["plain"], n), seed).histories
    population = fit_fleet(fleet, carry=False)
    result = forecast(fleet, population)
    read = np.bincount(fleet.owner[fleet.kind == Kind.READING], minlength=fleet.n_bearings)
    return fleet.take(np.flatnonzero((read >= 5) & (result.p_max_now < 0.05))), population


def slipped(h: Histories, factor: float, seed: int = 3) -> tuple[np.ndarray, np.ndarray]:
    """(B,) for each bearing a reading that is not its last, and the values (E,) with those slipped."""
    rng = np.random.default_rng(seed)
    chosen = []
    for i in range(h.n_bearings):
        own = np.flatnonzero(h.kind[h.start[i] : h.start[i + 1]] == Kind.READING) + h.start[i]
        chosen.append(rng.choice(own[:-1]))
    value = h.value_um.copy()
    value[chosen] *= factor
    return np.array(chosen), value


def moved(h: Histories, population: Population, factor: float) -> np.ndarray:
    """(B,) days by which a slip moves the 10 % date from the one with that reading left out."""
    chosen, value = slipped(h, factor)
    kept = np.ones(len(h.kind), dtype=bool)
    kept[chosen] = False
    without = forecast(h.keep_events(kept), population).max_days[:, 1]
    shown = forecast(replace(h, value_um=value), population).max_days[:, 1]
    return np.abs(np.minimum(shown, HORIZON) - np.minimum(without, HORIZON))


def _last(h: Histories, i: int) -> int:
    """The event of a bearing's last reading."""
    return int(np.flatnonzero(h.kind[: h.start[i + 1]] == Kind.READING)[-1])


def forecast_sds(h: Histories) -> np.ndarray:
    """(B,) sd of the forecast of each bearing's last reading, from the rest of the record; NaN where none is
    made.
    """
    told = hide_and_tell(h)
    out = np.full(h.n_bearings, np.nan)
    last = told.event == np.array([_last(h, int(i)) for i in told.bearing])
    out[told.bearing[last]] = (told.ours[last, 4] - told.ours[last, 0]) / (2 * 1.6448536269514722)
    return out


def jumped(h: Histories, population: Population, size: np.ndarray) -> np.ndarray:
    """(B,) days by which the shown 10 % date is later than that of a real step of ``size`` at the last
    reading.
    """
    last = np.array([_last(h, i) for i in range(h.n_bearings)])
    value = h.value_um.copy()
    value[last] += size
    shown = forecast(replace(h, value_um=value), population).max_days[:, 1]
    step_kind, level, sd = h.kind.copy(), h.level_um.copy(), h.level_sd_um.copy()
    step_kind[last], level[last] = Kind.NEW_BASELINE, value[last]
    sd[last] = population.main.designs[0].method_sd["lead wire"]
    step = forecast(replace(h, kind=step_kind, level_um=level, level_sd_um=sd), population).max_days[:, 1]
    return np.minimum(shown, HORIZON) - np.minimum(step, HORIZON)


def main() -> None:
    """Print the table."""
    h, population = many_readings(600)
    print(f"{h.n_bearings} bearings. | slip | moved at most a month, % | 95 % moved at most, days |")
    for factor in FACTORS:
        days = moved(h, population, factor)
        print(
            f"| {factor:.4g} | {100 * np.mean(days <= MONTH):.1f} | {np.quantile(days, 0.95):.0f} |",
            flush=True,
        )
    sds = forecast_sds(h)
    known = np.flatnonzero(np.isfinite(sds))
    some = h.take(known)
    for name, size in (("the forecast", 6 * sds[known]), ("a reading", np.full(len(known), 6 * SD))):
        late = jumped(some, population, size)
        share, most = 100 * np.mean(late > 1.0), late.max()
        print(
            f"jump of 6 sd of {name}: shown later than a real step in {share:.1f} %, at most {most:.0f} days"
        )


if __name__ == "__main__":
    main()
