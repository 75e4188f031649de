"""Signing in: wrong passwords are slowed down without locking anybody out; sessions end;
refusals are logged.
"""

import datetime as dt
import json
import logging

import pytest
from django.core.exceptions import ValidationError
from django.test import Client

from fleet.checks import the_proxies_are_counted
from fleet.clock import now
from fleet.models import Role
from fleet.plant import accounts
from fleet.plant.name_removal import blank_name
from fleet.plant.people import add_account, add_person, give_role
from fleet.web.audit_log import address_of
from fleet.web.bearing_addresses import bearing_address
from fleet.web.sessions import SEEN
from fleet.web.sign_in_names import counted_name
from tests import makers

pytestmark = pytest.mark.django_db
PASSWORD = "a quiet pump in the long hall"


@pytest.fixture
def account():
    person = add_person(name="M. Ohr")
    made = add_account(person=person, username="ohr", password=PASSWORD, must_change_password=False)
    give_role(person=person, role="engineer", site=None, by=makers.somebody())
    return made


def sign_in(password, *, address="192.0.2.1", name="ohr"):
    client = Client(REMOTE_ADDR=address)
    return client, client.post("/sign-in/", {"username": name, "password": password})


@pytest.fixture
def lines():
    """What the audit log was told."""
    said = []

    class Kept(logging.Handler):
        def emit(self, record):
            said.append(json.loads(record.getMessage()))

    handler = Kept()
    logger = logging.getLogger("fleet.web.audit_log")
    logger.addHandler(handler)
    yield said
    logger.removeHandler(handler)


def test_after_ten_wrong_passwords_the_right_one_is_refused_from_there_and_taken_from_elsewhere(account):
    for _ in range(10):
        sign_in("wrong")
    _, answer = sign_in(PASSWORD)
    assert answer.status_code == 429 and "Too many tries" in answer.content.decode()
    _, elsewhere = sign_in(PASSWORD, address="192.0.2.2")
    assert elsewhere.status_code == 302


def test_nine_wrong_passwords_and_the_right_one_begin_anew(account):
    for _ in range(2):
        for _ in range(9):
            sign_in("wrong")
        assert sign_in(PASSWORD)[1].status_code == 302


def test_a_forged_address_header_does_not_open_a_new_count(account):
    for number in range(10):
        Client(REMOTE_ADDR="192.0.2.1").post(
            "/sign-in/",
            {"username": "ohr", "password": "wrong"},
            headers={"X-Forwarded-For": f"198.51.100.{number}"},
        )
    assert sign_in(PASSWORD)[1].status_code == 429


def test_every_spelling_of_a_name_goes_to_one_count(account):
    for number in range(10):
        sign_in(
            "wrong", name=("ohr", "OHR", " Ohr", "\uff4f\uff48\uff52")[number % 4]
        )  # the last: full-width letters
    assert sign_in(PASSWORD)[1].status_code == 429


def test_behind_the_plants_own_proxies_each_client_has_a_count_of_its_own(account, settings):
    settings.PROXIES = 1

    def through_the_proxy(password, client, claims=""):
        forwarded = f"{claims}, {client}" if claims else client
        return Client(REMOTE_ADDR="192.0.2.1").post(
            "/sign-in/", {"username": "ohr", "password": password}, headers={"X-Forwarded-For": forwarded}
        )

    for number in range(10):
        through_the_proxy("wrong", "198.51.100.7", claims=f"203.0.113.{number}")
    assert through_the_proxy(PASSWORD, "198.51.100.7").status_code == 429
    assert through_the_proxy(PASSWORD, "198.51.100.8").status_code == 302


@pytest.mark.parametrize(
    "password",
    [
        "123456789012",
        "987654321098",
        "qwertyuiop12",
        "abcabcabcabc",
        "aaaaaaaaaaaaa",
        "margarethe-ohrmann",
        "password1234",
        "Monkey-2026-!",
        "bearing-bearing-",
        "clearance26clearance26",
        "short",
        "the-ohrmann-way",
        "o h r m a n n is in",
        "clearance ledger",
        "Pump_Bearing_2026",
    ],
)
def test_a_password_that_is_tried_first_is_refused_with_its_reason(password):
    person = add_person(name="Margarethe Ohrmann")
    with pytest.raises(ValidationError) as refused:
        add_account(person=person, username="ohrmann", password=password)
    assert refused.value.messages


def test_several_words_make_a_password():
    person = add_person(name="Margarethe Ohrmann")
    assert add_account(person=person, username="ohrmann", password=PASSWORD)


def test_a_dotless_letter_that_a_database_may_take_for_the_same_is_the_same_name():
    assert counted_name(None, {"username": "\u0131ngrid"}) == counted_name(None, {"username": "Ingrid"})


@pytest.mark.parametrize("forwarded", ["", "nonsense", "198.51.100.9:443, x", "\x00"])
def test_a_proxy_that_says_no_address_leaves_the_one_that_was_seen(forwarded, rf, settings):
    settings.PROXIES = 1
    asked = rf.get("/", REMOTE_ADDR="192.0.2.1", HTTP_X_FORWARDED_FOR=forwarded)
    assert address_of(asked) == "192.0.2.1"


