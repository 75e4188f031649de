"""The pages in a real browser: nothing fetched elsewhere, nothing blocked, nothing cut off, nothing out of
reach.
"""

import re

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.browser.conftest import pressed

WIDTHS = (360, 1440)
# Width of the page against width of the window; equal where nothing scrolls sideways.
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
# Words of one drawing that lie on each other, as this browser sets them, in pairs.
ON_EACH_OTHER = """name => [...document.querySelectorAll(name)].flatMap(drawing => {
  const words = [...drawing.querySelectorAll("text")].filter(one => one.getClientRects().length)
    .map(one => ({said: one.textContent, box: one.getBoundingClientRect()}));
  return words.flatMap((one, n) => words.slice(n + 1).filter(other =>
    Math.min(one.box.right, other.box.right) - Math.max(one.box.left, other.box.left) > 2 &&
    Math.min(one.box.bottom, other.box.bottom) - Math.max(one.box.top, other.box.top) > 5
  ).map(other => [one.said, other.said]));
})"""


def test_the_list_leads_to_a_bearing_whose_chart_zooms_within_the_content_policy(heard, opened, small_fleet):
    page = opened(small_fleet.watch_list)
    assert page.get_by_role("heading", level=1).inner_text() == "Which bearings come first"
    assert page.title() == "Which bearings come first · Clearance ledger"
    pressed(page.get_by_role("link", name="Lift 1 DE"))
    assert page.get_by_role("heading", level=1).inner_text() == "Lift 1, DE"
    assert page.title() == "Lift 1, DE · Clearance ledger"
    page.get_by_role("button", name="Zoom this chart").click()
    page.wait_for_selector('.chart[data-ready="1"]')
    assert not page.locator(".modebar-btn").count()
    moments = "map(one => Date.parse(one.replace(' ', 'T').replace(/(T[^Z]*)$/, '$1Z')))"
    stretch = f"document.querySelector('.zoomed').layout.xaxis.range.{moments}"
    low, high = page.evaluate(stretch)
    page.get_by_role("button", name="Closer").click()
    page.get_by_role("button", name="Later").click()
    assert page.evaluate(stretch) == [low + (high - low) / 2, low + (high - low)]
    page.get_by_role("button", name="All of it").click()
    assert page.evaluate(stretch) == [low, high]
    page.get_by_role("button", name="Back to the drawing").click()
    assert page.locator(".drawing svg.trend:visible").count() == 1
    assert page.evaluate(ON_EACH_OTHER, "svg.trend") == []
    assert heard.said == []
    assert heard.asked_elsewhere == []


@pytest.mark.parametrize("width", WIDTHS)
def test_no_page_scrolls_sideways_and_axe_finds_nothing(width, opened, small_fleet):
    axe, found = Axe(), {}
    for address in (
        small_fleet.watch_list,
        "/?fold=pump",
        small_fleet.bearing,
        "/method/",
        "/choices/",
        "/plan/sites/",
        "/import/",
        "/import/words/",
        "/quality/",
    ):
        page = opened(address, width)
        assert page.evaluate(SIDEWAYS) == 0, address
        blank_before = re.findall(r"\w+ [,.;:](?=\s|$)", page.locator("main").inner_text())
        assert blank_before == [], address
        report = axe.run(page)
        if report.violations_count:
            found[address] = report.generate_report()
    assert found == {}


@pytest.mark.parametrize("width", WIDTHS)
def test_who_is_signed_in_stands_whole_in_one_row_of_the_head(width, opened, small_fleet):
    page = opened(small_fleet.watch_list, width)
    who, name = page.locator(".who"), page.locator("a.name").bounding_box()
    assert who.inner_text() == "engineer, Alderbrook Weir"
    assert who.evaluate("e => [e.scrollWidth - e.clientWidth, e.scrollHeight - e.clientHeight]") == [0, 0]
    box = who.bounding_box()
    assert name["y"] < box["y"] + box["height"] / 2 < name["y"] + name["height"]


def test_on_a_phone_a_bearing_is_a_short_card_with_its_drawing(opened, small_fleet):
    page = opened(small_fleet.watch_list, 360)
    cards = page.locator(".folds .watch tbody tr")
    heights = [cards.nth(n).bounding_box()["height"] for n in range(cards.count())]
    assert len(heights) == 6 and max(heights) <= 300
    assert page.evaluate(ON_EACH_OTHER, ".row-strip") == []
    bars = page.locator(".folds .row-strip")
    assert all(bars.nth(n).bounding_box()["width"] > 300 for n in range(bars.count()))


def test_on_a_wide_screen_all_drawings_share_one_axis_under_its_heading(opened, small_fleet):
    page = opened("/?fold=pump")
    axis = page.locator(".heads .date-axis").bounding_box()
    assert 0.25 < axis["width"] / 1440 < 0.4
    assert page.evaluate(ON_EACH_OTHER, ".row-strip") == []
    bars = page.locator(".folds .row-strip")
    boxes = [bars.nth(n).bounding_box() for n in range(bars.count())]
    assert len(boxes) == 6
    for box in boxes:
        assert (box["x"], box["width"]) == pytest.approx((axis["x"], axis["width"]), abs=1)


def test_the_keyboard_comes_past_the_head_to_the_content_at_once(opened, small_fleet):
    page = opened(small_fleet.watch_list)
    page.keyboard.press("Tab")
    skip = page.locator(":focus")
    assert skip.inner_text() == "Skip to the content"
    assert skip.bounding_box()["x"] >= 0
    page.keyboard.press("Enter")
    assert page.evaluate("document.activeElement.id") == "content"
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.closest('main') !== null")


@pytest.mark.parametrize("address", ["/", "/?site=Alderbrook+Weir&fold=pump"])
def test_what_is_notable_of_a_bearing_runs_on_below_its_figures(address, opened, small_fleet):
    page = opened(address, 1280)
    rows = page.locator(".folds tr", has=page.locator(".said"))
    assert rows.count()
    for n in range(rows.count()):
        said = rows.nth(n).locator(".said").first.bounding_box()
        for name in ("last", "wear"):  # the note ends a line lower
            figures = rows.nth(n).locator(f'td[data-column="{name}"] .cell').bounding_box()
            assert said["y"] + said["height"] > figures["y"] + figures["height"] + 10, (n, name)
