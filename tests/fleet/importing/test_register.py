"""The register: what each cell becomes, what comes again, and every kind of fault in it."""

import csv
import datetime as dt
import io
from decimal import Decimal

import pytest

from fleet.importing.loading import import_file
from fleet.importing.options import Options
from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import (
    Bearing,
    BearingFacts,
    Entry,
    Installation,
    Journal,
    JournalDiameter,
    Limit,
    Machine,
    Name,
    Place,
    PlaceFacts,
    RotorFitting,
    Sheet,
    ShellFitting,
    ShellHalf,
    Site,
    WearClass,
)
from fleet.plant.people import person_named
from fleet.plant.renaming import rename

pytestmark = pytest.mark.django_db

ROW = {
    "site": "Ash Ferry",
    "pump": "P-101A",
    "position": "DE",
    "model": "K250",
    "speed_rpm": "1480",
    "journal_diameter": "100",
    "new_clearance_min": "0.12",
    "new_clearance_max": "0.16",
    "in_service_max": "0.3",
    "limit_basis": "customer specification",
    "limit_document": "sheet 4",
    "time_zone": "Etc/UTC",
    "unit": "mm",
}


@pytest.fixture
def by():
    return person_named("Keeper of the sheets").id


def sheet(*rows, columns=None):
    """A CSV of rows given as what differs from ROW."""
    full = [ROW | row for row in rows]
    columns = columns or sorted({name for row in full for name in row})
    out = io.StringIO()
    writer = csv.DictWriter(out, columns, extrasaction="ignore", restval="")
    writer.writeheader()
    writer.writerows(full)
    return out.getvalue().encode()


def bring(by, *rows, data=None, **options):
    return import_file(
        data or sheet(*rows), "register.csv", holds="register", by=by, options=Options(**options)
    )


def limit(use):
    return Limit.objects.filter(use=use).order_by("entry_n").last()


def lines(result):
    return [one.line() for one in result.findings]


def test_a_row_makes_site_place_machine_rotor_journal_position_facts_and_limits(by):
    result = bring(by, {"position": "DE"}, {"position": "NDE", "model": "", "speed_rpm": ""})
    assert result.ok, lines(result)
    assert result.counts.stored == 2
    place = Place.objects.get(tag="P-101A")
    assert place.site.name == "Ash Ferry" and [b.name for b in place.bearings.all()] == ["DE", "NDE"]
    assert Installation.objects.get(place=place).machine == Machine.objects.get()
    rotor = RotorFitting.objects.get(machine=Machine.objects.get()).rotor
    assert sorted(Journal.objects.filter(rotor=rotor).values_list("name", flat=True)) == ["DE", "NDE"]
    assert set(JournalDiameter.objects.values_list("diameter_um", flat=True)) == {Decimal("100000.0000")}
    facts = PlaceFacts.objects.get()
    assert (facts.model, facts.speed_rpm, facts.from_on) == ("K250", 1480, None)
    assert {f.wear_class.name for f in BearingFacts.objects.all()} == {"K250"}
    most = Limit.objects.get(use="in_service_max", bearing__name="DE")
    assert (most.value_um, most.typed, most.unit) == (Decimal("300.0000"), "0.3", "mm")
    assert (most.authority, most.document, most.from_on) == ("customer", "sheet 4", None)
    assert limit("fitting_min").value_um == 120
    assert not limit("replace")


def test_what_was_imported_is_sound_and_can_be_rebuilt_from_the_ledger(by):
    bring(by, {"shell": "S1", "fitted_on": "2019-05-02"}, {"position": "NDE", "class": "lift"})
    bring(by, {"shell": "S1", "fitted_on": "2019-05-03", "speed_rpm": "1490"})
    assert verify().faults == []
    before = sorted(BearingFacts.objects.values_list("id", "wear_class_id", "journal_diameter_um"))
    rebuild()
    assert verify().faults == []
    assert sorted(BearingFacts.objects.values_list("id", "wear_class_id", "journal_diameter_um")) == before
    assert ShellFitting.objects.first().from_on == dt.date(2019, 5, 3)


def scrapeable():
    return BearingFacts.objects.order_by("entry_n").last().scrapeable


def test_whether_a_shell_may_be_scraped_is_yes_no_or_not_known(by):
    assert bring(by, {"scrapeable": ""}).ok
    assert scrapeable() is None, "what nobody has said is not known, and not yes"
    for typed, known in (("yes", True), ("", True), ("no", False), ("-", None)):
        assert bring(by, {"scrapeable": typed}).ok
        assert scrapeable() is known, typed
    rebuild()
    assert verify().faults == []
    assert scrapeable() is None


