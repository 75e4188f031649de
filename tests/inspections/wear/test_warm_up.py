"""Everything a page may need is compiled before the first one is asked for."""

from __future__ import annotations

import importlib
import os
import pkgutil
from dataclasses import replace

import numpy as np

import inspections.wear
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.path import path
from inspections.wear.warm_up import warm
from tests.bench.worlds import WORLDS, make


def compiled_signatures() -> dict[str, int]:
    """How many signatures each compiled kernel of the engine has by now."""
    found = {}
    for module in pkgutil.iter_modules(inspections.wear.__path__):
        for name, thing in vars(importlib.import_module(f"inspections.wear.{module.name}")).items():
            if hasattr(thing, "nopython_signatures"):
                found[f"{module.name}.{name}"] = len(thing.nopython_signatures)
    return found


def test_after_warming_up_no_forecast_waits_for_the_compiler():
    warm()
    before = compiled_signatures()
    assert any(before.values())
    fleet = make(replace(WORLDS["two ends"], n=12), 3)
    population = fit_fleet(fleet.histories)
    forecast(fleet.histories, population)
    path(fleet.histories, population, 0, np.array([0.0, 100.0, 700.0]))
    assert compiled_signatures() == before


def test_a_forked_child_forecasts_what_its_parent_does():
    fleet = make(replace(WORLDS["plain"], n=8), 5)
    population = fit_fleet(fleet.histories)
    expected = forecast(fleet.histories, population).max_days
    read, write = os.pipe()
    child = os.fork()
    if child == 0:  # a server that forks after loading the site
        try:
            os.write(write, forecast(fleet.histories, population).max_days.tobytes())
        finally:
            os._exit(0)
    os.close(write)
    with os.fdopen(read, "rb") as pipe:
        got = np.frombuffer(pipe.read(), dtype=expected.dtype).reshape(expected.shape)
    assert os.waitpid(child, 0)[1] == 0
    np.testing.assert_array_equal(got, expected)
