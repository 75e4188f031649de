"""A print without network is read on the device as the site reads it: a pinched, a wiped and a too tight
shell each end in the right words.

With SHOTS=folder every screen that it passes is kept there as a picture.
"""

import os
from pathlib import Path

import pytest

from fleet.clock import today_at
from inspections.models import ContactCheck
from inspections.visits import machine_book, method_cards
from tests import makers
from tests.browser.conftest import with_queue
from tests.browser.test_record_offline import ALL_SENT, PHONE, ready, sign_in
from tests.inspections.visits.walk import a_worn_bearing

LIMITS = {"in_service_min": 190, "in_service_max": 300}


@pytest.fixture
def phone(live_server, browser, transactional_db):
    """A phone that has taken three bearings along and lost its network: (page, address, bearings)."""
    site = makers.a_site(name="Alderbrook Weir")
    bearings = [
        a_worn_bearing(
            place=makers.a_place(site=site, tag=tag, positions=("DE",)), limits=LIMITS, scrapeable=True
        )
        for tag in ("Pinched", "Wiped", "Tight")
    ]
    engineer, today = makers.somebody(), today_at(site)
    lift = {"method": "bore_gauge", "steps": "Isolate.\nTurn nothing.", "heed": "", "source": "own practice"}
    method_cards.approve(**lift, site=site, on=today, by=engineer)
    book = {"cap_torque": "120 N m, crosswise"}
    machine_book.enter(bearing=bearings[0], entries=book, on=today, by=engineer)
    context = browser.new_context(viewport=PHONE)
    sign_in(context, makers.an_account(role="mechanic", site=site), live_server.url)
    page = context.new_page()
    ready(page, live_server.url, 3)
    context.set_offline(True)
    yield page, live_server.url, bearings
    context.close()


def shot(page, name):
    if folder := os.environ.get("SHOTS"):
        page.screenshot(path=str(Path(folder) / f"{name}.png"), full_page=True)


def reads_how_to_measure(page, bearing):
    """What the site's engineer approved and what the plant entered of the machine's book, taken along."""
    for summary, words in (
        ("The machine's book", "120 N m"),
        ("How to measure: bore gauge", "Turn nothing."),
    ):
        page.locator("[data-screen=read] summary").filter(has_text=summary).click()
        page.locator("[data-screen=read]").get_by_text(words).wait_for()
    shot(page, f"{bearing.place.tag}-card")
    page.locator("[data-unit-line]").click()
    page.locator("#id_method").select_option("feeler")
    assert page.locator("[data-cards]").inner_text() == ""  # nobody approved one
    page.locator("#id_method").select_option("bore_gauge")


def begin(page, url, bearing, values, asked=False, reads=False):
    page.goto(f"{url}/record/offline/#{bearing.pk}")
    page.wait_for_selector("body[data-shows=guard]")
    shot(page, f"{bearing.place.tag}-guard")
    page.get_by_role("button", name="This one, isolated: begin").click()
    if reads:
        reads_how_to_measure(page, bearing)
    for n, value in enumerate(values):
        page.locator("[data-where]").filter(has_text=f"station {n + 1} of 2").wait_for()
        page.locator("#id_value").fill(value)
        shot(page, f"{bearing.place.tag}-reading-{n}")
        page.get_by_role("button", name="Next").click()
        if asked:  # an unlikely value is measured once more
            page.get_by_role("heading", name="Measure once more").wait_for()
            page.locator("#id_value").fill(value)
            page.get_by_role("button", name="Next").click()
    page.wait_for_selector("body[data-shows=hub]")


def printed(page, bearing, drawn, headline):
    """Tap a drawn shell and wait for what the device reads it as."""
    page.get_by_role("button", name="Contact check").click()
    if page.locator("[data-film]").is_visible():
        page.get_by_text("even blue, no metal seen").click()
    shot(page, f"{bearing.place.tag}-contact")
    page.locator(f"[data-drawn={drawn}]").click()
    page.locator("[data-headline]").filter(has_text=headline).wait_for()
    shot(page, f"{bearing.place.tag}-print")
    words = page.locator("[data-print-said]").inner_text()
    assert "nor scrape on it" not in words
    page.get_by_role("button", name="Done").click()
    page.wait_for_selector("body[data-shows=hub]")
    shot(page, f"{bearing.place.tag}-hub")
    return words


def test_a_pinched_a_wiped_and_a_tight_shell_end_in_the_right_words_without_network(phone):
    page, url, (pinched, wiped, tight) = phone
    hub, scrape = page.locator("[data-screen=hub]"), page.locator("[data-go=scrape]")

    begin(page, url, pinched, ("0.205", "0.207"), reads=True)
    assert scrape.is_visible() and hub.locator("[data-book]").is_visible()
    words = printed(page, pinched, "up_the_sides", "it stands on both sides and not on the bottom")
    assert "crush" in words and "The print shows" in words
    assert "Print of the lower half. Do not scrape" in hub.inner_text() and scrape.is_hidden()
    page.reload()  # what was read survives it
    page.locator("[data-prints]").filter(has_text="Do not scrape").wait_for()

    begin(page, url, wiped, ("0.205", "0.207"))
    page.get_by_role("button", name="What I saw").click()
    page.get_by_text("Lower half", exact=True).click()
    page.locator("[name='words lower half'][value=wiped]").check()
    shot(page, "Wiped-seen")
    page.get_by_role("button", name="Keep what I ticked").click()
    printed(page, wiped, "full_length", "Acceptable")
    assert "Hold: lower half: wiped. Do not close before the engineer has signed." in hub.inner_text()
    assert scrape.is_hidden()

    begin(page, url, tight, ("0.120", "0.122"), asked=True)
    printed(page, tight, "flooded", "Measure before doing more")
    words = page.locator("[data-outside]").inner_text()
    assert "as found, pump end, 0.120 mm, too tight" in words and "Do not close up on it" in words
    assert scrape.is_hidden()

    said = page.evaluate(with_queue("unsent.all('kept')"))
    said = sorted(
        one["print"]["headline"] for row in said for one in row.get("done", {}).values() if one.get("print")
    )
    page.context.set_offline(False)
    page.wait_for_function(ALL_SENT)
    stored = ContactCheck.objects.values_list("conditions", flat=True)
    assert sorted(one["headline"] for one in stored) == said and len(said) == 3
