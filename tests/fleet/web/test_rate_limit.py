"""Costly pages: so many to an account within ten minutes, whatever process serves them."""

import datetime as dt

import pytest
from django.test import Client
from django.urls import get_resolver

from fleet.clock import now
from fleet.models import CostlyRequest
from fleet.web import rate_limit
from tests import makers

SHEET = "/watch-list.xlsx"


@pytest.fixture
def planner(db, settings):
    settings.COSTLY_REQUESTS = 3
    site = makers.a_site()
    makers.a_bearing(place=makers.a_place(site=site))
    account = makers.an_account(role="planner", site=site)
    client = Client()
    client.force_login(account)
    client.account, client.site = account, site
    return client


def test_who_asks_too_often_is_told_when_to_ask_again(planner):
    assert [planner.get(SHEET).status_code for _ in range(3)] == [200, 200, 200]
    refused = planner.get(SHEET)
    assert refused.status_code == 429 and 400 <= int(refused["Retry-After"]) <= 600
    assert "Ask again in 10 minutes; nothing was changed." in refused.content.decode()
    assert planner.head(SHEET).status_code == 429
    assert planner.get("/").status_code == 200  # what costs little is served all the same


def test_all_costly_pages_count_together_and_each_account_for_itself(planner):
    assert planner.post("/dates-anew/").status_code == 302
    for _ in range(2):
        planner.get(SHEET)
    assert planner.post("/dates-anew/").status_code == 429
    other = Client()
    other.force_login(makers.an_account(role="planner", site=planner.site))
    assert other.get(SHEET).status_code == 200


def test_after_ten_minutes_one_is_served_again_and_what_no_longer_counts_is_not_kept(planner):
    for _ in range(3):
        planner.get(SHEET)
    CostlyRequest.objects.update(at=now() - rate_limit.WINDOW - dt.timedelta(seconds=1))
    assert planner.get(SHEET).status_code == 200
    assert CostlyRequest.objects.filter(account=planner.account).count() == 1


def test_who_asks_on_while_refused_does_not_wait_longer_for_it(planner):
    for _ in range(10):
        planner.get(SHEET)
    assert CostlyRequest.objects.filter(account=planner.account).count() == 3


def test_looking_at_a_page_whose_sheet_is_costly_to_bring_counts_nothing(db, settings):
    settings.COSTLY_REQUESTS = 1
    client = Client()
    client.force_login(makers.an_account(role="engineer"))
    assert {client.get("/import/").status_code for _ in range(3)} == {200}


def test_every_file_that_is_made_on_asking_and_all_long_work_is_counted():
    counted = {
        one.name
        for part in get_resolver().url_patterns
        for one in getattr(part, "url_patterns", [part])
        if getattr(one.callback, "costly", ())
    }
    assert counted == {
        "bearing-bundle",
        "check-record",
        "dates-anew",
        "gauge-recall",
        "hold-seal",
        "import",
        "import-back",
        "import-marked",
        "plan-anew",
        "plan-csv",
        "plan-sheet",
        "record-pack",
        "take-seal",
        "watch-list-sheet",
    }
