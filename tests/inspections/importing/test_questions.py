"""What can be read and does not fit is asked about; what fits is not."""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.models import Bearing
from fleet.plant.choices import set_setting
from inspections.forecasts.codes import Codes
from inspections.forecasts.wear_inputs import inputs
from inspections.importing.remarks import work_named
from inspections.models import Event, MeterEntry, Reading
from inspections.story import timeline
from inspections.story.uncertainty import SETTING
from inspections.wear.arrays import Kind
from tests import makers

pytestmark = pytest.mark.django_db
HEADS = "pump,position,date,event,stage,station,method,value,unit,run_hours,run_hours_before,half,basis,note"


@pytest.fixture
def pump():
    """P-1 with DE (journal 100 mm, fitting 0.14 to 0.17 mm) and NDE (nothing known)."""
    place = makers.a_place(tag="P-1")
    makers.a_bearing(place=place)
    makers.a_bearing(place=place, position="NDE", limits={}, journal_diameter_um=None)
    return place


def reading(
    date: str, value: str, unit: str = "mm", *, position: str = "DE", stage: str = "as_found", **more: str
) -> str:
    """One reading row under `HEADS`."""
    cells = {
        "pump": "P-1",
        "position": position,
        "date": date,
        "event": "reading",
        "stage": stage,
        "method": "bore_gauge",
        "value": value,
        "unit": unit,
        **more,
    }
    return ",".join(cells.get(name, "") for name in HEADS.split(","))


def event(date: str, kind: str, *, position: str = "DE", **more: str) -> str:
    """One event row under `HEADS`."""
    cells = {"pump": "P-1", "position": position, "date": date, "event": kind, **more}
    return ",".join(cells.get(name, "") for name in HEADS.split(","))


def asked(*rows: str) -> list[tuple[int | None, str, str]]:
    """Row, column and kind of everything said about a sheet."""
    result = makers.a_sheet("\n".join([HEADS, *rows]))
    return [(one.number, one.column, one.code) for one in result.findings]


def test_readings_that_grow_as_bearings_do_are_not_asked_about(pump):
    assert (
        asked(
            event("2010-04-01", "shell_change"),
            reading("2010-04-01", "0.152", stage="as_left"),
            reading("2013-05-02", "0.171"),
            reading("2016-06-03", "0.19"),
            event("2016-06-03", "scrape"),
            reading("2016-06-03", "0.20", stage="as_left"),
            reading("2019-07-04", "0.225"),
        )
        == []
    )


@pytest.mark.parametrize(
    ("factor", "shown"), [(0.5, "2"), (2, "2"), (10, "10"), (25.4, "25.4"), (39.37, "39.37")]
)
def test_a_jump_by_a_factor_of_a_slip_is_asked_about_and_the_factor_named(pump, factor, shown):
    rows = [
        reading("2012-05-02", "0.150", position="NDE"),
        reading("2013-05-02", f"{0.155 * factor:.4f}", position="NDE"),
    ]
    result = makers.a_sheet("\n".join([HEADS, *rows]))
    (one,) = result.questions
    assert (one.number, one.column, one.code) == (3, "value", "jump")
    assert f"factor near {shown}:" in one.remedy
    assert not Reading.objects.exists()


def test_a_thousandfold_is_asked_about(pump):
    rows = [
        reading("2012-05-02", "150", "um", position="NDE"),
        reading("2013-05-02", "0.155", "um", position="NDE"),
    ]
    assert asked(*rows) == [(3, "value", "jump")]


def test_the_odd_one_is_named_even_where_it_stands_first(pump):
    rows = [
        reading("2010-05-02", "1.50", position="NDE"),
        reading("2012-05-02", "0.16", position="NDE"),
        reading("2014-05-02", "0.17", position="NDE"),
    ]
    assert asked(*rows) == [(2, "value", "jump")]


