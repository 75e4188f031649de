"""At the pump in a real browser, at phone size: the path, its taps and targets, its verdict, axe, and no
network.
"""

import itertools
import time
import uuid

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from fleet.models import Attachment
from inspections.models import ContactCheck, Finding, Reading, Visit
from inspections.visits import verdict
from tests import makers
from tests.browser.conftest import pressed, typed
from tests.inspections.visits.walk import a_worn_bearing

VERDICT = "import('/static/inspections/verdict.js')"
PHONE = {"width": 360, "height": 640}


@pytest.fixture
def at_pump(live_server, page, transactional_db):
    """A worn bearing and a mechanic's phone: (bearing, page, address of a screen)."""
    bearing = a_worn_bearing(place=makers.a_place(site=makers.a_site(name="Alderbrook Weir"), tag="Lift 1"))
    sign_in(page, live_server, bearing.place.site)
    page.set_viewport_size(PHONE)
    return bearing, page, lambda path: f"{live_server.url}{path}"


def sign_in(page, live_server, site, role="mechanic"):
    account = makers.an_account(role=role, site=site)
    client = Client()
    client.force_login(account)
    name = settings.SESSION_COOKIE_NAME
    page.context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": live_server.url}])
    return account


class Taps:
    """Counts what a mechanic taps beside the digits."""

    def __init__(self, page):
        self.page, self.n = page, 0

    def on(self, name: str, role: str = "button"):
        self.n += 1
        pressed(self.page.get_by_role(role, name=name, exact=True).first)

    def css(self, what: str):
        self.n += 1
        pressed(self.page.locator(what).first)

    def read(self, value: str):
        # The field has the focus already: typing needs no tap.
        self.page.wait_for_selector("#id_value:focus")
        typed(self.page, value)
        self.on("Next")


def test_from_the_scanned_label_to_the_receipt_in_at_most_12_taps(at_pump):
    bearing, page, address = at_pump
    taps, began = Taps(page), time.monotonic()
    page.goto(address(f"/b/{bearing.pk}/"))
    taps.on("This one, isolated: begin")
    taps.read("0.205")
    taps.read("0.207")
    taps.on("Scraped")
    taps.read("0.215")
    taps.read("0.217")
    taps.on("Finish", "link")
    taps.on("Done as listed: sign and close the visit")
    assert page.get_by_role("heading", level=1).inner_text() == "Closed and stored"
    took = time.monotonic() - began
    print(f"\nlabel to receipt: {taps.n} taps, {took:.1f} s by script")
    assert taps.n <= 12
    assert (
        Reading.objects.filter(
            visit__closed_on__isnull=False, typed__in=["0.205", "0.207", "0.215", "0.217"]
        ).count()
        == 4
    )


def test_four_rounds_with_findings_a_photo_and_a_second_person_in_at_most_30_taps(
    at_pump, live_server, browser, tmp_path
):
    bearing, page, address = at_pump
    taps = Taps(page)
    page.goto(address(f"/b/{bearing.pk}/"))
    taps.on("This one, isolated: begin")
    for value in ("0.205", "0.207"):
        taps.read(value)
    taps.on("Contact check", "link")
    for _ in range(3):
        taps.css("button[value=both_ends]")
        # The print does not ask for it: the fact is recorded with its reason.
        page.locator("summary", has_text="It was scraped all the same").click()
        taps.n += 1
        page.fill("#id_scraped_why", "the engineer on the phone")
        taps.on("Record that it was scraped")
    taps.css("button[value=full_length]")
    second = browser.new_context(viewport=PHONE).new_page()
    sign_in(second, live_server, bearing.place.site)
    other = Taps(second)
    second.goto(address(f"/b/{bearing.pk}/"))
    other.on("This one: go on")
    other.on("Measure as left", "link")
    for value in ("0.238", "0.239"):
        other.read(value)
    looked_and_pictured(other, tmp_path)
    other.on("Finish", "link")
    other.on("Done as listed: sign and close the visit")
    assert second.get_by_role("heading", level=1).inner_text() == "Closed and stored"
    print(f"\nfour rounds, findings, a photo, a second person: {taps.n + other.n} taps")
    assert taps.n + other.n <= 30
    checks = ContactCheck.objects.standing()
    assert sorted(checks.values_list("round", flat=True)) == [1, 2, 3, 4]
    assert Finding.objects.standing().count() == 1 and Attachment.objects.count() == 1


