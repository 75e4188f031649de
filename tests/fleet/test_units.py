"""Numbers, lengths and days as typed: one reading or a refusal that says what to do."""

import datetime as dt
import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fleet.units import (
    LENGTH_UNITS,
    BadDateFormat,
    Day,
    Measured,
    NotADay,
    NotANumber,
    UnknownUnit,
    canonical_unit,
    from_um,
    parse_day,
    parse_measured,
    parse_number,
    show_um,
    split_unit,
    step_um,
    to_um,
    uncertainty_of_step_um,
)

D = Decimal


@pytest.mark.parametrize(
    ("text", "number"),
    [
        ("0.15", "0.15"),
        (".006", "0.006"),
        ("+5", "5"),
        ("-0", "0"),
        ("-0.002", "-0.002"),
        ("1.234", "1.234"),
        (" 6 ", "6"),
        ("0.150", "0.150"),
        ("0012", "12"),
    ],
)
def test_a_plain_number_is_read_exactly_as_typed(text, number):
    read = parse_number(text)
    assert str(read) == number


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("", "give the number"),
        ("   ", "give the number"),
        ("nan", "measured number"),
        ("-Infinity", "measured number"),
        ("1_000", "underscore"),
        ("1e308", "exponent"),
        ("1E-3", "exponent"),
        ("1e400", "exponent"),
        ("0x1", "digits"),
        ("\uff11\uff12", "plain keyboard"),
        ("\u0663", "plain keyboard"),
        ("1,5", "declare the decimal comma"),
        ("1,234", "declare the decimal comma"),
        ("1 234.5", "space"),
        ("1\u00a0234", "space"),
        ("1,234.5", "thousands"),
        ("5.", "finish the number"),
        ("1/8", "fraction as a decimal number"),
        ("5 mil", "unit column"),
        ('0.005"', "unit column"),
        ("~5", "number alone"),
        ("\u22120.5", "plain hyphen"),
        ("<0.1", "measured value"),
        ("--5", "digits"),
        ("5-", "digits"),
        ("1.2.3", "digits"),
        ("7" * 400, "digits"),
        ("9" * 16, "so many digits"),
        ("0." + "1" * 21, "so many digits"),
        ("ok", "digits"),
        ("\x001", "digits"),
    ],
)
def test_a_text_with_two_readings_or_none_is_refused_with_its_remedy(text, remedy):
    with pytest.raises(NotANumber) as refused:
        parse_number(text)
    assert refused.value.found == text
    assert "decimal" in refused.value.expected
    assert remedy in refused.value.remedy


def test_under_a_declared_comma_the_comma_is_read_and_the_point_refused():
    assert parse_number("0,15", decimal_comma=True) == D("0.15")
    assert parse_number("1,234", decimal_comma=True) == D("1.234")
    with pytest.raises(NotANumber, match="as declared"):
        parse_number("0.15", decimal_comma=True)
    with pytest.raises(NotANumber, match="thousands"):
        parse_number("1.234,56", decimal_comma=True)


def test_a_megabyte_of_spaces_is_refused_at_once():
    with pytest.raises(NotANumber) as refused:
        parse_measured("1" + " " * 1_000_000 + "x")
    assert len(str(refused.value)) < 300


@given(st.decimals(min_value=-(10**9), max_value=10**9, places=6))
def test_every_written_out_decimal_comes_back_the_same(number):
    text = format(number, "f")
    assert parse_number(text) == number
    assert parse_number(text.replace(".", ","), decimal_comma=True) == number


@given(st.text(max_size=30))
def test_any_text_is_either_a_finite_number_or_a_clear_refusal(text):
    try:
        number = parse_number(text)
    except NotANumber as refused:
        assert refused.expected
        assert refused.remedy
    else:
        assert number.is_finite()
        assert set(text.strip()) <= set("+-.0123456789")


@pytest.mark.parametrize(
    ("text", "measured"),
    [
        ("0.15", Measured(value=D("0.15"))),
        ("-0.002", Measured(value=D("-0.002"))),
        (">0.006", Measured(low=D("0.006"))),
        ("< 0.002", Measured(high=D("0.002"))),
        ("0.003-0.004", Measured(low=D("0.003"), high=D("0.004"))),
        ("6 - 7", Measured(low=D(6), high=D(7))),
        ("6\u20137", Measured(low=D(6), high=D(7))),
        ("-0.002-0.001", Measured(low=D("-0.002"), high=D("0.001"))),
    ],
)
def test_a_measured_cell_is_a_value_a_bound_or_an_interval(text, measured):
    assert parse_measured(text) == measured
    assert measured.is_interval == (measured.value is None)


