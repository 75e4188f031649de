"""A gauge that disagrees with its peers: its periods between checks, named on its page and on its bearings'
pages.
"""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.models import Calibration
from fleet.plant import calibration
from fleet.plant.acts import Refused
from fleet.plant.gauge_register import instrument_named
from inspections.forecasts.codes import Codes
from inspections.forecasts.computation import figures_of
from inspections.forecasts.current_forecasts import record_digests
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.forecast_sentences import gauge_sentence
from inspections.forecasts.gauge_periods import period_name
from inspections.forecasts.refit import refit
from inspections.forecasts.wear_inputs import inputs
from inspections.forms.gauges import CalibrationForm
from inspections.wear.parameters import Params
from inspections.wear.population import Pool, Population
from tests import makers

AS_OF = dt.date(2026, 1, 1)
CHECKED = dt.date(2017, 6, 1)
pytestmark = pytest.mark.django_db


def a_gauge(label="G-7"):
    return instrument_named(label, method="lead_wire", by=makers.somebody())


def a_worn_bearing(gauge, **where):
    bearing = makers.a_bearing(**where)
    makers.an_event(kind="shell_change", bearing=bearing, on=dt.date(2010, 1, 5))
    for year, value in ((2012, "0.150"), (2014, "0.165"), (2016, "0.180"), (2018, "0.195"), (2020, "0.210")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 1, 5), value=value, instrument=gauge.label)
    return bearing


def off_by(gauge, since, bias, clock):
    params = Params(
        gauge_bias={period_name(gauge.pk, since): bias},
        gauge_bias_sd={period_name(gauge.pk, since): 1.5},
        gauge_spread=5.0,
        effect_mean=(0.0,),
        effect_cov=((0.01,),),
    )
    return Population((Pool(clock, 9, 9, False, True, "", (params,), (1.0,)),))


def test_readings_from_a_check_on_belong_to_its_period_and_the_next_check_measures_the_one_before():
    gauge = a_gauge()
    calibration.calibrate(instrument=gauge, on=CHECKED, by=makers.somebody(), read_over_um=Decimal("-12.5"))
    h = inputs([a_worn_bearing(gauge)], AS_OF, Codes()).histories
    names = [h.gauges[g].name for g in h.gauge if g >= 0]
    assert names == [period_name(gauge.pk, None)] * 3 + [period_name(gauge.pk, CHECKED)] * 2
    assert [g.found_um for g in h.gauges if g.name == period_name(gauge.pk, None)] == [-12.5]
    earlier = inputs([a_worn_bearing(gauge)], dt.date(2017, 1, 1), Codes()).histories
    assert all(g.found_um != g.found_um for g in earlier.gauges)  # NaN: the check had not been made


def test_a_gauge_that_reads_too_little_moves_its_bearings_dates_and_is_named_in_their_figures():
    gauge = a_gauge()
    calibration.calibrate(instrument=gauge, on=CHECKED, by=makers.somebody())
    bearing = a_worn_bearing(gauge)
    known = inputs([bearing], AS_OF, Codes())
    clock = int(known.histories.clock[0])
    right, off = (figures_of(known, off_by(gauge, CHECKED, bias, clock))[bearing.pk] for bias in (0.0, -15.0))
    assert right["gauges"] is None and gauge_sentence(right) == ""
    assert off["clearance_um_p50"] > right["clearance_um_p50"] + 8
    assert off["rate_um_per_kh_p50"] > right["rate_um_per_kh_p50"]
    assert off["gauges"] == [
        {"gauge": str(gauge.pk), "label": "G-7", "since": "2017-06-01", "bias_um": -15.0, "n": 2}
    ]
    assert (
        gauge_sentence(off).replace("\xa0", " ")
        == "2 readings here were taken with gauge G-7, which reads about 15 µm too low since its check of 1"
        " Jun 2017, held against other gauges; the dates count them corrected. Have the gauge checked."
    )


def test_an_error_within_its_doubt_or_too_small_to_matter_is_not_named():
    gauge = a_gauge()
    bearing = a_worn_bearing(gauge)
    known = inputs([bearing], AS_OF, Codes())
    clock = int(known.histories.clock[0])
    assert figures_of(known, off_by(gauge, None, 4.0, clock))[bearing.pk]["gauges"] is None
    assert gauge_sentence(Figures({"gauges": None})) == ""


def test_a_new_check_makes_the_figures_of_bearings_worked_out_anew():
    gauge = a_gauge()
    bearing = a_worn_bearing(gauge)
    before = record_digests([bearing])
    calibration.calibrate(instrument=gauge, on=CHECKED, by=makers.somebody(), read_over_um=Decimal(3))
    assert record_digests([bearing]) != before


def test_the_gauges_page_names_it_with_the_bearings_it_moves(client, monkeypatch):
    gauge = a_gauge()
    bearing, other = a_worn_bearing(gauge), a_worn_bearing(a_gauge("G-8"))
    clock = int(inputs([bearing], AS_OF, Codes()).histories.clock[0])
    found = off_by(gauge, None, -15.0, clock)
    monkeypatch.setattr("inspections.forecasts.refit.fit_fleet", lambda *_, **__: found)
    refit(by=makers.somebody())
    client.force_login(makers.an_account(role="engineer"))
    page = client.get(f"/gauges/{gauge.pk}/").content.decode().replace("\xa0", " ")
    assert "Reads about 15 µm too low" in page
    assert f"{bearing.place.tag} {bearing.name}" in page
    assert f"{other.place.tag} {other.name}" not in page


@pytest.mark.parametrize(
    ("typed", "um"), [("0.4 mil", "10.16"), ("-0,012 mm", "-12.00"), ("", None), ("5 um", "5.00")]
)
def test_the_error_found_at_a_check_is_typed_with_its_unit(typed, um):
    form = CalibrationForm(
        {"on": "2026-01-05", "found": "fit", "read_over": typed, "id": "00000000-0000-4000-8000-000000000001"}
    )
    assert form.is_valid(), form.errors
    assert form.cleaned_data["read_over"] == (None if um is None else Decimal(um))


@pytest.mark.parametrize("typed", ["5", "a lot", "5 apples", "\x00", "1e400 um", "NaN mm"])
def test_an_error_that_is_no_length_is_refused_in_words(typed):
    form = CalibrationForm({"on": "2026-01-05", "found": "fit", "read_over": typed})
    assert not form.is_valid() and form.errors["read_over"]


def test_an_error_no_gauge_has_is_refused_and_nothing_is_recorded():
    with pytest.raises(Refused, match="more than any gauge in use has"):
        calibration.calibrate(
            instrument=a_gauge(), on=CHECKED, by=makers.somebody(), read_over_um=Decimal(25400)
        )
    assert not Calibration.objects.exists()