def looked_and_pictured(taps, folder) -> None:
    """One finding ticked and one photo kept."""
    page = taps.page
    taps.on("What I saw", "link")
    page.locator("summary", has_text="Lower half").click()
    page.locator("[name='words lower half'][value=polished]").check()
    taps.n += 2
    taps.on("Keep what I ticked")
    taps.on("Photo", "link")
    picture = folder / "shell.png"
    picture.write_bytes(makers.a_png())
    page.locator("#id_photo").set_input_files(picture)
    taps.n += 1
    taps.on("Keep")


TARGETS = """() => {
  const shown = [...document.querySelectorAll('main button, main a[href], main summary, main select, main input:not([type=hidden]), .at-pump a')]
    .filter((one) => one.checkVisibility() && !one.closest('.grid'));
  const label = (one) => one.matches('[type=checkbox],[type=radio]') ? one.closest('label') : one;
  const boxes = shown.map((one) => ({ name: (label(one).innerText || label(one).getAttribute('aria-label') || one.name).slice(0, 30), r: label(one).getBoundingClientRect() }));
  const small = boxes.filter(({ r }) => r.width < 71.5 || r.height < 71.5).map(({ name, r }) => `${name}: ${r.width.toFixed(0)} x ${r.height.toFixed(0)}`);
  const near = [];
  boxes.forEach((a, i) => boxes.slice(i + 1).forEach((b) => {
    const dx = Math.max(a.r.left - b.r.right, b.r.left - a.r.right), dy = Math.max(a.r.top - b.r.bottom, b.r.top - a.r.bottom);
    if (Math.max(dx, dy) < 11.5) near.push(`${a.name} / ${b.name}: ${Math.max(dx, dy).toFixed(1)}`);
  }));
  const cells = [...document.querySelectorAll('.grid button.cell')].map((one) => one.getBoundingClientRect());
  const tiny = cells.filter((r) => r.width < 43.5 || r.height < 43.5).length;
  const tight = cells.filter((a) => cells.some((b) => b !== a && Math.max(b.left - a.right, a.left - b.right, b.top - a.bottom, a.top - b.bottom) < 7.5)).length;
  const main = document.querySelector('#print .acts .button-main'), act = main ? main.getBoundingClientRect() : null;
  const unreached = act && !(act.top + act.height / 2 > innerHeight / 2 && act.top + act.height / 2 < innerHeight) ? [act.top, innerHeight] : 0;
  return { small, near, tiny, tight, unreached, sideways: document.documentElement.scrollWidth - document.documentElement.clientWidth };
}"""  # noqa: E501 (runs in the page)


def test_every_screen_has_large_targets_far_apart_scrolls_one_way_only_and_axe_finds_nothing(at_pump, heard):
    bearing, page, address = at_pump
    own = f"/bearings/Lift 1/{bearing.name}/record/"
    page.goto(address(own))
    found = {}
    looked(page, "start", found)
    pressed(page.get_by_role("button", name="This one, isolated: begin"))
    looked(page, "reading", found)
    page.locator("summary").first.click()
    looked(page, "reading, opened", found)
    page.goto(address(f"{own}reading/?stage=as_found"))
    typed(page, "0.410")
    looked(page, "unlikely value", found)
    pressed(page.get_by_role("button", name="Next"))
    looked(page, "measure once more", found)
    pressed(page.get_by_role("link", name="The first one is right"))
    pressed(page.get_by_role("link", name="Could not measure"))
    looked(page, "could not measure", found)
    for screen in (
        "visit",
        "contact",
        "seen",
        "work",
        "opened",
        "photo",
        "close",
        "people",
        "other",
        "sheet",
    ):
        page.goto(address(f"{own}{screen}/"))
        looked(page, screen, found)
    page.goto(address(f"{own}mend/?reading={Reading.objects.get(typed='0.410').pk}"))
    looked(page, "mend", found)
    page.goto(address(f"{own}contact/"))
    pressed(page.locator("button[value=both_ends]"))
    looked(page, "print", found)
    page.goto(address("/record/offline/"))
    page.wait_for_selector("body[data-shows=list]")
    looked(page, "offline", found)
    assert found == {}
    assert [said for said in heard.said if "violation" in said.lower() or "refused" in said.lower()] == []
    assert heard.asked_elsewhere == []


