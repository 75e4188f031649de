"""60 entries without network, with reloads, killed tabs and every second answer lost: 60 rows, none lost,
none doubled.

Entries by the hundred, of several devices, are sent without a browser in
tests/inspections/visits/test_receipts.py.
"""

import pytest
from django.conf import settings
from django.contrib.auth import get_user_model
from django.test import Client

from inspections.models import Reading, Visit
from tests import makers
from tests.browser.conftest import pressed, typed, with_queue
from tests.inspections.visits.walk import a_worn_bearing

PHONE = {"width": 360, "height": 640}
ENTRIES, PUMPS = 60, 15

# What a browser does on a full device: its store refuses to write, and it says that nothing is left.
NO_ROOM = """() => {
  const put = IDBObjectStore.prototype.put, estimate = StorageManager.prototype.estimate;
  IDBObjectStore.prototype.put = () => { throw new DOMException("no room", "QuotaExceededError"); };
  StorageManager.prototype.estimate = async () => ({ usage: 9e9, quota: 9e9 });
  window.roomAgain = () => { IDBObjectStore.prototype.put = put; StorageManager.prototype.estimate = estimate; };
}"""  # noqa: E501 (runs in the page)

# A print that a killed tab left unread, at the one bearing that stands open.
UNREAD_PRINT = """unsent.all('kept').then((rows) => rows.find(({ done }) => done)).then((state) => {
  state.done["print 99"] = { shown: "Print", words: "drawn", said: "", cells: "...../.....", fields: {} };
  return unsent.put('kept', state);
})"""


@pytest.fixture
def phone(live_server, browser, transactional_db):
    """A mechanic's phone at a site of many pumps: (context, site, account)."""
    site = makers.a_site(name="Alderbrook Weir")
    bearings = [
        a_worn_bearing(
            place=makers.a_place(site=site, tag=f"Lift {n}", positions=("DE",)), values=("0.170", "0.190")
        )
        for n in range(PUMPS)
    ]
    account = makers.an_account(role="mechanic", site=site)
    context = browser.new_context(viewport=PHONE)
    sign_in(context, account, live_server.url)
    yield context, bearings, live_server.url
    context.close()


def sign_in(context, account, url):
    client, name = Client(), settings.SESSION_COOKIE_NAME
    client.force_login(account)
    context.add_cookies([{"name": name, "value": client.cookies[name].value, "url": url}])


# The browser learns a moment later than the test that the network is back: asked again until the queue is
# empty.
ALL_SENT = with_queue("unsent.send().then(() => unsent.all('queue')).then((rows) => rows.length === 0)")


def ready(page, url, pumps=PUMPS):
    """Take the work list along; wait until the worker keeps the shell."""
    page.goto(f"{url}/record/offline/")
    page.wait_for_selector("body[data-shows=list]")
    page.evaluate("navigator.serviceWorker.ready")
    page.locator("[data-take]").first.click()
    page.get_by_text(f"{pumps} bearings are on this device.").wait_for()
    page.reload()
    page.wait_for_selector("body[data-shows=list]")


def measure(page, bearing, url, values):
    """Four readings of one bearing, a scrape between them, through the screens."""
    page.goto(f"{url}/record/offline/#{bearing.pk}")
    page.locator("[data-screen]:visible").first.wait_for()
    page.wait_for_selector("body[data-shows=guard], body[data-shows=hub]")
    page.get_by_role("button", name="This one, isolated: begin").click()
    for n, value in enumerate(values):
        if n == 2:
            page.get_by_role("button", name="Scraped").click()
            page.get_by_role("button", name="As left").click()
        page.locator("[data-where]").filter(has_text="As left" if n > 1 else "As found").filter(
            has_text=f"station {n % 2 + 1} of 2"
        ).wait_for()
        page.locator("#id_value").fill(value)
        page.get_by_role("button", name="Next").click()
    page.wait_for_selector("body[data-shows=hub]")


def values_of(n: int) -> list[str]:
    """Four readings of one bearing as expected, none of them typed anywhere else."""
    found = 0.2080 + 0.0001 * n
    return [f"{value:.5f}" for value in (found, found + 0.00005, found + 0.012, found + 0.01205)]