def test_radial_clearances_are_doubled_and_other_lengths_are_not(by):
    row = {
        "basis": "radial",
        "new_clearance_min": "0.06",
        "new_clearance_max": "0.08",
        "in_service_max": "0.15",
    }
    assert bring(by, row | {"replace_limit": "0.14", "wall_new": "9.5", "lining_min": "1.8"}).ok
    assert [limit(use).value_um for use in ("fitting_min", "in_service_max", "replace")] == [120, 300, 280]
    assert limit("in_service_max").typed == "0.15 radial"
    assert (limit("lining_min").value_um, limit("lining_min").quantity) == (1800, "lining")
    assert BearingFacts.objects.get().journal_diameter_um == 100_000
    assert BearingFacts.objects.get().wall_new_um == 9500


def test_an_inch_is_exactly_25400_um(by):
    row = {
        "unit": "in",
        "journal_diameter": "4",
        "new_clearance_min": "0.0054",
        "new_clearance_max": "0.0066",
    }
    assert bring(by, row | {"in_service_max": "0.0105"}).ok
    assert limit("fitting_min").value_um == Decimal("137.16")


def test_a_shell_with_its_day_fits_both_halves(by):
    bring(by, {"shell": "0012", "fitted_on": "2009-06", "shell_type": "SL-4"})
    assert sorted(ShellHalf.objects.values_list("serial", "half", "shell_type")) == [
        ("0012", "lower", "SL-4"),
        ("0012", "upper", "SL-4"),
    ]
    fitting = ShellFitting.objects.filter(half="lower").get()
    assert (fitting.from_on, fitting.precision) == (dt.date(2009, 6, 1), "month")


def test_the_same_register_twice_adds_nothing(by):
    rows = [{"shell": "S1", "fitted_on": "2019-05-02", "duty_hours_per_day": "7.333"}, {"position": "NDE"}]
    bring(by, *rows)
    n = Entry.objects.count()
    again = bring(by, *rows)
    assert again.ok and (again.counts.stored, again.counts.already) == (0, 2)
    assert Entry.objects.count() == n  # not even that it came


def test_a_changed_cell_is_a_new_dated_version_and_a_blank_one_changes_nothing(by):
    bring(by, {"service": "feed", "journal_diameter": "100"})
    result = bring(by, {"service": "", "model": "K300", "in_service_max": "0.32", "limit_basis": ""})
    assert result.ok and result.counts.stored == 1
    first, second = PlaceFacts.objects.order_by("entry_n")
    assert (second.model, second.service, second.speed_rpm) == ("K300", "feed", 1480)
    assert first.from_on is None and second.from_on is not None and first.model == "K250"
    old, new = Limit.objects.filter(use="in_service_max").order_by("entry_n")
    assert (old.value_um, old.from_on) == (300, None)
    assert new.value_um == 320 and new.from_on is not None
    assert (new.authority, new.document) == ("customer", "sheet 4")
    assert BearingFacts.objects.count() == 1


def test_a_limit_may_hold_from_a_given_day_and_the_same_again_adds_nothing(by):
    bring(by, {})
    later = {"in_service_max": "0.25", "limits_from": "2015-07-01", "limit_document": "rev B"}
    bring(by, later)
    assert limit("in_service_max").from_on == dt.date(2015, 7, 1)
    assert bring(by, later).counts.stored == 0


def test_a_hyphen_clears_a_limit_a_fact_and_nothing_that_was_never_there(by):
    bring(by, {"service": "feed"})
    result = bring(by, {"service": "-", "in_service_max": "-", "replace_limit": "-", "journal_diameter": "-"})
    assert result.ok, lines(result)
    assert PlaceFacts.objects.order_by("entry_n").last().service == ""
    assert limit("in_service_max").value_um is None and limit("in_service_max").from_on is not None
    assert not limit("replace")
    assert BearingFacts.objects.order_by("entry_n").last().journal_diameter_um is None
    assert bring(by, {"service": "-", "in_service_max": "-", "journal_diameter": "-"}).counts.stored == 0


def test_a_new_position_joins_its_pump_and_its_rotor(by):
    bring(by, {})
    bring(by, {"position": "NDE"})
    assert Place.objects.count() == 1 and Machine.objects.count() == 1
    assert Journal.objects.count() == 2 and Journal.objects.values("rotor").distinct().count() == 1
    assert BearingFacts.objects.get(bearing__name="NDE").wear_class.name == "K250"


