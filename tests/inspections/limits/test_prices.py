"""What a decision counts with is a choice of the plant, in crew hours or money, and the price of a passing
that follows stands beside it and on the method page.
"""

import datetime as dt

import pytest

from fleet.models import Setting
from fleet.plant.acts import Refused
from inspections.forecasts.judgement.current_judgements import judgements
from inspections.limits import plant_choices
from inspections.limits.passing_prices import prices
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 3, 9)


def choose(name, typed, site=None, from_on=None):
    return plant_choices.choose(name=name, typed=typed, site=site, from_on=from_on, by=makers.somebody())


def worn(site, tag="P-1", rises=(0, 28, 55, 80), **place):
    """A bearing measured four times, from 150 um on."""
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag=tag, positions=("DE",), **place))
    for year, rise in zip((2014, 2017, 2020, 2023), rises, strict=True):
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=f"0.{150 + rise}")
    return bearing


@pytest.fixture
def site():
    """A site of three even wearers, so that the fleet is not too young to say anything."""
    of_three = makers.a_site(name="Own")
    for n, rises in enumerate(((0, 20, 41, 60), (0, 18, 35, 55), (0, 22, 45, 66))):
        worn(of_three, f"Even {n}", rises)
    return of_three


def of(bearing):
    return judgements([bearing], TODAY)[bearing.pk]


def test_a_price_in_money_counts_as_the_same_price_in_crew_hours(site):
    bearing = worn(site)
    choose("shell_hours", "80 h")
    in_hours = of(bearing).price_h
    choose("crew_hour_money", "50 EUR")
    choose("shell_hours", "4000 EUR")
    assert of(bearing).price_h == pytest.approx(in_hours)
    choose("shell_hours", "2000 EUR", site=site)
    assert of(bearing).price_h < in_hours
    assert [row.low for row in prices([site], TODAY)] == [row.high for row in prices([site], TODAY)] != [""]


def test_what_an_opening_costs_besides_the_crew_is_dear_but_takes_no_hours(site):
    bearing = worn(site)
    before = of(bearing)
    choose("opening_besides", "30 h")
    after = of(bearing)
    assert after.price_h > before.price_h
    assert (after.open_h, after.again_h) == (before.open_h, pytest.approx(before.again_h, rel=0.5))
    assert after.at.cost_h > before.at.cost_h


def test_consequence_and_stop_are_chosen_by_the_pumps_name_whatever_its_case(site):
    bearing, other = worn(site), worn(site, tag="P-2")
    choose("consequence_factors", "p-1: 2")
    choose("stop_hours", "P-1: 120 h; all others: 60 h")
    assert (of(bearing).consequence, of(bearing).stop_h) == (2.0, 120.0)
    assert of(bearing).accepted_risk == pytest.approx(of(other).accepted_risk / 2)
    assert (of(other).consequence, of(other).stop_h) == (1.0, 60.0)
    choose("stop_hours", "none")
    assert of(other).stop_h is None


def test_a_smaller_accepted_risk_of_a_criticality_makes_a_passing_dearer_in_proportion(site):
    bearing = worn(site, criticality="Duty")
    makers.a_place(site=site, tag="P-2", criticality="spare")
    before = of(bearing).price_h
    choose("accepted_risk_by_criticality", "duty: 2,5 %; spare: 20 %")
    assert of(bearing).price_h == pytest.approx(4 * before, abs=0.01)


@pytest.mark.parametrize(
    ("name", "typed", "message"),
    [
        ("shell_hours", "40", "Write crew hours as 40 h"),
        ("shell_hours", "nan h", "no price"),
        ("shell_hours", "20000 h", "0 to 10.000 h"),
        ("shell_hours", "-1 h", "0 to 10.000 h"),
        ("shell_hours", "2000000000 EUR", "0 to 1.000.000.000 EUR"),
        ("shell_hours", "4000 EUR", "No price of a crew hour holds"),
        ("crew_hour_money", "3 h", "no price of an hour"),
        ("crew_hour_money", "0 EUR", "no price of an hour"),
        ("stop_hours", "P-1 120 h", "names nothing"),
        ("stop_hours", "P-1: 1 h; p-1: 2 h", "twice"),
        ("stop_hours", "P-1: 900 EUR", "No price of a crew hour holds"),
        ("consequence_factors", "P-1: 5", "1 to 4 times"),
        ("accepted_risk_by_criticality", "duty: 60 %", "1 to 50 %"),
        ("opening_spoils", "30 %", "0 to 20 %"),
    ],
)
def test_a_price_that_cannot_be_is_refused_with_what_can(name, typed, message):
    with pytest.raises(Refused, match=message):
        choose(name, typed)
    assert not Setting.objects.exists()


def test_one_money_at_a_time():
    choose("crew_hour_money", "50 EUR")
    choose("shell_hours", "4000 EUR")
    with pytest.raises(Refused, match="priced in EUR, this in USD"):
        choose("opening_besides", "300 USD")
    with pytest.raises(Refused, match="Prices in EUR stand"):
        choose("crew_hour_money", "60 USD")


