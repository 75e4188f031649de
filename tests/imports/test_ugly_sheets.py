"""Every ugly sheet by hand through its pages: within the clicks and answers it becomes what its hand-written
truth says, limits too; no cell of it is lost, and it adds nothing twice.
"""

import pytest
from django.conf import settings

from fleet.importing.reading_plans.cell_fates import READ, REMARK, apply
from fleet.importing.reading_plans.layout import grid_of
from fleet.models import Sheet
from fleet.sheets.files import read_sheet
from tests import makers
from tests.imports import bringing
from tests.imports.hands import MOST_ANSWERS, MOST_CLICKS, MOST_WAVES, FormHand

pytestmark = pytest.mark.django_db


@pytest.fixture
def hand_at(client, app):
    """A person at a site, and its pages."""

    def sign_in(name, site):
        client.force_login(makers.an_account(site=site))
        app.set_cookie(settings.SESSION_COOKIE_NAME, client.cookies[settings.SESSION_COOKIE_NAME].value)
        return FormHand(name, app)

    return sign_in


def test_there_are_at_least_twenty_four():
    assert len(bringing.TRUTHS) >= 24


@pytest.mark.parametrize("name", bringing.TRUTHS)
def test_an_ugly_sheet_becomes_what_its_truth_says_and_nothing_else(hand_at, name):
    truth = bringing.truth_of(name)
    site = bringing.the_pumps(truth)
    if before := truth.get("after"):
        assert bringing.bring(bringing.truth_of(before)).ok
    limits_before = bringing.limits()
    hand = hand_at(name, site)
    hand.bring(truth)
    assert bringing.readings() == sorted(truth["readings"])
    assert bringing.events() == sorted(truth["events"])
    assert bringing.hours() == sorted(truth["hours"])
    assert bringing.set_aside() == sorted(truth["set_aside"])
    assert bringing.limits() == sorted([*limits_before, *truth.get("limits", [])])
    print(f"{name}: {hand.n} clicks, {hand.n_answers} answers, {hand.n_waves} waves")
    assert hand.n <= MOST_CLICKS and hand.n_answers <= MOST_ANSWERS and hand.n_waves <= MOST_WAVES
    _every_row_is_accounted_for()
    again = _adds_nothing_again(truth)
    _no_cell_is_lost(truth, again)
    said = " ".join(again.remarks)
    assert all(words in said for words in truth.get("reported", []))
    assert not any(words in said for words in truth.get("not_reported", []))


def _every_row_is_accounted_for():
    sheet = Sheet.objects.last_recorded_first().first()
    assert sheet.n_seen == sheet.n_stored + sheet.n_set_aside + sheet.n_already + sheet.n_blank


def _adds_nothing_again(truth):
    """The sheet read once more, with nothing answered."""
    sheet = Sheet.objects.last_recorded_first().first()
    before = (bringing.readings(), bringing.events(), bringing.hours(), bringing.set_aside())
    again = bringing.bring({**truth, "answers": []})
    assert again.ok, [one.line() for one in again.findings]
    assert again.counts.stored == 0 and again.sheet == sheet
    assert (bringing.readings(), bringing.events(), bringing.hours(), bringing.set_aside()) == before
    return again


def _no_cell_is_lost(truth, result):
    tabs = read_sheet(bringing.bytes_of(truth), truth["sheet"]).tabs
    filled = set()
    for tab in tabs:
        filled |= {
            (tab.name, row.number, j)
            for row in tab.all_rows()
            for j, cell in enumerate(row.cells)
            if cell.strip()
        }
    fates = apply(bringing.the_plan(truth, tabs), tabs).fates
    assert set(fates) == filled
    taken = {(made.tab, made.row, j) for made in result.applied.made for j in made.columns.values()}
    down = {(tab, n, j) for (tab, n, j) in taken if (tab, n, j) not in filled}  # merged or filled from above
    assert {place for place, fate in fates.items() if fate in (READ, REMARK)} >= taken - down
    grids = {tab.name: grid_of(tab) for tab in tabs}
    said = {(m.tab, m.row, name): text for m in result.applied.made for name, text in m.cells.items()}
    for (tab, n, j), fate in fates.items():
        if fate == REMARK:
            assert said[tab, n, "note"] == grids[tab].text(n, j)
