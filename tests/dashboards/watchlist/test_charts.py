"""The fleet's drawings: every bearing is somewhere, every bar on the shared axis."""

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta
from itertools import pairwise

import pytest

from dashboards.watchlist.charts import (
    Span,
    TimeAxis,
    axis_marks,
    date_axis,
    dates_in_words,
    dots_table,
    fleet_dots,
    fleet_picture,
)
from dashboards.watchlist.fleet_dots import stacked
from inspections.trend.strip import Row, strip
from inspections.trend.values import Trend, TrendDates

SVG = "{http://www.w3.org/2000/svg}"
TODAY, UNTIL = date(2026, 6, 30), date(2035, 1, 1)
OUTAGES = (
    Span(date(2026, 10, 3), date(2026, 10, 24), "Oct 26"),
    Span(date(2028, 4, 3), date(2028, 4, 24), "Apr 28"),
)
AXIS = TimeAxis(TODAY, UNTIL, OUTAGES)


def share(text: str | None) -> float:
    assert text and text.endswith("%")
    return float(text[:-1])


def nodes(drawing: str, name: str, class_: str) -> list[ET.Element]:
    return [n for n in ET.fromstring(drawing).iter(SVG + name) if n.get("class") == class_]


def circles(drawing: str) -> list[ET.Element]:
    return list(ET.fromstring(drawing).iter(f"{SVG}circle"))


def test_every_bearing_is_a_dot_or_is_counted_as_beyond():
    dates = [TODAY + timedelta(days=i * 50) for i in range(1, 60)] + [TODAY] + [None] * 4 + [date(2050, 1, 1)]
    drawing = fleet_dots(dates, OUTAGES, TODAY, UNTIL)
    assert len(circles(drawing)) == 60
    assert "5 beyond 2034 →" in drawing.replace("\u00a0", " ")
    assert "1 has a 1 in 10 chance already" in drawing


def test_a_chance_that_is_here_already_is_not_called_a_passed_limit():
    dates = [TODAY, TODAY, date(2020, 1, 1), date(2030, 3, 2)]
    drawing = fleet_dots(dates, (), TODAY, UNTIL)
    assert "already" in drawing and "passed" not in drawing
    assert not nodes(drawing, "circle", "fill-limit") and len(nodes(drawing, "circle", "fill-dye")) == 4


@pytest.mark.parametrize("narrow", [False, True])
def test_no_year_is_written_into_the_word_already(narrow):
    january = date(2026, 12, 20)
    drawing = fleet_dots([january, None], (), january, UNTIL, narrow=narrow)
    width = 328 if narrow else 1376
    years = [n for n in ET.fromstring(drawing).iter(f"{SVG}text") if (n.text or "").isdigit()]
    assert years and "already" in drawing
    for node in years:
        assert share(node.get("x")) / 100 * width - 16 > 7 * 7, node.text  # seven letters of seven px


def test_only_those_past_their_limit_stand_in_its_colour_at_the_foot_of_the_stack():
    drawing = fleet_dots([TODAY] * 5 + [date(2030, 3, 2)], (), TODAY, UNTIL, n_past=2)
    past, coming = nodes(drawing, "circle", "fill-limit"), nodes(drawing, "circle", "fill-dye")
    assert (len(past), len(coming)) == (2, 4)
    beside = [float(one.get("cy")) for one in coming if one.get("cx") == past[0].get("cx")]
    assert max(beside) < min(float(one.get("cy")) for one in past)  # y grows downwards
    caption = fleet_picture([TODAY] * 5, (), TODAY, UNTIL, n_past=2)
    assert "5 have that chance already, 2 of them past the limit." in caption
    assert ["of these past the limit", "2"] in dots_table([TODAY] * 5, (), TODAY, UNTIL, n_past=2)[1]


def test_a_dot_stands_in_the_month_of_its_date():
    drawing = fleet_dots([date(2030, 3, 2)], (), TODAY, UNTIL)
    axis = TimeAxis(TODAY, UNTIL, left=4.5, right=2.0)
    assert share(circles(drawing)[0].get("cx")) == pytest.approx(axis.x(date(2030, 3, 15)), abs=0.006)


def test_outages_are_named_by_their_month_as_often_as_the_least_wide_screen_can_hold():
    close = tuple(
        Span(date(2027, m, 1), date(2027, m, 15), f"a very long outage name {m}") for m in (2, 3, 9)
    )
    drawing = fleet_dots([date(2030, 3, 2)], close, TODAY, UNTIL)
    said = [(n.text or "").replace("\u00a0", " ") for n in ET.fromstring(drawing).iter(f"{SVG}text")]
    assert "Feb 2027" in said and "Mar 2027" not in said
    assert not [text for text in said if "very long" in text]
    assert "a very long outage name 3" in drawing  # to hover over


def test_dots_of_one_month_stack_without_touching():
    heights = [float(c.get("cy")) for c in circles(fleet_dots([date(2030, 3, 2)] * 5, (), TODAY, UNTIL))]
    assert len(set(heights)) == 5
    assert min(a - b for a, b in pairwise(heights)) >= 9  # a dot is 9 high