def test_a_request_past_the_second_of_two_proxies_is_taken_as_it_was_seen(rf, settings):
    settings.PROXIES = 2
    both = rf.get("/", REMOTE_ADDR="192.0.2.1", HTTP_X_FORWARDED_FOR="203.0.113.5, 198.51.100.9, 192.0.2.2")
    past = rf.get("/", REMOTE_ADDR="192.0.2.1", HTTP_X_FORWARDED_FOR="198.51.100.9")
    assert (address_of(both), address_of(past)) == ("198.51.100.9", "192.0.2.1")


def test_a_proxy_that_ends_tls_and_is_not_counted_is_warned_of(settings):
    settings.BEHIND_TLS_PROXY, settings.PROXIES = True, 0
    assert [warning.id for warning in the_proxies_are_counted(None)] == ["fleet.W004"]
    settings.PROXIES = 1
    assert the_proxies_are_counted(None) == []


def test_who_leaves_is_out_at_the_next_request_and_with_the_last_role_sees_nothing(account):
    client, _ = sign_in(PASSWORD)
    page = bearing_address(makers.a_bearing())
    assert client.get(page).status_code == 200
    role = Role.objects.standing().get(person=account.person)
    accounts.end_role(role=role, reason="left", by=makers.somebody())
    assert client.get(page).status_code == 404
    accounts.shut(account, by=makers.somebody())
    assert client.get("/").url.startswith("/sign-in/")


def test_a_new_password_and_a_name_taken_out_end_every_session_at_the_next_request(account):
    client, _ = sign_in(PASSWORD)
    accounts.renew(account, by=makers.somebody())
    assert client.get("/").url.startswith("/sign-in/")
    renewed, _ = sign_in(accounts.renew(account, by=makers.somebody()))
    assert renewed.get("/sign-in/password/").status_code == 200
    blank_name(person=account.person, by=makers.somebody())
    assert renewed.get("/sign-in/password/").url.startswith("/sign-in/")


def test_the_answer_does_not_tell_a_known_name_from_an_unknown_one(account):
    known = sign_in("wrong")[1].content.decode()
    unknown = sign_in("wrong", name="nobody")[1].content.decode()
    assert known.count("Put this right first") == unknown.count("Put this right first") == 1
    strip = str.maketrans("", "", "\n")
    first = known.split("fault-list")[1].split("</div>")[0].translate(strip)
    assert first == unknown.split("fault-list")[1].split("</div>")[0].translate(strip)


def test_the_session_is_a_new_one_after_signing_in(account):
    client = Client()
    client.get("/sign-in/")
    before = client.session.session_key
    client.post("/sign-in/", {"username": "ohr", "password": PASSWORD})
    assert client.session.session_key != before


def test_a_session_in_which_nothing_was_done_ends(account, settings, lines):
    client, _ = sign_in(PASSWORD)
    assert client.get("/").status_code == 200
    session = client.session
    session[SEEN] = (now() - dt.timedelta(minutes=settings.SESSION_IDLE_MINUTES + 1)).isoformat()
    session.save()
    assert client.get("/").status_code == 302
    assert any(line["what"] == "session ended, nothing was done" for line in lines)


def test_a_session_that_is_used_stays_and_is_noted_only_now_and_then(account):
    client, _ = sign_in(PASSWORD)
    client.get("/")
    noted = client.session[SEEN]
    client.get("/")
    assert client.session[SEEN] == noted


def test_a_cookie_of_a_session_that_was_signed_out_opens_nothing(account):
    client, _ = sign_in(PASSWORD)
    cookie = client.cookies["sessionid"].value
    client.post("/sign-out/")
    again = Client()
    again.cookies["sessionid"] = cookie
    assert again.get("/").status_code == 302


def test_a_disabled_account_is_out_at_once(account):
    client, _ = sign_in(PASSWORD)
    account.is_active = False
    account.save(update_fields=["is_active"])
    assert client.get("/").status_code == 302


def test_sign_ins_failures_sign_outs_and_refusals_each_have_their_line(account, lines):
    sign_in("wrong")
    client, _ = sign_in(PASSWORD)
    client.post("/sign-out/")
    reader = Client()
    reader.force_login(makers.an_account(role="reader"))
    reader.post("/dates-anew/")
    said = [line["what"] for line in lines]
    assert said.count("signed in") == 2 and "sign-in failed" in said and "signed out" in said
    refused = next(line for line in lines if line["what"] == "refused")
    assert (
        refused["page"] == "/dates-anew/"
        and "engineer" in refused["reason"]
        and refused["address"] == "127.0.0.1"
    )
    assert all(line["at"].endswith("+00:00") for line in lines)


def test_no_password_and_no_line_of_a_visitors_own_reaches_the_log(account, lines, caplog):
    sign_in("wrong", name='ohr"}\n{"what": "signed in"')
    assert [line["what"] for line in lines] == ["sign-in failed"]
    assert "\n" not in json.dumps(lines[0])
    assert "wrong" not in json.dumps(lines)
