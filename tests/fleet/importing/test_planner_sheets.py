"""Outages, spares and crew hours: what comes again is a revision, what nobody knows is asked about."""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.importing.loading import import_file
from fleet.importing.options import Options
from fleet.models import Entry, Outage, PlannedDuty, Spare, WorkHours
from fleet.plant.people import person_named
from fleet.plant.register import NewPlace, register_places, register_site, wear_class_named

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return person_named("Planner of outages").id


@pytest.fixture
def ash(by):
    site = register_site(name="Ash Ferry", by=by)
    register_places([NewPlace(site, "P-101A"), NewPlace(site, "P-101B")], by=by)
    wear_class_named("river water", by=by)
    return site


def bring(holds, by, words, **options):
    return import_file(words.encode(), f"{holds}.csv", holds=holds, by=by, options=Options(**options))


def lines(result):
    return [one.line() for one in result.findings]


OUTAGES = "site,name,start,end,crew_hours,block,pumps,scope_freeze\n"


def test_changed_dates_of_an_outage_are_a_revision_of_the_same_outage(by, ash):
    bring(
        "outages", by, OUTAGES + "Ash Ferry,spring,2027-04-01,2027-04-09,120,B1,p-101a; P-101B,2027-01-15\n"
    )
    first = Outage.objects.get()
    assert first.pumps == ["P-101A", "P-101B"] and first.scope_freeze_on == dt.date(2027, 1, 15)
    again = bring("outages", by, OUTAGES + "ash ferry,Spring,2027-04-03,2027-04-12,,-,,\n")
    assert again.ok and again.counts.stored == 1, lines(again)
    now = Outage.objects.get()
    assert (now.id, now.start_on, now.end_on) == (first.id, dt.date(2027, 4, 3), dt.date(2027, 4, 12))
    assert (now.crew_hours, now.block, now.pumps) == (Decimal("120.0"), "", ["P-101A", "P-101B"])
    assert Entry.objects.filter(kind="revision").count() == 1


def test_an_unknown_pump_is_asked_about_with_the_nearest(by, ash):
    result = bring("outages", by, OUTAGES + "Ash Ferry,spring,2027-04-01,2027-04-09,,,P101A;P-999,\n")
    assert not result.faults and len(result.questions) == 2
    assert lines(result)[0].startswith("row 2, column pumps: 'P101A' found")
    assert "perhaps 'P-101A' or 'P-101B' is meant" in lines(result)[0]


@pytest.mark.parametrize(
    ("row", "column", "said"),
    [
        ("Ash Ferry,spring,2027-04-09,2027-04-01,,,,", "end", "changed places"),
        ("Ash Ferry,spring,2027-04,2027-04-09,,,,", "start", "add the day"),
        ("Ash Ferry,,2027-04-01,2027-04-09,,,,", "name", "an empty cell"),
        ("Ash Ferry,spring,2027-04-01,2027-04-09,-4,,,", "crew_hours", "0 to 10 000 000 hours"),
    ],
)
def test_faults_of_an_outage_name_their_cell(by, ash, row, column, said):
    result = bring("outages", by, OUTAGES + row + "\n")
    assert len(result.faults) == 1 and not result.questions, lines(result)
    assert lines(result)[0].startswith(f"row 2, column {column}: ") and said in lines(result)[0]
    assert not Outage.objects.exists()


def test_one_outage_twice_in_a_file_is_a_fault(by, ash):
    row = "Ash Ferry,spring,2027-04-01,2027-04-09,,,,\n"
    assert lines(bring("outages", by, OUTAGES + row + row))[0].startswith("row 3, column name: ")


def test_an_unknown_site_is_asked_about(by, ash):
    result = bring("outages", by, OUTAGES + "Ash Fery,spring,2027-04-01,2027-04-09,,,,\n")
    assert lines(result) == [
        "row 2, column site: 'Ash Fery' found, the name of a site of the register expected; "
        "perhaps 'Ash Ferry' is meant"
    ]


SPARES = "site,shell_type,half,bore,unit,bored,on_hand,due_back,lead_time_days\n"


def test_what_is_on_hand_again_is_a_revision_and_another_bore_another_spare(by, ash):
    bring("spares", by, SPARES + "Ash Ferry,SL-4,lower,100.15,mm,yes,2,,90\nAsh Ferry,SL-4,,,,no,1,,\n")
    result = bring("spares", by, SPARES + "Ash Ferry,SL-4,lower,100150,um,yes,1,2027-02-15,\n")
    assert result.ok and result.counts.stored == 1 and Spare.objects.count() == 2
    spare = Spare.objects.get(half="lower")
    assert (spare.on_hand, spare.due_back_on, spare.lead_time_days) == (1, dt.date(2027, 2, 15), 90)
    bring("spares", by, SPARES + "Ash Ferry,SL-4,lower,99.9,mm,yes,1,,\n")
    assert Spare.objects.count() == 3


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("Ash Ferry,SL-4,lower,100,,yes,1,,", "unit"),
        ("Ash Ferry,SL-4,lower,0.1,mm,yes,1,,", "bore"),
        ("Ash Ferry,SL-4,left,100,mm,yes,1,,", "half"),
        ("Ash Ferry,SL-4,lower,100,mm,yes,1.5,,", "on_hand"),
        ("Ash Ferry,,lower,100,mm,yes,1,,", "shell_type"),
    ],
)
def test_faults_of_a_spare_name_their_cell(by, ash, row, column):
    result = bring("spares", by, SPARES + row + "\n")
    assert [line.split(": ")[0] for line in lines(result)] == [f"row 2, column {column}"]


