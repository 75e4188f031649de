"""A small fleet in the record, a signed-in page, and ears for everything a page should not do."""

import datetime as dt
from dataclasses import dataclass, field

import pytest
from django.conf import settings
from django.test import Client

from fleet.clock import today_in
from fleet.web.bearing_addresses import bearing_address
from tests import makers


@dataclass
class Heard:
    """What a page said on its console, and what it asked another host for."""

    said: list[str] = field(default_factory=list)
    asked_elsewhere: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class SmallFleet:
    """Addresses of a record that holds one of everything the pages draw."""

    watch_list: str
    bearing: str
    account: object


@pytest.fixture
def small_fleet(live_server) -> SmallFleet:
    """Six bearings on three pumps: scraped once, worn past its maximum, without a limit, never measured."""
    today = today_in("UTC")
    site = makers.a_site(name="Alderbrook Weir")
    place = makers.a_place(site=site, tag="Lift 1")
    told = makers.a_bearing(place=place, position="DE")
    worn = makers.a_bearing(place=place, position="NDE")
    makers.a_bearing(place=makers.a_place(site=site, tag="Lift 2"), position="DE")
    unset = makers.a_bearing(place=makers.a_place(site=site, tag="Lift 3"), position="DE", limits={})
    values = {told: ("0.150", "0.172", "0.214"), worn: ("0.160", "0.270", "0.390"), unset: ("0.150", "0.170")}
    for bearing, typed in values.items():
        for n, value in enumerate(typed):
            on = dt.date(today.year - 9 + 3 * n, 3, 9)
            makers.a_reading(bearing=bearing, on=on, value=value)
    scraped = dt.date(today.year - 6, 3, 9)
    makers.an_event(bearing=told, on=scraped)
    makers.a_reading(bearing=told, on=scraped, value="0.190", stage="as_left")
    for days in (200, 560, 930):
        makers.an_outage(site=site, start_on=today + dt.timedelta(days=days))
    address = bearing_address(told)
    return SmallFleet("/", address, makers.an_account(role="engineer", site=site))


@pytest.fixture
def opened(live_server, small_fleet, page):
    """Open an address signed in: `opened(address, width=1440)` answers with the page."""
    client = Client()
    client.force_login(small_fleet.account)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])

    def open_it(address: str, width: int = 1440):
        page.set_viewport_size({"width": width, "height": 900})
        answer = page.goto(f"{live_server.url}{address}")
        assert answer.status == 200, (address, answer.status)
        return page

    return open_it


@pytest.fixture
def heard(live_server, page) -> Heard:
    """Listen to the page from its first word on."""
    ears = Heard()
    page.on("console", lambda message: ears.said.append(message.text))
    page.on("pageerror", lambda error: ears.said.append(str(error)))
    page.on("request", lambda asked: _note(ears, asked.url, live_server.url))
    return ears


def _note(ears: Heard, url: str, own: str) -> None:
    if not url.startswith((own, "data:", "blob:")):
        ears.asked_elsewhere.append(url)


def with_queue(act: str) -> str:
    """An act of the device's queue as the page itself has it: `unsent` is its script."""
    return f"import('/static/fleet/unsent_queue.js').then((unsent) => {act})"


def typed(page, text: str) -> None:
    """Type into the field that the screen has put the cursor in; a slow machine does so after the page has
    loaded.
    """
    page.wait_for_selector("input:focus")
    page.keyboard.type(text)


def pressed(what) -> None:
    """Click a link or button that leads to another page; gone on with once that page has loaded, on a slow
    machine too.
    """
    with what.page.expect_navigation():
        what.click()
