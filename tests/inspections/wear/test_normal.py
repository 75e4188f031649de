"""The normal quantiles are what they say, and the device without network has the same."""

import re

import pytest
from scipy.stats import norm

from inspections.visits.verdict import LOW
from inspections.wear import normal
from inspections.wear.forecast import DOUBTFUL
from tests.conftest import CHECKOUT

VERDICT = CHECKOUT / "inspections/static/inspections/verdict.js"


@pytest.mark.parametrize(
    ("name", "within"), [("EIGHT_IN_TEN", 0.8), ("NINE_IN_TEN", 0.9), ("NEARLY_ALL", 0.997)]
)
def test_so_many_lie_within_each_quantile(name, within):
    away = getattr(normal, name)
    assert norm.cdf(away) - norm.cdf(-away) == pytest.approx(within, abs=1e-12)


@pytest.mark.parametrize(
    ("script", "name"), [("EIGHT_IN_TEN", "EIGHT_IN_TEN"), ("FAR", "NEARLY_ALL"), ("GUARD", "NINE_IN_TEN")]
)
def test_the_device_has_the_same_to_the_last_digit(script, name):
    (number,) = re.findall(rf"\b{script} = ([\d.]+)", VERDICT.read_text("utf-8"))
    assert float(number) == getattr(normal, name)


def test_the_device_asks_about_a_low_clearance_from_where_the_forecast_doubts_it():
    (number,) = re.findall(r"\bLOW = ([\d.]+)", VERDICT.read_text("utf-8"))
    assert float(number) == LOW and 2 * norm.sf(LOW) == pytest.approx(DOUBTFUL, rel=1e-12)
