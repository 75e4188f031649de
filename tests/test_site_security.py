"""Small promises to whoever signs in and whoever tries the site's doors; docs/asvs.csv
names them by number.
"""

import pytest
from django.conf import settings
from django.test import Client

from fleet.plant.people import add_account, add_person, give_role
from tests import makers
from tests.test_security import PAGES

PASSWORD = "a quiet pump in the long hall"


@pytest.fixture
def account(db):
    person = add_person(name="M. Ohr")
    made = add_account(person=person, username="ohr", password=PASSWORD, must_change_password=False)
    give_role(person=person, role="engineer", site=None, by=makers.somebody())
    return made


@pytest.mark.parametrize(
    "then", ["https://example.test/", "//example.test/", "javascript:alert(1)", "/\\example.test"]
)
def test_signing_in_leads_to_no_other_host(account, then):
    answer = Client().post("/sign-in/", {"username": "ohr", "password": PASSWORD, "next": then})
    assert answer.status_code == 302 and answer.url == "/"


def test_cookies_go_to_no_request_that_another_site_makes_by_itself(account):
    answer = Client().post("/sign-in/", {"username": "ohr", "password": PASSWORD})
    assert answer.cookies["sessionid"]["samesite"] == "Lax"
    assert (settings.SESSION_COOKIE_SAMESITE, settings.CSRF_COOKIE_SAMESITE) == ("Lax", "Lax")


def test_a_sessions_token_holds_more_than_128_bits(account):
    client = Client()
    client.post("/sign-in/", {"username": "ohr", "password": PASSWORD})
    key = client.session.session_key
    assert len(key) == 32 and key.isalnum()  # 36 ** 32: 165 bits


def test_a_password_is_changed_with_the_one_in_use_alone_and_hidden_while_typed(account, client):
    client.force_login(account)
    page = client.get("/sign-in/password/").content.decode()
    assert page.count('type="password"') == 3
    new = "another quiet pump in the hall"
    asked = {"old_password": "wrong", "new_password1": new, "new_password2": new}
    assert client.post("/sign-in/password/", asked).status_code == 200
    account.refresh_from_db()
    assert account.check_password(PASSWORD)
    assert client.post("/sign-in/password/", asked | {"old_password": PASSWORD}).status_code == 302
    account.refresh_from_db()
    assert account.check_password(new)


def test_a_password_is_taken_and_compared_as_it_was_typed_however_long(account, client):
    client.force_login(account)
    new = " Eighty letters of a Pump that nobody else would think of, \u00fcber and over, again and on "
    asked = {"old_password": PASSWORD, "new_password1": new, "new_password2": new}
    assert len(new) > 64 and client.post("/sign-in/password/", asked).status_code == 302
    for typed, code in ((new, 302), (new.strip(), 200), (new.lower(), 200), (new[:72], 200)):
        assert Client().post("/sign-in/", {"username": "ohr", "password": typed}).status_code == code


@pytest.mark.django_db
@pytest.mark.parametrize("page", PAGES[:6])
def test_the_way_out_stands_on_every_page(client, page):
    makers.a_reading(bearing=makers.a_bearing(place=makers.a_place(tag="Lift 1")))
    client.force_login(makers.an_account())
    assert 'action="/sign-out/"' in client.get(page).content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(
    "path", ["/.git/config", "/static/../manage.py", "/static/", "/secret-key.txt", "/fleet/"]
)
def test_nothing_of_the_checkout_and_no_folder_is_served(client, path):
    client.force_login(makers.an_account())
    assert client.get(path).status_code == 404


@pytest.mark.django_db
def test_a_request_is_never_sent_back_as_it_came(client):
    client.force_login(makers.an_account())
    for page in PAGES[:5]:
        answer = client.trace(page, headers={"X-Told": "a secret"})
        assert "a secret" not in answer.content.decode()
        assert answer["Content-Type"] != "message/http"
