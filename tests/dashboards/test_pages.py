"""The watch list as a page: the same number of questions to the database for few and many, what it shows,
where it leads.
"""

import datetime as dt
import io
from collections import OrderedDict
from dataclasses import replace

import openpyxl
import pytest

from inspections.forecasts.frames import SHEET
from inspections.wear.fit import fit_fleet
from inspections.wear.population import Population
from tests import makers

pytestmark = pytest.mark.django_db


def _fleet(n: int, site=None):
    site = site or makers.a_site()
    for _ in range(n):
        place = makers.a_place(site=site, positions=("DE",))
        bearing = makers.a_bearing(place=place)
        for year, value in ((2012, "0.150"), (2016, "0.170"), (2020, "0.190")):
            makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=value)
    return site


def _queries(client, address, django_assert_max_num_queries):
    with django_assert_max_num_queries(106) as asked:
        assert client.get(address).status_code == 200
    return len(asked)


def test_the_list_asks_as_much_for_20_bearings_as_for_2(client, django_assert_max_num_queries):
    site = _fleet(2)
    client.force_login(makers.an_account())
    client.get("/")
    few = _queries(client, "/", django_assert_max_num_queries)
    _fleet(18, site)
    client.get("/")
    assert _queries(client, "/", django_assert_max_num_queries) <= few


def test_fresh_figures_ask_as_much_for_20_bearings_as_for_2(client, django_assert_max_num_queries):
    site = _fleet(2)
    client.force_login(makers.an_account())
    few = _queries(client, "/", django_assert_max_num_queries)
    _fleet(18, site)
    assert _queries(client, "/", django_assert_max_num_queries) <= few


@pytest.mark.parametrize("address", ["/", "/plan/"])
def test_an_empty_site_says_its_three_steps_and_leads_to_the_first(client, address):
    client.force_login(makers.an_account())
    page = client.get(address).content.decode()
    assert "Bring the register" in page and "Bring the history" in page and "Read the watch list" in page
    assert '<a class="button button-main" href="/import/">Bring a sheet</a>' in page
    for holds in ("register", "history", "outages", "spares"):
        assert f'href="/import/template/{holds}/"' in page, holds
        assert f'href="/import/template/{holds}/?as=xlsx"' in page, holds


def test_an_administrator_whose_role_shows_no_bearings_is_told_so(client):
    _fleet(1)
    client.force_login(makers.an_account(role="administrator"))
    page = client.get("/").content.decode()
    assert "This site holds bearings, and your role shows none of them." in page
    assert "Nothing here yet" not in page


def test_a_search_that_misses_says_what_was_sought(client):
    _fleet(1)
    client.force_login(makers.an_account())
    page = client.get("/?find=Nowhere 7").content.decode()
    assert "No pump or bearing at your sites has “Nowhere 7” in its name" in page


def test_list_and_page_say_one_sentence_and_the_limit_that_is_missing_is_led_to(client):
    site = _fleet(2)
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="Unset"), limits={})
    makers.a_reading(bearing=bearing)
    client.force_login(makers.an_account())
    listed, shown = (client.get(at).content.decode() for at in ("/", "/bearings/Unset/DE/"))
    said = "Set a limit: neither a maximum nor a replace limit stands"
    for page in (listed, shown):
        assert said in page
        assert "/bearings/Unset/DE/limits/" in page


def test_an_empty_site_offers_nobody_what_the_role_may_not_do(client):
    client.force_login(makers.an_account(role="reader"))
    page = client.get("/").content.decode()
    assert "Bring a sheet" not in page and "/import/template/" not in page
    assert "needs the role engineer or planner" in page


def test_the_workbook_holds_the_columns_of_the_forecast_sheet_and_every_bearing(client):
    _fleet(3)
    client.force_login(makers.an_account())
    book = openpyxl.load_workbook(io.BytesIO(client.get("/watch-list.xlsx").content))
    rows = list(book.active.values)
    assert rows[0] == SHEET and len(rows) == 4


def test_every_row_leads_to_its_bearing(client):
    _fleet(1)
    client.force_login(makers.an_account())
    page = client.get("/").content.decode()
    address = page.split('href="/bearings/')[1].split('"')[0].replace("&amp;", "&")
    assert client.get(f"/bearings/{address}").status_code == 200


@pytest.mark.parametrize(
    "query", ["?fold=pump", "?fold=outage", "?find=nothing", "?site=x", "?before=2030-01-01", "?fold=<b>"]
)
def test_whatever_is_asked_the_page_answers(client, query):
    _fleet(1)
    client.force_login(makers.an_account())
    assert client.get(f"/{query}").status_code == 200


def test_a_long_list_is_shown_page_by_page_and_the_sentence_speaks_of_all(client, monkeypatch):
    monkeypatch.setattr("dashboards.views.watch.ROWS_A_PAGE", 2)
    _fleet(3)
    client.force_login(makers.an_account())
    first, second = client.get("/").content.decode(), client.get("/?page=2&fold=pump").content.decode()
    assert first.count('href="/bearings/') == 2 and second.count('href="/bearings/') == 1
    assert "of 3 bearings" in first and "of 3 bearings" in second
    assert "page=2" in first and "page=1&amp;fold=pump" in second


def test_a_fit_that_failed_is_said_once_at_the_head_of_the_list_and_of_no_bearing(client, monkeypatch):
    def restless(histories, **asked):
        fitted = fit_fleet(histories, **asked)
        pools = tuple(replace(pool, converged=False, note="it did not come to rest") for pool in fitted.pools)
        return Population(pools)

    monkeypatch.setattr("inspections.forecasts.current_forecasts._FITS", OrderedDict())
    monkeypatch.setattr("inspections.forecasts.current_forecasts.fit_fleet", restless)
    _fleet(3)
    client.force_login(makers.an_account())
    page = client.get("/").content.decode()
    assert page.count("could not be fitted well: it did not come to rest") == 1
    assert "fleet alone" not in page
