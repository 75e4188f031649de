"""A history sheet into the record: whole or not at all, once, with every fault named."""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.models import Entry, Sheet, ShellHalf
from inspections.models import Event, MeterEntry, Reading, Visit
from inspections.story import timeline
from tests import makers, sheet_makers

pytestmark = pytest.mark.django_db
HEADS = "pump,position,date,visit,event,stage,method,value,unit,run_hours,outcome,shell,by,note,entry_id"


@pytest.fixture
def pump():
    """P-1 with DE and NDE."""
    place = makers.a_place(tag="P-1")
    for position in ("DE", "NDE"):
        makers.a_bearing(place=place, position=position)
    return place


def load(*rows: str, **options):
    return makers.a_sheet("\n".join([HEADS, *rows]), **options)


OVERHAUL = (
    "P-1,DE,2016-06-03,,reading,as_found,bore_gauge,0.197,mm,52000,,,A. Quill,,",
    "P-1,DE,2016-06-03,,contact_check,,,55,%,52000,scrape,,A. Quill,,",
    "P-1,DE,2016-06-03,,scrape,,,,,,,,A. Quill,two rounds,",
    "P-1,DE,2016-06-03,,contact_check,,,85,%,,acceptable,,A. Quill,,",
    "P-1,DE,2016-06-03,,reading,as_left,bore_gauge,0.208,mm,52000,,,A. Quill,,",
)


def test_an_overhaul_is_one_visit_told_in_its_order(pump):
    assert load(*OVERHAUL).ok
    assert Visit.objects.count() == 1
    told = timeline.story(makers.a_bearing(place=pump).pk)
    assert [getattr(one, "kind", None) or one.stage for one in told.entries] == [
        "as_found",
        "contact_check",
        "scrape",
        "contact_check",
        "as_left",
    ]
    assert told.works[0].words == "Scraped: 197 µm as found, 208 µm as left; two rounds"
    assert [h.contact_percent for h in told.happenings if h.kind == "contact_check"] == [55, 85]
    assert not told.contact_stands_open


def test_the_meter_on_the_rows_of_a_visit_is_entered_once(pump):
    load(*OVERHAUL)
    assert list(MeterEntry.objects.values_list("hours", "on")) == [(52_000, dt.date(2016, 6, 3))]


def test_a_sheet_that_runs_newest_first_is_told_in_its_true_order(pump):
    rows = [
        "P-1,DE,2019-06-03,,reading,as_found,bore_gauge,0.22,mm,,,,,,",
        "P-1,DE,2016-06-03,,reading,,bore_gauge,0.208,mm,,,,,,",
        "P-1,DE,2016-06-03,,scrape,,,,,,,,,,",
        "P-1,DE,2016-06-03,,reading,,bore_gauge,0.197,mm,,,,,,",
    ]
    assert load(*rows).ok
    told = timeline.story(makers.a_bearing(place=pump).pk).clearances
    assert [(seen.stage, seen.value_um) for seen in told] == [
        ("as_found", 197),
        ("as_left", 208),
        ("as_found", 220),
    ]


def test_a_label_keeps_the_days_of_one_visit_together_and_parts_two_of_one_day(pump):
    rows = [
        "P-1,DE,2016-06-03,A,reading,as_found,bore_gauge,0.197,mm,,,,,,",
        "P-1,NDE,2016-06-05,A,reading,as_found,bore_gauge,0.197,mm,,,,,,",
        "P-1,NDE,2016-06-05,B,found,,,,,,,,,bright,",
        "P-1,DE,2018-06-05,A,reading,as_found,bore_gauge,0.199,mm,,,,,,",
    ]
    assert load(*rows).ok
    spans = sorted(Visit.objects.values_list("label", "opened_on", "closed_on"))
    assert spans == [
        ("A", dt.date(2016, 6, 3), dt.date(2016, 6, 5)),
        ("A", dt.date(2018, 6, 5), dt.date(2018, 6, 5)),
        ("B", dt.date(2016, 6, 5), dt.date(2016, 6, 5)),
    ]


def test_a_later_row_of_a_stored_visit_joins_it(pump):
    load(*OVERHAUL)
    assert load("P-1,NDE,2016-06-03,,reading,as_found,bore_gauge,0.180,mm,,,,,,").ok
    assert Visit.objects.count() == 1


def test_months_and_years_keep_their_precision(pump):
    load("P-1,DE,2016-06,,reading,as_found,bore_gauge,0.197,mm,,,,,,")
    stored = Reading.objects.get()
    assert (stored.on, stored.last_on, stored.precision) == (
        dt.date(2016, 6, 1),
        dt.date(2016, 6, 30),
        "month",
    )


def test_inches_are_stored_exactly_with_what_was_typed(pump):
    load("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,0.0062,in,,,,,,")
    stored = Reading.objects.get()
    assert (stored.value_um, stored.typed, stored.unit, stored.step_um) == (
        Decimal("157.48"),
        "0.0062",
        "in",
        Decimal("2.54"),
    )


def test_identifiers_stay_text(pump):
    load("P-1,DE,2016-06-03,,shell_change,,,,,,,0012,NA,,007")
    assert set(ShellHalf.objects.values_list("serial", flat=True)) == {"0012"}
    stored = Event.objects.get()
    assert (stored.shell, stored.row_id) == ("0012", "007")


