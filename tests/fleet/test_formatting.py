"""Every number and day as a reader sees it."""

from datetime import date

import pytest

from fleet import formatting as show

TODAY = date(2026, 6, 30)


def plain(text: str) -> str:
    return text.replace("\u00a0", " ")


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (229.3, "229 µm"),
        (0, "0 µm"),
        (-0.2, "0 µm"),
        (-11, "\u221211 µm"),
        (12345.6, "12 346 µm"),
        ("7", "7 µm"),
    ],
)
def test_a_clearance_is_whole_micrometres_with_its_unit(value, said):
    assert plain(show.um(value)) == said


@pytest.mark.parametrize("value", [None, "", float("nan"), float("inf"), "thick", True])
@pytest.mark.parametrize(
    "words", [show.um, show.rate, show.chance, show.percent, show.hours, show.count, show.mm]
)
def test_what_is_no_number_is_said_to_be_not_known(words, value):
    assert words(value) == show.NOT_KNOWN


def test_a_figure_and_its_unit_stay_on_one_line():
    assert " " not in show.um(12345) + show.percent(0.5) + show.hours(17.5) + show.rpm(1480)


def test_a_step_carries_its_sign():
    assert plain(show.um_step(11.2)) == "+11 µm"
    assert plain(show.um_step(-4)) == "\u22124 µm"


@pytest.mark.parametrize(
    ("value", "said"),
    [(9.8, "9.8"), (9.97, "10"), (13.2, "13"), (0.42, "0.42"), (0.996, "1.0"), (0.001, "under 0.01")],
)
def test_a_rate_keeps_two_digits_that_mean_something(value, said):
    assert show.rate_figure(value) == said


def test_a_rate_without_a_meter_says_so_in_its_unit():
    assert plain(show.rate(5.2)) == "5.2 µm per 1000 h"
    assert plain(show.rate(5.2, "calendar")) == "5.2 µm per 1000 calendar h"
    assert plain(show.rate_range(3.9, 7.0)) == "3.9–7.0"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        (0.0, "under 1 in 100"),
        (0.0049, "under 1 in 100"),
        (0.006, "1 in 100"),
        (0.03, "3 in 100"),
        (0.0749, "7 in 100"),
        (0.095, "1 in 10"),
        (0.1, "1 in 10"),
        (0.25, "3 in 10"),
        (0.31, "3 in 10"),
        (0.78, "8 in 10"),
        (0.92, "9 in 10"),
        (0.96, "more than 9 in 10"),
        (1.0, "more than 9 in 10"),
    ],
)
def test_a_chance_is_a_count_out_of_ten_or_a_hundred(value, said):
    assert show.chance(value) == said


def test_the_words_of_a_chance_never_fall_as_it_grows():
    hundreds = [f"{n} in 100" for n in range(1, 10)]
    order = ["under 1 in 100", *hundreds, *(f"{n} in 10" for n in range(1, 10)), "more than 9 in 10"]
    ranks = [order.index(show.chance(i / 1000)) for i in range(1001)]
    assert ranks == sorted(ranks)
    assert set(ranks) == set(range(len(order)))


def test_a_limit_already_passed_has_no_chance():
    assert show.chance(0.99, True) == "passed"


@pytest.mark.parametrize(
    ("value", "said"), [(0.61, "61 %"), (0.001, "under 1 %"), (0, "0 %"), (0.999, "over 99 %"), (1, "100 %")]
)
def test_a_share_is_per_cent_that_never_rounds_to_certainty(value, said):
    assert plain(show.percent(value)) == said


def test_hours_keep_a_tenth_only_while_they_are_few():
    assert plain(show.hours(17.5)) == "17.5 h"
    assert plain(show.hours(24.0)) == "24 h"
    assert plain(show.hours(52300.4)) == "52 300 h"
    assert plain(show.run_hours(52.3)) == "52 300 h"


@pytest.mark.parametrize(
    ("coming", "said"),
    [
        (date(2026, 7, 14), "14 July 2026"),
        (date(2026, 9, 30), "30 September 2026"),  # 92 days
        (date(2026, 10, 1), "October 2026"),
        (date(2028, 6, 29), "June 2028"),  # 730 days
        (date(2028, 6, 30), "summer 2028"),
        (date(2029, 3, 1), "spring 2029"),
        (date(2029, 11, 30), "autumn 2029"),
        (date(2029, 12, 1), "winter 2029–30"),
        (date(2030, 2, 28), "winter 2029–30"),
        (date(2034, 5, 1), "2034"),
    ],
)
def test_a_coming_day_is_named_no_finer_than_it_is_known(coming, said):
    assert plain(show.day_words(coming, TODAY)) == said


def test_a_day_is_shown_as_precisely_as_it_was_given():
    assert plain(show.day(date(2026, 4, 9))) == "9 Apr 2026"
    assert plain(show.day(date(2026, 4, 9), "month")) == "Apr 2026"
    assert show.day(date(2026, 4, 9), "year") == "2026"
    assert show.day(None) == show.NOT_KNOWN


def test_time_gone_by_is_days_then_months_then_years():
    assert plain(show.days_ago(date(2026, 4, 9), TODAY)) == "82 days ago"
    assert plain(show.days_ago(date(2026, 6, 29), TODAY)) == "1 day ago"
    assert show.days_ago(TODAY, TODAY) == "today"
    assert plain(show.days_ago(date(2025, 4, 9), TODAY)) == "15 months ago"
    assert plain(show.days_ago(date(2020, 6, 30), TODAY)) == "6.0 years ago"


def test_one_thing_is_not_written_in_the_plural():
    assert plain(show.counted(1, "bearing")) == "1 bearing"
    assert plain(show.counted(80, "bearing")) == "80 bearings"
    assert plain(show.counted(0, "entry", "entries")) == "0 entries"


@pytest.mark.parametrize("value", [236.5, 237.5, 0.5, 1234.5])
def test_a_figure_in_micrometres_is_the_same_in_every_way_of_saying_it(value):
    assert show.in_unit(value, "um") == show.um(value)
    assert show.figure_in_unit(value, "um") == show.um_figure(value)