def test_prices_that_hold_no_more_hinder_no_other_money():
    choose("crew_hour_money", "50 EUR")
    choose("shell_hours", "4000 EUR")
    choose("shell_hours", "40 h", from_on=dt.date(2026, 1, 1))
    with pytest.raises(Refused, match="Prices in EUR stand"):
        choose("crew_hour_money", "60 USD", from_on=dt.date(2025, 6, 1))
    choose("crew_hour_money", "60 USD", from_on=dt.date(2026, 1, 1))
    choose("shell_hours", "3000 USD", from_on=dt.date(2026, 1, 1))
    choose("stop_hours", "all others: 10 USD", from_on=dt.date(2040, 1, 1))
    choose("shell_hours", "40 h", from_on=dt.date(2039, 1, 1))
    with pytest.raises(Refused, match="Prices in USD stand from 2040-01-01 on"):
        choose("crew_hour_money", "50 EUR", from_on=dt.date(2039, 1, 1))


def test_a_price_of_the_plant_is_held_to_the_crew_hour_of_each_site_that_has_its_own(site):
    choose("crew_hour_money", "50 EUR")
    choose("crew_hour_money", "60 USD", site=site)
    with pytest.raises(Refused, match="A crew hour at Own is priced in USD, this in EUR"):
        choose("shell_hours", "2400 EUR")
    choose("shell_hours", "30 h", site=site)
    choose("shell_hours", "2400 EUR")  # the site has its own
    with pytest.raises(Refused, match="Prices in EUR stand at Other"):
        choose("crew_hour_money", "60 USD", site=makers.a_site(name="Other"))


def test_money_for_more_crew_hours_than_are_allowed_is_refused():
    choose("crew_hour_money", "1 EUR")
    choose("shell_hours", "10000 EUR")
    with pytest.raises(Refused, match=r"is more than 10.000 crew hours"):
        choose("stop_hours", "all others: 10001 EUR")
    with pytest.raises(Refused, match=r"is more than 10.000 crew hours"):
        choose("crew_hour_money", "0.5 EUR")


@pytest.mark.parametrize(
    ("name", "typed", "message"),
    [
        ("consequence_factors", "Even 00: 2", "No pump at Own is called “Even 00”. Is 'Even 0'"),
        ("stop_hours", "P-9: 2 h", "No pump at Own is called “P-9”"),
        ("accepted_risk_by_criticality", "dutty: 5 %", "No criticality at Own is called “dutty”. Is 'Duty'"),
    ],
)
def test_a_name_that_nothing_has_is_refused_with_the_nearest(site, name, typed, message):
    makers.a_place(site=site, tag="P-1", criticality="Duty")
    makers.a_place(site=makers.a_site(name="Other"), tag="P-9", criticality="dutty")
    with pytest.raises(Refused, match=message):
        choose(name, typed, site=site)
    assert not Setting.objects.exists()


def test_a_list_by_name_begins_with_what_is_chosen_and_sent_again_is_the_same(client, site):
    makers.a_place(site=site, tag="P 1", criticality="Duty")
    makers.a_place(site=makers.a_site(name="Other"), tag="P-9")
    client.force_login(makers.an_account())
    typed = {
        "accepted_risk_by_criticality": "duty: 2.5 %",
        "consequence_factors": "p 1: 1.25; P-9: 2",
        "stop_hours": "P 1: 9000 h; all others: 12.5 h",
    }
    for name, words in typed.items():
        choose(name, "; ".join(reversed(words.split("; "))))
        page = client.get("/choices/").content.decode()
        shown = page.split(f'id="value-{name}"')[1].split("</textarea>")[0]
        assert shown.endswith(f">{words}") and 'maxlength="24000"' in shown
        client.post("/choices/", {"name": name, "value": words.replace("; ", "\r\n")})
        first, second = Setting.objects.filter(name=name)
        assert first.value == second.value
    page = client.get("/choices/?site=Own").content.decode()
    assert ">p 1: 1.25</textarea>" in page


def test_page_and_method_show_each_price_with_its_author_and_the_price_that_follows(client, site):
    client.force_login(makers.an_account())
    client.post("/choices/", {"name": "crew_hour_money", "value": "50 EUR", "from_on": "2026-01-05"})
    answer = client.post("/choices/", {"name": "shell_hours", "value": "4000 EUR"}, follow=True)
    assert "Price of a new shell: 4000 EUR, recorded" in answer.content.decode()
    (row,) = prices([site], dt.date.today())
    for address in ("/choices/", "/choices/?site=Own", "/method/"):
        page = client.get(address).content.decode().replace("\u00a0", " ")
        assert row.low.replace("\u00a0", " ") in page and "4000 EUR" in page and "50 EUR" in page
        assert "Crew hours of the work" in page and "12 h" in page
    assert "5 Jan 2026" in client.get("/choices/").content.decode().replace("\u00a0", " ")


def test_prices_of_a_site_are_for_those_who_may_see_it(client, site):
    worn(makers.a_site(name="Other"), tag="P-9")
    client.force_login(makers.an_account(site=site))
    for address in ("/choices/", "/method/"):
        page = client.get(address).content.decode()
        assert ", Own <" in page and ", Other <" not in page


def test_the_method_page_shows_what_a_site_has_chosen_for_itself_beside_its_prices(client, site):
    choose("shell_hours", "40 h", from_on=dt.date(2020, 1, 1))
    choose("shell_hours", "77 h", site=site, from_on=dt.date(2020, 1, 1))
    client.force_login(makers.an_account(role="engineer", site=site))
    page = " ".join(client.get("/method/").content.decode().replace("\u00a0", " ").split())
    assert "Own alone" in page and "77 h" in page and "40 h" in page
    client.force_login(makers.an_account(role="engineer", site=makers.a_site(name="Other")))
    assert "Own alone" not in client.get("/method/").content.decode()