def looked(page, name, found):
    page.wait_for_load_state()
    seen = page.evaluate(TARGETS)
    bad = {what: value for what, value in seen.items() if value}
    report = Axe().run(page)
    if report.violations_count:
        bad["axe"] = report.generate_report()
    if bad:
        found[name] = bad


HELDS = [
    verdict.Held(None, 263.0),
    verdict.Held(120.0, 260.0),
    verdict.Held(140.0, 170.0, "fitting range"),
    verdict.Held(120.0, None),
    verdict.Held(),
    verdict.Held(None, 263.0, most_um=1000.0),
]
EXPECTEDS = [
    None,
    verdict.Expected(181.0, 192.0, 204.0),
    verdict.Expected(150.0, 190.0, 260.0, 14.0),
    verdict.Expected(100.0, 150.0, 258.0, rough=True),
]
VALUES = [
    0.0,
    0.2,
    4.0,
    7.6,
    19.2,
    75.6,
    96.0,
    131.0,
    150.0,
    165.0,
    181.0,
    199.5,
    204.0,
    228.0,
    245.0,
    263.0,
    272.0,
    384.0,
    488.0,
    1920.0,
    4877.0,
    192000.0,
]
BOXES = [
    (5.0, "mm", 0.0),
    (10.3, "thou", 25.4),
    (19.0, "um", 10.0),
    (24.0, "in", 25.4),
    (290.0, "mm", 1000.0),
    (9.0, "mil", 2.54),
]
BOUNDS = [
    (0.15, None),
    (None, 8.0),
    (0.0, 180.0),
    (0.2, 0.3),
    (152.4, None),
    (None, 100.0),
    (240.0, 320.0),
    (6000.0, None),
]


def test_the_browser_says_the_same_as_the_server_over_a_table_of_cases(at_pump):
    bearing, page, address = at_pump
    page.goto(address(f"/bearings/Lift 1/{bearing.name}/record/"))
    cases = [
        (value, sd, unit, held, expected, step)
        for value, (sd, unit, step), held, expected in itertools.product(VALUES, BOXES, HELDS, EXPECTEDS)
    ]
    said = page.evaluate(
        f"(cases) => {VERDICT}.then(({{ verdict }}) => cases.map((case_) => verdict(...case_)))",
        [
            [v, sd, unit, vars(held), vars(expected) if expected else None, step]
            for v, sd, unit, held, expected, step in cases
        ],
    )
    assert len(said) == 22 * 6 * 6 * 4
    for case, theirs in zip(cases, said, strict=True):
        same(case, verdict.verdict(*case).as_dict(), theirs)
    cases = [
        (low, high, sd, unit, held, expected, step)
        for (low, high), (sd, unit, step), held, expected in itertools.product(
            BOUNDS, BOXES, HELDS, EXPECTEDS
        )
    ]
    said = page.evaluate(
        f"(cases) => {VERDICT}.then((it) => cases.map((case_) => it.verdictOfInterval(...case_)))",
        [[*case[:4], vars(case[4]), vars(case[5]) if case[5] else None, case[6]] for case in cases],
    )
    assert len({one["question"] for one in said}) > 20
    for case, theirs in zip(cases, said, strict=True):
        same(case, verdict.verdict_of_interval(*case).as_dict(), theirs)


def same(case, ours, theirs):
    for name in ("word", "text", "asked", "question", "slip", "mended_unit"):
        assert theirs[name] == ours[name], (case, name)
    assert (theirs["mended_um"] is None) == (ours["mended_um"] is None)
    for name in ("p_low", "p_high", *(["mended_um"] if ours["mended_um"] else [])):
        assert theirs[name] == pytest.approx(ours[name], rel=1e-9, abs=1e-13), (case, name)