def test_a_shell_change_resets_what_is_expected(pump):
    assert (
        asked(
            reading("2012-05-02", "0.28"),
            event("2012-05-02", "shell_change"),
            reading("2012-05-02", "0.15", stage="as_left"),
        )
        == []
    )


def test_a_radial_reading_on_new_metal_is_seen_by_the_fitting_range(pump):
    assert asked(event("2012-05-02", "shell_change"), reading("2012-05-02", "0.0775", stage="as_left")) == [
        (3, "value", "jump")
    ]


def test_a_declared_radial_reading_is_not_asked_about(pump):
    assert (
        asked(
            event("2012-05-02", "shell_change"),
            reading("2012-05-02", "0.0775", stage="as_left", basis="radial"),
        )
        == []
    )


def test_a_fall_beyond_what_readings_can_explain_is_asked_about_once(pump):
    rows = [
        reading("2010-05-02", "0.25"),
        reading("2012-05-02", "0.18"),
        reading("2014-05-02", "0.19"),
        reading("2016-05-02", "0.20"),
    ]
    assert asked(*rows) == [(3, "value", "fall_without_event")]


def test_a_fall_is_asked_about_at_both_ends(pump):
    rows = [
        reading(f"201{n}-05-02", value, station=end)
        for n, value in ((0, "0.25"), (2, "0.18"), (4, "0.19"))
        for end in ("in-12", "out-12")
    ]
    assert asked(*rows) == [(4, "value", "fall_without_event"), (5, "value", "fall_without_event")]


def test_a_fall_set_aside_starts_an_unsure_stretch(pump):
    rows = [reading("2010-05-02", "0.25"), reading("2012-05-02", "0.18"), reading("2014-05-02", "0.19")]
    assert makers.a_sheet("\n".join([HEADS, *rows]), set_aside="nobody knows").ok
    bearing = Bearing.objects.get(place=pump, name="DE")
    told = timeline.story(bearing.pk)
    assert [getattr(one, "effect", None) or one.value_um for one in told.entries] == [250, "unsure", 190]
    weighed = inputs([bearing], dt.date(2026, 1, 1), Codes()).histories
    assert weighed.kind.tolist() == [Kind.READING, Kind.UNSURE, Kind.READING]
    assert told.n_set_aside == 1
    assert told.works[0].on == dt.date(2012, 5, 2)


def test_a_small_fall_within_the_readings_uncertainty_is_not(pump):
    assert asked(reading("2010-05-02", "0.200"), reading("2012-05-02", "0.187")) == []


def test_a_fall_is_judged_by_the_plants_own_spread_of_the_method(pump):
    rows = [reading("2010-05-02", "0.250"), reading("2012-05-02", "0.215")]
    # 35 um, against 3.5 times the spread of two readings: 25 um as the method stands, 74 um with the plant's
    # 15 um.
    assert asked(*rows) == [(3, "value", "fall_without_event")]
    set_setting(name=SETTING, value={"bore_gauge": {"sd_um": "15", "bias_sd_um": "0"}}, by=makers.somebody())
    assert asked(rows[0]) == []
    assert asked(*rows) == []


def test_a_work_is_held_against_the_plants_own_spread_of_the_method(pump):
    rows = [
        reading("2010-05-02", "0.300"),
        event("2010-05-02", "scrape"),
        reading("2010-05-02", "0.283", stage="as_left"),
    ]
    # 17 um, against twice the spread of two readings: 14 um as the method stands, 42 um with the plant's 15
    # um.
    assert asked(*rows) == [(3, "event", "scrape_with_drop")]
    set_setting(name=SETTING, value={"bore_gauge": {"sd_um": "15", "bias_sd_um": "0"}}, by=makers.somebody())
    assert asked(*rows) == []


def test_a_clearance_no_journal_has_is_asked_about(pump):
    # Trade.md 1.5: every published rule lies between 0.5 and 4 per mille of the journal.
    assert asked(reading("2010-05-02", "0.41")) == [(2, "value", "clearance_range")]
    assert asked(reading("2010-05-02", "0.04")) == [(2, "value", "clearance_range")]
    assert asked(reading("2010-05-02", "0.39")) == []


