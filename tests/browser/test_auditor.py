"""An auditor's way in a real browser: a corrected reading in both versions, the bundle pulled and checked;
the pages beside it.
"""

import os
import shutil
import subprocess
import sys
import zipfile
from decimal import Decimal

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.test import Client

from fleet import background_jobs
from fleet.plant import record_checks
from fleet.plant.gauge_register import instrument_named
from fleet.plant.limits import set_limits
from inspections.limits import plant_choices
from inspections.models import Reading
from tests import makers
from tests.browser.conftest import pressed
from tests.browser.test_pages import SIDEWAYS, WIDTHS


@pytest.fixture
def signed_in(live_server, page, small_fleet):
    """Sign in as a role of the small fleet's site: `signed_in(role)` answers with the page."""

    def signed(role):
        client = Client()
        client.force_login(makers.an_account(role=role, site=makers.a_site(name="Alderbrook Weir")))
        page.context.clear_cookies()
        page.context.add_cookies(
            [{"name": "sessionid", "value": client.cookies["sessionid"].value, "url": live_server.url}]
        )
        return page

    return signed


@pytest.mark.usefixtures("pango")
def test_an_engineer_puts_a_reading_right_and_an_auditor_sees_both_versions_and_checks_the_bundle(
    signed_in, small_fleet, live_server, tmp_path
):
    page = signed_in("engineer")
    page.goto(live_server.url + small_fleet.bearing)
    pressed(page.get_by_role("link", name="Everything recorded, by whom"))
    row = page.locator("tr", has_text="typed 0.172 mm")
    pressed(row.get_by_role("link", name="put right"))
    page.get_by_label("Value").fill("0.171")
    page.get_by_label("Why").first.fill("typed wrong")
    pressed(page.get_by_role("button", name="Correct it"))
    assert "both versions are kept" in page.inner_text("main")

    page = signed_in("auditor")
    page.goto(live_server.url + "/")
    pressed(page.get_by_role("link", name="Proof", exact=True))
    assert "Never witnessed" in page.inner_text("main")
    pressed(page.locator("main").get_by_role("link", name="watch list"))
    pressed(page.get_by_role("link", name="Lift 1 DE"))
    pressed(page.get_by_role("link", name="Everything recorded, by whom"))
    told = page.inner_text("main")
    assert "typed 0.172 mm" in told and "typed 0.171 mm" in told and "typed wrong" in told
    assert page.get_by_role("link", name="put right").count() == 0
    with page.expect_download() as coming:
        page.get_by_role("button", name="Take the bundle along").click()
    path = tmp_path / "bundle.zip"
    coming.value.save_as(path)
    with zipfile.ZipFile(path) as archive:
        archive.extractall(tmp_path)
    (folder,) = [one for one in tmp_path.iterdir() if one.is_dir()]
    check = [sys.executable, "-I", str(folder / "verify.py")]
    pressed(page.get_by_role("link", name="the proof of the record"))
    with page.expect_download() as coming:
        page.get_by_role("button", name="Seal now and take it along").click()
    seal = tmp_path / coming.value.suggested_filename
    coming.value.save_as(seal)
    page.reload()
    assert "Last witnessed: seal no. 2, downloaded by auditor" in page.inner_text("main").replace(
        "\u00a0", " "
    )
    done = subprocess.run([*check, "--seal", str(seal)], check=False, capture_output=True, text=True)
    assert done.returncode == 0 and "Sound. " in done.stdout
    page.get_by_label("A seal that was kept outside").set_input_files(seal)
    pressed(page.get_by_role("button", name="Hold it against the record"))
    assert "The record still holds what was sealed" in page.inner_text("h1")
    altered = tmp_path / "altered"
    shutil.copytree(folder, altered)
    table = altered / "readings.csv"
    table.write_text(table.read_text("utf-8").replace("0.171", "0.151"), "utf-8")
    done = subprocess.run([*check, str(altered)], check=False, capture_output=True, text=True)
    assert done.returncode == 1 and "readings.csv" in done.stdout


@pytest.mark.parametrize("width", WIDTHS)
def test_the_pages_of_the_record_scroll_one_way_only_and_axe_finds_nothing(
    width, signed_in, small_fleet, live_server
):
    gauge = instrument_named("G-7", method="bore_gauge", by=makers.somebody())
    reading = Reading.objects.filter(bearing__place__tag="Lift 1", bearing__name="DE").first()
    history = small_fleet.bearing.replace("/?", "/history/?")
    correct = small_fleet.bearing.replace("/?", f"/correct/{reading.pk}/?")
    limits = small_fleet.bearing.replace("/?", "/limits/?")
    _let_things_wait(reading.bearing)
    axe, found = Axe(), {}
    for role, addresses in (
        (
            "engineer",
            (
                history,
                correct,
                limits,
                small_fleet.bearing,
                "/gauges/",
                f"/gauges/{gauge.pk}/",
                "/quality/",
                "/choices/",
            ),
        ),
        ("auditor", ("/proof/", "/proof/who/")),
        ("administrator", ("/people/",)),
    ):
        page = signed_in(role)
        page.set_viewport_size({"width": width, "height": 900})
        for address in addresses:
            assert page.goto(live_server.url + address).status == 200
            assert page.evaluate(SIDEWAYS) == 0, address
            if shots := os.environ.get("SHOTS"):
                page.screenshot(
                    path=f"{shots}/{address.split('?')[0].strip('/').replace('/', '-')}-{width}.png",
                    full_page=True,
                )
            report = axe.run(page)
            if report.violations_count:
                found[address] = report.generate_report()
    assert found == {}


def test_one_engineer_proposes_a_limit_and_another_confirms_it(signed_in, small_fleet, live_server):
    site = makers.a_site(name="Alderbrook Weir")
    plant_choices.choose(name="second_person", typed="yes", site=site, from_on=None, by=makers.somebody())
    page = signed_in("engineer")
    page.goto(live_server.url + small_fleet.bearing)
    pressed(page.get_by_role("link", name="Limits: who says so, since when"))
    page.get_by_label("Value", exact=True).fill("0.280")
    page.get_by_label("Why").last.fill("seat measured again")
    pressed(page.get_by_role("button", name="Propose it"))
    assert "holds nothing before another engineer confirms it" in page.inner_text("main")
    assert page.get_by_role("button", name="Confirm").count() == 0

    page = signed_in("engineer")
    page.goto(live_server.url + "/quality/")
    pressed(page.get_by_role("button", name="Confirm"))
    assert "Confirmed; it holds from its day on." in page.inner_text("main")
    page.goto(live_server.url + small_fleet.bearing.replace("/?", "/limits/?"))
    row = page.locator("tr", has_text="In-service maximum").first
    assert "280" in row.inner_text() and "proposed by" in row.inner_text()


def _let_things_wait(bearing):
    """A limit and a new shell that want a second person, and a check of the record to be shown."""
    somebody = makers.somebody()
    background_jobs.ask(record_checks.WORK, by=makers.an_account(role="auditor"))
    background_jobs.do_next()
    plant_choices.choose(
        name="second_person", typed="yes", site=bearing.place.site, from_on=None, by=somebody
    )
    limits = {"in_service_max": Decimal(310), "replace": Decimal(280)}
    set_limits([bearing], limits, authority="plant", document="book 4", by=somebody)
    makers.an_event(kind="shell_change", bearing=bearing)