def test_a_great_fleet_keeps_stacks_that_can_be_counted_and_says_what_a_dot_is():
    dates = [date(2030, 3, 2)] * 281
    assert stacked(dates, TODAY, UNTIL, months=1).worth == 50
    picture = fleet_picture(dates, OUTAGES, TODAY, UNTIL)
    assert "Each dot is up to 50" in picture
    assert len(circles(fleet_dots(dates, OUTAGES, TODAY, UNTIL))) == 6


@pytest.mark.parametrize(("n", "worth"), [(0, 1), (14, 1), (15, 2), (29, 5), (71, 10), (100_000, 10_000)])
def test_a_dot_is_worth_the_least_round_number_that_keeps_the_stack_low(n, worth):
    assert stacked([date(2030, 3, 2)] * n, TODAY, UNTIL, months=1).worth == worth


def test_the_table_of_dots_counts_each_bearing_once():
    dates = [
        TODAY,
        date(2026, 10, 3),
        date(2026, 10, 4),
        date(2028, 4, 3),
        date(2034, 12, 31),
        None,
        date(2040, 1, 1),
    ]
    _, rows = dots_table(dates, OUTAGES, TODAY, UNTIL)
    assert [row[1] for row in rows] == ["1", "1", "2", "1", "2"]
    assert rows[1][0] == "before Oct 26" and rows[-1][0] == "beyond 2034"


def test_the_picture_for_wide_and_narrow_screens_shares_no_id():
    picture = fleet_picture([date(2030, 1, 1)], OUTAGES, TODAY, UNTIL)
    ids = re.findall(r'\bid="([^"]+)"', picture)
    assert len(ids) == len(set(ids)) == 2
    assert "style=" not in picture


def drawn(dates: TrendDates | None, note: str = "", is_past: bool = False) -> str:
    """A row's drawing with these dates and nothing else."""
    trend = Trend("Lift 1 DE", "", TODAY, UNTIL, dates=dates)
    return strip(trend, AXIS, row=Row("as told", note, is_past, AXIS.ident))


def test_a_row_runs_from_one_in_ten_over_the_even_chance_to_nine_in_ten():
    first, even, last = date(2027, 1, 1), date(2028, 6, 1), date(2031, 1, 1)
    drawing = drawn(TrendDates("replace limit", first, even, last))
    long, tick = nodes(drawing, "line", "line-dye")
    assert (share(long.get("x1")), share(long.get("x2"))) == pytest.approx(
        (AXIS.x(first), AXIS.x(last)), abs=0.006
    )
    assert tick.get("x1") == tick.get("x2") == long.get("x1")
    assert share(circles(drawing)[0].get("cx")) == pytest.approx(AXIS.x(even), abs=0.006)
    assert not nodes(drawing, "path", "line-dye")  # no arrow: it ends here


def test_dates_in_words_give_all_three_chances():
    said = dates_in_words(date(2026, 8, 1), date(2027, 6, 1), date(2030, 1, 1), AXIS)
    assert (
        said.replace("\u00a0", " ")
        == "1 in 10 by 1 August 2026, even chance by June 2027, 9 in 10 by winter 2029–30"
    )


@pytest.mark.parametrize(
    ("even", "last", "n_dots"),
    [
        (date(2030, 1, 1), date(2036, 1, 1), 1),
        (date(2030, 1, 1), None, 1),
        (date(2036, 1, 1), None, 0),
        (None, None, 0),
    ],
)
def test_dates_that_go_on_past_the_axis_end_in_an_arrow(even, last, n_dots):
    drawing = drawn(TrendDates("replace limit", date(2028, 1, 1), even, last))
    assert len(nodes(drawing, "path", "line-dye")) == 1
    assert len(circles(drawing)) == n_dots


def test_a_passed_limit_is_said_in_words_and_in_the_limit_colour():
    drawing = drawn(TrendDates("replace limit", TODAY, None, None), "limit already passed", is_past=True)
    (said,) = nodes(drawing, "text", "words limit strong halo")
    assert said.text == "limit already passed" and not circles(drawing)


def test_without_a_date_the_row_says_why():
    drawing = drawn(None, "cannot say yet")
    assert "cannot say yet" in drawing and not nodes(drawing, "line", "line-dye")


def test_every_row_finds_the_outages_and_years_that_the_axis_holds():
    ids = set(re.findall(r'\bid="([^"]+)"', axis_marks(AXIS)))
    used = set(re.findall(r'href="#([^"]+)"', drawn(None)))
    assert used and used <= ids
    assert set(re.findall(r"url\(#([^)]+)\)", date_axis(AXIS))) <= ids


def test_days_outside_the_axis_are_held_at_its_ends():
    assert AXIS.x(date(2000, 1, 1)) == AXIS.x(TODAY) == AXIS.left
    assert AXIS.x(date(2090, 1, 1)) == AXIS.x(UNTIL) == 100 - AXIS.right


def test_the_axis_names_its_outages_for_those_who_hear_it():
    label = ET.fromstring(date_axis(AXIS)).get("aria-label")
    assert label.endswith("outages Oct 26, Apr 28")
