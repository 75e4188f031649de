"""Layouts of old sheets: days as headings, the position behind the tag, a tab for each year, headings again
down the sheet.
"""

import pytest

from fleet.importing.reading_plans.cell_fates import apply
from fleet.importing.reading_plans.guesses import guess
from fleet.importing.reading_plans.reading_plan import WITH_TAG, plan_of
from fleet.sheets.files import Row, Tab, read_sheet


def tab_of(words, name="", dates=()):
    rows = read_sheet(words.encode(), "h.csv").tabs[0].all_rows()
    rows = [Row(r.number, r.cells, frozenset(dates) if r.number == 1 else r.date_columns) for r in rows]
    return Tab(name, rows[0].cells, rows[1:], rows[0])


def read(*tabs, **said):
    plan = guess(tabs)
    applied = apply(plan, tabs)
    return plan, [
        tuple(one.cells.get(name, "") for name in ("pump", "position", "date", "value"))
        for one in applied.made
    ]


@pytest.mark.parametrize(
    ("first", "second", "days"),
    [
        ("2014-03-09", "2018-05-20", ("2014-03-09", "2018-05-20")),
        ("Mar 2014", "May 2018", ("2014-03", "2018-05")),
        ("13.03.2014", "20.05.2018", ("2014-03-13", "2018-05-20")),
        ("03/2014", "05/2018", ("2014-03", "2018-05")),
    ],
)
def test_days_as_column_headings_are_the_days_of_what_stands_below(first, second, days):
    words = f"pump,position,{first},{second}\nK1,DE,0.15,0.17\nK1,NDE,0.16,\n"
    plan, made = read(tab_of(words))
    assert made == [
        ("K1", "DE", days[0], "0.15"),
        ("K1", "DE", days[1], "0.17"),
        ("K1", "NDE", days[0], "0.16"),
    ]
    assert not any("date" in one for one in plan.complaints())
    assert plan_of(plan.body()) == plan


def test_days_as_headings_that_could_be_read_two_ways_are_not_guessed():
    plan, _ = read(tab_of("pump,position,03/04/2014,05/06/2018\nK1,DE,0.15,0.17\n"))
    assert any("holds the date" in one for one in plan.complaints())


def test_a_workbooks_own_dates_as_headings_are_read():
    words = "pump,position,2014-03-09,2018-05-20\nK1,DE,0.15,0.17\n"
    _, made = read(tab_of(words, dates=(2, 3)))
    assert [one[2] for one in made] == ["2014-03-09", "2018-05-20"]


def test_a_position_behind_the_tag_is_parted_from_it():
    words = (
        "pump,date,clearance mm\nK1 DE,2014-03-09,0.15\nK1 NDE,2014-03-09,0.16\nK 2 /"
        " N.D.E.,2014-03-09,0.17\n"
    )
    plan, made = read(tab_of(words))
    assert plan.position == WITH_TAG
    assert [one[:2] for one in made] == [("K1", "DE"), ("K1", "NDE"), ("K 2", "N.D.E.")]
    assert plan_of(plan.body()) == plan


def test_a_tab_for_each_year_gives_its_year():
    words = "pump,DE (mm),NDE (mm)\nK1,0.15,0.16\n"
    plan, made = read(tab_of(words, "Overhaul 2014"), tab_of(words.replace("5", "7"), "Overhaul 2018"))
    assert plan.date == "tab" and not any("date" in one for one in plan.complaints())
    assert [(one[2], one[3]) for one in made] == [
        ("2014", "0.15"),
        ("2014", "0.16"),
        ("2018", "0.17"),
        ("2018", "0.16"),
    ]


def test_both_heading_rows_again_down_the_sheet_are_no_rows():
    head = ",,as found,as left\npump,date,DE (mm),NDE (mm)\n"
    row = "K1,{}-03-09,0.15,0.16\n"
    plan, made = read(tab_of(head + row.format(2014) + head + row.format(2018)))
    assert (plan.first_heading, plan.last_heading) == (1, 2)
    assert [one[2] for one in made] == ["2014-03-09"] * 2 + ["2018-03-09"] * 2
