"""Every ugly sheet through the browser, as a person would: clicks and answers counted, what is stored held against the truth."""

import os
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from fleet.importing.questions import TOGETHER
from tests import makers
from tests.browser.conftest import pressed
from tests.imports import bringing

MOST_CLICKS, MOST_ANSWERS = 25, 15
WHAT_AXE_LOOKS_FOR = {"runOnly": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]}
WIDE = """document.documentElement.scrollWidth <= {width} ? [] : [...document.querySelectorAll('main *')]
.filter(e => e.scrollWidth > e.clientWidth + 1 && !e.closest('.rows-scroll')).map(e => e.outerHTML.slice(0, 120)).slice(0, 5)
.concat(['the page is ' + document.documentElement.scrollWidth + ' wide'])"""
LOOKED_AT: set[str] = set()  # axe reads each kind of screen of a run once
SHOTS = os.environ.get("SHOTS", "")  # a folder for pictures of every screen at both widths


class Hand:
    """Clicks, choices and typed fields, counted; a picture of every screen where they are wanted."""

    def __init__(self, page, name):
        self.page, self.name, self.n, self.n_answers, self.n_shots = page, name, 0, 0, 0

    def click(self, what):
        self.n += 1
        self.page.locator(what).first.click()

    def leave_by(self, what):
        self.n += 1
        pressed(self.page.locator(what).first)

    def choose(self, what, value):
        if self.page.locator(what).first.input_value() != value:
            self.n += 1
            self.page.locator(what).first.select_option(value)

    def fill(self, what, value):
        if self.page.locator(what).first.input_value() != value:
            self.n += 1
            self.page.locator(what).first.fill(value)

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


@pytest.fixture
def hand_of(live_server, page, transactional_db):
    def sign_in(name, site):
        client = Client()
        client.force_login(makers.an_account(site=site))
        cookie = settings.SESSION_COOKIE_NAME
        page.context.add_cookies(
            [{"name": cookie, "value": client.cookies[cookie].value, "url": live_server.url}]
        )
        return Hand(page, name)

    return sign_in


def upload(hand, live_server, truth):
    page = hand.page
    page.goto(f"{live_server.url}/import/")
    hand.choose("select[name=kind]", "history")
    hand.n += 1
    page.set_input_files(
        "input[name=file]",
        {"name": truth["sheet"], "mimeType": "application/octet-stream", "buffer": bringing.bytes_of(truth)},
    )
    hand.leave_by("text=Bring the sheet")


def settle_plan(hand, truth):
    for name, value in truth["plan"].items():
        radio = f"input[type=radio][name='{name}'][value='{value}']"
        if hand.page.locator(radio).count():
            hand.click(radio)
        elif hand.page.locator(f"select[name='{name}']").count():
            hand.choose(f"select[name='{name}']", value)
        else:
            hand.fill(f"input[name='{name}']", value)
    hand.look("plan")
    hand.leave_by("button[value=go]")


def answer(hand, truth):
    """Round by round: the truth's answers to the questions that are there, until nothing is asked."""
    words = {}
    for code, about, choice, value, *place in truth["answers"]:
        words["" if code in TOGETHER else about, code] = (choice, value, place[0] if place else "")
    for _ in range(5):
        sections = hand.page.locator("section.question")
        if not sections.count():
            return
        hand.look("questions")
        for i in range(sections.count()):
            section = sections.nth(i)
            choice = words.get((section.get_attribute("data-about"), section.get_attribute("data-code")))
            if choice is None:
                continue
            word, value, only = choice
            hand.n_answers += 1
            if only:
                for n in range(section.locator("tbody tr").count()):
                    row = section.locator("tbody tr").nth(n)
                    if only not in row.inner_text() and row.locator("input[type=checkbox]").count():
                        hand.n += 1
                        row.locator("input[type=checkbox]").uncheck()
            hand.n += 1
            section.locator(f"input[type=radio][value={word}]").check()
            field = section.locator(f"[name$='-{word}'][name^=value-]")
            if value and field.count() and field.input_value() != value:
                hand.n += 1
                is_select = field.evaluate("e => e.tagName") == "SELECT"
                (field.select_option if is_select else field.fill)(value)
        hand.leave_by("button[value=answer]")


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


@pytest.mark.parametrize("name", bringing.TRUTHS)
def test_an_ugly_sheet_comes_in_within_25_clicks_and_15_answers(hand_of, live_server, name):
    truth = bringing.truth_of(name)
    site = bringing.the_pumps(truth)
    if before := truth.get("after"):
        assert bringing.bring(bringing.truth_of(before)).ok
    hand = hand_of(name, site)
    upload(hand, live_server, truth)
    settle_plan(hand, truth)
    answer(hand, truth)
    hand.look("ready")
    hand.leave_by("button[value=look]")
    hand.leave_by("button[value=store]")
    hand.look("done")
    n_clicks = hand.n
    shows_what_it_says(hand, live_server, truth)
    print(f"{name}: {n_clicks} clicks, {hand.n_answers} answers")
    assert bringing.readings() == sorted(truth["readings"])
    assert bringing.events() == sorted(truth["events"])
    assert bringing.hours() == sorted(truth["hours"])
    assert n_clicks <= MOST_CLICKS and hand.n_answers <= MOST_ANSWERS
