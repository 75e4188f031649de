"""Cells tapped on a print: every tap is kept as it is made, and a round that is left is one entry with its
own verdict.
"""

import json
import re
import uuid
from html import unescape

import pytest
from django.utils.timezone import now

from inspections.models import ContactCheck, Event
from inspections.visits.device_entry import Sent
from inspections.visits.offline_sync import replay
from tests import makers
from tests.inspections.visits.walk import a_mechanic, a_worn_bearing, at, begin, read, said

pytestmark = pytest.mark.django_db
FULL = "/".join([".......", "+++++++", "#######", "+++++++", "......."])
TAKEN = {"in_place": "yes", "half": "lower", "first_end": "out"}


def a_drawn_shell():
    """A visit in which the shell that prints at both ends was tapped: (client, bearing, its check)."""
    bearing = a_worn_bearing()
    client = a_mechanic(bearing)
    begin(client, bearing)
    for _ in range(2):
        read(client, bearing, "0.205")
    client.post(at(bearing, "contact/"), {"drawn": "both_ends"} | TAKEN)
    return client, bearing, ContactCheck.objects.get()


@pytest.fixture
def drawn():
    return a_drawn_shell()


def hidden(page) -> dict[str, str]:
    """What the page's own form of the print would send beside its buttons."""
    html = page.content.decode()
    form = html[html.index('id="print"') :]
    fields = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form)
    return {name: unescape(value) for name, value in fields if name != "csrfmiddlewaretoken"} | TAKEN


def marks(check: ContactCheck) -> str:
    return "/".join("".join(".+#"[mark] for mark in line) for line in check.pattern["cells"])


def test_taps_survive_a_reload_and_stand_there_with_their_verdict(drawn):
    client, bearing, _ = drawn
    body = {"draft": "yes", "cells": FULL, "taps": "3", "check": str(drawn[2].pk)} | TAKEN
    answer = client.post(at(bearing, "print/"), body)
    assert answer.json()["outcome"] == "acceptable" and ContactCheck.objects.count() == 1
    page = client.get(at(bearing, "print/"))
    assert hidden(page)["cells"] == FULL and "Acceptable" in said(page)


def test_a_post_that_arrives_late_takes_nothing_back(drawn):
    client, bearing, first = drawn
    body = {"cells": FULL, "taps": "9", "check": str(first.pk)} | TAKEN
    client.post(at(bearing, "print/"), body | {"leave": "visit"})
    late = body | {"draft": "yes", "taps": "8", "cells": FULL.replace("#", ".")}
    client.post(at(bearing, "print/"), late)
    client.get(at(bearing, "visit/"))
    assert marks(ContactCheck.objects.standing().get()) == FULL
    client.post(at(bearing, "print/"), body | {"leave": "visit"})  # the same twice is one entry
    assert ContactCheck.objects.count() == 2


def test_cells_that_are_no_print_change_nothing_and_say_why(drawn):
    client, bearing, _ = drawn
    body = {"cells": "..../.", "taps": "1"} | TAKEN
    answer = client.post(at(bearing, "print/"), body | {"draft": "yes"})
    assert answer.status_code == 400 and answer.json()["fault"]
    client.post(at(bearing, "print/"), body | {"leave": "visit"})
    assert ContactCheck.objects.count() == 1


def test_a_print_of_another_bearing_is_not_mended_from_here(drawn):
    first = drawn[2]
    elsewhere = a_worn_bearing()
    other = a_mechanic(elsewhere)
    begin(other, elsewhere)
    other.post(at(elsewhere, "contact/"), {"drawn": "narrow"} | TAKEN)
    other.post(
        at(elsewhere, "print/"),
        {"cells": FULL, "taps": "1", "check": str(first.pk), "leave": "visit"} | TAKEN,
    )
    first.refresh_from_db()
    assert first.withdrawn_by is None
    answer = sent(entry_of(elsewhere, other, check=str(first.pk), taps="9"), other)
    assert answer.state == "refused" and "another" in answer.why


def sent(entry, client):
    return replay(Sent(json.dumps(entry)), client.account)


def entry_of(bearing, client, **fields):
    """A print as a device sends it."""
    shared = {"kind": "contact", "bearing": str(bearing.pk), "author": str(client.account.person_id)}
    return shared | {
        "id": str(uuid.uuid4()),
        "visit": str(uuid.uuid4()),
        "entered_at": "2026-11-20T08:00:00+00:00",
        "fields": TAKEN | {"drawn": "both_ends", "cells": FULL} | fields,
    }


def test_taps_of_a_device_take_the_place_of_a_print_that_has_left_it_in_any_order():
    bearing = makers.a_bearing()
    client = a_mechanic(bearing)
    first = entry_of(bearing, client, cells="")
    early = entry_of(bearing, client, check=first["id"], taps="1", cells=FULL.replace("#", "+"))
    late = entry_of(bearing, client, check=first["id"], taps="2")
    for one in (first, late, early, late, first):
        assert sent(one, client).state in ("stored", "already")
    assert marks(ContactCheck.objects.standing().get()) == FULL


def read_with(check: ContactCheck) -> tuple[str, str | None]:
    """The clearance and the shell's state that a print was read with."""
    return check.conditions["clearance_um"], check.conditions.get("state")


def test_cells_mended_after_a_scrape_are_still_of_the_shell_before_it(drawn):
    client, bearing, first = drawn
    was = read_with(first)
    client.post(at(bearing, "scraped/"), {"id": uuid.uuid4(), "note": "the engineer on the phone"})
    assert Event.objects.filter(kind="scrape").exists()
    read(client, bearing, "0.290", stage="as_left")
    tapped = {"cells": FULL, "taps": "3", "check": str(first.pk)}
    client.post(at(bearing, "print/"), tapped | {"leave": "visit"} | TAKEN)
    assert marks(mended := ContactCheck.objects.standing().get()) == FULL and read_with(mended) == was


def test_a_print_that_comes_late_is_read_with_what_was_known_when_it_was_taken(drawn):
    client, bearing, first = drawn
    taken = entry_of(bearing, client) | {"visit": str(first.event.visit_id), "entered_at": now().isoformat()}
    client.post(at(bearing, "scraped/"), {"id": uuid.uuid4(), "note": "the engineer on the phone"})
    read(client, bearing, "0.290", stage="as_left")
    assert sent(taken, client).state == "stored"
    assert read_with(ContactCheck.objects.get(pk=taken["id"])) == read_with(first)


def test_taps_of_a_device_whose_first_print_never_left_it_are_one_print():
    bearing = makers.a_bearing()
    client = a_mechanic(bearing)
    never = str(uuid.uuid4())
    for n, cells in enumerate((FULL.replace("#", "+"), FULL), start=1):
        sent(entry_of(bearing, client, check=never, taps=str(n), cells=cells), client)
    assert marks(ContactCheck.objects.standing().get()) == FULL


def test_scraped_without_network_keeps_the_cells_and_the_scrape_once():
    bearing = makers.a_bearing()
    client = a_mechanic(bearing)
    first = entry_of(bearing, client, cells="")
    left = entry_of(
        bearing, client, check=first["id"], taps="4", leave="scraped", scrape_id=str(uuid.uuid4())
    )
    for one in (first, left, left):
        sent(one, client)
    assert marks(ContactCheck.objects.standing().get()) == FULL
    assert Event.objects.standing().filter(kind="scrape").count() == 1