def test_the_same_file_twice_adds_nothing(pump):
    first = load(*OVERHAUL)
    n_entries = Entry.objects.exclude(kind="sheet").count()
    again = load(*OVERHAUL)
    assert (first.counts.stored, again.counts.stored, again.counts.already) == (5, 0, 5)
    assert Entry.objects.exclude(kind="sheet").count() == n_entries
    assert Reading.objects.count() == 2


def test_a_living_sheet_adds_only_its_new_rows(pump):
    load(*OVERHAUL)
    result = load(*OVERHAUL, "P-1,DE,2019-06-03,,reading,as_found,bore_gauge,0.22,mm,,,,,,")
    assert (result.counts.stored, result.counts.already) == (1, 5)


def test_another_spelling_of_the_pump_is_the_same_row(pump):
    load(*OVERHAUL)
    assert load(*(row.replace("P-1,DE", "p-1, de") for row in OVERHAUL)).counts.already == 5


def test_five_rows_with_two_faults_name_both_of_each_and_store_nothing(pump):
    rows = [
        "P-1,DE,2016-02-30,,reading,halfway,bore_gauge,0.197,mm,,,,,,",
        "P-1,DE,2016-06-03,,reading,as_found,bore_gauge,nan,furlong,,,,,,",
        "P-1,MIDDLE,2016-06-03,,reading,as_found,bore_gauge,0.2,mm,-5,,,,,",
        "P-1,DE,2016-06-03,,polish,,,,,12k,,,,,",
        ",DE,2016-06-03,,found,,,,,,,,,,",
        "P-1,DE,2016-06-03,,reading,as_found,bore_gauge,0.2,mm,,,,,,",
    ]
    n_entries = Entry.objects.count()
    result = load(*rows, set_aside="not even so")
    assert [(one.number, one.column) for one in result.faults] == [
        (2, "date"),
        (2, "stage"),
        (3, "value"),
        (3, "unit"),
        (4, "run_hours"),
        (4, "position"),
        (5, "event"),
        (5, "run_hours"),
        (6, "pump"),
        (6, "note"),
    ]
    assert not result.ok
    assert not Reading.objects.exists()
    assert not Sheet.objects.exists()
    assert Entry.objects.count() == n_entries


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,,mm,,,,,,", "value", "give the measured value"),
        ("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,0.2,,,,,,,", "unit", "give the unit"),
        ("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,12,mm,,,,,,", "value", "0 to 10 mm"),
        ("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,55,%,,,,,,", "unit", "a reading is a length"),
        (
            "P-1,,2016-06-03,,reading,as_found,bore_gauge,0.2,mm,,,,,,",
            "position",
            "name the bearing position",
        ),
        ("P-1,DE,2016-06-03,,scrape,,,0.2,mm,,,,,,", "value", "row of its own"),
        ("P-1,DE,2016-06-03,,contact_check,,,120,%,,scrape,,,,", "value", "0 to 100"),
        ("P-1,,2016-06-03,,hours,,,,,,,,,,", "run_hours", "meter's hours"),
        ("P-1,DE,2016-06-03,,found,,,,,,,,,,", "note", "what was seen"),
        ("P-1,DE,2199-06-03,,scrape,,,,,,,,,,", "date", "up to today"),
        ('P-1,DE,2016-06-03,,reading,as_found,bore_gauge,"0,2",mm,,,,,,', "value", "decimal comma"),
        ("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,1_000,mm,,,,,,", "value", "underscore"),
        ("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,1e308,mm,,,,,,", "value", "exponent"),
    ],
)
def test_a_row_at_fault_is_named_with_its_remedy(pump, row, column, words):
    result = load(row)
    (one,) = result.faults
    assert (one.number, one.column) == (2, column)
    assert one.line().startswith(f"row 2, column {column}: ")
    assert words in one.line()


def test_a_number_read_to_a_decimal_comma_only_where_the_file_declares_it(pump):
    row = 'P-1,DE,2016-06-03,,reading,as_found,bore_gauge,"0,197",mm,,,,,,'
    assert not load(row).ok
    assert load(row, decimal_comma=True).ok
    assert Reading.objects.get().value_um == 197


def test_every_planted_fault_is_named_and_nothing_else_and_the_clean_twin_loads():
    rows = sheet_makers.history_rows(3000, 11)
    register = sheet_makers.csv_bytes(sheet_makers.register_rows(3000), sheet_makers.REGISTER_COLUMNS)
    assert makers.a_sheet(register.decode(), holds="register").ok
    bad, planted = sheet_makers.plant_faults(rows, 12)
    result = makers.a_sheet(sheet_makers.csv_bytes(bad).decode())
    named = [(one.number, one.column) for one in result.findings]
    assert sorted(named) == sorted((row, column) for row, column, _ in planted)
    assert not Reading.objects.exists()
    clean = makers.a_sheet(sheet_makers.csv_bytes(rows).decode())
    assert clean.findings == []
    assert clean.counts.stored == 3000


def test_a_corrected_cell_of_a_row_with_its_own_id_is_asked_about_once(pump):
    load("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,0.197,mm,,,,,,E-1")
    result = load("P-1,DE,2016-06-03,,reading,as_found,bore_gauge,0.179,mm,,,,,,E-1")
    assert [(one.column, one.code) for one in result.questions] == [("entry_id", "id_with_other_content")]
