"""Cells tapped on a print in a real browser: none is lost, whatever is pressed next, with network and
without.
"""

import pytest
from django.conf import settings
from django.test import Client

from inspections.models import ContactCheck
from tests import makers
from tests.browser.conftest import pressed, with_queue
from tests.inspections.visits.walk import a_worn_bearing, read

PHONE = {"width": 360, "height": 640}
FULL = [[0] * 7, [1] * 7, [2] * 7, [1] * 7, [0] * 7]
SETTLED = "() => window.fetch && document.querySelector('[data-outcome]').dataset.outcome === 'acceptable'"


@pytest.fixture
def print_page(live_server, page, transactional_db):
    """The print of a shell drawn as printing at both ends, on a mechanic's phone: (page, bearing, its
    address).
    """
    bearing = a_worn_bearing(place=makers.a_place(site=makers.a_site(name="Alderbrook Weir"), tag="Lift 1"))
    client, name = Client(), settings.SESSION_COOKIE_NAME
    client.force_login(makers.an_account(role="mechanic", site=bearing.place.site))
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    page.set_viewport_size(PHONE)
    own = f"{live_server.url}/bearings/Lift 1/{bearing.name}/record/"
    page.goto(own)
    pressed(page.get_by_role("button", name="This one, isolated: begin"))
    for _ in range(2):
        read(client, bearing, "0.205")
    page.goto(f"{own}contact/")
    pressed(page.locator("button[value=both_ends]"))
    return page, bearing, own


def tap_all(page) -> int:
    """Tap the cells until the whole length carries; how many taps that took."""
    taps = 0
    for i, line in enumerate(FULL):
        for k, mark in enumerate(line):
            cell = page.locator(".grid .cell").nth(7 * i + k)
            while ("none", "light", "heavy")[mark] not in cell.get_attribute("class"):
                cell.click()
                taps += 1
    return taps


def stands() -> ContactCheck:
    return ContactCheck.objects.standing().get()


@pytest.mark.parametrize("words", ["Leave it at this", "Check again, nothing scraped", "Lift 1"])
def test_44_taps_are_the_entry_by_whatever_leaves_the_round(print_page, words):
    page = print_page[0]
    assert tap_all(page) >= 20
    if words == "Lift 1":
        pressed(page.locator("a.which"))
    else:
        # The verdict may have come meanwhile, and the button's words with it.
        pressed(
            page.locator("button, a.button")
            .filter(has_text=words)
            .or_(page.get_by_text("Accept this contact"))
            .first
        )
    assert stands().pattern["cells"] == FULL and stands().event.outcome == "acceptable"


def test_taps_survive_a_reload_and_carry_their_own_verdict(print_page):
    page, _, own = print_page
    tap_all(page)
    page.wait_for_function(SETTLED)
    assert "Acceptable" in page.locator("[data-outcome]").inner_text()
    page.reload()
    assert page.locator(".grid .cell.heavy").count() == 7 and page.locator(".grid .cell.light").count() == 14
    assert ContactCheck.objects.count() == 1
    page.go_back()
    page.goto(f"{own}visit/")
    assert stands().pattern["cells"] == FULL and ContactCheck.objects.count() == 2


def test_taps_without_network_wait_on_the_device_and_are_one_entry_when_sent(print_page):
    page = print_page[0]
    page.context.set_offline(True)
    tap_all(page)
    page.get_by_text("Kept on this device.").wait_for()
    assert page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 1
    page.context.set_offline(False)
    page.wait_for_function(
        with_queue("unsent.send().then(() => unsent.all('queue')).then((rows) => rows.length === 0)")
    )
    assert stands().pattern["cells"] == FULL


def test_taps_on_the_device_go_on_where_the_print_has_left_it_meanwhile(print_page, live_server):
    page, bearing, _ = print_page
    page.goto(f"{live_server.url}/record/offline/")
    page.wait_for_selector("body[data-shows=list]")
    page.locator("[data-take]").first.click()
    page.get_by_text("bearings are on this device.").wait_for()
    page.goto(f"{live_server.url}/record/offline/#{bearing.pk}")
    page.wait_for_selector("body[data-shows=guard]")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.wait_for_selector("body[data-shows=read]")
    page.locator("[data-screen=contact] [data-hub]").dispatch_event("click")
    page.locator("[data-go=contact]").click()
    page.locator("[data-drawn=both_ends]").click()
    page.wait_for_selector("body[data-shows=print]")
    page.evaluate(
        with_queue("unsent.send()")
    )  # the network is there: the drawn shell leaves the device before it is tapped
    tap_all_on_device(page)
    sent = with_queue("unsent.send().then(() => unsent.all('queue')).then((rows) => rows.length === 0)")
    page.wait_for_function(sent)
    last = ContactCheck.objects.standing().order_by("entry_n").last()
    assert last.pattern["cells"] == FULL and ContactCheck.objects.standing().count() == 2


def tap_all_on_device(page) -> None:
    assert page.locator(".ends[data-in] > span").all_inner_texts() == ["outer end", "pump end"]
    for i, line in enumerate(FULL):
        for k, mark in enumerate(line):
            cell = page.locator("[data-cells-to-tap] .cell").nth(7 * i + k)
            while ("none", "light", "heavy")[mark] not in cell.get_attribute("class"):
                cell.click()
