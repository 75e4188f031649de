"""Names given on pages: of a pump, a position, a site; the old ones lead on, and none leads astray."""

import datetime as dt

import pytest

from fleet.models import Place, Site
from fleet.plant.acts import Refused
from fleet.plant.renaming import add_spelling, names_of, rename
from tests import makers

pytestmark = pytest.mark.django_db


def _typed(bearing, **more):
    return {
        "was_pump": bearing.place.tag,
        "was_position": bearing.name,
        "of": "pump",
        "reason": "renumbered",
    } | more


def _words(page):
    return page.content.decode().replace("\xa0", " ")


@pytest.fixture
def bearing():
    return makers.a_bearing(place=makers.a_place(tag="Feed 1"))


def test_an_engineer_gives_a_pump_another_name_and_the_old_one_leads_on(client, bearing):
    client.force_login(makers.an_account())
    page = client.post(
        "/bearings/Feed 1/DE/names/", _typed(bearing, name="Feed A", from_on="2026-03-01"), follow=True
    )
    assert "Feed 1 is called Feed A now" in page.content.decode()
    assert Place.objects.get().tag == "Feed A"
    assert {(row.text, row.from_on) for row in names_of(bearing.place)} == {
        ("Feed 1", None),
        ("Feed A", dt.date(2026, 3, 1)),
    }
    assert client.get("/bearings/Feed 1/DE/").status_code == 200


def test_a_position_too_and_a_spelling_is_never_shown_as_the_name(client, bearing):
    client.force_login(makers.an_account())
    client.post("/bearings/Feed 1/DE/names/", _typed(bearing, of="position", name="Coupling end"))
    client.post("/bearings/Feed 1/DE/names/", {"spelling_of": "position", "spelling": "C/E"})
    bearing.refresh_from_db()
    assert bearing.name == "Coupling end"
    page = client.get("/bearings/Feed 1/C~E/names/").content.decode()
    assert "Names of Feed 1, Coupling end" in page and "another spelling" in page and "an older name" in page


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ({"name": "Feed 2"}, "leads to Feed 2 already"),
        ({"name": "Old 2"}, "leads to Feed 2 already"),
        ({"name": "FEED  1"}, ""),
        ({"name": "Feed A", "reason": ""}, "why it is called otherwise"),
        ({"name": "x" * 81}, "at most 80"),
        ({"name": "Feed A", "was_pump": "Feed 0"}, "Somebody gave it another name meanwhile"),
    ],
)
def test_what_would_lead_astray_is_refused(client, bearing, typed, words):
    client.force_login(makers.an_account())
    other = makers.a_place(site=bearing.place.site, tag="Old 2")
    rename(other, name="Feed 2", from_on=None, reason="renumbered", by=makers.somebody())
    answer = client.post("/bearings/Feed 1/DE/names/", _typed(bearing, **typed))
    if words:
        assert answer.status_code == 200 and words in answer.content.decode()
        assert Place.objects.get(pk=bearing.place_id).tag == "Feed 1"
    else:  # only written otherwise: no new name beside the old one
        assert answer.status_code == 302 and Place.objects.get(pk=bearing.place_id).tag == "FEED 1"


def test_a_spelling_of_another_pump_is_refused(bearing):
    other = makers.a_place(site=bearing.place.site, tag="Feed 2")
    add_spelling(other, text="F2", by=makers.somebody())
    with pytest.raises(Refused, match="leads to Feed 2 already"):
        add_spelling(bearing.place, text="f2", by=makers.somebody())


@pytest.mark.parametrize("role", ["mechanic", "planner", "auditor"])
def test_others_see_the_names_and_give_none(client, bearing, role):
    client.force_login(makers.an_account(role=role))
    assert "Give it another name" not in client.get("/bearings/Feed 1/DE/names/").content.decode()
    assert client.post("/bearings/Feed 1/DE/names/", _typed(bearing, name="Feed A")).status_code == 403


def test_an_administrator_names_a_site_and_opens_its_record_once(client, bearing):
    site = bearing.place.site
    client.force_login(makers.an_account(role="administrator"))
    client.post("/sites/", {"site": site.pk, "act": "name", "name": "Harbour", "reason": "sold"})
    ahead = client.post("/sites/", {"site": site.pk, "act": "open", "on": "2999-01-01"})
    assert "lies ahead" in ahead.content.decode()
    client.post("/sites/", {"site": site.pk, "act": "open", "on": "2026-01-05"})
    again = client.post("/sites/", {"site": site.pk, "act": "open", "on": "2026-02-05"})
    assert "opened on 5 Jan 2026 already" in _words(again)
    assert Site.objects.get(pk=site.pk).name == "Harbour"
    client.force_login(makers.an_account())
    assert "opened on 5 Jan 2026" in _words(client.get("/bearings/Feed 1/DE/history/"))


def test_sites_are_for_their_administrators(client, bearing):
    client.force_login(makers.an_account(role="administrator", site=makers.a_site(name="Elsewhere")))
    assert client.get("/sites/").status_code == 200
    refused = client.post(
        "/sites/", {"site": bearing.place.site.pk, "act": "name", "name": "Mine", "reason": "x"}
    )
    assert refused.status_code == 404
    client.force_login(makers.an_account())
    assert client.get("/sites/").status_code == 403
