"""The look holds its promises: contrast, one palette, nothing inline, no other host."""

import re
from pathlib import Path

import pytest

from fleet.drawing import PALETTE, Box, Places, element, words

ROOT = Path(__file__).resolve().parents[2]
SHEET = (ROOT / "fleet/static/fleet/site.css").read_text()
TEMPLATES = sorted(
    path
    for app in ("fleet", "inspections", "dashboards")
    for path in (ROOT / app).glob("templates/**/*.html")
)
SCRIPTS = sorted(
    path for app in ("fleet", "inspections", "dashboards") for path in (ROOT / app).glob("static/**/*.*")
)


def colours(start: str) -> dict[str, str]:
    """The custom properties of the first block after `start`."""
    block = SHEET[SHEET.index(start) :]
    block = block[block.index(":root") : block.index("}")]
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{3,6});", block))


LIGHT = colours(":root")
DARK = LIGHT | colours("(prefers-color-scheme: dark)")


def luminance(colour: str) -> float:
    digits = colour[1:] if len(colour) == 7 else "".join(c * 2 for c in colour[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """WCAG 2.2, definition of contrast ratio."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_contrast_measure_agrees_with_its_definition():
    assert contrast("#000", "#ffffff") == pytest.approx(21)


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize("text", ["ink", "quiet", "dye", "limit", "bronze"])
@pytest.mark.parametrize("ground", ["paper", "raised", "note-pale", "limit-pale", "hatch-ground"])
def test_text_stands_off_every_ground_by_four_and_a_half(scheme, text, ground):
    assert contrast(scheme[text], scheme[ground]) >= 4.5


@pytest.mark.parametrize("scheme", [LIGHT, DARK], ids=["light", "dark"])
def test_marks_and_edges_stand_off_by_three(scheme):
    for mark, ground in (("edge", "paper"), ("edge", "raised"), ("limit", "dye-pale"), ("limit", "dye-mid")):
        assert contrast(scheme[mark], scheme[ground]) >= 3, (mark, ground)
    assert contrast(scheme["on-dye"], scheme["dye"]) >= 4.5
    assert contrast(scheme["dye"], scheme["dye-mid"]) >= 3


def test_drawings_and_pages_share_one_palette():
    assert {name: LIGHT[name] for name in PALETTE} == PALETTE


def test_every_class_a_drawing_uses_follows_the_page():
    sheet = (ROOT / "fleet/static/fleet/charts.css").read_text()
    for name in ("ink", "quiet", "rule", "dye", "limit", "bronze", "hatch-line"):
        assert f".line-{name} {{" in sheet, name


@pytest.mark.parametrize("path", TEMPLATES, ids=lambda path: path.name)
def test_no_template_holds_what_the_content_policy_forbids(path):
    text = path.read_text()
    assert not re.search(r"\sstyle\s*=|<style|\son\w+\s*=(?!=)|javascript:", text)
    assert not re.search(r"<script(?![^>]*\ssrc=)", text)


@pytest.mark.parametrize("path", [*TEMPLATES, *SCRIPTS], ids=lambda path: path.name)
def test_nothing_is_fetched_from_another_host(path):
    text = path.read_text().replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"(https?:)?//[a-z0-9.-]+\.[a-z]{2,}", text)


def test_text_in_a_drawing_cannot_become_markup():
    drawn = words(1.0, 2.0, "<script>&", "quiet") + element("g", title='"><x')
    assert "<script>" not in drawn and "<x" not in drawn
    assert "&lt;script&gt;&amp;" in drawn


def test_a_label_takes_the_first_free_place_and_an_optional_one_none_that_is_taken():
    places = Places(Box(0, 0, 100, 100), [Box(0, 0, 50, 20)])
    assert places.choose([Box(0, 0, 20, 10), Box(60, 0, 20, 10)]) == Box(60, 0, 20, 10)
    assert places.choose([Box(62, 2, 10, 5)], must=False) is None
    assert places.choose([Box(95, 50, 20, 10)], must=False) is None  # would leave the drawing
    assert places.choose([Box(62, 2, 10, 5)]) is None  # on the words placed above
    assert places.choose([Box(2, 2, 10, 5)], must=False) is None
    assert places.choose([Box(2, 2, 10, 5)]) == Box(2, 2, 10, 5)  # it must: on a line, but on no words
