"""One bearing's drawings: what stands where, in which words, and nothing a name could break."""

import json
import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from datetime import date, timedelta

import plotly.graph_objects as go
import pytest

from fleet.drawing import Span, text_width
from inspections.trend import values
from inspections.trend.charts import (
    fan_table,
    trend_picture,
    trend_plotly,
    trend_svg,
    trend_table,
    twenty_dots,
)
from inspections.trend.scales import NARROW, WIDE, Frame, nice_step
from inspections.trend.svg import draw

SVG = "{http://www.w3.org/2000/svg}"
TODAY, UNTIL = date(2026, 6, 30), date(2034, 1, 1)
SCRAPED = date(2021, 10, 18)
NASTY = '<img src=x onerror="alert(1)"> & <b>'


def a_fan() -> values.TrendFan:
    days = tuple(TODAY + timedelta(days=91 * i) for i in range(31))
    rise = range(31)
    return values.TrendFan(
        days,
        *(
            tuple(229 + s * i + z for i in rise)
            for z, s in ((-4, 1.5), (-2, 2.2), (0, 3.1), (2, 4.2), (4, 6))
        ),
    )


def a_trend(**changes) -> values.Trend:
    trend = values.Trend(
        "North lift 2, drive end",
        "1 in 10 before October 2026",
        TODAY,
        UNTIL,
        readings=(
            values.TrendReading(date(2014, 4, 10), 128, 6, method="plastic_strip"),
            values.TrendReading(SCRAPED, 197, 6, method="plastic_strip"),
            values.TrendReading(SCRAPED, 208, 6, "as_left", "plastic_strip"),
            values.TrendReading(date(2026, 4, 9), 229, 3, method="bore_gauge"),
        ),
        works=(values.TrendWork(SCRAPED, "scrape", "scraped", 11.2, "3 rounds"),),
        paths=(values.TrendPath((date(2014, 4, 10), SCRAPED, SCRAPED, TODAY), (128, 197, 208, 230)),),
        fan=a_fan(),
        limits=(
            values.TrendLimit("maximum", 260, "maker, 2011"),
            values.TrendLimit("replace", 243, "derived"),
        ),
        outages=(Span(date(2026, 10, 3), date(2026, 10, 24), "Oct 26"),),
        dates=values.TrendDates("243 µm reached", date(2026, 11, 10), date(2027, 6, 2), date(2028, 7, 1)),
    )
    return replace(trend, **changes)


def texts(drawing: str) -> list[str]:
    return [
        "".join(node.itertext()).replace("\u00a0", " ") for node in ET.fromstring(drawing).iter(f"{SVG}text")
    ]


def marks(drawing: str, name: str, **wanted: str) -> list[ET.Element]:
    nodes = ET.fromstring(drawing).iter(SVG + name)
    return [n for n in nodes if all(n.get(k.rstrip("_").replace("_", "-")) == v for k, v in wanted.items())]


def test_a_reading_stands_at_its_day_and_clearance_with_a_bar_that_holds_nine_in_ten():
    frame = Frame(a_trend(), WIDE, "t")
    rings = marks(trend_svg(a_trend()), "circle", class_="ring-dye", r="5.4")
    first = rings[0]
    assert float(first.get("cx")) == pytest.approx(frame.x(date(2014, 4, 10)), abs=0.06)
    assert float(first.get("cy")) == pytest.approx(frame.y(128), abs=0.06)
    top, foot = frame.reach(a_trend().readings[0])
    assert foot - top == pytest.approx((frame.y(0) - frame.y(1)) * 2 * 1.6448536 * 6)  # of a normal


def test_as_found_is_round_and_as_left_is_square():
    drawing = trend_svg(a_trend())
    assert len(marks(drawing, "circle", class_="ring-dye", r="5.4")) == 3
    assert len(marks(drawing, "rect", class_="ring-dye", width="9.2")) == 1


def test_a_reading_that_is_not_used_is_hollow_crossed_and_quiet():
    out = values.TrendReading(date(2022, 5, 3), 146, 6, state="excluded")
    plain, crossed = trend_svg(a_trend()), trend_svg(a_trend(readings=(*a_trend().readings, out)))
    assert not marks(plain, "circle", class_="ring-quiet")
    assert len(marks(crossed, "circle", class_="ring-quiet", r="5.4")) == 1
    assert "not used" in texts(crossed) and "not used" not in texts(plain)


