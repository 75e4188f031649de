"""Who wears faster than the fleet: names, the sentence, the bars, and what another site may not read."""

import datetime as dt
from types import SimpleNamespace

import pytest

from dashboards.trends.comparison import Trends, compared, sentence
from dashboards.trends.ratio_bars import at, ratio_axis, ratio_bar, reach
from inspections.forecasts.codes import Codes
from inspections.forecasts.refit import refit
from inspections.wear.factors_against_fleet import Driver
from tests import makers

OLD = SimpleNamespace(young=False)
DAY = dt.date(2026, 6, 1)


def _driver(code=0, ratio=2.0, low=1.4, high=2.9, *also):
    return Driver((("service", code), *also), 8, ratio, low, high)


def _trends(*drivers, words=None):
    codes = Codes({"service": {"grit": 0, "clean": 1}, "class_": {"c-1": 0}, "site": {}, "position": {}})
    words = words or {"service": {"grit": "grit", "clean": "clean"}, "class_": {"c-1": "River"}}
    return Trends(compared(drivers, codes, words), 0, OLD, DAY)


def test_the_sentence_names_the_two_that_stand_out_with_their_intervals():
    trends = _trends(_driver(), _driver(1, 0.6, 0.45, 0.8))
    assert (
        sentence(trends)
        == "Bearings of service grit wear 2.0 times the fleet's rate (9 in 10: 1.4 to 2.9), and bearings of"
        " service clean wear 0.6 times the fleet's rate (9 in 10: 0.45 to 0.80); no other group stands"
        " apart."
    )


def test_a_group_whose_interval_holds_the_fleets_rate_is_not_called_faster():
    assert sentence(_trends(_driver(0, 2.0, 0.9, 4.0))).startswith("No class, site, service or position")


def test_groups_that_cannot_be_parted_are_named_together():
    trends = _trends(_driver(0, 2.0, 1.4, 2.9, ("class_", 0)))
    assert "service grit (class River) wear" in sentence(trends)


def test_a_word_that_none_of_the_readers_bearings_has_is_left_out():
    words = {"service": {"clean": "clean"}}
    assert [row.name for row in _trends(_driver(), _driver(1, 1.0, 0.9, 1.1), words=words).rows] == [
        "service clean"
    ]


def test_a_young_fleet_compares_nothing():
    assert sentence(Trends((), 0, SimpleNamespace(young=True), DAY)).startswith("Cannot say yet")


def test_the_scale_is_even_in_ratios_and_reaches_every_interval():
    assert at(2.0, 4.0) - at(1.0, 4.0) == pytest.approx(at(1.0, 4.0) - at(0.5, 4.0))
    assert reach([0.8, 1.1]) == 2.0 and reach([0.3, 1.1]) == 4.0 and reach([1e-6]) == 16.0
    assert "half" in ratio_axis(4.0) and "1/4" in ratio_axis(4.0)


def test_a_bar_says_its_figures_and_warns_only_where_wear_is_surely_faster():
    assert "line-limit" in ratio_bar(2.0, 1.4, 2.9, 4.0, True)
    assert "line-dye" in ratio_bar(0.5, 0.4, 0.8, 4.0, True)
    unsure = ratio_bar(1.2, 0.9, 1.9, 4.0, False)
    assert "line-quiet" in unsure and "1.20 times" in unsure and "between 0.90 and 1.90" in unsure


def _fleet(site, service, gain, n=4):
    for number in range(n):
        bearing = makers.a_bearing(place=makers.a_place(site=site, service=service, positions=("DE",)))
        for year, step in ((2012, 0), (2016, 1), (2020, 2), (2024, 3)):
            value = 150 + number + gain * step
            makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=value, unit="um")


@pytest.mark.django_db
def test_the_page_names_the_fast_service_to_its_own_site_only(client):
    north, south = makers.a_site(name="North"), makers.a_site(name="South")
    _fleet(north, "grit", 60)
    _fleet(south, "clean", 8)
    _fleet(south, "raw", 9)
    refit(by=makers.somebody())
    client.force_login(makers.an_account(site=north))
    page = client.get("/trends/").content.decode()
    assert "service grit" in page or "site North" in page
    assert "clean" not in page and "South" not in page
    client.force_login(makers.an_account(site=south))
    other = client.get("/trends/").content.decode()
    assert "service clean" in other and "grit" not in other and "North" not in other


@pytest.mark.django_db
def test_the_pages_queries_do_not_grow_with_the_fleet(client):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    site = makers.a_site(name="North")
    client.force_login(makers.an_account(site=site))
    counts = []
    for services in (("grit", "clean"), ("raw", "lift", "boiler")):
        for service in services:
            _fleet(site, service, 10, n=2)
        refit(by=makers.somebody())
        client.get("/trends/")
        with CaptureQueriesContext(connection) as found:
            client.get("/trends/")
        counts.append(len(found))
    assert counts[0] == counts[1]
