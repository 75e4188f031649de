"""The straight line against certified and printed values, and the trap of pooling through a scrape."""

from __future__ import annotations

import re
from importlib.resources import files

import numpy as np
import pytest

from inspections.wear import crossing, grid
from inspections.wear.arrays import Kind, Method, build
from inspections.wear.belief import Rate, believe
from inspections.wear.event_effects import Work, frame
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.line import straight_line

from .makers import LEAD, event, reading

MIL = 25.4
# The pooled-line trap: (hours, mil) before and after a scrape at 8000 h; limit 12 mil (own arithmetic)
BEFORE = [(0, 6.0), (4000, 6.4), (8000, 6.8)]
AFTER = [(8000, 7.8), (12000, 8.2), (16000, 8.6)]


def norris() -> tuple[np.ndarray, np.ndarray]:
    """x and y of NIST StRD Norris from the file scipy ships (public domain)."""
    text = (files("scipy") / "stats/tests/data/nist_linregress/Norris.dat").read_text()
    rows = [line.split() for line in text.splitlines()[60:] if re.match(r"\s*-?\d", line)]
    y, x = np.array([[float(cell) for cell in row] for row in rows]).T
    return x, y


def test_the_straight_line_has_the_certified_digits_of_norris():
    """NIST StRD, Norris, certified values."""
    x, y = norris()
    assert len(x) == 36
    line = straight_line(x, y)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.level == pytest.approx(-0.262323073774029, rel=1e-10)
    assert line.slope_sd == pytest.approx(0.429796848199937e-03, rel=1e-10)
    assert line.level_sd == pytest.approx(0.232818234301152, rel=1e-10)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-11)


def test_the_grid_finds_the_certified_slope_of_norris_inside_one_cell():
    """NIST StRD, Norris: with the certified residual sd and flat priors the posterior is the line's.

    The slope's sd is a fifteenth of a cell, so a plain sum over nodes would miss it.
    """
    x, y = norris()
    order = np.argsort(x, kind="stable")
    x, y = x[order], y[order]
    h = build([({}, [reading(u, v) for u, v in zip(x, y, strict=True)])], [LEAD])
    f = frame(h)
    tau, s2 = 0.05, 0.884796396144373**2
    n = len(x)
    work = Work(
        np.full(n, grid.READ, dtype=np.int8), y, np.full(n, s2), np.zeros(n), np.zeros(1), np.full(1, 1e8)
    )
    rate = Rate(np.array([1.0]), np.array([tau]), np.zeros(1), np.zeros(1))
    cloud = believe(f, work, rate, np.zeros(1), linear=True)
    mean, var = cloud.moments(crossing.RATE)
    assert mean[0] == pytest.approx(1.00211681802045, abs=2e-6)
    assert np.sqrt(var[0]) == pytest.approx(0.429796848199937e-03, rel=5e-3)


@pytest.mark.parametrize(
    ("volts", "hours"),
    [
        ((0.99, 0.83, 0.68), 1575.27),
        ((0.82, 0.72, 0.65), 1852.94),
        ((0.96, 0.88, 0.80), 2875.00),
        ((0.87, 0.72, 0.60), 1351.85),
        ((0.91, 0.85, 0.78), 3166.67),
    ],
)
@pytest.mark.parametrize("unit", [1.0, 1000.0, 24.0, 8766.0])
def test_five_components_reach_half_a_volt_when_the_book_says(volts, hours, unit):
    """TOB216B: threshold voltage at 0, 500, 1000 h; Tobias and Trindade, Applied Reliability, 2nd ed., p.
    216.
    """
    line = straight_line(np.array([0.0, 500.0, 1000.0]) / unit, np.array(volts))
    assert line.reaches(0.5) * unit == pytest.approx(hours, abs=0.005)


def test_a_pooled_line_through_a_scrape_is_wrong():
    """0.175 mil per 1000 h and 34 857 h pooled; the truth is 0.100 and 50 000 h (own arithmetic)."""
    x, y = np.array(BEFORE + AFTER, dtype=float).T
    pooled = straight_line(x, y)
    assert pooled.slope * 1000 == pytest.approx(0.175, abs=5e-4)
    assert pooled.reaches(12.0) == pytest.approx(34857, abs=1)
    parted = straight_line(x, y, stretch=np.array([0, 0, 0, 1, 1, 1]))
    assert parted.slope * 1000 == pytest.approx(0.1, rel=1e-12)
    assert parted.reaches(12.0) == pytest.approx(50000, rel=1e-12)


def test_the_engine_does_not_fall_into_the_pooled_line_trap():
    """The same six readings on eight bearings: the median date lies at 50 000 h, not at 34 857 h."""
    rows = [event(Kind.NEW_LIFE, 0.0)]
    rows += [reading(u / 1000, c * MIL) for u, c in BEFORE] + [event(Kind.SCRAPE, 8.0)]
    rows += [reading(u / 1000, c * MIL) for u, c in AFTER]
    facts = {"fitting_um": 6.0 * MIL, "limit_um": 12.0 * MIL}
    h = build([(facts, rows)] * 8, [Method("micrometer", 1.0)])
    result = forecast(h, fit_fleet(h))
    hours = 16000 + result.max_days[0, 2] * 24
    assert hours == pytest.approx(50000, rel=0.03)
    assert abs(result.rate_um_per_kh[0, 1] / MIL - 0.1) < 0.004


def test_a_line_without_a_slope_is_none():
    assert straight_line(np.array([1.0]), np.array([2.0])) is None
    assert straight_line(np.array([1.0, 1.0]), np.array([2.0, 3.0])) is None
    flat = straight_line(np.array([0.0, 1.0, 2.0]), np.array([5.0, 5.0, 5.0]))
    assert flat.reaches(6.0) == np.inf
