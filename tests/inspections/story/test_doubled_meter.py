"""A meter that read double for years is named; seasons, wandering hours and one change of a third are not."""

import numpy as np
import pytest

from inspections.story.doubled_meter import doubled
from inspections.story.exposure import CALENDAR, Exposure

YEAR = 365.25


def meter(*a_day: float, step: float = YEAR, clock: str = "run_hours") -> Exposure:
    hours = np.cumsum([0.0, *a_day]) * step
    return Exposure(730000 + step * np.arange(len(hours)), hours, a_day[0], a_day[-1], clock)


def years(found) -> tuple[float, float]:
    return round((found.begins - 730000) / YEAR, 2), round((found.ends - 730000) / YEAR, 2)


@pytest.mark.parametrize(
    ("a_day", "span"),
    [
        ((9, 9.5, 19, 18, 18.5, 9, 9.2), (2.0, 5.0)),
        ((23, 24, 23.5, 46, 47, 47.5), (3.0, 6.0)),
        ((40, 41, 20, 20.5, 20), (0.0, 2.0)),
    ],
)
def test_years_of_twice_the_hours_are_found_wherever_they_lie(a_day, span):
    found = doubled(meter(*a_day))
    assert years(found) == span
    assert found.inside / found.outside == pytest.approx(2.0, rel=0.1)
    assert found.impossible == (found.inside > 24.5)


def test_neither_a_steady_meter_nor_other_factors_nor_a_single_year_are_doubted():
    assert doubled(meter(12, 11, 12.5, 12, 11.8)) is None
    assert doubled(meter(12, 12, 18, 18, 18, 12)) is None
    assert doubled(meter(5, 5, 20, 20, 20, 5)) is None
    assert doubled(meter(10, 10, 20, 10, 10)) is None  # one year: an outage elsewhere, a hot summer
    assert doubled(meter(10, 10, 20, 20, 10, clock=CALENDAR)) is None
    assert doubled(meter(*[8, 16] * 6, step=YEAR / 2)) is None  # seasons


def test_hours_that_wander_are_hardly_ever_doubted():
    """Log random walks of 0.15 a year, ten years each, as pumps of the wandering world: 3 in 100."""
    rng = np.random.default_rng(5)
    walks = np.minimum(12 * np.exp(np.cumsum(0.15 * rng.normal(size=(400, 10)), axis=1)), 24.0)
    assert sum(doubled(meter(*walk)) is not None for walk in walks) <= 12


def test_a_meter_that_stood_still_is_not_doubted():
    assert doubled(meter(10, 0, 0, 10, 10)) is None
