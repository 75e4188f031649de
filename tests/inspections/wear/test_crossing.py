"""Chances, dates and quantiles of a cloud against the sums that they stand for, written out."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from inspections.wear import crossing
from inspections.wear.arrays import FloatArray

LEVEL = 250.0


def cloud(n: int, exponents: tuple[float, ...] = (1.0,)) -> FloatArray:
    """(n, 10) components on both sides of the level, some alike on one curve after another."""
    rng = np.random.default_rng(n)
    parts = np.zeros((n, 10))
    parts[:, crossing.WEIGHT] = rng.dirichlet(np.ones(n))
    parts[:, crossing.MEAN] = rng.uniform(150.0, 270.0, n)
    parts[:, crossing.VAR] = rng.uniform(4.0, 400.0, n)
    parts[:, crossing.RATE] = rng.lognormal(0.7, 0.6, n)
    parts[:, crossing.LEAN] = rng.uniform(0.0, 15.0, n)
    parts[:, crossing.RATE_LEAN] = 0.05 * parts[:, crossing.RATE]
    parts[:, crossing.BETA] = rng.uniform(0.0, 2.0, n)
    parts[:, crossing.EXPONENT] = np.repeat(exponents, -(-n // len(exponents)))[:n]
    parts[:, crossing.AGE] = 30.0
    return parts


def widened(var: FloatArray, lean: FloatArray) -> FloatArray:
    """A variance and the spread of the level inside a cell, which fades between 0.4 and 0.9 of its width
    squared.
    """
    width2 = 12.0 * lean**2
    return var + lean**2 * np.clip((0.9 * width2 - var) / (0.5 * width2), 0.0, 1.0)


def summed(parts: FloatArray, x: float, taper: float, taper_sd: float) -> float:
    """The chance that the level is reached, component by component as the method page has it."""
    q, age = parts[:, crossing.EXPONENT], parts[:, crossing.AGE]
    gain = parts[:, crossing.RATE] * age / q * ((1.0 + x / age) ** q - 1.0)
    lean = parts[:, crossing.LEAN] + parts[:, crossing.RATE_LEAN] * gain / parts[:, crossing.RATE]
    over, var = parts[:, crossing.MEAN] - LEVEL, parts[:, crossing.VAR]
    then = widened(var + parts[:, crossing.BETA] * gain + (0.5 * taper_sd * gain) ** 2, lean)
    far = (over + gain * (1.0 + 0.5 * taper)) / np.sqrt(then)
    passed = over / np.sqrt(widened(var, parts[:, crossing.LEAN]))
    return float(parts[:, crossing.WEIGHT] @ ndtr(np.where(over > 0, np.maximum(far, passed), far)))


@pytest.mark.parametrize("exponents", [(1.0,), (1.4,), (0.7, 1.0, 2.0)])
@pytest.mark.parametrize("n", [1, 3, 40, 97])
def test_the_chance_of_a_level_is_the_sum_over_its_components(n, exponents):
    parts = cloud(n, exponents)
    for x in (0.0, 0.5, 8.0, 40.0, 300.0):
        for taper, taper_sd in ((0.0, 0.0), (0.3, 0.2)):
            got = crossing.reached(parts, LEVEL, x, taper, taper_sd)
            assert got == pytest.approx(summed(parts, x, taper, taper_sd), abs=1e-9)


@pytest.mark.parametrize("only_gain", [False, True])
def test_a_quantile_is_where_the_mixture_has_its_share(only_gain):
    parts, x, taper, taper_sd, shares = cloud(40, (1.4,)), 20.0, 0.3, 0.2, np.array([0.025, 0.5, 0.9])
    one = np.ones(1)
    given = np.array([0, 40]), parts, x * one, 12.0 * one, 9.0 * one, only_gain, taper * one, taper_sd * one
    found = crossing.level_quantiles(*given, shares)[0]
    worn = crossing.ahead(parts, x)
    gain = parts[:, crossing.RATE] * worn
    mean = 12.0 if only_gain else parts[:, crossing.MEAN]
    lean = 0.0 if only_gain else parts[:, crossing.LEAN]
    var = (9.0 if only_gain else parts[:, crossing.VAR]) + parts[:, crossing.BETA] * gain
    sd = np.sqrt(widened(var + (0.5 * taper_sd * gain) ** 2, lean + parts[:, crossing.RATE_LEAN] * worn))
    over = (found[:, None] - mean - gain * (1.0 + 0.5 * taper)) / sd
    assert ndtr(over) @ parts[:, crossing.WEIGHT] == pytest.approx(shares, abs=1e-7)
