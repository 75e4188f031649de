"""Everything compiled before the first page asks for it."""

from __future__ import annotations

import time

import numpy as np

from .arrays import Histories, Kind, Method, build
from .factors_against_fleet import drivers
from .fit import fit_fleet
from .forecast import chance_by, forecast
from .path import path


def warm() -> float:
    """Go once through whatever a page may need; returns the seconds it took.

    A server does this before it takes its first request: where the compiled kernels are kept from an earlier
    run it takes a second or two, else as long as the compiler needs (half a minute).
    """
    began = time.perf_counter()
    h = _small()
    population = fit_fleet(h)
    forecast(h, population)
    path(h, population, 0, np.array([0.0, 365.0]))
    path(h, population, 1, np.array([0.0, 365.0]))
    chance_by(h, population, np.full((h.n_bearings, 2), 100.0))
    drivers(population.main)
    return time.perf_counter() - began


def _small() -> Histories:
    """A few bearings with every kind of event, one of them with a wall and one with a
    reading that cannot be.
    """
    rows = []
    for i in range(6):
        events = [{"kind": Kind.NEW_LIFE, "exposure_kh": 0.0}]
        for k in range(1, 7):
            u, value = 8.0 * k, 130.0 + (14.0 + 3.0 * i) * k + (5.0 if k % 2 else -5.0)
            events.append({"kind": Kind.OPENED, "exposure_kh": u, "value_um": float(k == 5)})
            events.append({"kind": Kind.READING, "exposure_kh": u, "value_um": value, "method": 0})
            if i == 0:
                events.append(
                    {"kind": Kind.DROP, "exposure_kh": u, "value_um": value - 140.0, "zero": 0, "method": 0}
                )
        events[-3 if i == 0 else -1]["value_um"] *= 10.0 if i == 1 else 1.0
        events += [
            {"kind": Kind.SCRAPE, "exposure_kh": 50.0},
            {"kind": Kind.INTERVAL, "exposure_kh": 50.0, "low_um": 150.0, "high_um": np.inf, "method": 0},
            {"kind": Kind.RATE_BREAK, "exposure_kh": 50.0},
            {"kind": Kind.NEW_LIFE, "exposure_kh": 60.0 + i},
            {"kind": Kind.READING, "exposure_kh": 70.0, "value_um": 150.0, "method": 0},
        ]
        rows.append(
            (
                {"fitting_um": 130.0, "limit_um": 400.0, "class_": i % 2, "duty_sd": 0.1, "duty_drift": 0.02},
                events,
            )
        )
    return build(rows, [Method("any", 8.0)])
