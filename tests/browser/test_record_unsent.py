"""What a device refuses, keeps and lets go of: the site's own grammar and bounds, its id and hash, its
reasons.
"""

import pytest
from django.db import transaction
from django.http import HttpResponse

from inspections.models import Reading
from inspections.records.openings import NotRecorded
from inspections.views import record_offline
from inspections.visits.acts import as_recorded
from inspections.visits.forms import ReadingForm
from tests import makers
from tests.browser import test_record_offline as offline
from tests.browser.conftest import typed, with_queue
from tests.browser.test_record_offline import ALL_SENT, PHONE, measure, sign_in, values_of
from tests.inspections.visits.walk import a_worn_bearing


@pytest.fixture
def phone(live_server, browser, transactional_db):
    """A mechanic's phone at a site of two pumps: (context, bearings, address)."""
    site = makers.a_site(name="Alderbrook Weir")
    bearings = [
        a_worn_bearing(
            place=makers.a_place(site=site, tag=f"Lift {n}", positions=("DE",)), values=("0.170", "0.190")
        )
        for n in range(2)
    ]
    context = browser.new_context(viewport=PHONE)
    sign_in(context, makers.an_account(role="mechanic", site=site), live_server.url)
    yield context, bearings, live_server.url
    context.close()


def ready(page, url):
    offline.ready(page, url, pumps=2)


ADDED = """unsent.add({kind: 'reading', bearing, visit: crypto.randomUUID(), stage: 'as_found',
  station: 'in-12', fields: {value, unit: 'mm', method: 'bore_gauge', basis: 'diametral'}})"""
ADD = f"([bearing, value]) => {with_queue(ADDED)}"
WAITING = with_queue(
    "unsent.all('queue').then((rows) => rows.map((row) => [row.fields.value, row.why || '']))"
)
# The browser looks for a newer worker, and is done with what it found.
UPDATED = """navigator.serviceWorker.getRegistration().then((it) => it.update()).then(({ installing }) => {
  return new Promise((done) => {
    installing.addEventListener("statechange", () => /activated|redundant/.test(installing.state) && done());
  });
})"""

# A reading as it waits in the device's database, of nobody who is signed in here.
OF_BEFORE = """(bearing) => new Promise((resolve) => {
  const asked = indexedDB.open("at the pump", 1);
  asked.onupgradeneeded = () => {
    for (const store of ["queue", "pack", "kept"]) asked.result.createObjectStore(store, { keyPath: "id" });
  };
  asked.onsuccess = () => {
    const run = asked.result.transaction("queue", "readwrite");
    run.objectStore("queue").put({ id: "1", bearing, kind: "reading", entered_at: "2026", fields: { value: "0.205" } });
    run.oncomplete = () => resolve(asked.result.close());
  };
})"""  # noqa: E501 (runs in the page)

TYPED = [
    "0.205",
    "1O5",
    "99999",
    "",
    "  ",
    "0,205",
    "6 thou",
    "0.15mm",
    '0.005"',
    ">0.2",
    "< 0.3",
    "0.003-0.004",
    "0.004-0.003",
    "1e3",
    "nan",
    "1_0",
    "1 2",
    "12.",
    "1/2",
    "\u2212" + "1",
    "~3",
    "1,234.5",
    "10",
    "10.0001",
    "-0.1",
    "6 ell",
    "5 microns",
    "\u0661",
    "0.1 0.2",
    "0." + "1" * 21,
    "1" * 16,
    "x" * 41,
    ".5",
    "+0.2",
    "0.3-0.3",
    "0.2 mm mm",
    "µm",
    "5 µm",
    "3;4",
    "9 1/2",
    "9 1/3",
    "9 3/2",
    "0 0/2",
    "9 1/2 thou",
    "12 1/2",
]


def site_fault(text: str, unit: str, basis: str, quantity: str, less: str) -> str:
    """Why the site would not take a reading: the form at the pump, then the act; empty where it takes it."""
    form = ReadingForm({"value": text, "unit": unit, "method": "bore_gauge", "basis": basis, "less": less})
    if not form.is_valid():
        return " ".join(str(fault) for faults in form.errors.values() for fault in faults)
    facts = form.facts()
    try:
        bare, named, _ = as_recorded(facts["value"], facts["unit"], facts["less"], {"method": "bore_gauge"})
        with transaction.atomic():
            makers.a_reading(
                value=bare, unit=named, basis=basis, quantity=quantity, decimal_comma="," in bare
            )
            transaction.set_rollback(True)
    except NotRecorded as fault:
        return str(fault)
    return ""


