"""Forecasts that decisions relied on, worked out anew from the record as it was known then."""

import datetime as dt
import json
from decimal import Decimal

import pytest
from django.core.management import CommandError, call_command

from dashboards.outage_plan.deferrals import defer
from fleet.ledger.verify import verify
from fleet.models import Entry
from fleet.plant.limits import set_limits
from inspections.forecasts import reproduction
from inspections.forecasts.refit import refit
from inspections.forecasts.reproduction import CANNOT, DIFFERS, EQUAL, recompute
from inspections.models import Forecast, ForecastRun, Reading
from inspections.records.corrections import correct_reading, withdraw
from tests import makers
from tests.fleet.ledger.story import guards_lifted

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 6, 1)


def _put_off(bearing, on=TODAY, outage=None):
    outage = outage or makers.an_outage(site=bearing.place.site, start_on=on + dt.timedelta(days=200))
    asked = defer(
        bearing=bearing,
        outage=outage,
        on=on,
        reason="no crane before spring",
        until_on=on + dt.timedelta(days=90),
        late_why="the crane comes in spring",
        check_by="T. Ester",
        check_every_days=7,
        stop_at="oil, 40 ppm of tin",
        by=makers.somebody(),
    )
    return asked.row


def _much_happens(bearing):
    """Later readings, a correction, a withdrawal, another limit and a refit: all that moves today's dates."""
    reading = Reading.objects.filter(bearing=bearing).order_by("on")[1]
    correct_reading(reading=reading, by=makers.somebody(), reason="misread", value="0.205", unit="mm")
    withdraw(
        row=Reading.objects.filter(bearing=bearing).order_by("on").first(),
        by=makers.somebody(),
        reason="other",
    )
    makers.a_reading(bearing=bearing, on=dt.date(2024, 5, 4), value="0.240")
    set_limits([bearing], {"in_service_max": Decimal(260)}, authority="plant", by=makers.somebody())
    refit(by=makers.somebody())


def _tamper(entry, change):
    said = json.loads(entry.text)
    change(said["body"])
    with guards_lifted():
        Entry.objects.filter(pk=entry.pk).update(text=json.dumps(said))


@pytest.mark.parametrize("refitted", [True, False])
def test_an_earlier_decisions_forecast_is_recomputed_to_the_byte_whatever_came_later(refitted):
    bearings = makers.a_worn_fleet()
    if refitted:
        refit(by=makers.somebody())
    row = _put_off(bearings[0])
    _much_happens(bearings[0])
    second = _put_off(bearings[0])
    assert row.forecast_hash != second.forecast_hash
    n = Entry.objects.count()
    assert [one.outcome for one in recompute()] == [EQUAL, EQUAL]
    assert Entry.objects.count() == n and Reading.objects.count() and verify().faults == []


def test_figures_of_a_stored_refit_recompute_as_those_worked_out_for_one_bearing_do():
    bearings = makers.a_worn_fleet(6)
    outage = makers.an_outage(site=bearings[3].place.site, start_on=dt.date(2090, 1, 1))
    run = refit(by=makers.somebody())
    _put_off(bearings[3], on=run.as_of, outage=outage)
    assert [one.outcome for one in recompute()] == [EQUAL]


def test_a_figure_changed_behind_the_sites_back_before_the_decision_is_named():
    bearings = makers.a_worn_fleet()
    outage = makers.an_outage(site=bearings[0].place.site, start_on=dt.date(2090, 1, 1))
    run = refit(by=makers.somebody())
    stored = Forecast.objects.get(run=run, bearing=bearings[0])
    was = stored.figures["replace_date_p10"]
    stored.figures["replace_date_p10"] = "2061-01-01"
    stored.save()
    _put_off(bearings[0], on=run.as_of, outage=outage)
    (one,) = recompute()
    assert one.outcome == DIFFERS
    assert one.why == f"replace_date_p10 was 2061-01-01, recomputed {was}"


def test_a_figure_changed_in_the_entry_is_named_and_the_command_says_altered(capsys):
    bearings = makers.a_worn_fleet()
    _put_off(bearings[0])
    _tamper(Entry.objects.get(kind="forecast_relied_on"), lambda body: body["said"].update(advice="leave it"))
    with pytest.raises(CommandError) as refusal:
        call_command("verify_records", "--forecasts")
    assert refusal.value.returncode == 1
    said = capsys.readouterr().out
    assert "differs: advice was leave it, recomputed" in said and bearings[0].place.tag in said


def test_changed_parameters_of_a_refit_are_named():
    bearings = makers.a_worn_fleet()
    run = refit(by=makers.somebody())
    _put_off(bearings[0])
    ForecastRun.objects.filter(pk=run.pk).update(parameters=run.parameters | {"more": 1})
    (one,) = recompute()
    assert one.outcome == DIFFERS and "stored parameters of the refit" in one.why


def test_what_another_engine_or_other_packages_made_is_not_called_altered_and_both_are_named(monkeypatch):
    _put_off(makers.a_worn_fleet()[0])
    entry = Entry.objects.get(kind="forecast_relied_on")
    engine = reproduction.ENGINE
    monkeypatch.setattr(reproduction, "ENGINE", "of another day")
    assert str(next(iter(recompute()))).endswith(f"made by engine {engine}; this is engine of another day.")
    monkeypatch.undo()
    _tamper(entry, lambda body: body.update(figures="0" * 64, packages={"numpy": "1.0"}))
    (one,) = recompute()
    assert one.outcome == CANNOT and "made with numpy 1.0; here are numba" in one.why


def test_the_command_says_of_each_forecast_that_it_recomputed_equal(capsys):
    _put_off(makers.a_worn_fleet()[0])
    call_command("verify_records", "--forecasts")
    said = capsys.readouterr().out
    assert "forecast relied on 2026-06-01" in said and "recomputed equal." in said
    assert "1 forecasts relied on, worked out anew." in said and "Sound" in said
