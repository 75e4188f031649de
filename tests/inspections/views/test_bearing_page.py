"""A bearing's page: constant questions to the database, its words, names that lead on, suggestions that are
not applied.
"""

import datetime as dt

import pytest

from fleet.models import Limit
from fleet.plant.renaming import rename
from tests import makers

pytestmark = pytest.mark.django_db


def _worn(place=None, **options):
    bearing = makers.a_bearing(place=place, **options)
    for year, value in ((2012, "0.150"), (2016, "0.170"), (2020, "0.190")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 5, 4), value=value)
    return bearing


def _address(bearing):
    return f"/bearings/{bearing.place.tag}/{bearing.name}/"


def test_the_page_asks_as_much_in_a_fleet_of_20_as_of_2(client, django_assert_max_num_queries):
    client.force_login(makers.an_account())
    bearing = _worn()
    _worn()
    client.get(_address(bearing))
    with django_assert_max_num_queries(60) as few:
        client.get(_address(bearing))
    for _ in range(18):
        _worn()
    client.get(_address(bearing))
    with django_assert_max_num_queries(60) as many:
        client.get(_address(bearing))
    assert len(many) == len(few)


def test_it_says_how_it_reaches_its_limit_and_what_that_rests_on(client):
    client.force_login(makers.an_account())
    for _ in range(4):
        bearing = _worn()
    page = client.get(_address(bearing)).content.decode()
    assert "1 in 10 chance" in page and "own" in page
    assert "190\u00a0µm as found, bore gauge (typed 0.190 mm)" in page


def test_of_a_maximum_that_cannot_be_right_it_tells_no_date_no_chance_and_no_room(client):
    client.force_login(makers.an_account())
    limits = {"fitting_min": 140, "fitting_max": 170, "in_service_max": 110}
    for _ in range(4):
        bearing = _worn(limits=limits)
    page = " ".join(client.get(_address(bearing)).content.decode().replace("\u00a0", " ").split())
    assert "No date: its maximum of 110 µm does not lie above its fitted clearance" in page
    assert "No room to scrape" not in page and "The dates are those" not in page


def test_while_an_outage_runs_the_page_counts_who_passed_by_today(client):
    client.force_login(makers.an_account())
    place = makers.a_place()
    for _ in range(4):
        _worn()
    bearing = _worn(place, limits={"fitting_min": 120, "fitting_max": 150, "in_service_max": 185})
    today = dt.date.today()
    makers.an_outage(site=place.site, start_on=today - dt.timedelta(days=1))
    page = " ".join(client.get(_address(bearing)).content.decode().split())
    assert "would have passed the maximum by today, while the outage runs" in page
    assert "before the outage of" not in page


def test_in_a_young_fleet_it_says_that_it_cannot_say(client):
    client.force_login(makers.an_account())
    assert "Cannot say yet" in client.get(_address(_worn())).content.decode()


def test_without_a_limit_it_suggests_a_published_rule_with_its_source_and_applies_nothing(client):
    client.force_login(makers.an_account())
    bearing = makers.a_bearing(limits={})
    page = client.get(_address(bearing)).content.decode()
    assert "MIL-HDBK-1164, table 17" in page and "written for sleeve bearings of pumps" in page
    assert not Limit.objects.exists()


def test_a_tag_at_two_sites_asks_which(client):
    client.force_login(makers.an_account())
    for name in ("East", "West"):
        makers.a_bearing(place=makers.a_place(site=makers.a_site(name=name), tag="Lift 9"))
    page = client.get("/bearings/Lift 9/DE/").content.decode()
    assert "Which site?" in page and "East" in page and "West" in page
    assert "Which site?" not in client.get("/bearings/Lift 9/DE/?site=West").content.decode()


def test_an_old_name_leads_on(client):
    client.force_login(makers.an_account())
    bearing = makers.a_bearing(place=makers.a_place(tag="Old tag"))
    rename(bearing.place, name="New tag", from_on=None, reason="renumbered", by=makers.somebody())
    for tag in ("Old tag", "New tag"):
        assert "New tag, DE" in client.get(f"/bearings/{tag}/DE/").content.decode()


def test_a_slash_in_a_tag_is_written_as_a_tilde(client):
    client.force_login(makers.an_account())
    makers.a_bearing(place=makers.a_place(tag="Makeup A/B"))
    assert client.get("/bearings/Makeup A~B/DE/").status_code == 200


def test_a_label_leads_on(client):
    client.force_login(makers.an_account())
    bearing = makers.a_bearing()
    answer = client.get(f"/b/{bearing.pk}/")
    assert answer.status_code == 302 and client.get(answer["Location"]).status_code == 200


def test_what_a_person_typed_is_shown_as_text(client):
    client.force_login(makers.an_account())
    bearing = makers.a_bearing()
    makers.an_event(kind="note", bearing=bearing, note="<script>alert(1)</script>")
    page = client.get(_address(bearing)).content.decode()
    assert "<script>alert(1)" not in page and "&lt;script&gt;alert(1)" in page
