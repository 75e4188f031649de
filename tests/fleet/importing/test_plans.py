"""A reading plan as data: a layout of the plant's own becomes rows of the template, and no cell is lost."""

import pytest

from fleet.importing.answers import Answers
from fleet.importing.reading_plans.cell_fates import READ, REMARK, apply
from fleet.importing.reading_plans.guesses import guess
from fleet.importing.reading_plans.layout import grid_of, headings_of
from fleet.importing.reading_plans.reading_plan import ColumnPlan, Plan, plan_of
from fleet.importing.reading_plans.value_notation import Odd, Part, read_value_cell
from fleet.sheets.files import Row, Tab, read_sheet

OVERHAULS = """Pump history,,,,,
,,as found,,as left,
date,hrs,DE,NDE,DE,remarks
03/2014,12000,0.15,6 thou,.006/.007,"scraped, ok"
spring 2011,-,ok,n/m,0.140,
Total,,3,,,
"""


def tabs(words: str) -> list[Tab]:
    return read_sheet(words.encode(), "x.csv").tabs


@pytest.fixture
def plan():
    columns = (
        ColumnPlan(0, "date", "date"),
        ColumnPlan(1, "run_hours", "hrs"),
        ColumnPlan(2, "value", "as found / DE", position="DE", stage="as_found"),
        ColumnPlan(3, "value", "as found / NDE", position="NDE", stage="as_found"),
        ColumnPlan(4, "value", "as left / DE", position="DE", stage="as_left"),
        ColumnPlan(5, "remark"),
    )
    return Plan(columns, 2, 3, pump="= P-1", unit="mm", basis="diametral", date_format="MM/YYYY")


def test_one_row_of_an_overhaul_becomes_a_row_for_each_of_its_readings(plan):
    made = [one for one in apply(plan, tabs(OVERHAULS)).made if one.row == 4]
    said = [
        (
            m.cells["event"],
            m.cells.get("position"),
            m.cells.get("stage"),
            m.cells.get("value"),
            m.cells.get("unit"),
        )
        for m in made
    ]
    assert said == [
        ("reading", "DE", "as_found", "0.15", "mm"),
        ("reading", "NDE", "as_found", "6", "thou"),
        ("reading", "DE", "as_left", ".006/.007", None),
        ("hours", None, None, None, None),
        ("note", None, None, None, None),
    ]
    assert {m.cells["date"] for m in made} == {"2014-03"} and {m.cells["pump"] for m in made} == {"P-1"}
    assert made[2].question.code == "two_values"


def test_two_values_and_seasons_are_read_once_somebody_says_what_they_are(plan):
    answers = Answers()
    answers.add("two_values", "/", "ends")
    answers.add("season", "", "north")
    answers.add("size", "below 0.02", "unit", "in")
    made = apply(plan, tabs(OVERHAULS), answers).made
    assert not [m for m in made if m.question]
    ends = [(m.cells["station"], m.cells["value"]) for m in made if "station" in m.cells]
    assert ends == [("in", ".006"), ("out", ".007")]
    assert {(m.cells["date"], m.cells["outage"]) for m in made if m.row == 5} == {
        ("2011-03..2011-05", "spring 2011")
    }


def test_a_sheet_that_runs_newest_first_is_read_in_order_of_time(plan):
    assert [one.row for one in apply(plan, tabs(OVERHAULS)).made] == [5, 5, 5, 4, 4, 4, 4, 4]


def test_a_word_that_is_no_number_is_kept_as_an_opening_and_never_as_a_number(plan):
    made = [m for m in apply(plan, tabs(OVERHAULS)).made if m.row == 5 and m.cells["event"] == "opened"]
    assert [(m.cells["position"], m.cells["note"]) for m in made] == [("DE", "ok"), ("NDE", "n/m")]


def test_every_cell_is_read_kept_or_left_out_by_name(plan):
    (tab,) = tabs(OVERHAULS)
    grid = grid_of(tab)
    filled = {("", n, j) for n in grid.numbers for j in range(grid.width) if grid.text(n, j)}
    applied = apply(plan, [tab])
    assert set(applied.fates) == filled
    assert [fate for fate in applied.fates.values() if fate == REMARK] == [REMARK]
    assert sum(fate == READ for fate in applied.fates.values()) == 9
    assert dict(applied.left())["a row that begins with 'Total'"] == 2


def test_a_plan_comes_back_from_its_body_as_it_was(plan):
    assert plan_of(plan.body()) == plan
    with pytest.raises(ValueError, match="which no plan has"):
        plan_of(plan.body() | {"colour": "red"})


def test_a_plan_says_what_it_lacks():
    said = " ".join(Plan((ColumnPlan(2, "value"),), pump="").complaints())
    for words in (
        "the date",
        "pump is named",
        "in which unit",
        "at which bearing position",
        "diametral or radial",
    ):
        assert words in said


