"""Ugly sheets through the browser, as a person would; SHOTS=folder takes every one of them and a picture of
each screen.
"""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from tests import makers
from tests.browser.conftest import pressed
from tests.imports import bringing
from tests.imports.hands import MOST_ANSWERS, MOST_CLICKS, Hand

SHOTS = os.environ.get("SHOTS", "")  # a folder for pictures of every screen at both widths
# Between them every sort of screen, field and question; the others come in through the same pages by their
# forms alone.
SEEN = bringing.TRUTHS if SHOTS else ["overhauls_two_headings", "mixed_units", "one_row_a_reading"]
WHAT_AXE_LOOKS_FOR = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
WIDE = """document.documentElement.scrollWidth <= {width} ? [] : [...document.querySelectorAll('main *')]
.filter(e => e.scrollWidth > e.clientWidth + 1 && !e.closest('.rows-scroll')).map(e => e.outerHTML.slice(0, 120)).slice(0, 5)
.concat(['the page is ' + document.documentElement.scrollWidth + ' wide'])"""  # noqa: E501 (runs in the page)
LOOKED_AT: set[str] = set()  # axe reads each kind of screen of a run once


class BrowserHand(Hand):
    """In Chromium: what can be seen can be clicked; every screen is looked at, and kept as a picture where
    they are wanted.
    """

    def __init__(self, name, page, url):
        super().__init__(name)
        self.page, self.url, self.n_shots = page, url, 0

    def upload(self, truth):
        self.page.goto(f"{self.url}/import/")
        self.page.select_option("select[name=kind]", "history")
        sheet = {
            "name": truth["sheet"],
            "mimeType": "application/octet-stream",
            "buffer": bringing.bytes_of(truth),
        }
        self.page.set_input_files("input[name=file]", sheet)
        pressed(self.page.locator("text=Bring the sheet").first)

    def set(self, name, value):
        radio = self.page.locator(f"input[type=radio][name='{name}'][value='{value}']")
        if radio.count():
            radio.first.click()
            return True
        return _given(self.page.locator(f"select[name='{name}'], input[name='{name}']").first, value)

    def leave(self, tabs):
        self.page.locator("details:has(.plan-tabs) > summary").click()
        boxes, n = self.page.locator("input[name=tab]"), 2
        for box in [boxes.nth(k) for k in range(boxes.count())]:
            if box.is_checked() == (box.get_attribute("value") in tabs):
                box.click()
                n += 1
        pressed(self.page.locator("button[value=show]").last)
        return n

    def press(self, then):
        pressed(self.page.locator(f"button[value={then}]").first)

    def open_offer(self, text):
        pressed(self.page.locator("a.button-main", has_text="Set limits for"))
        self.page.locator("tr", has_text=text).locator("a").click()
        self.page.wait_for_load_state()

    def set_limit(self):
        pressed(self.page.locator("form button.button-main"))

    def sections(self):
        found = self.page.locator("section.question")
        return [BrowserSection(found.nth(n)) for n in range(found.count())]

    def look(self, what):
        """Nothing runs out of the page at either width, and axe finds nothing."""
        for width in (360, 1440):
            self.page.set_viewport_size({"width": width, "height": 900})
            if SHOTS:
                self.page.screenshot(
                    path=Path(SHOTS) / f"{self.name}-{self.n_shots}-{what}-{width}.png", full_page=True
                )
            wide = WIDE.format(width=width)
            assert self.page.evaluate(wide) == [], (self.name, what, width)
        self.n_shots += 1
        if what in LOOKED_AT and not SHOTS:
            return
        LOOKED_AT.add(what)
        found = Axe().run(self.page, options=WHAT_AXE_LOOKS_FOR).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"]) for one in found] == []


class BrowserSection:
    """One question on the page."""

    def __init__(self, tag):
        self.tag = tag
        self.about, self.code = tag.get_attribute("data-about"), tag.get_attribute("data-code")

    def rows(self):
        return self.tag.locator("tbody tr").all_inner_texts()

    def untick(self, n):
        box = self.tag.locator("tbody tr").nth(n).locator("input[type=checkbox]")
        if not box.count():
            return False
        box.uncheck()
        return True

    def choose(self, word):
        self.tag.locator(f"input[type=radio][value={word}]").check()

    def say(self, word, value):
        field = self.tag.locator(f"[name$='-{word}'][name^=value-]")
        return bool(field.count()) and _given(field, value)


def _given(field, value):
    """Whether a field had to be given this value."""
    if field.input_value() == value:
        return False
    is_select = field.evaluate("e => e.tagName") == "SELECT"
    (field.select_option if is_select else field.fill)(value)
    return True


@pytest.fixture
def hand_of(live_server, page, transactional_db):
    def sign_in(name, site):
        client = Client()
        client.force_login(makers.an_account(site=site))
        cookie = settings.SESSION_COOKIE_NAME
        page.context.add_cookies(
            [{"name": cookie, "value": client.cookies[cookie].value, "url": live_server.url}]
        )
        return BrowserHand(name, page, live_server.url)

    return sign_in


def shows_what_it_says(hand, live_server, truth):
    """The watch list names every bearing of the sheet, and each bearing's page its latest clearance."""
    hand.page.goto(f"{live_server.url}/", timeout=120_000)  # the first look of a run compiles the wear engine
    said = " ".join(hand.page.locator("main").inner_text().split())
    latest = {}
    for line in sorted(truth["readings"], key=lambda line: line.split("|")[2]):
        pump, position, _, _, _, um, _, quantity = (line + "||").split("|")[:8]
        if not quantity and "-" not in um:
            latest[pump, position] = float(um)
    assert latest
    for (pump, position), um in latest.items():
        assert f"{pump} {position}" in said, (pump, position)
        hand.page.goto(f"{live_server.url}/bearings/{pump}/{position}/")
        page = hand.page.locator("main").inner_text().replace("\u00a0", " ")
        assert any(words in page for words in (f"{um:.0f} µm", f"{um / 1000:.3f} mm")), (pump, position, um)


@pytest.mark.parametrize("name", SEEN)
def test_an_ugly_sheet_comes_in_by_what_can_be_seen_and_clicked(hand_of, live_server, name):
    truth = bringing.truth_of(name)
    hand = hand_of(name, bringing.the_pumps(truth))
    hand.bring(truth)
    shows_what_it_says(hand, live_server, truth)
    assert bringing.readings() == sorted(truth["readings"])
    assert hand.n <= MOST_CLICKS and hand.n_answers <= MOST_ANSWERS
