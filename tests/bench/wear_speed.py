"""How long the wear engine takes, as ratios in one run: `python -m tests.bench.wear_speed [--bearings
100000]`.

A class of 1000 bearings against a general mixed-model routine; a very large fleet, all dates, once fitted and
with the fit; a tenth of it; one bearing anew. The kernels are compiled before anything is timed.
"""

from __future__ import annotations

import argparse
import time
import warnings
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pandas as pd
from statsmodels.regression.mixed_linear_model import MixedLM

from inspections.wear.arrays import Histories, Kind
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast

from .worlds import WORLDS, make, smaller

MADE = 2000  # bearings simulated one by one; a larger fleet repeats them with other readings


def took(what: Callable[[], Any], times: int = 1) -> tuple[float, Any]:
    """Seconds of the quickest of some runs, and what came of it."""
    best, made = np.inf, None
    for _ in range(times):
        began = time.perf_counter()
        made = what()
        best = min(best, time.perf_counter() - began)
    return best, made


def spent(what: Callable[[], Any]) -> float:
    """Seconds of processor, over all threads: what a machine busy with other work does
    not distort so much.
    """
    began = time.process_time()
    what()
    return time.process_time() - began


def large(n: int) -> Histories:
    """n bearings of nine events on average, every reading of its own."""
    some = make(smaller(WORLDS["plain"], MADE), 3).histories
    many = some.take(np.arange(n) % MADE)
    rng = np.random.default_rng(4)
    return replace(many, value_um=many.value_um + 3.0 * rng.normal(size=len(many.kind)))


def single_class(n: int = 1000) -> Histories:
    """One class in its first life: readings only, which is what a mixed model can take."""
    fleet = make(smaller(WORLDS["plain"], 2 * n), 5).histories
    life = np.cumsum(fleet.kind == Kind.NEW_LIFE) - 1
    first = life == life[fleet.start[:-1]][fleet.owner]
    scraped = np.zeros(len(fleet.kind), dtype=bool)
    for i in range(fleet.n_bearings):
        own = slice(fleet.start[i], fleet.start[i + 1])
        scraped[own] = np.cumsum(fleet.kind[own] == Kind.SCRAPE) > 0
    cut = fleet.keep_events(first & ~scraped)
    read = np.bincount(cut.owner[cut.kind == Kind.READING], minlength=cut.n_bearings)
    return cut.take(np.flatnonzero(read >= 2)[:n])


def mixed_model(h: Histories) -> tuple[str, float]:
    """statsmodels' random intercept and slope on the same readings, its default
    optimiser; and its seconds.
    """
    seen = h.kind == Kind.READING
    table = pd.DataFrame({"y": h.value_um[seen], "u": h.exposure_kh[seen], "bearing": h.owner[seen]})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        model = MixedLM.from_formula("y ~ u", table, groups="bearing", re_formula="~u")
        seconds, fit = took(model.fit)
    return "converged" if fit.converged else "did not converge", seconds


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--bearings", type=int, default=100_000)
    n = parser.parse_args().bearings
    h = large(300)
    forecast(h, fit_fleet(h, threads=True), threads=True)  # compiled, or read from where it was kept

    one = single_class()
    said, general = mixed_model(one)
    ours, _ = took(lambda: forecast(one, fit_fleet(one, threads=True), threads=True), 2)
    print(f"class of {one.n_bearings} bearings, {int((one.kind == Kind.READING).sum())} readings:")
    print(
        f"  general mixed model {general:.2f} s ({said}); fitted and all dates here {ours:.2f} s:"
        f" {general / ours:.1f} times faster"
    )

    fleet, tenth = large(n), large(n // 10)
    fitting, population = took(lambda: fit_fleet(fleet, threads=True))
    small, _ = took(lambda: forecast(tenth, population, threads=True), 2)
    whole, _ = took(lambda: forecast(fleet, population, threads=True), 2)
    print(f"{n} bearings, {len(fleet.kind)} events:")
    print(
        f"  all dates once fitted {whole:.2f} s; with the fit {whole + fitting:.1f} s; {n // 10} bearings"
        f" {small:.2f} s: {whole / small:.1f} times"
    )
    print(
        "  processor time of all dates once fitted"
        f" {spent(lambda: forecast(fleet, population, threads=True)):.1f} s"
    )
    alone = fleet.take([7])
    again, _ = took(lambda: forecast(alone, population), 20)
    print(f"  one bearing anew {1000 * again:.1f} ms")


if __name__ == "__main__":
    main()