def test_the_published_table_row_whose_inch_and_millimetre_columns_disagree_is_asked_about(pump):
    # TM 9-6115-604-34 / NAVFAC P-8-633-34, table 1-4: rod clearance 0.0025 in printed as 0.089 mm (it is
    # 0.0635 mm).
    rows = [
        reading("2010-05-02", "0.0025", "in", position="NDE"),
        reading("2010-05-02", "0.089", "mm", position="NDE"),
    ]
    result = makers.a_sheet("\n".join([HEADS, *rows]))
    (one,) = result.questions
    assert (one.number, one.column, one.code) == (3, "value", "two_units_disagree")
    assert "0.064 mm" in one.expected
    assert "'0.0025' in" in one.expected


def test_the_same_reading_in_two_units_that_agree_counts_once(pump):
    # The row beside it in the same table: 0.0036 in = 0.091 mm.
    rows = [
        reading("2010-05-02", "0.0036", "in", position="NDE"),
        reading("2010-05-02", "0.091", "mm", position="NDE"),
    ]
    assert makers.a_sheet("\n".join([HEADS, *rows])).ok
    assert list(Reading.objects.order_by("repeat").values_list("value_um", "counts")) == [
        (Decimal("91.44"), True),
        (Decimal(91), False),
    ]


def test_run_hours_that_fall_without_a_reset_are_asked_about_and_with_one_are_not(pump):
    rows = [
        event(f"201{n}-01-05", "hours", position="", run_hours=h)
        for n, h in enumerate(("50000", "58000", "5800", "66000"))
    ]
    assert asked(*rows) == [(4, "run_hours", "run_hours_fall")]
    reset = event("2011-06-01", "meter_reset", position="", run_hours="0", run_hours_before="61000")
    rows = [rows[0], rows[1], reset, event("2012-01-05", "hours", position="", run_hours="4500")]
    assert asked(*rows) == []
    assert MeterEntry.objects.get(reset=True).hours_before == 61_000


def test_one_meter_typed_too_high_is_named_and_not_all_that_follow(pump):
    hours = ("50000", "580000", "66000", "74000")
    rows = [event(f"201{n}-01-05", "hours", position="", run_hours=h) for n, h in enumerate(hours)]
    assert asked(*rows) == [(3, "run_hours", "run_hours_fall")]


def test_more_hours_than_the_days_have_are_asked_about(pump):
    rows = [
        event(f"201{n}-01-05", "hours", position="", run_hours=h) for n, h in enumerate(("50000", "61000"))
    ]
    assert asked(*rows) == [(3, "run_hours", "run_hours_rise")]


def test_an_unknown_pump_is_asked_about_with_the_nearest_offered(pump):
    makers.a_place(site=pump.site, tag="P-12")
    result = makers.a_sheet(HEADS + "\n" + reading("2010-05-02", "0.15").replace("P-1,", "P-11,", 1))
    (one,) = result.questions
    assert (one.column, one.code) == ("pump", "unknown_pump")
    assert "'P-1'" in one.remedy
    assert "'P-12'" in one.remedy


def test_pumps_with_the_same_letters_and_digits_are_one_question_for_all(pump):
    makers.a_bearing(place=makers.a_place(site=pump.site, tag="P-12"))
    rows = [
        reading("2010-05-02", "0.15").replace("P-1,", "p1,", 1),
        reading("2010-05-03", "0.15").replace("P-1,", "P 12,", 1),
    ]
    result = makers.a_sheet("\n".join([HEADS, *rows]))
    assert [(one.code, one.expected) for one in result.questions] == [
        ("spelt_otherwise", "'P-1'"),
        ("spelt_otherwise", "'P-12'"),
    ]
    assert len(result.groups) == 1