def test_the_class_of_the_sheet_comes_before_the_model(by):
    bring(by, {"class": "river water"})
    bring(by, {"class": "River  Water", "position": "NDE"})
    assert WearClass.objects.get().name == "river water"


def test_an_old_name_leads_to_its_pump(by):
    bring(by, {})
    rename(Place.objects.get(), name="1-P-101A", from_on=dt.date(2026, 1, 1), reason="new numbering", by=by)
    bring(by, {"pump": "p-101a", "position": "NDE"})
    assert Place.objects.get().tag == "1-P-101A" and Bearing.objects.count() == 2
    assert Name.objects.filter(folded="p-101a").exists()


def test_a_changed_time_zone_is_a_revision_of_the_site(by):
    bring(by, {})
    assert bring(by, {"time_zone": "Etc/GMT-3"}).counts.stored == 1
    assert Site.objects.get().time_zone == "Etc/GMT-3"


def test_identifiers_stay_text(by):
    bring(by, {"site": "NA", "pump": "0012", "position": "1E5"})
    assert str(Bearing.objects.get()) == "0012 1E5" and Site.objects.get().name == "NA"


def test_a_workbook_is_read_like_a_csv(by):
    from fleet.sheets.export import xlsx_bytes

    columns = sorted(ROW | {"fitted_on": ""})
    cells = ROW | {
        "fitted_on": dt.date(2019, 5, 2),
        "journal_diameter": 100,
        "in_service_max": Decimal("0.3"),
    }
    data = xlsx_bytes(columns, [[cells[name] for name in columns]], sheet_name="register")
    result = bring(by, data=data, date_format="DD/MM/YYYY", decimal_comma=True)
    wrong = [line for line in lines(result) if "new_clearance" not in line]
    assert wrong == []  # 0.12 stands there as text, against the declared comma: only that is at fault
    cells |= {"new_clearance_min": 0.12, "new_clearance_max": 0.16}
    data = xlsx_bytes(columns, [[cells[name] for name in columns]], sheet_name="register")
    assert bring(by, data=data, date_format="DD/MM/YYYY", decimal_comma=True).ok
    assert ShellFitting.objects.first().from_on == dt.date(2019, 5, 2)


FAULTS = [
    ({"journal_diameter": "1,5"}, "journal_diameter", "declare the decimal comma"),
    ({"journal_diameter": "nan"}, "journal_diameter", "'nan' found"),
    ({"speed_rpm": "inf"}, "speed_rpm", "'inf' found"),
    ({"speed_rpm": "1_000"}, "speed_rpm", "underscore"),
    ({"speed_rpm": "1e308"}, "speed_rpm", "exponent"),
    ({"speed_rpm": "14.5"}, "speed_rpm", "a whole number"),
    ({"speed_rpm": "0"}, "speed_rpm", "1 to 100 000 rpm"),
    ({"duty_hours_per_day": "25"}, "duty_hours_per_day", "0 to 24 hours a day"),
    ({"in_service_max": "11"}, "in_service_max", "'11' mm found"),
    ({"in_service_max": "-0.1"}, "in_service_max", "expected"),
    ({"journal_diameter": "0.1"}, "journal_diameter", "check the unit"),
    ({"unit": "ft"}, "unit", "a unit of length"),
    ({"unit": ""}, "unit", "fill it in"),
    ({"basis": "circular"}, "basis", "diametral, radial"),
    ({"pump": ""}, "pump", "an empty cell found"),
    ({"position": " "}, "position", "an empty cell found"),
    ({"site": ""}, "site", "an empty cell found"),
    ({"fitted_on": "02/05/2019"}, "fitted_on", "declare the file's date format"),
    ({"fitted_on": "2019-02-30"}, "fitted_on", "no such day"),
    ({"fitted_on": "2199-01-01"}, "fitted_on", "up to today"),
    ({"limits_from": "soon"}, "limits_from", "a date as"),
    ({"limit_basis": "hearsay"}, "limit_basis", "customer specification"),
    ({"seat": "square"}, "seat", "cylindrical, spherical"),
    ({"load_side": "under"}, "load_side", "bottom, top"),
    ({"scrapeable": "maybe"}, "scrapeable", "yes or no"),
    ({"time_zone": "Mars/North"}, "time_zone", "a time zone"),
    ({"new_clearance_max": "0.11"}, "new_clearance_max", "changed places"),
    ({"description": "x" * 201}, "description", "at most 200 characters"),
    ({"pump": "P\u200b1"}, "pump", "unseen marks"),
    ({"description": "a\x07b"}, "description", "printed"),
    ({"pump": "P-1" * 30}, "pump", "at most 80 characters"),
]


