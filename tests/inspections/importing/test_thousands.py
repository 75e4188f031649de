"""Points and commas in run hours: grouping told from decimals by the column's own pattern, asked where both
fit.
"""

import datetime as dt
from decimal import Decimal

import pytest

from fleet.grouping_marks import marks_of, plain
from fleet.importing.answers import Answers
from fleet.importing.loading import import_file
from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan
from inspections.models import MeterEntry
from tests import makers

pytestmark = pytest.mark.django_db
PLAN = Plan(
    (
        ColumnPlan(0, "date", "date"),
        ColumnPlan(1, "run_hours", "hours"),
        ColumnPlan(2, "value", "DE (mm)", position="DE", unit="mm"),
    ),
    pump="= P-1",
    basis="diametral",
    decimal_comma=True,
)


@pytest.fixture(autouse=True)
def pump():
    place = makers.a_place(tag="P-1")
    makers.a_bearing(place=place, limits={})
    return place


def brought(hours, values=("0,150", "0,160", "0,170"), *, answers=None, plan=PLAN, **more):
    """Three overhauls with these hours by a plan; stored where nothing is asked."""
    days = ("2012-03-09", "2015-03-09", "2018-03-09")
    lines = ["date;hours;DE (mm)", *(";".join(one) for one in zip(days, hours, values, strict=True))]
    return import_file(
        "\n".join(lines).encode(),
        "h.csv",
        holds="history",
        by=makers.somebody(),
        plan=plan,
        answers=answers,
        **more,
    )


def said(code, about, choice):
    answers = Answers()
    answers.add(code, about, choice)
    return answers


def hours():
    return [entry.hours for entry in MeterEntry.objects.standing().order_by("on")]


def test_a_point_among_decimal_commas_parts_thousands():
    assert brought(("20.500", "31.000", "45.250")).ok
    assert hours() == [20500, 31000, 45250]


def test_spaces_apostrophes_and_two_marks_are_told_by_themselves():
    assert brought(("20 500", "31'000", "1.020.500,5"), answers=said("run_hours_rise", "", "right")).ok
    assert hours() == [20500, 31000, Decimal("1020500.5")]


def test_a_mark_with_other_than_three_digits_behind_it_is_a_decimal_one():
    plan = Plan(PLAN.columns, pump="= P-1", basis="diametral")
    assert brought(("20500.250", "31000.5", "45250.120"), ("0.150", "0.160", "0.170"), plan=plan).ok
    assert hours() == [Decimal("20500.25"), Decimal("31000.5"), Decimal("45250.12")]


def test_where_both_fit_it_is_asked_and_nothing_is_stored():
    plan = Plan(PLAN.columns, pump="= P-1", basis="diametral")
    whole = ("1", "1", "1")
    result = brought(("20.500", "31.000", "45.250"), whole, plan=plan, only_look=True)
    groups = {group.code: group for group in result.groups}
    assert groups["grouping_mark"].about == "." and groups["grouping_mark"].n_rows == 3
    examples = {choice.word: choice.example for choice in groups["grouping_mark"].choices}
    assert examples["thousands"] == "'20.500' is 20500" and examples["decimal"] == "'20.500' is 20.500"
    assert not brought(("20.500", "31.000", "45.250"), whole, plan=plan).ok and not hours()


@pytest.mark.parametrize(("choice", "read"), [("thousands", [20500, 31000, 45250]), ("decimal", [])])
def test_the_answer_says_which_and_hardly_any_hours_are_asked_about_all_the_same(choice, read):
    plan = Plan((*PLAN.columns[:2], ColumnPlan(2, "remark", "DE (mm)")), pump="= P-1", basis="diametral")
    result = brought(
        ("20.500", "31.000", "45.250"), ("a", "b", "c"), plan=plan, answers=said("grouping_mark", ".", choice)
    )
    assert hours() == read
    assert [group.code for group in result.groups] == ([] if read else ["run_hours_slow"])


def test_a_sheet_in_the_template_s_columns_is_asked_about_too():
    sheet = """pump,date,event,run_hours
        P-1,2012-03-09,hours,20.500
        P-1,2015-03-09,hours,31.000"""
    result = makers.a_sheet(sheet)
    assert "grouping_mark" in {one.code for one in result.questions} and not hours()
    lines = "\n".join(line.strip() for line in sheet.splitlines()).encode()
    done = import_file(
        lines, "h.csv", holds="history", by=makers.somebody(), answers=said("grouping_mark", ".", "thousands")
    )
    assert done.ok and hours() == [20500, 31000]


def test_a_meter_of_under_100_hours_a_year_is_asked_about_and_can_be_a_thousand_times_as_many():
    result = brought(("20,5", "31", "45,25"), only_look=True)
    (group,) = result.groups
    assert (group.code, group.n_rows) == ("run_hours_slow", 3)
    assert not brought(("20,5", "31", "45,25")).ok and not hours()
    assert brought(("20,5", "31", "45,25"), answers=said("run_hours_slow", "", "thousands")).ok
    assert hours() == [20500, 31000, 45250]


def test_hours_that_are_right_stay_once_somebody_says_so():
    assert brought(("20,5", "31", "45,25"), answers=said("run_hours_slow", "", "right")).ok
    assert hours() == [Decimal("20.5"), 31, Decimal("45.25")]


def test_a_pump_whose_own_duty_is_small_and_one_that_stood_a_while_are_not_asked_about(pump):
    assert brought(("20500", "20510", "31000")).ok
    other = makers.a_place(tag="P-2", duty_hours_per_day=Decimal("0.1"))
    makers.a_bearing(place=other, limits={})
    plan = Plan(PLAN.columns, pump="= P-2", basis="diametral", decimal_comma=True)
    assert brought(("20", "31", "45"), plan=plan).ok


def test_a_meter_read_within_one_year_is_not_asked_about(pump):
    makers.a_meter_entry(place=pump, on=dt.date(2018, 1, 1), hours=45)
    sheet = "pump,date,event,run_hours\nP-1,2018-11-09,hours,60"
    assert makers.a_sheet(sheet).ok


@pytest.mark.parametrize(
    ("texts", "marks", "first"),
    [
        (["20,500", "1,020,500"], {",": "grouping"}, "20500"),
        (["0.150", "0.160"], {".": "decimal"}, "0.150"),
        (["1234.500"], {".": "decimal"}, "1234.500"),
        (["20.5", "20.500"], {".": "decimal"}, "20.5"),
        (["20500", "?"], {}, "20500"),
    ],
)
def test_marks_are_told_by_the_column(texts, marks, first):
    assert marks_of(texts) == marks and plain(texts[0], marks) == first