def test_taking_along_without_network_says_so_and_keeps_what_is_there(phone):
    context, _, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    page.locator("[data-take]").first.click()
    page.get_by_text("No network now: what was taken along before is still here.").wait_for()
    assert page.get_by_role("button", name="Lift 0 DE").count() == 1


def test_the_device_refuses_a_value_where_and_as_the_site_does(phone):
    context, _, url = phone
    page = context.new_page()
    page.goto(f"{url}/record/offline/")
    page.wait_for_selector("body[data-shows=list]")
    cases = [(text, "mm", "diametral", "clearance", "") for text in TYPED]
    cases += [
        ("6", "mm", "radial", "clearance", ""),
        ("4", "thou", "radial", "clearance", ""),
        ("400", "thou", "diametral", "clearance", ""),
        ("12.054", "mm", "diametral", "wall", "5"),
        ("12.054", "mm", "diametral", "wall", "5x"),
        ("4", "mm", "diametral", "wall", "5"),
        (">1", "mm", "diametral", "wall", "0.5"),
        ("-1.5", "mm", "diametral", "housing_fit", ""),
        ("250", "in", "diametral", "bore", ""),
    ]
    script = (
        "(cases) => import('/static/inspections/record_unsent.js').then(({ faultOf }) => cases.map("
        "([value, unit, basis, quantity, less]) => faultOf({ value, unit, basis, less }, quantity)))"
    )
    ours = dict(zip(cases, page.evaluate(script, cases), strict=True))
    sites = {case: site_fault(*case) for case in cases}
    assert {case for case in cases if ours[case]} == {case for case in cases if sites[case]}
    grammar = {case for case in cases if " found, " in sites[case] and not case[4]}
    assert len(grammar) > 15
    assert {case: ours[case] for case in grammar} == {case: sites[case] for case in grammar}


@pytest.mark.parametrize(
    ("value", "words"), [("1O5", "a plain number"), ("99999", "lies between 0 and 10000")]
)
def test_a_value_the_site_would_refuse_is_refused_at_once_without_network(phone, value, words):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    page.goto(f"{url}/record/offline/#{bearings[0].pk}")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.locator("#id_value").fill(value)
    page.get_by_role("button", name="Next").click()
    page.locator("[data-fault]").filter(has_text=words).wait_for()
    assert page.locator("#id_value").input_value() == value
    assert page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 0
    page.locator("#id_value").fill("0.205")
    assert page.locator("[data-fault]").is_hidden()
    page.get_by_role("button", name="Next").click()
    page.locator("[data-where]").filter(has_text="station 2 of 2").wait_for()


def test_a_plain_form_with_a_value_that_cannot_be_is_not_kept_by_the_worker(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    page.goto(f"{url}/bearings/{bearings[0].place.tag}/DE/record/")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.wait_for_selector("#id_value:focus")
    context.set_offline(True)
    typed(page, "99999")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("heading", name="Not kept").wait_for()
    page.get_by_text("lies between 0 and 10000").wait_for()
    page.get_by_text("value: 99999").wait_for()
    page.get_by_role("link", name="To what is kept on this device").click()
    page.wait_for_selector("body[data-shows=list]")
    assert page.evaluate(WAITING) == []


@pytest.mark.parametrize("wrong", ["sha256", "id", "state"])
def test_an_entry_stays_unless_its_own_id_and_hash_are_named_as_stored(phone, wrong):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)

    def answer(route):
        got = route.fetch()
        body = got.json()
        if route.request.method == "POST":
            for one in body["entries"]:
                one[wrong] = {"sha256": "0" * 64, "id": str(bearings[0].pk), "state": "kept"}[wrong]
        return route.fulfill(response=got, json=body)

    context.route("**/record/queue/", answer)
    page.evaluate(ADD, [str(bearings[0].pk), "0.205"])
    page.evaluate(with_queue("unsent.send()"))
    assert page.evaluate(WAITING) == [["0.205", ""]]
    context.unroute("**/record/queue/")
    page.wait_for_function(ALL_SENT)
    assert Reading.objects.filter(typed="0.205").count() == 1


