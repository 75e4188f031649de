"""Forecasts: stored by a refit, fresh where the record has moved on, exported in the sheet's columns."""

import csv
import datetime as dt
import io
import json

import pytest
from django.core.management import CommandError, call_command

from fleet.models import Entry
from inspections.forecasts.computation import figures_of
from inspections.forecasts.current_forecasts import current, standing_run
from inspections.forecasts.forecast_figures import COLUMNS
from inspections.forecasts.frames import JUDGED
from inspections.forecasts.refit import refit
from inspections.models import ForecastRun
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


def test_a_refit_stores_every_bearing_and_one_entry_on_the_plants_chain():
    bearings = makers.a_worn_fleet()
    run = refit(by=makers.somebody())
    assert run.forecasts.count() == len(bearings) and run.standing
    said = json.loads(Entry.objects.get(kind="forecast_run").text)
    assert said["chain"] == "plant" and said["body"]["figures"] == run.figures_hash


def test_a_refit_of_an_earlier_day_stands_beside_and_never_hides_today():
    bearings = makers.a_worn_fleet()
    today = refit(by=makers.somebody())
    past = refit(by=makers.somebody(), as_of=dt.date(2017, 1, 1))
    assert not past.standing and standing_run() == today
    assert {f.figures["readings"] for f in past.forecasts.all()} == {2}
    assert current(bearings)[bearings[0].pk]["readings"] == 3


def test_stored_figures_serve_until_the_record_moves_on(monkeypatch):
    bearings = makers.a_worn_fleet()
    run = refit(by=makers.somebody())
    worked_out = []
    real = figures_of
    monkeypatch.setattr(
        "inspections.forecasts.current_forecasts.figures_of",
        lambda *a, **k: worked_out.append(1) or real(*a, **k),
    )
    stored = current(bearings, run.as_of)
    assert worked_out == [] and stored[bearings[0].pk]["readings"] == 3
    makers.a_reading(bearing=bearings[0], on=dt.date(2024, 5, 4), value="0.210")
    fresh = current(bearings, run.as_of)
    assert len(worked_out) == 1 and fresh[bearings[0].pk]["readings"] == 4
    assert fresh[bearings[1].pk] == stored[bearings[1].pk]
    assert ForecastRun.objects.count() == 1


def test_an_alike_fleet_in_another_unit_has_the_same_dates():
    um, inch = makers.a_bearing(), makers.a_bearing()
    for year, value in ((2012, 6), (2016, 7), (2020, 8)):
        makers.a_reading(bearing=um, on=dt.date(year, 5, 4), value=f"{value * 25.4:.1f}", unit="um")
        makers.a_reading(bearing=inch, on=dt.date(year, 5, 4), value=f"0.00{value}", unit="in")
    makers.a_worn_fleet()
    figures = current([um, inch], TODAY)
    assert figures[um.pk]["replace_date_p10"] == figures[inch.pk]["replace_date_p10"]


def test_the_quantiles_of_a_date_stand_in_order():
    figures = current(makers.a_worn_fleet(), TODAY)
    for one in figures.values():
        days = [one.day(f"replace_date_{q}") or dt.date.max for q in ("p05", "p10", "p50", "p90", "p95")]
        assert days == sorted(days)


def test_without_any_limit_dates_are_blank_and_the_advice_is_to_leave():
    makers.a_worn_fleet()
    bearing = makers.a_bearing(limits={})
    figures = current([bearing], TODAY)[bearing.pk]
    assert (figures["outcome"], figures["advice"], figures["replace_date_p10"]) == ("no_limit", "leave", None)


def test_the_command_writes_one_row_per_position_in_the_columns_of_the_sheet(tmp_path):
    makers.a_worn_fleet()
    out = io.StringIO()
    call_command("forecast", csv=tmp_path / "forecast.csv", stdout=out)
    rows = list(csv.reader((tmp_path / "forecast.csv").read_text("utf-8").splitlines()))
    assert tuple(rows[0]) == (*COLUMNS, *JUDGED) and len(rows) == 5
    assert out.getvalue().startswith("Forecast 4 bearings as of ")


def test_if_needed_forecasts_only_what_no_forecast_of_this_record_day_and_engine_stands_for():
    bearings = makers.a_worn_fleet()

    def said() -> str:
        out = io.StringIO()
        call_command("forecast", "--if-needed", stdout=out)
        return out.getvalue()

    assert said().startswith("Forecast 4 bearings as of ")
    assert said().startswith("Nothing was recorded since: ")
    assert ForecastRun.objects.count() == 1
    makers.a_reading(bearing=bearings[0], on=dt.date(2024, 5, 4), value="0.210")
    assert said().startswith("Forecast 4 ") and said().startswith("Nothing ")
    makers.a_bearing()
    assert said().startswith("Forecast 5 ") and said().startswith("Nothing ")
    ForecastRun.objects.update(engine="earlier")
    assert said().startswith("Forecast 5 ") and said().startswith("Nothing ")
    ForecastRun.objects.update(as_of=dt.date(2020, 1, 1))
    assert said().startswith("Forecast 5 ") and said().startswith("Nothing ")


def test_a_day_that_is_none_is_refused_with_a_sentence():
    with pytest.raises(CommandError, match="write it as 2026-03-09"):
        call_command("forecast", "--as-of", "spring")
