"""Acts on the plant: each stands in the ledger, and what cannot be is refused in words."""

import datetime as dt
from decimal import Decimal

import pytest
from django.core.exceptions import ValidationError
from django.db import connection

from fleet.ledger.verify import verify
from fleet.models import (
    Account,
    Bearing,
    BearingFacts,
    Chain,
    Entry,
    Instrument,
    Limit,
    Outage,
    Person,
    Place,
    Role,
    Setting,
    Site,
)
from fleet.plant.acts import Refused, withdraw
from fleet.plant.choices import set_setting
from fleet.plant.gauge_register import instrument_named
from fleet.plant.limits import set_limits
from fleet.plant.outages import schedule_outage
from fleet.plant.people import add_account, add_person, give_role, person_named, persons_named
from fleet.plant.register import (
    NewPlace,
    latest_facts,
    open_record,
    register_places,
    register_site,
    state_facts,
)
from fleet.plant.renaming import add_spelling, rename

pytestmark = pytest.mark.django_db


@pytest.fixture
def by():
    return person_named("Keeper of the register").id


@pytest.fixture
def ash(by):
    return register_site(name="Ash Ferry", time_zone="Etc/GMT-2", by=by)


def test_a_person_is_known_in_the_ledger_by_the_inner_id_only(by):
    person = add_person(name="  Ada  of the works ", employer="Works", by=by)
    entries = Entry.objects.filter(thing=person.id)
    assert sorted(entries.values_list("kind", flat=True)) == ["name_commitment", "person"]
    assert person.name == "Ada of the works"
    assert all("Ada" not in entry.text and str(person.id) in entry.text for entry in entries)
    assert person_named("ADA OF THE WORKS") == person


def test_many_persons_are_found_or_made_at_once(by):
    known = person_named("Bo")
    found = persons_named(["bo", "Cy", " cy", ""], by=by)
    assert found["bo"] == known and set(found) == {"bo", "cy"} and Person.objects.count() == 3


def test_an_account_needs_a_free_name_and_a_strong_password(by):
    person = Person.objects.get(pk=by)
    with pytest.raises(ValidationError):
        add_account(person=person, username="keeper", password="short")
    add_account(person=person, username="keeper", password="river-lantern-40-oak")
    assert person_named("keeper") == person
    with pytest.raises(Refused, match="taken"):
        add_account(person=add_person(name="B"), username="KEEPER", password="x")
    assert Account.objects.get().check_password("river-lantern-40-oak")


def test_a_role_is_given_once_and_an_unknown_one_refused(by, ash):
    person = Person.objects.get(pk=by)
    for _ in range(2):
        give_role(person=person, role="engineer", site=ash, by=by)
    assert Role.objects.get().chain == f"site:{ash.id}"
    with pytest.raises(Refused, match="mechanic, foreman"):
        give_role(person=person, role="king", by=by)


def test_a_site_is_registered_once_with_a_zone_that_exists_and_opened_once(by, ash):
    with pytest.raises(Refused, match="there already"):
        register_site(name="ash  ferry", by=by)
    with pytest.raises(Refused, match="no time zone"):
        register_site(name="Beech Weir", time_zone="Mars/North", by=by)
    open_record(ash, on=dt.date(2026, 5, 1), by=by)
    assert Site.objects.get().opened_on == dt.date(2026, 5, 1)
    with pytest.raises(Refused, match="opened on 1\xa0May\xa02026 already"):
        open_record(ash, on=dt.date(2026, 6, 1), by=by)


def test_a_thousand_places_are_one_act_in_few_questions(by, ash):
    new = [
        NewPlace(ash, f"P-{n}", bearing_facts={"DE": {"journal_diameter_um": Decimal(100_000)}})
        for n in range(1000)
    ]
    statements = []

    def count(execute, sql, params, many, context):
        statements.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(count):
        register_places(new, by=by)
    assert len(statements) < 40
    assert (Place.objects.count(), Bearing.objects.count(), BearingFacts.objects.count()) == (
        1000,
        2000,
        1000,
    )
    assert len(set(Bearing.objects.values_list("act", flat=True))) == 1
    assert Chain.objects.filter(id__startswith="bearing:").count() == 2000


def test_a_tag_twice_at_a_site_is_refused_in_the_constraints_words(by, ash):
    register_places([NewPlace(ash, "P-1")], by=by)
    n = Entry.objects.count()
    with pytest.raises(Refused, match="This site has a pump with this tag already"):
        register_places([NewPlace(ash, "P-2"), NewPlace(ash, "p-1")], by=by)
    assert Entry.objects.count() == n and Place.objects.count() == 1


def test_renaming_keeps_the_old_name_and_needs_a_reason(by, ash):
    place = register_places([NewPlace(ash, "P-1")], by=by)["P-1"]
    place = Place.objects.get(pk=place.pk)
    with pytest.raises(Refused, match="No reason"):
        rename(place, name="P-1A", from_on=None, reason=" ", by=by)
    rename(place, name="P-1A", from_on=dt.date(2026, 1, 1), reason="new numbering", by=by)
    assert Place.objects.get().tag == "P-1A"
    add_spelling(place, text="P 1 A", by=by)
    assert verify().faults == []


def test_limits_are_dated_and_their_uses_and_authorities_known(by, ash):
    register_places([NewPlace(ash, "P-1")], by=by)
    both = list(Bearing.objects.all())
    set_limits(both, {"in_service_max": Decimal(300)}, authority="customer", by=by)
    assert Limit.objects.count() == 2 and Limit.objects.first().chain.startswith("bearing:")
    with pytest.raises(Refused, match="no use of a limit"):
        set_limits(both, {"most": Decimal(300)}, by=by)
    with pytest.raises(Refused, match="no authority"):
        set_limits(both, {"replace": Decimal(300)}, authority="hearsay", by=by)
    with pytest.raises(Refused, match="between 0 and 2 m"):
        set_limits(both, {"replace": Decimal(-1)}, by=by)


def test_facts_get_a_new_version_and_keep_what_is_not_named(by, ash):
    register_places([NewPlace(ash, "P-1", facts={"model": "K250", "speed_rpm": 1480})], by=by)
    place = Place.objects.get()
    state_facts(place, {"model": "K300"}, from_on=dt.date(2026, 1, 1), by=by)
    latest = latest_facts(place)
    assert (latest.model, latest.speed_rpm, latest.from_on) == ("K300", 1480, dt.date(2026, 1, 1))


def test_withdrawn_rows_stay_and_free_their_name(by, ash):
    register_places([NewPlace(ash, "P-1")], by=by)
    withdraw(Place.objects.get(), reason="typed by mistake", by=by)
    register_places([NewPlace(ash, "P-1")], by=by)
    assert Place.objects.count() == 2 and Place.objects.standing().count() == 1


def test_instruments_settings_and_outages_are_found_or_made(by, ash):
    first = instrument_named("Feeler 7", method="feeler", by=by)
    assert instrument_named("feeler  7", by=by).id == first.id and Instrument.objects.count() == 1
    set_setting(name="accepted_risk", value="0.05", site=ash, by=by)
    assert Setting.objects.in_force("accepted_risk", ash, dt.date(2026, 1, 1)) == "0.05"
    days = {"start_on": dt.date(2027, 4, 9), "end_on": dt.date(2027, 4, 1)}
    with pytest.raises(Refused, match="cannot end before it starts"):
        schedule_outage(site=ash, name="spring", by=by, **days)
    assert not Outage.objects.exists()