@pytest.mark.parametrize(
    ("text", "remedy"),
    [
        ("0.004-0.003", "smaller number first"),
        ("6-6", "once"),
        (">", "give the number"),
        (">>5", "alone"),
        (">nan", "measured number"),
        ("3-4-5", "digits"),
        ("1,5-1,6", "digits"),
        (".006/.007", "its own row"),
    ],
)
def test_a_measured_cell_that_is_none_is_refused_and_quoted_whole(text, remedy):
    with pytest.raises(NotANumber) as refused:
        parse_measured(text)
    assert refused.value.found == text
    assert remedy in refused.value.remedy


def test_an_interval_under_a_declared_comma_and_in_um():
    measured = parse_measured("0,15-0,2", decimal_comma=True)
    assert measured.to_um("mm") == Measured(low=D("150.0000"), high=D("200.0000"))


def test_an_inch_is_25400_um_exactly_and_every_spelling_agrees():
    # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959.
    assert to_um(D(1), "in") == 25400
    assert to_um(D("0.006"), '"') == to_um(D(6), "mil") == to_um(D(6), "THOU") == D("152.4000")
    assert (
        to_um(D("0.15"), "mm") == to_um(D(150), "\u00b5m") == to_um(D(150), "\u03bcm") == to_um(D(150), "UM")
    )
    assert set(LENGTH_UNITS) == {"mm", "um", "\u00b5m", "\u03bcm", "mil", "thou", "in", '"'}


@given(
    st.decimals(min_value=0, max_value=2_000_000, places=4),
    st.sampled_from(["mm", "um", "mil", "thou", "in"]),
)
def test_a_length_in_um_keeps_four_decimals_and_no_binary_noise(um, unit):
    exact = um / LENGTH_UNITS[unit]
    back = to_um(exact, unit)
    assert back == um
    assert back.as_tuple().exponent == -4


@pytest.mark.parametrize(
    ("text", "remedy"), [("mils", "write mil"), ("cm", "give the unit"), ("", "give the unit")]
)
def test_an_unknown_unit_is_refused(text, remedy):
    with pytest.raises(UnknownUnit, match=remedy):
        canonical_unit(text)


def test_a_unit_in_the_cell_is_parted_from_its_number():
    assert split_unit("6 thou") == ("6", "thou")
    assert split_unit("0.15mm") == ("0.15", "mm")
    assert split_unit('0.005"') == ("0.005", "in")
    assert split_unit(".006") == (".006", None)
    assert split_unit("ok") == ("ok", None)
    with pytest.raises(UnknownUnit):
        split_unit("6 furlong")


def test_a_length_is_shown_with_its_unit_and_digits():
    assert show_um(D("152.4"), "mil") == "6.0 mil"
    assert show_um(D("152.4"), "in") == "0.0060 in"
    assert show_um(D("152.4"), "mm") == "0.152 mm"
    assert show_um(152.5, "um") == "153 \u00b5m"
    assert show_um(-0.2, "um") == "0 \u00b5m"
    assert from_um(152.4, "mm", 4) == "0.1524"
    with pytest.raises(ValueError, match="cannot be shown"):
        show_um(float("nan"), "mm")


def test_the_step_is_the_last_place_typed():
    assert step_um("0.15", "mm") == 10
    assert step_um("0.150", "mm") == 1
    assert step_um("6", "mil") == D("25.4")
    assert step_um("0.0015", "in") == D("2.54")
    assert step_um("0.003-0.0045", "in") == D("2.54")
    assert step_um("0,15", "mm", decimal_comma=True) == 10


def test_the_uncertainty_of_a_step_is_29_hundredths_of_it():
    # JCGM 100:2008, F.2.2.1: "u = 0,29 delta x".
    assert uncertainty_of_step_um(D(10)) == pytest.approx(2.9, abs=0.02)
    assert uncertainty_of_step_um(1.0) ** 2 == pytest.approx(1 / 12)
    assert math.isclose(uncertainty_of_step_um(D("25.4")), 7.332, abs_tol=1e-3)


