"""Limits that a sheet names are found with their cells; new clearances and other quantities are none."""

import pytest

from fleet.importing.offered_limits import offered_limits
from fleet.sheets.files import read_sheet


def offers(words):
    return [
        (one.place, one.use, one.value, one.unit, sorted({"p-1", "p-2"} & set().union(*one.named)))
        for one in offered_limits(read_sheet(words.encode(), "h.csv").tabs)
    ]


@pytest.mark.parametrize(
    ("cell", "found"),
    [
        ("max 12 thou all pumps", [("in_service_max", "12", "thou")]),
        ("Limit: 0.30 mm", [("in_service_max", "0.30", "mm")]),
        ("clearances in thou; replace at 10", [("replace", "10", "thou")]),
        ("zul. Lagerspiel 0,30 mm", [("in_service_max", "0.30", "mm")]),
        ("Verschlei\u00dfgrenze 35 Hundertstel", [("replace", "0.35", "mm")]),
        ("0.012 in max", [("in_service_max", "0.012", "in")]),
        ("min clearance .004", [("in_service_min", ".004", "")]),
        ("new clearance max .006", []),
        ("max temp 75", []),
        ("max side clearance .020", []),
        ("limits as before", []),
        ("DE scraped, max effort", []),
    ],
)
def test_a_cell_that_names_a_limit_is_offered_with_its_unit_where_one_is_written(cell, found):
    assert [
        (use, value, unit) for _, use, value, unit, _ in offers(f'"{cell}"\npump,date\nP-1,2010\n')
    ] == found


def test_a_limit_column_is_offered_by_value_for_the_pumps_of_its_rows_and_a_footer_for_all():
    column = "pump,DE (mm),max (mm)\nP-1,0.15,0.30\nP-2,0.16,0.35\nP-1,0.17,0.30\n"
    assert offers(column) == [
        ("cell C2", "in_service_max", "0.30", "mm", ["p-1"]),
        ("cell C3", "in_service_max", "0.35", "mm", ["p-2"]),
    ]
    footer = "pump,DE (mm)\nP-1,0.15\nlimit,0.30\n"
    assert offers(footer) == [("cell B3", "in_service_max", "0.30", "", [])]


def test_a_limit_in_a_row_s_remark_is_that_row_s_pump_s_unless_it_says_all():
    remarks = "pump,date,remark\nP-1,2010,ok\nP-2,2012,limit 14 thou\nP-2,2016,limit 14 thou\n"
    assert offers(remarks) == [("cell C3", "in_service_max", "14", "thou", ["p-2"])]
    for words in ("limit 14 thou all pumps", "limit 14 thou, alle Pumpen"):
        rows = remarks.replace("limit 14 thou", f'"{words}"')
        assert offers(rows) == [("cell C3", "in_service_max", "14", "thou", [])]


@pytest.mark.parametrize(
    ("words", "for_all"),
    [
        ("limit 14 thou\npump,date\nP-1,2010\n", True),
        ("pump,date,limit 14 thou\nP-1,2010,\n", True),
        ("pump,DE\nP-1,6\nlimit,14\n", True),
        ("pump,date,remark\nP-1,2010,limit 14 thou for all\n", True),
        ("pump,date,remark\nP-1,2010,limit 14 thou\n", False),
        ("pump,date,remark\nP-1,2010,\n,,limit 14 thou\n", False),
        ("pump,what,thou\nP-1,found,6\n,limit,14\n", False),
        ("pump,limit\nP-1,14\n", False),
    ],
)
def test_only_titles_footers_and_words_of_all_are_for_all(words, for_all):
    (limit,) = offered_limits(read_sheet(words.encode(), "h.csv").tabs)
    assert limit.for_all is for_all