def test_a_guess_reads_headings_of_two_rows_and_declares_no_basis_and_no_unit():
    plan = guess(tabs(OVERHAULS), lambda name: name == "P-1")
    assert [(one.use, one.position, one.stage) for one in plan.columns] == [
        ("date", "", ""),
        ("run_hours", "", ""),
        ("value", "DE", "as_found"),
        ("value", "NDE", "as_found"),
        ("value", "DE", "as_left"),
        ("remark", "", ""),
    ]
    assert (plan.unit, plan.date_format, plan.basis) == ("", "MM/YYYY", "")


def test_a_day_and_month_that_could_be_either_way_round_are_not_guessed():
    words = "date,DE (mm)\n03/04/2014,0.15\n05/06/2015,0.16\n"
    assert guess(tabs(words)).date_format == ""
    assert guess(tabs(words + "13/06/2016,0.16\n")).date_format == "DD/MM/YYYY"


def test_merged_headings_reach_over_their_columns():
    rows = [
        Row(1, ["as found", "", "as left", ""]),
        Row(2, ["DE", "NDE", "DE", "NDE"]),
        Row(3, ["1", "2", "3", "4"]),
    ]
    tab = Tab("x", rows[0].cells, rows[1:], rows[0], merged=[(1, 0, 1, 1), (1, 2, 1, 3)])
    assert headings_of(grid_of(tab), 1, 2) == [
        "as found / DE",
        "as found / NDE",
        "as left / DE",
        "as left / NDE",
    ]


def test_a_moved_heading_is_found_and_a_changed_one_is_not_read(plan):
    assert len(apply(plan, tabs("A new title,,,,,\n" + OVERHAULS)).made) == 8
    changed = apply(plan, tabs(OVERHAULS.replace("NDE", "ODE")))
    assert not changed.made and "headings of the plan" in changed.faults[0].line()


def test_a_new_year_among_years_as_columns_is_read_as_the_last():
    words = "pump,brg,2012,2013{}\nP-1,DE,0.15,0.16{}\n"
    plan = guess(tabs(words.format("", "")))
    made = apply(plan, tabs(words.format(",2014", ",0.17"))).made
    assert [(m.cells["date"], m.cells["value"]) for m in made] == [
        ("2012", "0.15"),
        ("2013", "0.16"),
        ("2014", "0.17"),
    ]


@pytest.mark.parametrize(
    ("typed", "held", "read"),
    [
        ("0.15mm", 0, [Part("0.15", "mm")]),
        ('.006"', 0, [Part(".006", "in")]),
        ("15", 2, [Part("15")]),
        ("6-7", 0, Odd("two_values", "-")),
        ("2019-04-03", 1, Odd("swallowed_date", "")),
        ("~0.15", 0, Odd("marked_number", "~", "0.15")),
        ("worn", 0, Odd("odd_word", "worn")),
        ("nan", 0, Odd("odd_word", "nan")),
        ("1e308", 0, Odd("odd_word", "1e308")),
        ("1_000", 0, Odd("odd_word", "1_000")),
    ],
)
def test_a_cell_is_a_number_with_its_unit_or_asked_about(typed, held, read):
    assert read_value_cell(typed, held, two="", words={}) == read


def test_numbers_of_two_sizes_in_a_column_are_asked_about_by_size(plan):
    words = OVERHAULS.replace("0.140", "6").replace(".006/.007", ".006")
    made = apply(plan, tabs(words), _seasons()).made
    asked = [m.question.about for m in made if m.question]
    assert asked == ["1 to 50", "below 0.02"]
    answers = _seasons()
    answers.add("size", "1 to 50", "unit", "thou")
    answers.add("size", "below 0.02", "unit", "in")
    made = apply(plan, tabs(words), answers).made
    said = [(m.cells["value"], m.cells["unit"]) for m in made if m.cells.get("stage") == "as_left"]
    assert said == [("6", "thou"), (".006", "in")]


def _seasons() -> Answers:
    answers = Answers()
    answers.add("season", "", "north")
    return answers


@pytest.mark.parametrize(
    ("typed", "read"),
    [
        ("9 1/2", [Part("9 1/2")]),
        ("½ in", [Part("0 1/2", "in")]),
        ("1/2 thou", Odd("two_values", "/")),
        ("15/16", Odd("two_values", "/")),
        ("9 1/3", Odd("odd_word", "9 1/3")),
        ("9 3/2", Odd("odd_word", "9 3/2")),
        ("9 1/2 - 10 thou", [Part("9.5-10", "thou")]),
        ("6/7 thou", Odd("two_values", "/")),
    ],
)
def test_a_fraction_is_read_where_it_can_be_nothing_else(typed, read):
    assert read_value_cell(typed, 0, two="range" if " - " in typed else "", words={}) == read
