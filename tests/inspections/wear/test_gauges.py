"""Single gauges that read too much or too little: learned where they meet at bearings, corrected, and
doubted.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from inspections.wear.arrays import GaugePeriod, Histories, Method, build
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast
from inspections.wear.population import Population

from .makers import Kind, event, reading

LEAD = Method("lead wire", 8.0)
GAUGES = 6


def measured(
    biases: np.ndarray, *, n: int = 120, seed: int = 5, off_from: float = 0.0
) -> tuple[Histories, np.ndarray]:
    """n bearings with steady wear, drawn by its physics alone: each visit by its own site's gauge or, one in
    four, another's.

    Biases (G,) um hold from the exposure ``off_from`` on; before it each gauge is right, in a period of its
    own. Returns the histories and the true kh to 260 um.
    """
    rng = np.random.default_rng(seed)
    rows, true = [], []
    for i in range(n):
        rate, new = 2.2 * np.exp(0.5 * rng.normal()), 130 * (1 + 0.1 * rng.normal())
        events = [event(Kind.NEW_LIFE, 0.0)]
        for u in np.arange(1, 6) * 11.0:
            g = i % len(biases) if rng.random() < 0.75 else int(rng.integers(len(biases)))
            off = biases[g] if u > off_from else 0.0
            name = f"gauge {g}{' now' if u > off_from else ''}"
            events.append(reading(u, new + rate * u + off + 8.0 * rng.normal(), gauge=name))
        rows.append(({"fitting_um": 130.0, "limit_um": 260.0, "class_": 0}, events))
        true.append((260.0 - new) / rate - 55.0)
    periods = [GaugePeriod(f"gauge {g}{when}") for g in range(len(biases)) for when in ("", " now")]
    return build(rows, [LEAD], periods), np.array(true)


ONE_OFF = np.array([0.0, 0.0, 0.0, 0.0, 0.0, -15.0])


@pytest.fixture(scope="module")
def off() -> tuple[Histories, np.ndarray, Population]:
    histories, true = measured(ONE_OFF, off_from=30.0)
    return histories, true, fit_fleet(histories, carry=False)


def test_a_gauge_that_reads_too_little_is_found_and_the_good_ones_are_not(off):
    p = off[2].main.designs[0]
    assert p.gauge_bias["gauge 5 now"] == pytest.approx(-15.0, abs=3.5)
    others = [abs(b) for name, b in p.gauge_bias.items() if name != "gauge 5 now"]
    assert max(others) < 3.5
    assert all(0.3 < sd < 5.0 for sd in p.gauge_bias_sd.values())


def test_its_bearings_dates_come_no_later_than_they_should(off):
    """Read as they stand, the readings of such a gauge make wear look slow: most of its bearings pass before
    the early dates.
    """
    histories, true, population = off
    mine = (np.arange(len(true)) % GAUGES == 5) & (true > 0)
    silent = replace(histories, gauge=np.full_like(histories.gauge, -1))
    early = forecast(histories, population).max_days[:, 1] * 0.024
    blind = forecast(silent, fit_fleet(silent, carry=False)).max_days[:, 1] * 0.024
    assert np.mean(true[mine] < blind[mine]) > 0.3
    assert np.mean(true[mine] < early[mine]) < 0.25


def test_gauges_that_agree_leave_every_date_nearly_where_it_was():
    histories, _ = measured(np.zeros(GAUGES), n=80)
    silent = replace(histories, gauge=np.full_like(histories.gauge, -1))
    a, b = (forecast(h, fit_fleet(h, carry=False)).max_days[:, 2] for h in (histories, silent))
    near = np.isfinite(b) & (b > 100)
    assert np.median(np.abs(a[near] / b[near] - 1)) < 0.05


def test_one_gauge_alone_is_the_level_and_nothing_is_learned_of_it():
    histories, _ = measured(np.zeros(1), n=20)
    p = fit_fleet(histories, carry=False).main.designs[0]
    assert p.gauge_bias == {} and p.gauge_spread == 0.0


def test_what_a_check_measured_counts_even_of_one_gauge_alone():
    histories, _ = measured(np.array([-12.0]), n=20)
    checked = replace(histories, gauges=(GaugePeriod("gauge 0"), GaugePeriod("gauge 0 now", -12.0, 1.0)))
    p = fit_fleet(checked, carry=False).main.designs[0]
    assert p.gauge_bias["gauge 0 now"] == pytest.approx(-12.0, abs=1.5)
    silent = fit_fleet(histories, carry=False)
    moved = (
        forecast(checked, fit_fleet(checked, carry=False)).clearance_um[:, 1]
        - forecast(histories, silent).clearance_um[:, 1]
    )
    assert np.median(moved) == pytest.approx(12.0, abs=2.5)


def test_what_was_learned_of_gauges_is_kept_with_the_fleets_numbers(off):
    histories, _, population = off
    again = Population.from_json(population.to_json())
    assert again.main.designs[0].gauge_bias == population.main.designs[0].gauge_bias
    few = histories.take([5, 11])
    np.testing.assert_array_equal(forecast(few, again).max_days, forecast(few, population).max_days)