def test_what_is_mended_while_it_is_on_its_way_stays_and_is_told_apart(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    mended = []

    def answer(route):
        got = route.fetch()
        if route.request.method == "POST" and not mended:
            mended.append(True)
            page.evaluate(
                with_queue("unsent.all('queue').then(([row]) => unsent.mend(row, { value: '0.250' }))")
            )
        return route.fulfill(response=got)

    page.evaluate(ADD, [str(bearings[0].pk), "0.205"])
    page.route("**/record/queue/", answer)
    page.evaluate(with_queue("unsent.send()"))
    page.evaluate(with_queue("unsent.send()"))
    ((value, why),) = page.evaluate(WAITING)
    assert value == "0.250" and "other content" in why and "'0.205' there, '0.250' here" in why
    assert list(Reading.objects.filter(entered_at__isnull=False).values_list("typed", flat=True)) == ["0.205"]


def test_a_device_with_the_worker_of_before_modules_takes_the_new_one_and_keeps_its_entries(
    phone, monkeypatch
):
    context, bearings, url = phone
    page = context.new_page()
    before = "self.addEventListener('activate', (event) => event.waitUntil(self.clients.claim()));"
    with monkeypatch.context() as day:
        day.setattr(record_offline, "_begun", lambda *_: HttpResponse(before, content_type="text/javascript"))
        page.goto(f"{url}/health/")
        page.evaluate("navigator.serviceWorker.register('/recording-worker.js')")
        page.evaluate("navigator.serviceWorker.ready")
        page.evaluate(OF_BEFORE, str(bearings[0].pk))
    asked = page.evaluate(
        "navigator.serviceWorker.getRegistration().then((it) => it.update()).then(() => '', String)"
    )
    assert "ServiceWorker script evaluation failed" in asked  # the browser by itself leaves the old one there
    ready(page, url)
    context.set_offline(True)
    page.goto(f"{url}/record/offline/#{bearings[0].pk}")
    page.get_by_role("button", name="This one, isolated: begin").wait_for()
    assert page.evaluate(WAITING) == [["0.205", ""]]


def test_a_newer_worker_waits_until_somebody_is_signed_in(phone, monkeypatch):
    context, _, url = phone
    page = context.new_page()
    ready(page, url)
    monkeypatch.setattr(record_offline, "_version", lambda: "newer")
    cookies = context.cookies()
    context.clear_cookies()
    page.goto(f"{url}/sign-in/")
    page.evaluate(UPDATED)
    context.set_offline(True)
    page.goto(f"{url}/record/offline/")
    page.get_by_text("2 bearings are on this device.").wait_for()
    context.set_offline(False)
    context.add_cookies(cookies)
    page.goto(f"{url}/")
    page.wait_for_function("caches.keys().then((names) => names.join() === 'newer')")
    context.set_offline(True)
    page.goto(f"{url}/record/offline/")
    page.get_by_text("2 bearings are on this device.").wait_for()


def test_an_entry_that_an_earlier_page_was_told_to_keep_goes_again_by_itself(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    page.evaluate(ADD, [str(bearings[0].pk), "0.205"])
    page.evaluate(
        with_queue(
            "unsent.all('queue').then(([row]) => unsent.put('queue', { ...row, why: 'Reload this"
            " page: it is old.' }))"
        )
    )
    page.wait_for_function(ALL_SENT)
    assert Reading.objects.filter(typed="0.205").count() == 1


def test_what_the_site_refused_stands_at_the_bearing_on_the_device_and_on_its_page(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    measure(page, bearings[0], url, values_of(0))
    stranger = with_queue(
        "unsent.all('queue').then((rows) => unsent.put('queue', { ...rows.find((row) =>"
        " row.kind === 'reading'), measured_by: crypto.randomUUID() }))"
    )
    page.evaluate(stranger)
    context.set_offline(False)
    page.evaluate(with_queue("unsent.send()"))
    page.get_by_text("1 unsent, 1 to look at").first.wait_for()
    page.get_by_role("heading", name="Not taken by the site").wait_for()
    page.locator("[data-refused-here]").get_by_text("no person known").first.wait_for()
    page.goto(f"{url}/bearings/{bearings[0].place.tag}/DE/record/")
    page.get_by_role("heading", name="Sent by a device and not taken").wait_for()
    page.goto(f"{url}/record/offline/#{bearings[0].pk}")
    page.locator("[data-refused-here] .kept-entry").first.click()
    page.get_by_text("Who and which day").click()
    page.locator("#entry-who").select_option(label="me, as signed in")
    page.get_by_role("button", name="Keep this value").click()
    page.wait_for_function(ALL_SENT)
    assert Reading.objects.filter(entered_at__isnull=False).count() == 4
    page.goto(f"{url}/bearings/{bearings[0].place.tag}/DE/record/")
    assert page.get_by_role("heading", name="Sent by a device and not taken").count() == 0
