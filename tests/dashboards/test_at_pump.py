"""The page a mechanic starts from: finding a bearing, open visits, what is wanted opened now."""

import datetime as dt

import pytest

from dashboards.at_pump.wanted_now import wanted_now
from dashboards.outage_plan.versions import propose
from fleet.clock import today_in
from fleet.plant.people import person_named
from fleet.plant.renaming import rename
from fleet.web.bearing_search import holds
from inspections.deferrals.acts import answer, ask_opening
from inspections.visits.acts import begin
from tests import makers
from tests.dashboards.outage_plan.plan_fleet import a_fleet, accept_agreed

pytestmark = pytest.mark.django_db
DAY = dt.timedelta(days=1)
PASSWORD = "a quiet pump in the long hall"


@pytest.fixture
def today():
    return today_in("UTC")


@pytest.fixture
def site():
    site = makers.a_site(name="Own site")
    for tag in ("Descale 1", "Descale 12", "Lift 3"):
        place = makers.a_place(site=site, tag=tag)
        makers.a_bearing(place=place, position="DE")
        makers.a_bearing(place=place, position="NDE")
    return site


@pytest.fixture
def mechanic(client, site):
    account = makers.an_account(role="mechanic", site=site)
    client.force_login(account)
    return account


def _page(client, query=""):
    answer = client.get(f"/pump/{query}")
    assert answer.status_code == 200
    return answer.content.decode()


@pytest.mark.parametrize("asked", ["descale1", "Descale 1", "DESCALE-1", "1 descale"])
def test_a_pump_is_found_however_its_name_is_spaced_and_a_longer_number_is_another_pump(
    client, mechanic, asked
):
    page = _page(client, f"?find={asked}")
    assert page.count("Descale 1 <b>") == 2
    assert "Descale 12" not in page
    assert "/bearings/Descale%201/DE/record/" in page


def test_a_part_of_a_name_finds_every_pump_that_has_it(client, mechanic):
    page = _page(client, "?find=escale")
    assert "Descale 1 <b>" in page and "Descale 12 <b>" in page


def test_a_miss_says_what_was_sought_and_offers_the_nearest_names(client, mechanic):
    page = _page(client, "?find=Decsale 1")
    assert "Nothing at your sites is called “Decsale 1”." in page
    assert '<a class="button" href="?find=Descale%201">Descale 1</a>' in page
    page = _page(client, "?find=quench")
    assert "Nothing at your sites is called “quench”." in page and "Look at the plate" in page


def test_an_old_name_of_a_pump_leads_to_it(client, mechanic, site):
    place = site.places.get(tag="Lift 3")
    rename(place, name="Booster", from_on=None, reason="new plates", by=makers.somebody())
    page = _page(client, "?find=lift3")
    assert "Booster <b>DE</b>" in page


def test_no_bearing_of_another_site_is_found(client, mechanic):
    makers.a_bearing(place=makers.a_place(site=makers.a_site(), tag="Elsewhere 4"))
    page = _page(client, "?find=Elsewhere")
    assert "/bearings/" not in page and "Nothing at your sites" in page


def test_signs_alone_find_nothing_by_chance():
    assert not holds("Descale 1 DE", "***")


def test_the_visits_of_whoever_looks_stand_first_and_others_apart(client, mechanic, site, today):
    mine, other = (site.places.get(tag=tag).bearings.get(name="DE") for tag in ("Descale 1", "Lift 3"))
    begin(bearing=mine, on=today - DAY, by=mechanic.person_id)
    begin(bearing=other, on=today, by=person_named("S. Else", by=mechanic.person_id).pk)
    page = _page(client)
    assert "1\u00a0visit of yours stands open" in page
    yours, others = page.split("Your open visits")[1].split("Opened by others")
    assert "/bearings/Descale%201/NDE/record/visit/" in yours and "Lift 3" not in yours
    assert "/bearings/Lift%203/DE/record/visit/" in others


def test_what_the_accepted_plan_opens_in_the_running_outage_is_wanted_now(client, today):
    site = a_fleet(today, ahead=(-1, 548, 1100), freeze=60)
    plan = accept_agreed(
        propose(site, today - 30 * DAY, by=makers.somebody()), reason="ok", on=today - 30 * DAY
    )
    first = str(site.outages.get(name="outage 1").pk)
    jobs = [job for job in plan.jobs if job["outage"] == first]
    wanted = wanted_now(site, today)
    assert {str(one.bearing.pk) for one in wanted.bearings} == {job["bearing"] for job in jobs} != set()
    client.force_login(makers.an_account(role="mechanic", site=site))
    page = _page(client)
    assert "To be opened now" in page and wanted.bearings[0].address.replace("&", "&amp;") in page
    opened = wanted.bearings[0].bearing
    visit = begin(bearing=opened, on=today, by=makers.somebody())
    makers.a_reading(bearing=opened, on=today, visit=visit)
    assert opened.pk not in {one.bearing.pk for one in wanted_now(site, today).bearings}
    before = wanted_now(site, today - 10 * DAY)
    assert before.bearings == () and before.coming.name == "outage 1" and before.n_coming == len(jobs)


def test_an_opening_agreed_outside_an_outage_is_wanted_about_its_day_until_it_is_done(
    client, mechanic, site, today
):
    bearing = site.places.get(tag="Lift 3").bearings.get(name="DE")
    for n in range(3):
        makers.a_reading(bearing=bearing, on=dt.date(2012 + 4 * n, 5, 4), value=f"0.1{5 + n}0")
    cast = makers.a_cast(site=site)
    said = {"bearing": bearing, "on": today, "opens_on": today + 9 * DAY, "reason": "rise of its temperature"}
    asked = ask_opening(**said, by=cast["engineer"].person_id)
    assert wanted_now(site, today).bearings == ()
    answer(thing=asked.id, side="operations", agreed=True, on=today, by=cast["operations"].person_id)
    assert "Agreed for " in _page(client) and "rise of its temperature" in _page(client)
    assert "not opened yet" in wanted_now(site, today + 12 * DAY).bearings[0].stands
    assert wanted_now(site, today + 400 * DAY).bearings == ()
    makers.an_event(bearing=bearing, kind="scrape", on=today)
    assert wanted_now(site, today).bearings == ()


def test_a_mechanic_opens_with_the_page_at_the_pump_and_an_engineer_with_the_watch_list(client, site):
    for role, address in (("mechanic", "/pump/"), ("foreman", "/"), ("engineer", "/")):
        account = makers.an_account(role=role, site=site, username=f"a {role}")
        account.set_password(PASSWORD)
        account.save()
        signed = client.post("/sign-in/", {"username": account.username, "password": PASSWORD})
        assert (signed.status_code, signed["Location"]) == (302, address), role
        client.logout()


def test_the_page_asks_as_much_for_many_visits_as_for_one(
    client, mechanic, site, today, django_assert_max_num_queries
):
    def asked():
        with django_assert_max_num_queries(60) as queries:
            _page(client)
        return len(queries)

    places = [makers.a_place(site=site, tag=f"Row {n}") for n in range(6)]
    bearings = [makers.a_bearing(place=place) for place in places]
    begin(bearing=bearings[0], on=today, by=mechanic.person_id)
    few = asked()
    for one in bearings[1:]:
        begin(bearing=one, on=today, by=mechanic.person_id)
    assert asked() == few
