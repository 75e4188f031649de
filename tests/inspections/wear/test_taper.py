"""The difference of a shell's two ends, read without its sign."""

import numpy as np
import pytest
from scipy.stats import foldnorm

from inspections.wear.taper import unfolded


@pytest.mark.parametrize("sd", [1.0, 7.0])
def test_a_difference_comes_back_from_the_mean_of_its_readings_without_sign(sd):
    true = np.array([0.1, 0.5, 1.0, 2.0, 4.0, 8.0, 30.0]) * sd
    read = foldnorm.mean(true / sd, scale=sd)  # scipy's folded normal
    assert unfolded(read, sd) == pytest.approx(true, rel=2e-3, abs=2e-3 * sd)


def test_less_than_the_error_alone_would_show_is_no_difference():
    assert (unfolded(np.array([0.0, 3.0, 5.5]), 7.0) == 0.0).all()


def test_the_readings_of_a_worn_shell_are_not_lowered_on_average():
    read = np.abs(20.0 + 7.0 * np.random.default_rng(3).normal(size=20_000))
    assert unfolded(read, 7.0).mean() == pytest.approx(20.0, abs=4 * 7.0 / np.sqrt(20_000))