def test_a_shell_that_comes_back_relined_is_an_input_that_can_be_cleared(by, ash):
    head = "site,shell_type,half,on_hand,relined_after_days\n"
    bring("spares", by, head + "Ash Ferry,SL-4,lower,0,120\nAsh Ferry,SL-4,upper,0,\n")
    found = {one.half: one.relined_after_days for one in Spare.objects.standing()}
    assert found == {"lower": 120, "upper": None}
    bring("spares", by, head + "Ash Ferry,SL-4,lower,0,-\n")
    assert Spare.objects.get(half="lower").relined_after_days is None
    assert lines(bring("spares", by, head + "Ash Ferry,SL-4,lower,0,0\n"))[0].startswith(
        "row 2, column relined_after_days: "
    )


DUTY = "site,pump,from,until,hours_per_day,starts_per_day\n"


def test_planned_duty_comes_by_pump_and_first_day_and_changes_are_revisions(by, ash):
    bring(
        "planned_duty",
        by,
        DUTY + "Ash Ferry,p-101a,2027-01-01,2027-06-30,6.5,0.5\nAsh Ferry,P-101A,2027-07-01,,20,\n",
    )
    first, second = PlannedDuty.objects.standing()
    assert (first.place.tag, first.hours_per_day, first.until_on) == (
        "P-101A",
        Decimal("6.50"),
        dt.date(2027, 6, 30),
    )
    assert (second.hours_per_day, second.until_on, second.starts_per_day) == (Decimal("20.00"), None, None)
    again = bring("planned_duty", by, DUTY + "Ash Ferry,P-101A,2027-01-01,-,7,\n")
    assert again.counts.stored == 1 and PlannedDuty.objects.count() == 2
    first.refresh_from_db()
    assert (first.hours_per_day, first.until_on, first.starts_per_day) == (
        Decimal("7.00"),
        None,
        Decimal("0.500"),
    )


@pytest.mark.parametrize(
    ("row", "column"),
    [
        ("Ash Ferry,P-101,2027-01-01,,6,", "pump"),
        ("Ash Ferry,P-101A,2027-01,,6,", "from"),
        ("Ash Ferry,P-101A,2027-01-01,2026-01-01,6,", "until"),
        ("Ash Ferry,P-101A,2027-01-01,,25,", "hours_per_day"),
        ("Ash Ferry,P-101A,2027-01-01,,nan,", "hours_per_day"),
    ],
)
def test_faults_of_a_planned_duty_name_their_cell(by, ash, row, column):
    result = bring("planned_duty", by, DUTY + row + "\n")
    assert [line.split(": ")[0] for line in lines(result)] == [f"row 2, column {column}"]
    assert not PlannedDuty.objects.exists()


HOURS = "class,open_hours,measure_hours,scrape_hours,replace_hours\n"


def test_a_blank_class_stands_for_all_and_changed_hours_are_a_revision(by, ash):
    bring("work_hours", by, HOURS + ",6,1.5,5,9\nRiver water,10,2,6,12\n")
    result = bring("work_hours", by, HOURS + ",6,1.5,5,9\nriver water,11,2,6,12\n")
    assert (result.counts.stored, result.counts.already) == (1, 1)
    assert WorkHours.objects.count() == 2
    assert WorkHours.objects.get(wear_class__isnull=False).open_hours == 11
    assert WorkHours.objects.get(wear_class__isnull=True).measure_hours == Decimal("1.5")


def test_a_class_no_bearing_has_is_asked_about(by, ash):
    result = bring("work_hours", by, HOURS + "river watr,6,1.5,5,9\n")
    assert "perhaps 'river water' is meant" in lines(result)[0] and not result.faults


def test_an_outage_a_constraint_refuses_leaves_nothing(by, ash, monkeypatch):
    monkeypatch.setattr("fleet.importing.outages._dates_in_order", lambda row: iter(()))
    rows = "Ash Ferry,a,2027-04-01,2027-04-09,,,,\nAsh Ferry,b,2027-04-09,2027-04-01,,,,\n"
    result = bring("outages", by, OUTAGES + rows)
    assert lines(result) == [
        "file: An outage cannot end before it starts. Check the two dates.; nothing was stored"
    ]
    assert not Outage.objects.exists()
