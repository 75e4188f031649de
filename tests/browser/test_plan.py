"""The outage plan in a real browser: from the watch list to an accepted plan and its work list, both widths,
print, axe.
"""

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from dashboards.outage_plan.drafts import change, in_hand, keep_version
from dashboards.outage_plan.versions import propose
from fleet.clock import today_in
from inspections.models import Decision, Plan
from tests import makers
from tests.browser.conftest import pressed
from tests.dashboards.outage_plan.plan_fleet import a_fleet, a_fleet_with_twins, bearing_of, run_on

BEYOND = """[...document.querySelectorAll('.strip rect')].filter(
    e => getComputedStyle(e.closest('.plan-row')).overflowX != 'hidden').map(e => e.outerHTML)"""
SIDEWAYS = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@pytest.fixture
def site(live_server):
    made = a_fleet(today_in("UTC"))
    propose(made, today_in("UTC"), by=None)
    return made


@pytest.fixture
def planner(live_server, site, page):
    return _signed_in(page, live_server, site)


def _signed_in(page, live_server, site):
    """A page signed in as the site's planner."""
    client = Client()
    client.force_login(makers.an_account(role="planner", site=site))
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    page.set_viewport_size({"width": 1440, "height": 900})
    return page


def test_from_the_watch_list_to_an_accepted_plan_and_its_work_list(planner, live_server, heard, site):
    planner.goto(live_server.url)
    pressed(planner.get_by_role("link", name="Outage plan", exact=True))
    assert planner.get_by_role("heading", level=1).inner_text() == "What to open at North"
    pressed(planner.locator(".plan").get_by_role("link", name="Past 5 DE"))
    planner.get_by_label("open in").nth(1).check()
    planner.get_by_label("Pin it").check()
    pressed(planner.get_by_role("button", name="Change the plan"))
    assert "Past 5 DE: open in outage 2" in planner.locator(".effect").inner_text()
    assert "more" in planner.locator(".effect").inner_text()
    pressed(planner.get_by_role("button", name="take back"))
    assert planner.locator(".effect").count() == 0
    planner.get_by_label("Why this plan").fill("Shells are on the shelf")
    assert "nobody was asked yet" in planner.locator(".plan-acts").inner_text()
    run_on(today_in("UTC"), bearing_of(site, "Past 5"))
    pressed(planner.get_by_role("button", name="Accept it"))
    assert "This is the accepted plan" in planner.content() and "Shells are on the shelf" in planner.content()
    pressed(planner.get_by_role("link", name="work list of outage 1"))
    assert planner.get_by_role("heading", level=1).inner_text() == "Work list, outage 1"
    assert "From the accepted plan" in planner.locator(".saying").inner_text()
    assert Plan.objects.get().reason == "Shells are on the shelf" and Decision.objects.exists()
    assert heard.said == [] and heard.asked_elsewhere == []


@pytest.mark.parametrize("width", [360, 1440])
def test_no_page_of_the_plan_scrolls_sideways_and_axe_finds_nothing(width, planner, live_server, site):
    hand, by = in_hand(site), makers.somebody()
    keep_version(draft=hand, name="a version with quite a long name to choose from", by=by)
    change(draft=hand, what="shorten", outage="outage 1", hours="1", by=by)
    change(draft=hand, what="pin", bearing="Slow 1 DE", action="open", outage="outage 2", by=by)
    planner.set_viewport_size({"width": width, "height": 900})
    axe, found = Axe(), {}
    for address in (
        "/plan/",
        "/plan/bearing/?bearing=Slow 1 DE",
        "/plan/outage/?outage=outage 1",
        "/plan/compare/",
        "/plan/work/?outage=outage 1",
    ):
        assert planner.goto(f"{live_server.url}{address}").status == 200
        assert planner.evaluate(SIDEWAYS) == 0, address
        # No outage's hatching sticks out of its strip's row.
        assert planner.evaluate(BEYOND) == [], address
        report = axe.run(planner)
        if report.violations_count:
            found[address] = report.generate_report()
    assert found == {}


@pytest.mark.parametrize("width", [360, 1440])
def test_days_between_two_outages_with_long_names_fit_the_page(width, page, live_server):
    east = a_fleet_with_twins(today_in("UTC"), outages="turnaround of both blocks with boiler inspection")
    propose(east, today_in("UTC"), by=None)
    planner = _signed_in(page, live_server, east)
    planner.set_viewport_size({"width": width, "height": 900})
    planner.goto(f"{live_server.url}/plan/")
    assert "before turnaround of both blocks" in planner.locator(".outages").inner_text()
    assert planner.evaluate(SIDEWAYS) == 0
    assert planner.locator(".plan").first.evaluate("e => e.scrollWidth - e.clientWidth") == 0


def test_a_change_can_be_made_by_keyboard_alone(planner, live_server, site):
    planner.goto(f"{live_server.url}/plan/bearing/?bearing=Past 5 DE")
    planner.locator("input[name=job]:checked").focus()
    planner.keyboard.press("ArrowUp")
    planner.keyboard.press("Enter")
    planner.wait_for_selector(".effect")
    assert "Past 5 DE" in planner.locator(".effect").inner_text()


def test_the_work_list_prints_with_room_to_write_and_without_the_sites_furniture(planner, live_server, site):
    planner.goto(f"{live_server.url}/plan/work/?outage=outage 1")
    planner.emulate_media(media="print")
    assert planner.locator(".signature").first.is_visible() and planner.locator(".tick").first.is_visible()
    assert not any(
        one.is_visible() for one in [*planner.locator("nav").all(), *planner.locator(".find").all()]
    )
    planner.goto(f"{live_server.url}/plan/")
    assert not planner.locator(".plan-acts").is_visible() and planner.locator(".plan").is_visible()
