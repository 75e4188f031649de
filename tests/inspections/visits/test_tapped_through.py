"""A print tapped cell by cell on a page without scripts: what is left is one entry, by whichever way."""

from copy import copy

import pytest

from inspections.models import ContactCheck, Event, TappedCells
from tests.inspections.visits.test_tapped_cells import FULL, a_drawn_shell, hidden, marks
from tests.inspections.visits.walk import a_mechanic, at, said

pytestmark = pytest.mark.django_db


def tap_all(client, bearing, cells: str = FULL):
    """Tap every cell until it stands as wanted, one post a tap, as a page without scripts does."""
    page = client.get(at(bearing, "print/"))
    for i, line in enumerate(cells.split("/")):
        for k, mark in enumerate(line):
            while hidden(page)["cells"].split("/")[i][k] != mark:
                page = client.post(at(bearing, "print/"), hidden(page) | {"cell": f"{i},{k}"})
    return page


@pytest.fixture(scope="module")
def tapped_once(record_of_module):
    """The drawn shell and its page after some forty posts: made once, every way to leave begins from it."""
    client, bearing, check = a_drawn_shell()
    return client, bearing, check, tap_all(client, bearing)


@pytest.fixture
def tapped(tapped_once):
    client, *rest = tapped_once
    own = copy(client)  # what a test does with its cookies is its own
    own.cookies = client.cookies.copy()
    return own, *rest


@pytest.mark.parametrize("leave", ["visit", "scraped", "other", "again", "keep"])
def test_taps_without_scripts_become_one_entry_by_every_button_that_leaves_the_round(tapped, leave):
    client, bearing, first, page = tapped
    assert TappedCells.objects.get().taps > 20 and ContactCheck.objects.count() == 1
    assert "Acceptable" in said(page)  # the verdict of the cells as they stand, not of the drawn shell
    button = {"keep": "yes"} if leave == "keep" else {"leave": leave}
    answer = client.post(at(bearing, "print/"), hidden(page) | button)
    assert answer.status_code == 302
    stands = ContactCheck.objects.standing().get()
    assert marks(stands) == FULL and stands.event.outcome == "acceptable" and stands.supersedes == first.pk
    assert (
        ContactCheck.objects.count() == 2
        and Event.objects.standing().filter(kind="contact_check").count() == 1
    )
    # The cells fit: nothing is to be scraped, and a scrape needs its reason.
    assert not Event.objects.filter(kind="scrape").exists()
    assert ("Say in a few words" in said(client.get(answer["Location"]))) == (leave == "scraped")


@pytest.mark.parametrize("page", ["visit/", "contact/", "scraped/", "close/"])
def test_taps_are_kept_where_one_goes_on_by_an_address_and_no_button(tapped, page):
    client, bearing, *_ = tapped
    client.get(at(bearing, page))
    assert marks(ContactCheck.objects.standing().get()) == FULL
    assert not TappedCells.objects.filter(kept=False).exists()


def test_somebody_else_closes_the_visit_and_the_taps_are_kept_as_theirs_who_tapped(tapped):
    client, bearing, *_ = tapped
    other = a_mechanic(bearing)
    other.post(at(bearing, "close/"), {"decided": "close up"})
    stands = ContactCheck.objects.standing().get()
    assert marks(stands) == FULL and stands.recorded_by == client.account.person_id