def test_a_scrape_breaks_the_line_with_a_step_in_bronze_that_says_how_much():
    drawing = trend_svg(a_trend())
    assert "scraped +11 µm" in texts(drawing)
    frame = Frame(a_trend(), WIDE, "t")
    x = f"{frame.x(SCRAPED):.1f}"
    steps = marks(drawing, "line", class_="line-bronze", x1=x, x2=x)
    assert [(s.get("y1"), s.get("y2")) for s in steps] == [(f"{frame.y(197):.1f}", f"{frame.y(208):.1f}")]
    runs = marks(drawing, "path", class_="line-dye", stroke_width="2.2")
    assert len(runs) == 2  # one line before the scrape, one after: never one through it


def test_two_lives_are_two_lines_and_new_metal_cuts_the_height():
    second = values.TrendPath((date(2022, 1, 1), TODAY), (120, 160))
    shell = values.TrendWork(date(2022, 1, 1), "shell_change", "new shell S-0412")
    first = values.TrendPath((date(2014, 1, 1), date(2021, 12, 1)), (120, 230))
    drawing = trend_svg(a_trend(paths=(first, second), works=(shell,)))
    assert len(marks(drawing, "path", class_="line-dye", stroke_width="2.2")) == 2
    uprights = marks(drawing, "line", class_="line-bronze", stroke_dasharray="2 3")
    assert [line.get("y2") for line in uprights].count("410") == 1 and "a new level" in texts(drawing)
    assert "new shell S-0412" in texts(drawing)


def test_only_a_scrape_is_drawn_as_a_step_up():
    cleaned = date(2018, 3, 14)
    path = values.TrendPath((date(2014, 4, 10), cleaned, cleaned, TODAY), (128, 182, 173, 230))
    drawing = trend_svg(a_trend(paths=(path,), works=(values.TrendWork(cleaned, "oil", "oil flushed"),)))
    x = f"{Frame(a_trend(), WIDE, 't').x(cleaned):.1f}"
    assert not marks(drawing, "line", class_="line-bronze", x1=x, x2=x)


def test_outages_that_are_over_do_not_cross_the_readings():
    gone, coming = Span(date(2018, 4, 1), date(2018, 4, 20), "then"), a_trend().outages[0]
    drawing = trend_svg(a_trend(outages=(gone, coming)))
    assert len(marks(drawing, "rect", class_="hatched", y="36")) == 1
    assert "Oct 2026" in texts(drawing)


def test_what_changed_nothing_is_marked_but_not_named_on_the_drawing():
    works = (values.TrendWork(date(2019, 1, 1), "contact_check", "contact checked"),)
    drawing = trend_svg(a_trend(works=works))
    assert "contact checked" not in texts(drawing) and "contact checked" in drawing


def test_a_crowded_label_is_cut_to_its_first_words_before_it_is_left_out():
    ends = [date(2018, 11, 6), date(2021, 1, 7)]
    works = tuple(values.TrendWork(d, "shell_change", "shell changed, lower half") for d in ends)
    said = texts(trend_svg(a_trend(works=works, readings=(), paths=(), limits=())))
    assert "shell changed" in said or "shell changed, lower half" in said


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_both_limits_are_named_at_the_margin_by_who_set_them(size):
    root = ET.fromstring(draw(a_trend(), size, "t"))
    margin = [n for n in root.iter(f"{SVG}text") if float(n.get("x")) > size.width - size.right]
    said = " ".join("".join(n.itertext()) for n in margin).replace("\u00a0", " ")
    assert said.startswith("maximum 260 µm maker, 2011 replace limit 243 µm derived")


def test_a_long_authority_is_cut_to_the_margin():
    wordy = values.TrendLimit("maximum", 260, " ".join(["aaaaaaa"] * 12))
    rows = [text for text in texts(trend_svg(a_trend(limits=(wordy,)), narrow=True)) if "aa" in text]
    assert len(rows) == 3 and rows[-1].endswith("…")
    long = values.TrendLimit("maximum", 260, "aa specificationwithoutblanks bb")
    rows = list(texts(trend_svg(a_trend(limits=(long,)), narrow=True)))
    assert [text[-1] for text in rows if text.startswith("specif")] == ["…"] and "bb" in rows
    trend = a_trend()
    for size in (WIDE, NARROW):
        frame = Frame(trend, size, "t")
        for node in ET.fromstring(draw(trend, size, "t")).iter(f"{SVG}text"):
            text = "".join(node.itertext())
            if float(node.get("x")) > frame.right + 1 and node.get("class") == "words limit":
                assert float(node.get("x")) + text_width(text, size.font) <= size.width, text


