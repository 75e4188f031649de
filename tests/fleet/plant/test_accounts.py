"""Administrators: who may sign in and do what where; no records; nobody's name is needed to keep the record
sound.
"""

import re

import pytest
from django.test import Client

from fleet.ledger.verify import verify
from fleet.models import Account, Person, Role
from fleet.plant import accounts
from fleet.plant.acts import Refused
from fleet.plant.people import add_account, add_person, give_role
from tests import makers

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(client):
    """Signed in as an administrator of all sites."""
    one = makers.an_account(role="administrator", username="ada")
    client.force_login(one)
    client.account = one
    return client


def admitted(client, **typed):
    return client.post("/people/", {"name": "M. Ohr", "role": "mechanic", "site": ""} | typed, follow=True)


def test_a_new_person_gets_a_password_shown_once_that_opens_one_page(plant):
    page = admitted(plant).content.decode()
    password = re.search(r"shown once: ([a-z0-9-]+)", page)[1]
    assert password not in plant.get("/people/").content.decode()
    new = Client()
    assert new.post("/sign-in/", {"username": "M. Ohr", "password": password}).status_code == 302
    assert new.get("/").headers["Location"] == "/sign-in/password/"


def test_another_role_of_a_known_person_leaves_the_password_alone(plant):
    admitted(plant)
    page = admitted(plant, role="foreman").content.decode()
    assert "is foreman at all sites now" in page and "shown once" not in page
    assert sorted(Role.objects.standing().filter(person__name="M. Ohr").values_list("role", flat=True)) == [
        "foreman",
        "mechanic",
    ]


def test_a_role_ends_with_a_reason_and_stays_in_the_record(plant):
    admitted(plant)
    role = Role.objects.get(person__name="M. Ohr")
    account = Account.objects.get(person=role.person)
    plant.post(f"/people/{account.pk}/", {"act": "end", "role": role.pk, "reason": ""})
    role.refresh_from_db()
    assert role.withdrawn_by is None
    plant.post(f"/people/{account.pk}/", {"act": "end", "role": role.pk, "reason": "left the plant"})
    role.refresh_from_db()
    assert role.withdrawn_by is not None
    assert verify().faults == []


def test_the_last_administrator_of_all_sites_stays():
    one = makers.an_account(role="administrator")
    role = Role.objects.get(person=one.person)
    with pytest.raises(Refused, match="last administrator"):
        accounts.end_role(role=role, reason="x", by=makers.somebody())
    makers.an_account(role="administrator")
    accounts.end_role(role=role, reason="x", by=makers.somebody())


def test_a_way_to_sign_in_is_shut_at_once_and_opened_again(plant):
    admitted(plant)
    account = Account.objects.get(username="M. Ohr")
    other = Client()
    other.force_login(account)
    plant.post(f"/people/{account.pk}/", {"act": "shut"})
    assert other.get("/method/").status_code == 302
    plant.post(f"/people/{account.pk}/", {"act": "open"})
    account.refresh_from_db()
    assert account.is_active


def test_nobody_shuts_out_themselves(plant):
    plant.post(f"/people/{plant.account.pk}/", {"act": "shut"})
    plant.account.refresh_from_db()
    assert plant.account.is_active


def test_a_name_taken_out_by_law_changes_no_entry_and_stands_on_no_page(plant):
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    person = add_person(name="M. Ohr")
    account = add_account(person=person, username="M. Ohr", password="", check=False)
    give_role(person=person, role="mechanic", by=makers.somebody())
    makers.a_reading(bearing=bearing, by=person.pk, measured_by=person.pk)
    plant.post(f"/people/{account.pk}/", {"act": "blank"})
    assert Person.objects.get(pk=person.pk).name == ""
    assert verify().faults == []
    reader = Client()
    reader.force_login(makers.an_account(role="auditor"))
    page = reader.get("/bearings/Lift 1/DE/history/").content.decode()
    assert "name removed" in page and "M. Ohr" not in page


def test_an_administrator_of_one_site_gives_roles_there_alone_and_touches_nobody_of_another(client):
    own, other = makers.a_site(name="Own"), makers.a_site(name="Other")
    client.force_login(makers.an_account(role="administrator", site=own))
    assert "all sites" not in client.get("/people/").content.decode().split("Where")[1]
    assert "Put this right first" in admitted(client, site=str(other.pk)).content.decode()
    assert "Put this right first" in admitted(client, site="").content.decode()
    assert "is mechanic at Own now" in admitted(client, site=str(own.pk)).content.decode()
    stranger = makers.an_account(role="engineer", site=other, username="E. Lse")
    assert "E. Lse" not in client.get("/people/").content.decode()
    before = Account.objects.get(pk=stranger.pk).password
    page = client.post(f"/people/{stranger.pk}/", {"act": "password"}, follow=True).content.decode()
    assert "not yours" in page and Account.objects.get(pk=stranger.pk).password == before
    role = Role.objects.get(person=stranger.person)
    assert (
        client.post(f"/people/{stranger.pk}/", {"act": "end", "role": role.pk, "reason": "x"}).status_code
        == 403
    )


def test_a_person_with_roles_at_two_sites_is_not_shut_out_by_one_of_them(client):
    own, other = makers.a_site(name="Own"), makers.a_site(name="Other")
    client.force_login(makers.an_account(role="administrator", site=own))
    both = makers.an_account(role="engineer", site=own)
    give_role(person=both.person, role="engineer", site=other, by=makers.somebody())
    assert "holds a role at a site that is not yours" in client.get("/people/").content.decode()
    client.post(f"/people/{both.pk}/", {"act": "shut"})
    both.refresh_from_db()
    assert both.is_active


@pytest.mark.parametrize("role", ["engineer", "auditor", "planner", "mechanic"])
def test_nobody_else_sees_the_page(client, role):
    client.force_login(makers.an_account(role=role))
    assert client.get("/people/").status_code == 403
    assert "People" not in client.get("/method/").content.decode().split("</nav>")[0]
