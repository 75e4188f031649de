"""One slip of the pen in a life of several readings, and a real jump at its end."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.wear_slips import MONTH, forecast_sds, jumped, many_readings, moved


@pytest.fixture(scope="module")
def some():
    return many_readings(200)


@pytest.mark.parametrize("factor", [25.4, 1000.0, 10.0, 2.0])
def test_a_slip_moves_the_early_date_as_if_the_reading_had_been_left_out(some, factor):
    assert np.mean(moved(*some, factor) <= MONTH) >= 0.95


def test_after_a_real_jump_the_shown_date_is_that_of_the_jump_or_earlier(some):
    h, population = some
    sds = forecast_sds(h)
    known = np.flatnonzero(np.isfinite(sds))
    late = jumped(h.take(known), population, 6 * sds[known])
    assert np.mean(late > 1.0) <= 0.01