def test_both_ends_of_a_reading_are_drawn_the_larger_as_the_reading():
    seen = values.TrendReading(date(2025, 5, 1), 270, 5, smaller_um=240)
    trend = a_trend(readings=(seen,), works=(), paths=())
    frame = Frame(trend, WIDE, "t")
    drawing = trend_svg(trend)
    (ring,) = marks(drawing, "circle", class_="ring-dye", r="5.4")
    assert float(ring.get("cy")) < frame.y(260)  # over its maximum
    ticks = [n for n in marks(drawing, "line", class_="line-dye") if n.get("y1") == n.get("y2")]
    assert f"{frame.y(240):.1f}" in {n.get("y1") for n in ticks}


def test_the_planned_opening_stands_on_its_outage_with_its_trigger():
    job = values.TrendJob(date(2026, 10, 3), date(2026, 10, 24), 236.5, "open in October 2026")
    trend = a_trend(job=job)
    frame = Frame(trend, WIDE, "t")
    drawing = trend_svg(trend)
    assert "open in October 2026; replace from 236 µm" in texts(drawing)
    (bar,) = marks(drawing, "line", class_="line-ink", stroke_width="3")[:1]
    assert bar.get("y1") == f"{frame.y(236.5):.1f}"
    assert float(bar.get("x1")) < frame.x(job.start) < float(bar.get("x2"))


def test_a_limit_that_held_once_ends_on_its_day():
    old = values.TrendLimit("maximum", 300, "chart", to_day=date(2018, 1, 1))
    drawing = trend_svg(a_trend(limits=(*a_trend().limits, old)))
    frame = Frame(a_trend(limits=(*a_trend().limits, old)), WIDE, "t")
    ends = [node.get("x2") for node in marks(drawing, "line", class_="line-limit", stroke_width="1.3")]
    assert ends == [f"{frame.x(date(2018, 1, 1)):.1f}"]
    assert "maximum 300 µm until 2018" in texts(drawing)


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [(225, None, "over 225 µm"), (None, 50, "under 50 µm"), (76, 102, "between 76 and 102 µm")],
)
def test_a_bound_is_drawn_as_a_bound_and_never_as_a_number(low, high, said):
    bound = values.TrendReading(date(2025, 1, 1), low or high, 0, low_um=low, high_um=high)
    trend = a_trend(readings=(bound,), works=(), paths=())
    drawing = trend_svg(trend)
    assert not marks(drawing, "circle", class_="ring-dye", r="5.4")
    assert "only a bound seen" in texts(drawing)
    assert trend_table(trend)[1][0][2].replace("\u00a0", " ") == said


@pytest.mark.parametrize("size", [WIDE, NARROW], ids=["wide", "narrow"])
def test_labels_do_not_lie_on_each_other(size):
    close = (
        values.TrendLimit("maximum", 262, "general rule, adopted in 2012"),
        values.TrendLimit("replace", 258, "plant"),
    )
    works = tuple(values.TrendWork(date(2014 + i, 3, 1), "oil", f"oil changed {i}") for i in range(10))
    job = values.TrendJob(date(2026, 10, 3), date(2026, 10, 24), 255, "open in October 2026")
    trend = a_trend(limits=close, works=(*works, *a_trend().works), job=job)
    drawing = draw(trend, size, "t")
    boxes = []
    for node in ET.fromstring(drawing).iter(f"{SVG}text"):
        width = 0.5 * float(node.get("font-size")) * len("".join(node.itertext()))
        x = float(node.get("x")) - {"end": width, "middle": width / 2}.get(node.get("text-anchor"), 0)
        boxes.append((x, float(node.get("y")), width, "".join(node.itertext())))
    for i, (x1, y1, w1, t1) in enumerate(boxes):
        for x2, y2, w2, t2 in boxes[i + 1 :]:
            overlap = min(x1 + w1, x2 + w2) - max(x1, x2)
            assert overlap <= 1 or abs(y1 - y2) >= 10, (t1, t2)


@pytest.mark.parametrize("narrow", [False, True])
def test_every_mark_stands_inside_the_drawing(narrow):
    drawing = trend_svg(a_trend(), narrow=narrow)
    root = ET.fromstring(drawing)
    _, _, width, height = map(float, root.get("viewBox").split())
    for node in root.iter():
        for name, most in (
            ("x", width),
            ("x1", width),
            ("cx", width),
            ("y", height),
            ("y1", height),
            ("cy", height),
        ):
            if node.get(name) and not node.get("transform") and node.tag != f"{SVG}rect":
                assert -20 <= float(node.get(name)) <= most, (node.tag, name, node.get(name))


