"""What a plant chooses: dated, held against what is allowed, for all sites or one; dates
and advice follow.
"""

import datetime as dt

import pytest

from fleet.ledger.rebuilding import rebuild
from fleet.ledger.verify import verify
from fleet.models import Setting
from fleet.plant.acts import Refused
from inspections.forecasts.current_forecasts import current
from inspections.limits import plant_choices
from inspections.visits import open_bearing
from tests import makers

pytestmark = pytest.mark.django_db
TODAY = dt.date(2026, 3, 9)


def words(site=None, day=TODAY):
    return {one.choice.name: one.words.replace("\u00a0", " ") for one in plant_choices.in_force(site, day)}


def choose(name, typed, site=None, from_on=None):
    return plant_choices.choose(name=name, typed=typed, site=site, from_on=from_on, by=makers.somebody())


def test_what_nobody_chose_is_as_it_came():
    assert words() == {
        "accepted_risk": "10 %",
        "usual_outage_interval_days": "548 days",
        "signatures": "none",
        "signature_hours": "72 h",
        "crew_hours_between_outages": "40 h",
        "stations": "as last time, else both ends on top",
        "photos_allowed": "yes",
        "second_person": "no",
        "hold_words": "wiped, cracked, loose bond, backs: fretted, arc pits, electrically pitted",
        "note_words": "lightly scored, scored, polished",
        "whom_to_ring": "the engineer of the site",
        "accepted_risk_by_criticality": "none of its own",
        "consequence_factors": "by the register's money of a failure",
        "crew_hour_money": "not stated",
        "shell_hours": "40 h",
        "opening_besides": "0 h",
        "stop_hours": "not stated",
        "opening_spoils": "0 %",
    }


def test_a_sites_own_choice_stands_before_the_plants_and_the_latest_before_the_earlier():
    ash, elm = makers.a_site(), makers.a_site()
    choose("accepted_risk", "5")
    choose("accepted_risk", "20 %", site=ash)
    choose("accepted_risk", "30", site=ash, from_on=dt.date(2026, 6, 1))
    assert words(ash)["accepted_risk"] == "20 %"
    assert words(elm)["accepted_risk"] == words()["accepted_risk"] == "5 %"
    assert words(ash, dt.date(2026, 7, 1))["accepted_risk"] == "30 %"


@pytest.mark.parametrize(
    ("name", "typed", "said"),
    [
        ("accepted_risk", "0", "1 to 50 %"),
        ("accepted_risk", "nan", "number"),
        ("accepted_risk", " ", "Allowed: 1 to 50"),
        ("usual_outage_interval_days", "5", "30 to 3650 days"),
        ("signatures", "two", "neither none nor checked"),
        ("hold_words", "wyped", "no word that can be ticked"),
        ("stations", "top", "is no station"),
        ("photos_allowed", "perhaps", "neither yes nor no"),
        ("colour", "red", "Nothing called"),
    ],
)
def test_what_is_not_allowed_is_refused_with_what_is(name, typed, said):
    with pytest.raises(Refused, match=said):
        choose(name, typed)
    assert not Setting.objects.exists()


def test_none_can_be_chosen_where_something_stood():
    for name, typed in (("stations", "in-12"), ("signatures", "checked"), ("hold_words", "wiped")):
        choose(name, typed)
    for name in ("stations", "signatures", "hold_words"):
        choose(name, "none")
    assert words()["stations"] == "as last time, else both ends on top"
    assert words()["signatures"] == words()["hold_words"] == "none"
    assert open_bearing.for_device(makers.a_site(), TODAY)["hold"] == []


def test_a_smaller_accepted_risk_changes_the_advice_at_once(client):
    client.force_login(makers.an_account())
    site = makers.a_site(name="Own")
    bearing = makers.a_bearing(place=makers.a_place(site=site, tag="Lift 1"))
    for year, value in ((2016, "0.150"), (2020, "0.190"), (2024, "0.225")):
        makers.a_reading(bearing=bearing, on=dt.date(year, 3, 9), value=value)
    before = current([bearing], TODAY)[bearing.pk]["replace_limit_um"]
    page = client.post("/choices/", {"site": "Own", "name": "accepted_risk", "value": "1"}, follow=True)
    assert "Accepted risk: 1" in page.content.decode()
    after = current([bearing], TODAY)[bearing.pk]["replace_limit_um"]
    assert before != after


def test_an_engineer_of_one_site_chooses_there_alone(client):
    own, other = makers.a_site(name="Own"), makers.a_site(name="Other")
    client.force_login(makers.an_account(site=own))
    assert client.post("/choices/", {"name": "accepted_risk", "value": "5"}).status_code == 403
    assert (
        client.post("/choices/", {"site": other.name, "name": "accepted_risk", "value": "5"}).status_code
        == 403
    )
    assert (
        client.post("/choices/", {"site": own.name, "name": "accepted_risk", "value": "5"}).status_code == 302
    )
    assert "change" not in client.get("/choices/").content.decode().split("<tbody>")[1].split("</tbody>")[0]


def test_a_site_puts_its_own_words_of_caution_in_the_place_of_the_shipped_ones(client):
    site = makers.a_site(name="Own")
    makers.a_bearing(place=makers.a_place(site=site, tag="Lift 1"))
    client.force_login(makers.an_account(site=site))
    assert "29 CFR 1910.147" in client.get("/bearings/Lift 1/DE/record/").content.decode()
    words = {
        "site": "Own",
        "isolation": "Permit first: works instruction 12.",
        "rules": "",
        "lead": "Gloves.",
        "work": "Wipe it.\nLift little.",
    }
    assert "are recorded" in client.post("/choices/", words, follow=True).content.decode()
    page = client.get("/bearings/Lift 1/DE/record/").content.decode()
    assert "Permit first: works instruction 12." in page and "29 CFR" not in page and "Lift little." in page
    refused = client.post("/choices/", words | {"isolation": " "}).content.decode()
    assert "Say what comes first" in refused


def test_a_reader_reads_what_was_chosen_and_by_whom(client):
    choose("photos_allowed", "no")
    client.force_login(makers.an_account(role="reader"))
    page = client.get("/choices/").content.decode()
    assert "T. Ester" in page and "<b>no</b>" in page and '<form method="post"' not in page.split("<main")[1]


@pytest.mark.parametrize(("name", "filled"), [("signatures", "checked"), ("note_words", "polished")])
def test_none_is_chosen_where_a_list_held_before(name, filled):
    site = makers.a_site()
    choose(name, filled)
    choose(name, "none", site=site, from_on=dt.date(2026, 1, 1))
    assert words()[name].startswith(filled) and words(site)[name] == "none"
    assert Setting.objects.get(site=site).value == [] and verify().faults == []
    rebuild()
    assert Setting.objects.get(site=site).value == [] and verify().faults == []
