"""The second factor: codes by RFC 6238, asked at sign-in, asked by role, reset, counted; the break-glass
account.
"""

import datetime as dt
import json
import zipfile

import pyotp
import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.test import Client

from fleet.backup import back_up
from fleet.clock import now
from fleet.ledger.verify import verify
from fleet.models import Account, Entry, Notice, Role
from fleet.plant import accounts, break_glass, notices, second_factor
from fleet.plant.acts import Refused
from fleet.plant.people import add_account, add_person, give_role
from fleet.web import one_time_codes
from fleet.web.one_time_codes import new_salt, secret_of, step_of
from tests import makers

PASSWORD = "a quiet pump in the long hall"
SECRET_OF_RFC = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"  # "12345678901234567890", RFC 6238 appendix B
# RFC 6238 appendix B, SHA-1: seconds since 1970, and the last six of the eight digits.
VECTORS = (
    (59, "287082"),
    (1111111109, "081804"),
    (1111111111, "050471"),
    (1234567890, "005924"),
    (2000000000, "279037"),
    (20000000000, "353130"),
)


def instant(seconds):
    return dt.datetime.fromtimestamp(seconds, dt.UTC)


@pytest.mark.parametrize(("seconds", "code"), VECTORS)
def test_codes_are_those_of_the_standard(seconds, code):
    assert step_of(SECRET_OF_RFC, code, instant(seconds)) == seconds // 30
    assert step_of(SECRET_OF_RFC, code, instant(seconds + 90)) is None
    assert step_of(SECRET_OF_RFC, code, instant(seconds), after=seconds // 30) is None


@pytest.mark.parametrize(
    ("typed", "code"),
    [
        (" 123 456 ", "123456"),
        ("\uff11\uff12\uff13456", "123456"),
        ("12345", ""),
        ("1234567", ""),
        ("12345x", ""),
        ("\u0661\u0662\u0663\u0664\u0665\u0666", ""),
        ("12\x003456", ""),
    ],
)
def test_six_digits_are_a_code_however_they_are_spaced(typed, code):
    assert one_time_codes.read_code(typed) == code


def test_the_secret_depends_on_account_salt_and_the_sites_key(settings):
    first = secret_of(1, "a")
    assert len(first) == 32 and len({first, secret_of(2, "a"), secret_of(1, "b")}) == 3
    mark = one_time_codes.key_mark()
    settings.SECRET_KEY = "another key"
    assert secret_of(1, "a") != first and one_time_codes.key_mark() != mark


@pytest.fixture
def account(db):
    person = add_person(name="M. Ohr")
    made = add_account(person=person, username="ohr", password=PASSWORD, must_change_password=False)
    give_role(person=person, role="engineer", site=None, by=makers.somebody())
    return made


@pytest.fixture
def administrator(db):
    return makers.an_account(role="administrator")


def codes_of(account, offset=0):
    account.refresh_from_db()
    return pyotp.TOTP(secret_of(account.pk, account.code_salt)).at(now(), counter_offset=offset)


def with_factor(account):
    """The account with a second factor whose last code taken is long past."""
    salt = new_salt()
    code = pyotp.TOTP(secret_of(account.pk, salt)).at(now())
    assert second_factor.set_up(account, salt=salt, code=code)
    Account.objects.filter(pk=account.pk).update(code_step=0)
    account.refresh_from_db()
    return account


def password_given(*, address="192.0.2.1", name="ohr", password=PASSWORD, then=""):
    client = Client(REMOTE_ADDR=address)
    return client, client.post("/sign-in/", {"username": name, "password": password, "next": then})


def is_in(client):
    return client.get("/").status_code == 200


def test_without_a_second_factor_a_password_opens_the_pages_as_before(account):
    client, answer = password_given()
    assert answer.url == "/" and is_in(client)


def test_a_password_alone_opens_nothing_and_the_code_leads_on(account):
    with_factor(account)
    client, answer = password_given(then="/plan/")
    assert answer.url == "/sign-in/code/" and not is_in(client)
    assert client.get("/sign-in/code/").status_code == 200
    answer = client.post("/sign-in/code/", {"code": codes_of(account)})
    assert answer.url == "/plan/" and is_in(client)


def test_a_code_is_taken_once(account):
    with_factor(account)
    code = codes_of(account)
    first, _ = password_given()
    first.post("/sign-in/code/", {"code": code})
    second, _ = password_given()
    answer = second.post("/sign-in/code/", {"code": code})
    assert answer.status_code == 200 and "used before" in answer.content.decode() and not is_in(second)


def test_five_wrong_codes_shut_the_account_from_every_address_and_its_holder_is_told(account):
    with_factor(account)
    for number in range(5):
        client, _ = password_given(address=f"192.0.2.{number}")
        assert client.post("/sign-in/code/", {"code": "000000"}).status_code == 200
    client, _ = password_given(address="192.0.2.77")
    assert client.post("/sign-in/code/", {"code": codes_of(account)}).status_code == 429
    assert "somebody knows your password" in Notice.objects.get(account=account).words
    Account.objects.update(wrong_codes_since=now() - dt.timedelta(minutes=16))
    assert client.post("/sign-in/code/", {"code": codes_of(account)}).status_code == 302
    assert "somebody knows your password" in client.get("/").content.decode()


def test_wrong_codes_and_wrong_passwords_of_one_name_go_to_one_count(account):
    with_factor(account)
    for name in ("ohr", "OHR", " Ohr") * 2:
        password_given(password="wrong", name=name)
    client, _ = password_given()
    for _ in range(4):
        client.post("/sign-in/code/", {"code": "000000"})
    assert password_given()[1].status_code == 429
    assert password_given(address="192.0.2.2")[1].status_code == 302


def test_the_code_is_awaited_for_five_minutes_and_for_the_password_that_was_given(account):
    with_factor(account)
    client, _ = password_given()
    session = client.session
    session["code_awaited"] |= {"until": (now() - dt.timedelta(seconds=1)).isoformat()}
    session.save()
    assert client.post("/sign-in/code/", {"code": codes_of(account)}).url == "/sign-in/"
    client, _ = password_given()
    account.set_password("another long one, of the hall")
    account.save()
    assert client.post("/sign-in/code/", {"code": codes_of(account)}).url == "/sign-in/" and not is_in(client)


def test_nobody_gets_to_the_code_without_a_password(account):
    with_factor(account)
    client = Client()
    assert client.get("/sign-in/code/").url == "/sign-in/"
    assert client.post("/sign-in/code/", {"code": codes_of(account)}).url == "/sign-in/"


def set_up_on_the_page(client, account, **more):
    client.get("/sign-in/second-factor/")
    secret = secret_of(account.pk, client.session["code_salt_offered"])
    given = {"password": PASSWORD, "code": pyotp.TOTP(secret).at(now())} | more
    return client.post("/sign-in/second-factor/", given)


def test_its_holder_sets_it_up_with_a_square_to_scan_and_other_sessions_end(account):
    client, _ = password_given()
    elsewhere, _ = password_given()
    page = client.get("/sign-in/second-factor/").content.decode()
    assert 'class="qr"' in page and secret_of(account.pk, client.session["code_salt_offered"])[:4] in page
    wrong = set_up_on_the_page(client, account, password="wrong")
    assert "not your password" in wrong.content.decode()
    wrong = set_up_on_the_page(client, account, code="000000")
    assert "another code" in wrong.content.decode()
    assert not Account.objects.get(pk=account.pk).code_salt
    assert set_up_on_the_page(client, account).status_code == 302
    assert is_in(client) and not is_in(elsewhere)
    assert '"second factor set up"' in Entry.objects.filter(kind="account_state").order_by("n").last().text


def test_another_telephone_needs_a_code_of_the_one_before(account):
    with_factor(account)
    client, _ = password_given()
    client.post("/sign-in/code/", {"code": codes_of(account, -1)})
    before = account.code_salt
    assert "No" not in set_up_on_the_page(client, account).headers.get("Location", "")
    account.refresh_from_db()
    assert account.code_salt == before
    assert set_up_on_the_page(client, account, present=codes_of(account)).status_code == 302
    account.refresh_from_db()
    assert account.code_salt != before and is_in(client)


def test_a_plant_asks_it_of_roles_and_who_has_none_sees_one_page_until_it_is_set_up(account, administrator):
    client, _ = password_given()
    assert is_in(client)
    asker = Client()
    asker.force_login(administrator)
    assert asker.post("/people/second-factor/", {"role": ["engineer", "planner"]}).url == "/people/"
    assert "Asked of: engineer, planner" in asker.get("/people/").content.decode()
    assert client.get("/plan/").url == "/sign-in/second-factor/"
    assert client.post("/record/queue/", {}, content_type="application/json").status_code == 302
    assert set_up_on_the_page(client, account).url == "/"
    assert is_in(client)
    assert is_in(asker)


def test_it_is_asked_from_the_moment_a_role_is_given_until_it_ends(account, administrator):
    second_factor.require_of(["planner"], by=administrator.person_id)
    client, _ = password_given()
    assert is_in(client)
    role = give_role(person=account.person, role="planner", by=makers.somebody())
    assert client.get("/").url == "/sign-in/second-factor/"
    accounts.end_role(role=role, reason="moved", by=makers.somebody())
    assert is_in(client)
    second_factor.require_of(["engineer"], by=administrator.person_id)
    assert not is_in(client)
    second_factor.require_of([], by=administrator.person_id)
    assert is_in(client)


def test_a_word_that_is_no_role_is_refused_and_a_site_administrator_asks_nobody(administrator):
    with pytest.raises(Refused, match="no role"):
        second_factor.require_of(["owner"], by=administrator.person_id)
    client = Client()
    client.force_login(makers.an_account(role="administrator", site=makers.a_site()))
    assert client.post("/people/second-factor/", {"role": "engineer"}).status_code == 403
    assert client.post("/people/break-glass/").status_code == 403


def test_an_administrator_resets_it_and_the_holder_is_told_and_sessions_end(account, administrator):
    with_factor(account)
    client, _ = password_given()
    client.post("/sign-in/code/", {"code": codes_of(account)})
    assert is_in(client)
    other = Client()
    other.force_login(administrator)
    assert other.post(f"/people/{account.pk}/", {"act": "second factor"}).url == "/people/"
    assert not is_in(client)
    last = Entry.objects.filter(kind="account_state").order_by("n").last()
    assert '"second factor reset"' in last.text and str(administrator.person_id) in last.text
    client, answer = password_given()
    page = client.get("/").content.decode()
    assert answer.url == "/" and f"{administrator.person} reset your second factor" in page
    client.post("/notices/read/")
    assert "reset your second factor" not in client.get("/").content.decode()
    with pytest.raises(CommandError, match="no second factor"):
        call_command("reset_second_factor", "ohr")


def test_a_lost_password_leads_past_no_second_factor(account, administrator):
    with_factor(account)
    password = accounts.renew(account, by=administrator.person_id)
    client, answer = password_given(password=password)
    assert answer.url == "/sign-in/code/" and not is_in(client)
    client.post("/sign-in/code/", {"code": codes_of(account)})
    assert client.get("/").url == "/sign-in/password/"


def test_under_another_key_of_the_site_codes_fit_no_more_and_the_page_says_why(account, settings):
    with_factor(account)
    settings.SECRET_KEY = "the key of another machine, after a restore"
    client, _ = password_given()
    answer = client.post("/sign-in/code/", {"code": "123456"})
    assert "key of this site was changed" in answer.content.decode()
    call_command("reset_second_factor", "OHR")
    assert password_given()[1].url == "/"


def test_neither_secret_nor_code_stands_in_a_backup_or_the_audit_log(account, tmp_path, caplog):
    with_factor(account)
    client, _ = password_given()
    code = codes_of(account)
    client.post("/sign-in/code/", {"code": code})
    secret = secret_of(account.pk, account.code_salt)
    back_up(tmp_path / "all.zip", by=makers.somebody())
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        kept = b"".join(archive.read(name) for name in archive.namelist())
    assert account.code_salt.encode() in kept and secret.encode() not in kept
    assert secret not in caplog.text and code not in caplog.text


def test_the_check_sees_a_second_factor_that_was_taken_away_behind_the_sites_back(account):
    with_factor(account)
    assert not [look.faults for look in verify().beside if look.faults]
    Account.objects.filter(pk=account.pk).update(code_salt="")
    faults = [fault for look in verify().beside for fault in look.faults]
    assert any("has no second factor, the record says otherwise" in fault for fault in faults)


# The break-glass account


def sealed_by(administrator):
    client = Client()
    client.force_login(administrator)
    client.post("/people/break-glass/")
    page = client.get("/people/").content.decode()
    return page.split("shown once: ")[1].split()[0]


def test_the_sealed_account_opens_once_and_every_administrator_is_told(account, administrator):
    password = sealed_by(administrator)
    elsewhere = makers.an_account(role="administrator", site=makers.a_site())
    client, answer = password_given(name="break-glass", password=password)
    assert answer.url == "/" and client.get("/people/").status_code == 200
    assert client.session.get_expiry_age() <= 3600
    assert password_given(name="break-glass", password=password)[1].status_code == 200
    for one in (administrator, elsewhere):
        told = Client()
        told.force_login(one)
        assert "The break-glass account was used" in told.get("/sites/").content.decode()
        told.post("/notices/read/")
        assert "The break-glass account was used" not in told.get("/sites/").content.decode()
    assert not Notice.objects.filter(account=account).exists()
    texts = [
        json.loads(text) for text in Entry.objects.filter(kind="account_state").values_list("text", flat=True)
    ]
    person = str(break_glass.sealed_account().person_id)
    said = [text["body"]["what"] for text in texts if text["body"]["id"] == person]
    assert said == ["opened", "break-glass account sealed", "break-glass account used"]
    assert verify()


def test_sealed_anew_the_password_before_opens_nothing_and_the_new_one_does(administrator):
    first, second = sealed_by(administrator), sealed_by(administrator)
    assert password_given(name="break-glass", password=first)[1].status_code == 200
    assert password_given(name="break-glass", password=second)[1].status_code == 302


def test_nothing_else_gives_the_sealed_account_a_password_and_it_is_nobodys_last_administrator(administrator):
    sealed_by(administrator)
    row = break_glass.sealed_account()
    with pytest.raises(Refused, match="sealed anew"):
        accounts.renew(row, by=makers.somebody())
    for role in Role.objects.standing().filter(role="administrator").exclude(person=row.person):
        with pytest.raises(Refused, match="last administrator"):
            accounts.end_role(role=role, reason="left", by=makers.somebody())


def test_no_second_factor_is_asked_of_the_sealed_account(administrator):
    password = sealed_by(administrator)
    second_factor.require_of(["administrator"], by=administrator.person_id)
    client, answer = password_given(name="break-glass", password=password)
    assert answer.url == "/" and client.get("/people/").status_code == 200
    assert client.get("/sign-in/second-factor/").status_code == 403


def test_used_twice_at_one_instant_it_opens_once(administrator):
    sealed_by(administrator)
    row = break_glass.sealed_account()
    assert break_glass.open_seal(row, address="192.0.2.1")
    assert not break_glass.open_seal(row, address="192.0.2.2")


def test_a_notice_stands_until_it_is_read(administrator):
    notices.tell([administrator], "x" * 900)
    assert len(Notice.objects.get().words) == 500
    assert notices.read(administrator) == 1 and notices.read(administrator) == 0