@pytest.mark.parametrize(
    "trend",
    [
        a_trend(readings=(), works=(), paths=(), fan=None, limits=(), dates=None),
        a_trend(readings=(values.TrendReading(TODAY, 150, 0),), works=(), paths=(), limits=(), dates=None),
        a_trend(dates=values.TrendDates("never", None, None, None)),
        a_trend(dates=values.TrendDates("late", date(2033, 1, 1), None, None)),
    ],
    ids=["nothing known", "one reading today", "no dates", "dates beyond"],
)
def test_a_bearing_of_which_little_is_known_is_still_drawn(trend):
    for drawing in (trend_svg(trend), trend_svg(trend, narrow=True)):
        assert "nan" not in drawing and "inf" not in drawing.replace("info", "")
        ET.fromstring(drawing)
    go.Figure(trend_plotly(trend))
    trend_table(trend)


def test_two_drawings_on_a_page_share_no_id_and_hold_no_inline_style():
    page = trend_picture(a_trend())
    ids = re.findall(r'\bid="([^"]+)"', page)
    assert len(ids) == len(set(ids)) > 4
    assert set(re.findall(r"url\(#([^)]+)\)", page)) <= set(ids)
    assert "style=" not in page and "<style" not in page


def test_a_drawing_has_a_role_and_a_sentence_for_those_who_hear_it():
    root = ET.fromstring(trend_svg(a_trend()))
    assert root.get("role") == "img"
    assert root.get("aria-label") == "North lift 2, drive end. 1 in 10 before October 2026"


def test_what_people_typed_cannot_become_markup_in_drawing_or_figure():
    trend = a_trend(
        title=NASTY,
        readings=(values.TrendReading(TODAY, 150, 6, method=NASTY, label=NASTY),),
        works=(values.TrendWork(SCRAPED, "oil", NASTY, detail=NASTY),),
        limits=(values.TrendLimit("maximum", 260, NASTY),),
        outages=(Span(date(2027, 1, 1), date(2027, 2, 1), NASTY),),
        today_label=NASTY,
    )
    assert "<img" not in trend_svg(trend)
    ET.fromstring(trend_svg(trend))
    assert "<img" not in json.dumps(trend_plotly(trend)) and "<b>" not in json.dumps(trend_plotly(trend))


def test_the_figure_to_zoom_is_valid_and_holds_the_same_numbers_as_the_drawing():
    trend = a_trend()
    figure = trend_plotly(trend)
    go.Figure(json.loads(json.dumps(figure)))  # plain values only, and plotly knows every key
    by_name = {trace["name"]: trace for trace in figure["data"]}
    assert by_name["as found"]["y"] == [128, 197, 229]
    assert by_name["as left"]["y"] == [208]
    assert by_name["even chance"]["y"] == [round(v, 1) for v in a_fan().p50]
    band = by_name["8 in 10"]
    assert band["y"][:31] == list(a_fan().p90) and band["y"][31:] == list(a_fan().p10)[::-1]
    assert {s["y0"] for s in figure["layout"]["shapes"] if s["line"].get("dash")} == {260, 243}


def test_the_table_tells_readings_and_work_with_the_newest_first():
    headings, rows = trend_table(a_trend())
    plain = [[cell.replace("\u00a0", " ") for cell in row] for row in rows]
    assert len({len(headings), *(len(row) for row in rows)}) == 1
    assert plain[0] == ["9 Apr 2026", "bore gauge as found", "229 µm", "± 5 µm", ""]
    assert ["18 Oct 2021", "scraped", "+11 µm", "", "3 rounds"] in plain
    assert plain[-1][0] == "10 Apr 2014"


def test_the_coming_clearance_is_told_once_a_year_and_at_the_end():
    headings, rows = fan_table(a_trend())
    years = [row[0][-4:] for row in rows]
    assert len(headings) == 6 and all(len(row) == 6 for row in rows)
    assert years == [*(str(year) for year in range(2026, 2034)), "2033"]
    assert fan_table(a_trend(fan=None))[1] == []


@pytest.mark.parametrize(("p", "filled"), [(0.05, 1), (0.074, 1), (0.31, 6), (0.5, 10), (0.99, 20), (1, 20)])
def test_twenty_dots_fill_within_one_dot_of_the_chance(p, filled):
    drawing = twenty_dots(p)
    assert drawing.count("dot-filled") == filled
    assert drawing.count("<circle") == 20
    assert abs(filled / 20 - p) <= 1 / 20


@pytest.mark.parametrize("p", [None, float("nan"), 0.0, 0.049])
def test_no_dots_stand_for_a_chance_that_is_not_known_or_under_1_in_20(p):
    assert twenty_dots(p) == ""


@pytest.mark.parametrize(("rough", "step"), [(1, 1), (1.01, 2), (3, 5), (5.1, 10), (37, 50), (0.03, 0.05)])
def test_the_scale_steps_by_one_two_or_five(rough, step):
    assert nice_step(rough) == pytest.approx(step)
