"""The backtest of the plant's own record: printed, kept with the run, shown to the sites that may see it."""

import datetime as dt
from io import StringIO

import pytest
from django.core.management import CommandError, call_command

from inspections.forecasts import kept_backtest
from inspections.forecasts.refit import refit
from tests import makers

pytestmark = pytest.mark.django_db


def a_fleet(n=6, site=None, odd=0):
    bearings = []
    for number in range(n):
        bearing = makers.a_bearing(place=makers.a_place(site=site or makers.a_site(name="Own")))
        for year, add in ((2012, 0), (2016, 20 + number), (2020, 45 + number + (odd if number == 0 else 0))):
            makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=f"0.{150 + add}")
        bearings.append(bearing)
    return bearings


def test_the_command_prints_calibration_and_the_straight_line_beside_it():
    a_fleet()
    out = StringIO()
    call_command("forecast", "--backtest", stdout=out)
    said = out.getvalue()
    assert "Of 6\u00a0hidden readings" in said and "straight line" in said and "too few to judge by" in said
    assert "90 % figure" in said and "middle miss" in said


def test_without_the_option_nothing_is_hidden_or_kept():
    a_fleet(2)
    run = refit(by=makers.somebody())
    assert "backtest" not in run.parameters and kept_backtest.last_kept() is None


@pytest.mark.parametrize("asked", ["0", "6", "many", "-1"])
def test_a_number_of_openings_that_cannot_be_hidden_is_refused(asked):
    with pytest.raises(CommandError, match="how many openings to hide"):
        call_command("forecast", f"--backtest={asked}")


def test_the_page_names_a_far_reading_with_its_day_only_to_its_own_site(client):
    site = makers.a_site(name="Own")
    bearings = a_fleet(8, site, odd=250)
    refit(by=makers.somebody(), hide=1)
    client.force_login(makers.an_account(role="engineer", site=site))
    page = client.get("/backtest/").content.decode()
    assert bearings[0].place.tag in page and "4\u00a0May\u00a02020" in page
    client.force_login(makers.an_account(role="engineer", site=makers.a_site()))
    stranger = client.get("/backtest/").content.decode()
    assert bearings[0].place.tag not in stranger and "hidden reading" in stranger


def test_before_the_first_backtest_the_page_says_how_to_make_one(client):
    client.force_login(makers.an_account())
    assert "manage.py forecast --backtest" in client.get("/backtest/").content.decode()


def test_the_pages_queries_do_not_grow_with_the_fleet(client, django_assert_max_num_queries):
    site = makers.a_site(name="Own")
    a_fleet(3, site)
    client.force_login(makers.an_account(role="engineer", site=site))
    refit(by=makers.somebody(), hide=1)
    client.get("/backtest/")
    a_fleet(6, site, odd=250)
    refit(by=makers.somebody(), hide=1)
    with django_assert_max_num_queries(10):
        client.get("/backtest/")


@pytest.mark.parametrize(
    ("below", "words"),
    [
        ((5.0, 10.0, 50.0, 90.0, 95.0), "as often as promised"),
        ((20.0, 25.0, 50.0, 75.0, 80.0), "less often than promised"),
        ((0.0, 1.0, 50.0, 99.0, 100.0), "more often than promised"),
    ],
)
def test_the_verdict_says_which_way_the_shares_are_off(below, words):
    one = {"below": below, "loss_um": 1.0, "miss_um": 1.0}
    assert words in kept_backtest.sentence({"n": 500, "ours": one, "line": one})