@pytest.mark.parametrize(
    ("text", "date_format", "day"),
    [
        ("2026-03-09", None, Day(dt.date(2026, 3, 9), dt.date(2026, 3, 9), "day")),
        ("2026-03-09 14:30", None, Day(dt.date(2026, 3, 9), dt.date(2026, 3, 9), "day")),
        ("2024-02", None, Day(dt.date(2024, 2, 1), dt.date(2024, 2, 29), "month")),
        ("2026", None, Day(dt.date(2026, 1, 1), dt.date(2026, 12, 31), "year")),
        ("09/03/2026", "DD/MM/YYYY", Day(dt.date(2026, 3, 9), dt.date(2026, 3, 9), "day")),
        ("9/3/2026", "%d/%m/%Y", Day(dt.date(2026, 3, 9), dt.date(2026, 3, 9), "day")),
        ("09/03/2026", "MM/DD/YYYY", Day(dt.date(2026, 9, 3), dt.date(2026, 9, 3), "day")),
        ("9 Mar 2026", "D MON YYYY", Day(dt.date(2026, 3, 9), dt.date(2026, 3, 9), "day")),
        ("20260309", "YYYYMMDD", Day(dt.date(2026, 3, 9), dt.date(2026, 3, 9), "day")),
        ("03/2014", "DD/MM/YYYY | MM/YYYY", Day(dt.date(2014, 3, 1), dt.date(2014, 3, 31), "month")),
        ("09.03.98", "DD.MM.YY", Day(dt.date(1998, 3, 9), dt.date(1998, 3, 9), "day")),
        ("march 2014", "%B %Y", Day(dt.date(2014, 3, 1), dt.date(2014, 3, 31), "month")),
    ],
)
def test_a_day_is_known_as_precisely_as_it_was_typed(text, date_format, day):
    assert parse_day(text, date_format) == day


@pytest.mark.parametrize(
    ("text", "date_format", "remedy"),
    [
        ("", None, "give the day"),
        ("09/03/2026", None, "never guessed"),
        ("3.9.24", None, "never guessed"),
        ("Mar 2014", None, "declare the file's date format"),
        ("2024-02-30", None, "no such day"),
        ("2024-13", None, "no such day"),
        ("0000", None, "no such day"),
        ("9999", None, "no such day"),
        ("45000", None, "day number"),
        ("2026-03-09T14:30Z", None, "time of day"),
        ("2026-03-09 25:00", None, "time of day"),
        ("\uff12\uff10\uff12\uff16", None, "year first"),
        ("2026-03-09", "DD/MM/YYYY", "declared format"),
        ("31/02/2026", "DD/MM/YYYY", "no such day"),
        ("9 Mai 2026", "D MON YYYY", "no such day"),
        ("1/2/2024", "DD/MM/YYYY|MM/DD/YYYY", "two of the declared"),
    ],
)
def test_a_text_that_is_no_day_is_refused_and_never_guessed(text, date_format, remedy):
    with pytest.raises(NotADay) as refused:
        parse_day(text, date_format)
    assert refused.value.found == text
    assert remedy in refused.value.remedy


@pytest.mark.parametrize("date_format", ["", "DD/MM", "DD/YYYY", "foo", "%d/%m/%q", "DD/DD/YYYY", "YY/YYYY"])
def test_a_format_that_cannot_name_a_day_is_refused(date_format):
    with pytest.raises(BadDateFormat):
        parse_day("2026-03-09", date_format)


@given(st.dates(dt.date(1970, 1, 1), dt.date(2060, 12, 31)))
def test_every_day_reads_back_in_every_form(day):
    for date_format, text in (
        (None, day.isoformat()),
        ("DD/MM/YYYY", f"{day:%d/%m/%Y}"),
        ("%m-%d-%y", f"{day:%m-%d-%y}"),
        ("YYYYMMDD", f"{day:%Y%m%d}"),
    ):
        assert parse_day(text, date_format) == Day(day, day, "day")


def test_a_whole_number_with_a_fraction_is_a_number_and_a_bare_fraction_is_not():
    assert parse_measured("9 1/2").value == Decimal("9.5")
    assert parse_measured("0 1/128").value == Decimal("0.0078125")
    assert step_um("9 1/2", "thou") == Decimal("12.7")
    for text in ("1/2", "9 1/3", "9 2/2", "9 1/2 3", "9 1 /2"):
        with pytest.raises(NotANumber):
            parse_measured(text)
