"""Judging one reading: figures of JCGM 106:2012."""

from __future__ import annotations

import pytest
from scipy.stats import norm

from inspections.wear.verdict_at_limit import guard_band_um, judge


@pytest.mark.parametrize(("inside", "p"), [(0.0, 0.5), (1.0, 0.84134), (1.6449, 0.95), (1.96, 0.975)])
def test_probability_of_conforming_for_a_normal_reading(inside, p):
    """JCGM 106:2012, one-sided: a reading 0, 1, 1.6449, 1.96 standard uncertainties inside the limit."""
    assert judge(260.0 - 10.0 * inside, 10.0, high=260.0).p_inside == pytest.approx(p, abs=2e-5)
    assert judge(100.0 + 10.0 * inside, 10.0, low=100.0).p_inside == pytest.approx(p, abs=2e-5)


@pytest.mark.parametrize(
    ("value", "word"),
    [
        (80.0, "too tight"),
        (95.0, "may be too tight"),
        (110.0, "may be too tight"),
        (180.0, "inside"),
        (250.0, "may be over"),
        (270.0, "may be over"),
        (280.0, "over"),
    ],
)
def test_the_five_words(value, word):
    assert judge(value, 10.0, 100.0, 260.0).word == word


def test_a_guard_band_of_one_in_a_thousand():
    """JCGM 106:2012 8.3: 3.09 standard uncertainties leave a risk of 0.1 %."""
    assert guard_band_um(1.0, 0.001) == pytest.approx(3.0902, abs=1e-4)


def test_interval_and_risk_come_from_one_distribution():
    """The two-sided 95 % interval reaches the limit exactly when the risk is 2.5 %."""
    value = 260.0 - norm.isf(0.025) * 10.0
    assert judge(value, 10.0, high=260.0).p_high == pytest.approx(0.025, abs=1e-12)


def test_a_missing_limit_switches_its_side_off():
    assert judge(500.0, 10.0).word == "inside"
    assert judge(500.0, 10.0, low=float("nan"), high=None).p_inside == 1.0
    assert judge(260.0, 0.0, high=260.0).word == "inside"
    assert judge(260.1, 0.0, high=260.0).word == "over"