def test_a_tag_at_two_sites_is_asked_about_until_the_site_is_given(pump):
    makers.a_bearing(place=makers.a_place(tag="P-1"))
    assert asked(reading("2010-05-02", "0.15")) == [(2, "site", "tag_at_two_sites")]
    assert makers.a_sheet(HEADS + "\n" + reading("2010-05-02", "0.15"), site=pump.site.name).ok


def test_an_unknown_method_and_a_station_that_is_none_are_asked_about(pump):
    assert asked(reading("2010-05-02", "0.15", method="dial and mirror", station="left cheek")) == [
        (2, "method", "new_method"),
        (2, "station", "new_station"),
    ]


def test_a_remark_that_names_work_is_asked_about_only_where_the_visit_holds_no_such_event(pump):
    told = reading("2010-05-02", "0.15", note="scraped in; ok")
    assert asked(told) == [(2, "note", "remark_names_work")]
    assert asked(told, event("2010-05-02", "scrape", position="NDE")) == []


@pytest.mark.parametrize(
    ("note", "kind"),
    [
        ("Scraped, ok", "scrape"),
        ("new brgs fitted", "shell_change"),
        ("lower half remetalled", "rebabbitt"),
        ("shimmed 0.05", "shim_change"),
        ("journal ground", "journal_regrind"),
        ("spare rotor in", "rotor_change"),
        ("not scraped", None),
        ("to be scraped next time", None),
        ("needs new bearings", None),
        ("oil clear", None),
        ("housing clean, no shims changed", None),
        ("should be remetalled", None),
        ("lower half dull grey, even", None),
    ],
)
def test_the_trades_words_for_work_are_known_and_their_denials(note, kind):
    assert work_named(note) == kind


def test_a_stored_reading_with_another_value_is_asked_about(pump):
    assert makers.a_sheet(HEADS + "\n" + reading("2010-05-02", "0.150")).ok
    assert asked(reading("2010-05-02", "0.152")) == [(2, "value", "stored_otherwise")]
    assert Reading.objects.count() == 1


def test_new_rows_are_held_against_what_is_stored(pump):
    assert makers.a_sheet(HEADS + "\n" + reading("2010-05-02", "0.150")).ok
    assert asked(reading("2013-05-02", "0.078")) == [(2, "value", "jump")]


def test_a_whole_column_of_first_days_of_months_is_asked_about(pump):
    rows = [reading(f"{1990 + n}-0{n + 1}-01", f"0.0{n}", position="NDE") for n in range(5, 8)]
    assert asked(*rows) == []
    rows = [reading(f"{2010 + n}-0{n + 1}-01", f"0.1{n + 1}", position="NDE") for n in range(8)]
    assert asked(*rows) == [(n + 2, "date", "first_days") for n in range(8)]
    months = [row.replace("-01,", ",", 1) for row in rows]
    assert asked(*months) == []


def test_rows_with_open_questions_are_set_aside_and_the_rest_stored(pump):
    rows = [
        reading("2010-05-02", "0.15"),
        reading("2012-05-02", "0.08"),
        event("2012-05-02", "found", note="bright"),
    ]
    result = makers.a_sheet("\n".join([HEADS, *rows]), set_aside="to be measured again")
    assert result.ok
    assert (result.counts.stored, result.counts.set_aside) == (2, 1)
    assert [str(r.value_um) for r in Reading.objects.all()] == ["150.0000"]
    assert Event.objects.get().on == dt.date(2012, 5, 2)


def test_readings_join_the_work_that_an_earlier_file_told_of(pump):
    works = [event("2010-05-02", "shell_change"), event("2014-05-02", "scrape")]
    assert makers.a_sheet("\n".join([HEADS, *works])).ok
    rows = [
        reading("2010-05-02", "0.29"),
        reading("2010-05-02", "0.15", stage="as_left", note="new brgs"),
        reading("2014-05-02", "0.17", note="scraped; ok"),
        reading("2014-05-02", "0.18", stage="as_left"),
    ]
    assert asked(*rows) == []
