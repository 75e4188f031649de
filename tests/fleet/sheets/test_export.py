"""Exports: no text can act as a formula, no number turns into text, and the same rows give the same bytes."""

import csv
import datetime as dt
import io
import math
from decimal import Decimal

import numpy as np
import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.sheets.export import csv_bytes, guarded, unguarded, xlsx_bytes

PAYLOADS = [
    "=1+1",
    "+1+1",
    "-1+1",
    "@SUM(A1)",
    "\t=1",
    "\r=1",
    "=cmd|' /C calc'!A0",
    "-cmd|x",
    "\uff1d1+1",
    "+",
    "=",
]


def cells_of_csv(data):
    return list(csv.reader(io.StringIO(data.decode(), newline="")))


def tab_of(data):
    return openpyxl.load_workbook(io.BytesIO(data)).active


@pytest.mark.parametrize("payload", PAYLOADS)
def test_text_that_could_act_as_a_formula_is_disarmed_in_both_kinds(payload):
    # OWASP, CSV injection: cells that begin with = + - @ tab CR.
    assert cells_of_csv(csv_bytes(["note"], [[payload]]))[1] == ["'" + payload]
    cell = tab_of(xlsx_bytes(["note"], [[payload]], sheet_name="x"))["A2"]
    assert cell.data_type == "s"
    assert cell.value.replace("_x000D_", "\r") == payload


def test_a_heading_is_disarmed_too():
    assert cells_of_csv(csv_bytes(["=1+1"], []))[0] == ["'=1+1"]


def test_numbers_are_never_given_an_apostrophe():
    row = [-5, Decimal("-0.0020"), -1.5, np.float64(-2.5), np.int64(-3), "-0.002", "-"]
    written = cells_of_csv(csv_bytes(list("abcdefg"), [row]))[1]
    assert written == ["-5", "-0.0020", "-1.5", "-2.5", "-3", "-0.002", "-"]


@given(st.text(st.sampled_from("'=+-@\t\r\n1.a"), max_size=6))
def test_what_was_disarmed_can_be_given_back(text):
    assert unguarded(guarded(text)) == text
    assert unguarded(text) == text or guarded(unguarded(text)) == text


def test_a_workbooks_cells_have_their_types_and_recorded_decimals():
    day = dt.date(2026, 3, 9)
    rows = [["0012", Decimal("0.1500"), 1.5, 7, day, True, None, "http://x.example"]]
    sheet = tab_of(xlsx_bytes(list("abcdefgh"), rows, sheet_name="History"))
    cells = list(sheet[2])
    assert sheet.title == "History"
    assert [c.value for c in cells[:4]] == ["0012", 0.15, 1.5, 7]
    assert cells[1].number_format == "0.0000"
    assert (cells[4].value.date(), cells[4].number_format) == (day, "yyyy-mm-dd")
    assert cells[5].value is True
    assert cells[6].value is None
    assert cells[7].hyperlink is None


def test_what_a_workbook_cannot_hold_exactly_goes_in_as_text():
    rows = [
        [Decimal("123456789.123456789")],
        [12345678901234567],
        [dt.date(1850, 1, 1)],
        [dt.datetime(2026, 3, 9, 14, 30, tzinfo=dt.UTC)],
    ]
    sheet = tab_of(xlsx_bytes(["x"], rows, sheet_name="x"))
    assert [sheet.cell(n, 1).value for n in range(2, 6)] == [
        "123456789.123456789",
        "12345678901234567",
        "1850-01-01",
        "2026-03-09T14:30:00+00:00",
    ]


def test_csv_is_plain_utf_8_and_marked_only_when_asked():
    rows = [["\u00b5m", 'a "b", c\nd', None, dt.date(2026, 3, 9), False]]
    plain = csv_bytes(list("abcde"), rows)
    assert cells_of_csv(plain)[1] == ["\u00b5m", 'a "b", c\nd', "", "2026-03-09", "FALSE"]
    assert csv_bytes(list("abcde"), rows, mark=True) == b"\xef\xbb\xbf" + plain


@pytest.mark.parametrize("nothing", [math.nan, math.inf, Decimal("NaN"), np.float64("nan")])
def test_a_number_that_is_none_is_refused_rather_than_written(nothing):
    with pytest.raises(ValueError, match="leave the cell blank"):
        csv_bytes(["x"], [[nothing]])
    with pytest.raises(ValueError, match="leave the cell blank"):
        xlsx_bytes(["x"], [[nothing]], sheet_name="x")


def test_a_row_of_another_width_or_a_text_too_long_is_refused():
    with pytest.raises(ValueError, match="2 cells under 1 headings"):
        csv_bytes(["x"], [[1, 2]])
    with pytest.raises(ValueError, match="a row of 0 cells"):
        xlsx_bytes(["x"], [[]], sheet_name="x")
    with pytest.raises(ValueError, match="32767"):
        xlsx_bytes(["x"], [["y" * 32_768]], sheet_name="x")


@pytest.mark.parametrize(
    ("asked", "given_name"),
    [("P-101/DE: 2026?", "P-101 DE  2026"), ("x" * 40, "x" * 31), ("''", "Sheet"), ("", "Sheet")],
)
def test_a_tab_gets_a_name_a_workbook_accepts(asked, given_name):
    assert tab_of(xlsx_bytes(["x"], [], sheet_name=asked)).title == given_name


def test_the_same_rows_give_the_same_bytes():
    first, second = (xlsx_bytes(["x"], [[1], ["a"]], sheet_name="x") for _ in range(2))
    assert first == second