@pytest.mark.parametrize(
    ("typed_text", "begins", "asks"),
    [
        ("8 thou", "Inside the limit of 11.8 thou", ""),
        ("0.2 mm", "Inside the limit of 0.300 mm", ""),
        (">0.4", "Over the limit of 0.300 mm", ""),
        ("<0.2", "Inside the limit of 0.300 mm", ""),
        ("0.19-0.21", "Inside the limit of 0.300 mm", ""),
        ("0,205", "Inside the limit of 0.300 mm", ""),
        ("8", "Over the limit of 0.300 mm", "Did you mean 8 thou (0.203 mm)?"),
        ("0.008", "Inside the limit", "Did you mean 0.008 in (0.203 mm)?"),
        (">0.0079", "May be over the limit", "Did you mean >0.0079 in (>0.201 mm)?"),
        ("1", "Over the limit of 0.300 mm", "Measure once more"),
    ],
)
def test_typed_units_and_bounds_get_their_verdict_and_question_while_one_types(
    at_pump, typed_text, begins, asks
):
    bearing, page, address = at_pump
    page.goto(address(f"/bearings/Lift 1/{bearing.name}/record/"))
    pressed(page.get_by_role("button", name="This one, isolated: begin"))
    known = list(Reading.objects.values_list("pk", flat=True))
    typed(page, typed_text)
    said = page.locator("[data-verdict]").inner_text()
    assert said.startswith(begins) and asks in said
    pressed(page.get_by_role("button", name="Next"))
    stored = Reading.objects.exclude(pk__in=known).get()
    if asks.startswith("Did"):
        assert asks in page.locator("main").inner_text()
        pressed(page.get_by_role("button", name="Typed wrong: make it"))
        mended = Reading.objects.standing().exclude(pk__in=known).get()
        assert mended.supersedes == stored.pk and 190 < float(mended.value_um or mended.low_um) < 210


def test_the_verdict_stands_there_while_one_types_and_equals_the_one_after_it_is_stored(at_pump):
    bearing, page, address = at_pump
    page.goto(address(f"/bearings/Lift 1/{bearing.name}/record/"))
    pressed(page.get_by_role("button", name="This one, isolated: begin"))
    typed(page, "0.205")
    before = page.locator("[data-verdict]").inner_text()
    assert before.startswith("Inside the limit of 0.300 mm")
    page.get_by_role("button", name="0.001 more").click()
    assert page.locator("#id_value").input_value() == "0.206"
    page.get_by_role("button", name="0.001 less").click()
    pressed(page.get_by_role("button", name="Next"))
    assert before in page.locator(".said").inner_text()


def test_cells_turn_at_a_tap_and_by_keyboard(at_pump):
    bearing, page, address = at_pump
    page.goto(address(f"/bearings/Lift 1/{bearing.name}/record/"))
    pressed(page.get_by_role("button", name="This one, isolated: begin"))
    page.goto(address(f"/bearings/Lift 1/{bearing.name}/record/contact/"))
    pressed(page.locator("button[value=both_ends]"))
    cell = page.get_by_role("button", name="row 3, bottom centre; column 4: none")
    cell.click()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    pressed(page.get_by_role("button", name="Keep these cells"))
    assert ContactCheck.objects.standing().get().pattern["cells"][2] == [2, 1, 0, 1, 2, 1, 2]


def test_an_id_given_by_the_browser_is_the_rows_own(at_pump):
    bearing, page, address = at_pump
    page.goto(address(f"/bearings/Lift 1/{bearing.name}/record/"))
    pressed(page.get_by_role("button", name="This one, isolated: begin"))
    given = uuid.UUID(page.locator("input[name=id]").first.input_value())
    typed(page, "0.205")
    pressed(page.get_by_role("button", name="Next"))
    assert Reading.objects.get(pk=given).typed == "0.205"
    assert Visit.objects.filter(closed_on=None, attendances__part="measured").count() == 1
