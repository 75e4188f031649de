"""A fit is made anew where the histories changed, and only there."""

from dataclasses import replace

import pytest

from fleet.clock import today_in
from inspections.forecasts import current_forecasts
from inspections.forecasts.codes import Codes
from inspections.forecasts.wear_inputs import inputs
from tests import makers

TODAY = today_in("UTC")
pytestmark = pytest.mark.django_db


def test_an_entry_that_tells_nothing_of_wear_asks_for_no_new_fit_and_a_reading_does(monkeypatch):
    fits = []
    monkeypatch.setattr(current_forecasts, "fit_fleet", lambda histories: fits.append(histories) or object())
    monkeypatch.setattr(current_forecasts, "_FITS", current_forecasts.Recent(64))
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.150")
    current_forecasts.parameters(TODAY)
    makers.somebody()
    makers.a_photo(bearing=bearing)
    current_forecasts.parameters(TODAY)
    assert len(fits) == 1
    makers.a_reading(bearing=bearing, value="0.155")
    current_forecasts.parameters(TODAY)
    assert len(fits) == 2


def test_every_array_counts_in_the_digest():
    bearing = makers.a_bearing()
    makers.a_reading(bearing=bearing, value="0.150")
    histories = inputs([bearing], TODAY, Codes()).histories
    moved = replace(histories, limit_um=histories.limit_um + 1.0)
    assert histories.digest() == replace(histories).digest() != moved.digest()
