"""A short calibration: 300 bearings a world, shares within four standard errors and the model's own slack.

The full tables come from `python -m tests.bench.run_worlds`.
"""

from __future__ import annotations

import numpy as np
import pytest

from inspections.wear.advice import REPLACE_FROM
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import forecast

from .run_worlds import GOALS, dates_kh, one
from .score import pinball, shares
from .worlds import LIMIT, STEP_SHARE, STEP_UM, WORLDS, make, smaller

SLACK = np.array([2.0, 2.5, 4.0, 2.5, 2.0])  # points a world may be off by construction


@pytest.mark.parametrize("name", [name for name in WORLDS if name != "fleets of 8"])
def test_true_dates_fall_before_the_five_dates_as_often_as_said(name):
    world = smaller(WORLDS[name], 300)
    found = one(make(world, 41), world)
    off = np.abs(shares(found["mine"], found["true"]) - GOALS)
    error = 100 * np.sqrt(GOALS / 100 * (1 - GOALS / 100) / len(found["true"]))
    assert (off <= SLACK + 4 * error).all(), off
    ratio = pinball(found["mine"], found["true"]) / pinball(found["line"], found["true"])
    assert ratio < 0.85, ratio
    assert found["misfit"].mean() <= 0.02


def test_fleets_of_eight_carry_what_they_do_not_know():
    world = WORLDS["fleets of 8"]
    parts = [one(make(world, 500 + k), world) for k in range(25)]
    mine, true = (np.concatenate([p[name] for p in parts]) for name in ("mine", "true"))
    off = np.abs(shares(mine, true) - GOALS)
    # bearings of one fleet err together: their number counts for about half
    error = 100 * np.sqrt(GOALS / 100 * (1 - GOALS / 100) / len(true) * 2)
    assert (off <= np.array([3.0, 4.0, 5.0, 4.0, 3.0]) + 4 * error).all(), off


@pytest.mark.parametrize("name", ["plain", "uneven wear", "few readings"])
def test_the_fitted_filter_is_as_good_as_one_told_the_truth(name):
    world = smaller(WORLDS[name], 300)
    found = one(make(world, 42), world)
    assert pinball(found["mine"], found["true"]) < 1.03 * pinball(found["informed"], found["true"])


def test_of_bearings_scraped_at_the_derived_limit_the_accepted_share_passes_the_maximum():
    """Wear model section 5: 10 % accepted, 10 +- 3 % pass before the outage after."""
    fleet = make(smaller(WORLDS["plain"], 1000), 43)
    population = fit_fleet(fleet.histories)
    result = forecast(fleet.histories, population, accepted_risk=0.10)
    derived = result.replace_limit_from == REPLACE_FROM.index("derived")
    rng = np.random.default_rng(1)
    step = STEP_UM * np.maximum(0.1, 1 + STEP_SHARE * rng.normal(size=fleet.histories.n_bearings))
    days = np.diff(fleet.histories.outage_days, axis=1)[:, 0]
    after = result.replace_limit_um + step + fleet.rate * days * 0.024
    # all derived limits, also those below the fitting clearance: the arithmetic is the same
    assert 100 * np.mean(after > LIMIT) == pytest.approx(10.0, abs=3.0)
    assert derived.sum() > 100


def test_dates_are_given_in_kh_of_a_full_day():
    fleet = make(smaller(WORLDS["plain"], 20), 44)
    result = forecast(fleet.histories, fit_fleet(fleet.histories))
    kh = dates_kh(result)
    assert kh.shape == (20, 5)
    assert (kh <= 350.0).all()