@pytest.mark.parametrize(("cells", "column", "said"), FAULTS, ids=[f"{c}:{s[:20]}" for _, c, s in FAULTS])
def test_each_fault_names_its_row_and_column_and_stores_nothing(by, cells, column, said):
    result = bring(by, {"position": "NDE"}, cells)
    found = lines(result)
    assert len(found) == 1, found
    assert found[0].startswith(f"row 3, column {column}: ") and said in found[0]
    assert result.faults and not result.ok
    assert not Site.objects.exists() and not Sheet.objects.exists()


def test_two_faults_of_one_row_are_both_named(by):
    assert len(lines(bring(by, {"speed_rpm": "x", "seat": "y"}))) == 2


def test_the_same_position_twice_is_a_fault_only_with_other_content(by):
    result = bring(by, {}, {"pump": "p-101a", "speed_rpm": "1"})
    assert lines(result)[0].startswith("row 3, column position: ") and "row 2 has it" in lines(result)[0]
    same = bring(by, {}, {})
    assert same.ok and (same.counts.stored, same.counts.already) == (1, 1)


QUESTIONS = [
    ({"position": "NDE", "speed_rpm": "1500"}, "speed_rpm", "'1480' as in row 2"),
    (
        {"position": "NDE", "new_clearance_max": "4.5", "new_clearance_min": "4.4"},
        "new_clearance_min",
        "44.00 per mille",
    ),
    (
        {"position": "NDE", "new_clearance_max": "0.04", "new_clearance_min": ""},
        "new_clearance_max",
        "0.40 per mille",
    ),
    ({"position": "NDE", "in_service_max": "7.0", "replace_limit": ""}, "in_service_max", "70.00 per mille"),
    ({"position": "NDE", "shell": "S1"}, "shell", "row 2 has it too"),
]


@pytest.mark.parametrize(("cells", "column", "said"), QUESTIONS, ids=[c for _, c, _ in QUESTIONS])
def test_what_can_be_read_and_does_not_fit_is_asked(by, cells, column, said):
    result = bring(by, {"shell": "S1"}, cells)
    assert not result.faults and len(result.questions) == 1, lines(result)
    assert lines(result)[0].startswith(f"row 3, column {column}: ") and said in lines(result)[0]
    assert bring(by, {"shell": "S1"}, cells, set_aside="ask the maker").counts.set_aside == 1
    assert Bearing.objects.count() == 1


def test_two_time_zones_of_one_site_are_a_fault(by):
    result = bring(by, {}, {"position": "NDE", "time_zone": "Etc/GMT+1"})
    assert lines(result)[0].startswith("row 3, column time_zone: ")


def test_new_sites_and_pumps_are_remarked_on(by):
    assert bring(by, {}).remarks == ["new sites: Ash Ferry", "new pumps: 1"]


def test_a_sheet_without_required_columns_says_which(by):
    data = sheet({}, columns=["pump", "unit"])
    found = lines(bring(by, data=data))
    assert [line.split(" (")[0] for line in found] == [
        "file: the column 'site' is missing",
        "file: the column 'position' is missing",
    ]


def test_an_unknown_column_is_a_remark_and_headings_match_without_case(by):
    data = (
        sheet({"colour": "blue"})
        .replace(b"pump", b"PUMP")
        .replace(b"new_clearance_min", b"New clearance-min")
    )
    result = bring(by, data=data)
    assert result.ok and "columns that are not read: 'colour'" in result.remarks


def test_nothing_is_half_stored_when_the_record_refuses_a_row(by, monkeypatch):
    # What the checks would catch is let through, so that only the database's own constraint is left.
    monkeypatch.setitem(
        __import__("fleet.importing.register_checks", fromlist=["x"]).BOUNDS_UM, "in_service_max", (0, 10**8)
    )
    n = Entry.objects.count()
    result = bring(by, {}, {"pump": "P-2", "in_service_max": "2001", "journal_diameter": ""})
    assert not result.ok and "A limit lies between 0 and 2 m" in lines(result)[0]
    assert lines(result)[0].startswith("file: ")
    assert Entry.objects.count() == n and not Site.objects.exists() and not Sheet.objects.exists()
