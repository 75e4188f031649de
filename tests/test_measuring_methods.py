"""A method of measuring is one entry in one place: one more is known to form, sheet, engine, drawing and
device.
"""

import pytest

from fleet import measuring_methods
from fleet.clock import today_in
from fleet.importing.reading_plans.heading_words import value_words
from fleet.measuring_methods import BEST, METHODS, MeasuringMethod, Spread
from fleet.plant.choices import set_setting
from inspections.forecasts.notes import looks_copied
from inspections.forecasts.wear_inputs import Codes, inputs
from inspections.importing.stored_facts import known_methods
from inspections.models import Reading
from inspections.story.uncertainty import SETTING
from inspections.trend.charts import trend_table
from inspections.trend.values import TrendReading
from tests import makers
from tests.inspections.story.test_wear_series import _copies
from tests.inspections.trend.test_charts import a_trend
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read


@pytest.fixture
def probe(monkeypatch):
    """One entry more."""
    entry = MeasuringMethod(
        "optical_probe", "optical probe", Spread(2.0, 0.5), heard=r"optical|laser", measures="wall", fine=True
    )
    monkeypatch.setitem(METHODS, entry.code, entry)
    return entry


@pytest.mark.django_db
def test_one_entry_walks_through_form_sheet_engine_and_device(probe):
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)

    option = '<option value="optical_probe"'
    assert option in client.get(at(bearing, "reading/", stage="as_found")).content.decode()
    read(client, bearing, "0.205", method=probe.code)
    assert Reading.objects.standing().latest("recorded_at").method == probe.code

    heads = "pump,position,date,event,stage,method,quantity,value,unit,run_hours"
    row = f"{bearing.place.tag},DE,2016-06-03,reading,as_found,Optical Probe,clearance,0.140,mm,"
    assert makers.a_sheet(f"{heads}\n{row}").ok
    assert Reading.objects.standing().filter(method=probe.code).count() == 2

    methods = {m.name: m.sd_um for m in inputs([bearing], today_in("UTC"), Codes()).histories.methods}
    assert methods[probe.code] == 2.0

    assert option in client.get("/record/offline/").content.decode()
    (packed,) = client.get("/record/pack/").json()["bearings"]
    assert packed["sd"][probe.code] == 2.0


def test_one_entry_is_heard_in_a_heading_and_named_in_the_drawing(probe):
    assert value_words("As found, laser (mm)")["method"] == probe.code
    assert measuring_methods.quantity_measured(probe.code) == "wall"
    seen = TrendReading(a_trend().readings[0].day, 205.0, 2.0, method=probe.code)
    assert "optical probe as found" in {row[1] for row in trend_table(a_trend(readings=(seen,)))[1]}


@pytest.mark.django_db
def test_a_method_not_offered_is_read_in_sheets_and_not_asked_at_the_pump(monkeypatch):
    monkeypatch.setitem(
        METHODS, "old_way", MeasuringMethod("old_way", "old way", Spread(9.0, 1.0), offered=False)
    )
    assert "old_way" in known_methods()
    assert "old_way" not in dict(measuring_methods.offered())


@pytest.mark.django_db
def test_the_plants_own_spread_judges_copies_and_the_readings_a_judgement_reckons_with():
    bearing = _copies(4)
    (usual,) = inputs([bearing], today_in("UTC"), Codes()).known
    assert looks_copied(usual)
    assert usual.spreads[BEST].sd_um == 5.0

    own = {"bore_gauge": {"sd_um": "0.1", "bias_sd_um": "0"}}
    set_setting(name=SETTING, value=own, by=makers.somebody())
    (known,) = inputs([bearing], today_in("UTC"), Codes()).known
    assert not looks_copied(known), "a gauge that repeats so well shows equal values by chance"
    assert known.spreads[BEST].sd_um == 0.1