def test_60_entries_without_network_become_60_rows(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    values = [values_of(n) for n in range(PUMPS)]
    for n, bearing in enumerate(bearings):
        measure(page, bearing, url, values[n])
        if n % 7 == 3:
            page.reload()
            page.wait_for_selector("body[data-shows]")
        if n % 11 == 5:
            page.close()  # the tab is killed
            page = context.new_page()
    page.goto(f"{url}/record/offline/")
    page.wait_for_selector("body[data-shows=list]")
    page.get_by_text(f"{ENTRIES + PUMPS} unsent").wait_for()
    assert not Reading.objects.filter(entered_at__isnull=False).exists()
    lost = {"asked": 0, "lost": 0}

    def answer(route):
        got = route.fetch()
        if route.request.method == "POST":
            lost["asked"] += 1
            if lost["asked"] % 2:
                lost["lost"] += 1
                return route.abort()
        return route.fulfill(response=got)

    context.route("**/record/queue/", answer)
    context.set_offline(False)
    for _ in range(60):
        page.evaluate(with_queue("unsent.send()"))
        if page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 0:
            break
    stored = list(Reading.objects.filter(entered_at__isnull=False).values_list("typed", flat=True))
    print(f"\n{len(stored)} rows of {ENTRIES}; {lost['asked']} sent, {lost['lost']} answers lost")
    assert lost["lost"] >= 3
    assert sorted(stored) == sorted(typed for some in values for typed in some)
    assert Visit.objects.filter(entered_at__isnull=False).count() == PUMPS
    assert page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 0


def test_a_plain_form_that_finds_no_network_is_kept_and_sent_later(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    bearing = bearings[0]
    page.goto(f"{url}/bearings/{bearing.place.tag}/DE/record/")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.wait_for_selector("#id_value:focus")
    given = page.locator("input[name=id]").first.input_value()
    context.set_offline(True)
    typed(page, "0.205")
    page.get_by_role("button", name="Next").click()
    page.get_by_text("1 unsent").first.wait_for()
    assert not Reading.objects.filter(pk=given).exists()
    context.set_offline(False)
    page.wait_for_function(ALL_SENT)
    row = Reading.objects.get(pk=given)
    assert (row.typed, row.stage, row.end) == ("0.205", "as_found", "in")
    page.goto(f"{url}/")
    assert page.locator("[data-unsent]").inner_text() == ""


def test_unsent_entries_are_counted_on_every_page_and_a_refused_one_keeps_its_reason(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    bad = (
        f"{{kind: 'reading', bearing: '{bearings[0].pk}', visit: crypto.randomUUID(), stage: 'as_found',"
        " station: 'in-12', fields: {value: 'six', unit: 'mm', method: ''}}"
    )
    page.evaluate(with_queue(f"unsent.add({bad}).then(() => unsent.send())"))
    for address in (
        "/",
        f"/bearings/{bearings[0].place.tag}/DE/",
        f"/bearings/{bearings[0].place.tag}/DE/record/",
    ):
        page.goto(f"{url}{address}")
        page.get_by_text("1 unsent, 1 to look at").first.wait_for()
    page.goto(f"{url}/record/offline/")
    page.get_by_text("number").first.wait_for()


def test_the_verdict_is_there_without_network_by_the_same_rule(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    page.goto(f"{url}/bearings/{bearings[3].place.tag}/DE/record/")
    page.wait_for_selector("body[data-shows=guard]")
    assert page.locator("[data-guard]").inner_text() == "Lift 3 DE"
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.locator("#id_value").fill("0.103")
    words = page.locator("[data-verdict]").inner_text()
    assert (
        "Inside the limit of 0.300 mm" in words
        and "the whole clearance where the reading was radial" in words
    )
    page.locator("#id_value").fill("0.203")
    page.get_by_role("button", name="Next").click()
    page.locator("[data-where]").filter(has_text="station 2 of 2").wait_for()
    # A label opens its own bearing, and asks for it again although one has begun there.
    page.goto(f"{url}/b/{bearings[3].pk}/")
    page.get_by_role("button", name="This one: go on").wait_for()
    assert page.locator("[data-guard]").inner_text() == "Lift 3 DE"
    page.get_by_role("button", name="This one: go on").click()
    page.locator("[data-so-far]").get_by_text("0.203 mm").wait_for()
    page.get_by_role("button", name="Another bearing").click()
    page.wait_for_selector("body[data-shows=list]")
    page.goto(f"{url}/b/{bearings[0].place_id}/")
    page.get_by_text("The bearing of this label is not on this device.").wait_for()


def test_a_second_tap_on_next_adds_no_second_entry(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    page.goto(f"{url}/record/offline/#{bearings[0].pk}")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.locator("#id_value").fill("0.205")
    page.evaluate("for (let n = 0; n < 3; n += 1) document.getElementById('reading').requestSubmit()")
    page.locator("[data-where]").filter(has_text="station 2 of 2").wait_for()
    assert page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 1


def test_an_unlikely_value_is_measured_once_more_without_network_too(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    page.goto(f"{url}/record/offline/#{bearings[0].pk}")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.locator("#id_value").fill("0.102")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("heading", name="Measure once more").wait_for()
    page.locator("#id_value").fill("0.204")
    page.get_by_role("button", name="Next").click()
    page.locator("[data-where]").filter(has_text="station 2 of 2").wait_for()
    # Left as the first one, it stays to be measured again, through a killed tab too.
    page.locator("#id_value").fill("0.101")
    page.get_by_role("button", name="Next").click()
    page.get_by_role("heading", name="Measure once more").wait_for()
    page.get_by_role("button", name="The first one is right").click()
    page.wait_for_selector("body[data-shows=hub]")
    page.reload()
    page.wait_for_selector("body[data-shows=hub]")
    page.get_by_role("button", name="Another bearing").click()
    page.wait_for_selector("body[data-shows=list]")
    # The screen does not wait for a reader of prints that never answers.
    page.evaluate("void (Worker.prototype.postMessage = () => {})")
    page.evaluate(with_queue(UNREAD_PRINT))
    page.locator("[data-taken] button").first.click()
    page.wait_for_selector("body[data-shows=hub]")
    outside = page.locator("[data-outside]")
    assert "0.101 mm, not what was expected" in outside.inner_text()
    outside.get_by_role("button", name="Measure again").click()
    page.locator("[data-where]").filter(has_text="station 2 of 2").wait_for()
    page.locator("#id_value").fill("0.340")
    page.get_by_role("button", name="Next").click()
    page.wait_for_selector("body[data-shows=hub]")
    assert (
        "measured again and still so" in outside.inner_text() and "Measure again" not in outside.inner_text()
    )
    # A value that is mended is judged anew.
    page.locator("[data-so-far] button").last.click()
    page.locator("#entry-value").fill("0.203")
    page.get_by_role("button", name="Keep this value").click()
    page.locator("[data-so-far]").get_by_text("0.203 mm").wait_for()
    assert outside.is_hidden()
    context.set_offline(False)
    page.wait_for_function(ALL_SENT)
    stored = Reading.objects.filter(entered_at__isnull=False).order_by("repeat")
    assert sorted(stored.filter(counts=True).values_list("typed", flat=True)) == ["0.203", "0.204"]
    first, second = stored.filter(typed__in=("0.102", "0.204"))
    assert (first.typed, first.counts, second.typed, second.counts, second.repeat) == (
        "0.102",
        False,
        "0.204",
        True,
        2,
    )


def test_what_waits_on_the_device_is_mended_or_removed_there_and_a_refused_entry_names_its_reason(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    bad = (
        f"{{kind: 'reading', bearing: '{bearings[0].pk}', visit: crypto.randomUUID(), stage: 'as_found',"
        " station: 'in-12', fields: {value: 'six', unit: 'mm', method: 'bore_gauge'}}"
    )
    page.evaluate(with_queue(f"unsent.add({bad}).then(() => unsent.add({bad})).then(() => unsent.send())"))
    page.goto(f"{url}/record/offline/")
    page.get_by_role("heading", name="Needs attention").wait_for()
    page.locator(".kept-entry").first.click()
    page.locator("#entry-value").fill("0.205")
    page.get_by_role("button", name="Keep this value").click()
    page.get_by_text("1 unsent, 1 to look at").first.wait_for()
    page.locator(".kept-entry").first.click()
    page.get_by_role("button", name="Remove from this device").click()
    page.get_by_role("button", name="Tap again to remove it for good").click()
    page.wait_for_function(with_queue("unsent.all('queue').then((rows) => rows.length === 0)"))
    assert list(Reading.objects.filter(recorded_by=page_author(page)).values_list("typed", flat=True)) == [
        "0.205"
    ]


def page_author(page):
    return page.evaluate(with_queue("unsent.author"))


def test_a_device_without_room_says_so_and_keeps_nothing_by_halves(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    page.goto(f"{url}/record/offline/#{bearings[0].pk}")
    page.get_by_role("button", name="This one, isolated: begin").click()
    page.locator("#id_value").fill("0.205")
    page.evaluate(NO_ROOM)
    page.get_by_role("button", name="Next").click()
    page.get_by_text("Not kept: this device has no room left.").wait_for()
    assert page.locator("#id_value").input_value() == "0.205"
    assert page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 0
    page.get_by_text("device full").first.wait_for()
    page.evaluate("window.roomAgain()")
    page.get_by_role("button", name="Next").click()
    page.locator("[data-where]").filter(has_text="station 2 of 2").wait_for()
    assert page.evaluate(with_queue("unsent.all('queue').then((rows) => rows.length)")) == 1


def test_nobody_signs_out_unawares_of_what_waits_on_the_device(phone):
    context, bearings, url = phone
    page = context.new_page()
    ready(page, url)
    context.set_offline(True)
    measure(page, bearings[0], url, values_of(0))
    context.route("**/record/queue/", lambda route: route.abort())  # the network is back, the server is not
    context.set_offline(False)
    page.goto(f"{url}/")
    page.get_by_text("5 unsent").first.wait_for()
    asked = []

    def answer(dialog, leave):
        asked.append(dialog.message)
        dialog.accept() if leave else dialog.dismiss()

    page.once("dialog", lambda dialog: answer(dialog, False))
    page.get_by_role("button", name="Sign out").click()
    page.get_by_text("5 unsent").first.wait_for()
    page.once("dialog", lambda dialog: answer(dialog, True))
    pressed(page.get_by_role("button", name="Sign out"))
    assert page.get_by_role("heading", level=1).inner_text() == "Sign in"
    assert asked == [asked[0]] * 2 and "5 entries are not sent yet" in asked[0]
    sign_in(context, get_user_model().objects.get(), url)
    page.goto(f"{url}/")
    page.get_by_text("5 unsent").first.wait_for()
