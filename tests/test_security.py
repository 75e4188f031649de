"""What OWASP ASVS 5.0 asks of the site as a whole, and the register (docs/asvs.csv) that says what proves
each item.

The wording of the register is our own; the numbers are those of ASVS 5.0.0 (May 2025).
"""

import ast
import csv
import re
from functools import cache
from pathlib import Path

import pytest
from django.conf import settings
from django.test import Client
from django.urls import reverse

from fleet.models import Account, Entry, StoredFile
from inspections.models import Reading
from tests import makers

CHECKOUT = Path(__file__).resolve().parent.parent
STATES = {"met", "open by decision", "not applicable"}
PAGES = (
    "/",
    "/plan/",
    "/trends/",
    "/quality/",
    "/import/",
    "/method/",
    "/backtest/",
    "/gauges/",
    "/labels/",
    "/bearings/Lift 1/DE/",
    "/bearings/Lift 1/DE/history/",
)
# Modules that open connections of their own. The database's driver, the demo's server and the mail that
# carries seals out are none of these.
CALLERS = {"http.client", "urllib.request", "ftplib", "telnetlib", "requests", "httpx", "aiohttp", "urllib3"}


def register():
    with (CHECKOUT / "docs" / "asvs.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def sources():
    for app in ("fleet", "inspections", "dashboards"):
        yield from (path for path in (CHECKOUT / app).rglob("*.py") if "migrations" not in path.parts)


@cache
def tree_of(path: Path) -> ast.Module:
    """A file as Python reads it: once for all that look through every file."""
    return ast.parse(path.read_text("utf-8"))


def names_in(path: Path) -> set[str]:
    return {node.name for node in ast.walk(tree_of(path)) if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize("row", register(), ids=lambda row: row["id"])
def test_every_item_of_the_register_names_a_test_that_is_there_or_says_why_not(row):
    assert re.fullmatch(r"\d+\.\d+\.\d+", row["id"]) and row["level"] in "123" and row["state"] in STATES
    if row["state"] != "met":
        assert "::" not in row["proof"] and len(row["proof"]) > 15
        return
    path, _, name = row["proof"].partition("::")
    assert (CHECKOUT / path).exists()
    assert not name or name in names_in(CHECKOUT / path)


# How many items of level 1 and 2 each chapter of ASVS 5.0.0 has, 253 in all, and the last of each section
# that has some.
CHAPTERS = (27, 11, 19, 10, 9, 35, 18, 7, 7, 29, 14, 9, 13, 9, 13, 16, 7)


def test_every_item_of_levels_1_and_2_stands_once():
    ids = [row["id"] for row in register() if row["level"] in "12"]
    assert len(ids) == len(set(ids)) == sum(CHAPTERS) == 253
    by_chapter = [sum(1 for one in ids if one.split(".")[0] == str(n)) for n in range(1, 18)]
    assert tuple(by_chapter) == CHAPTERS
    assert sum(1 for row in register() if row["level"] == "1") == 70
    assert ids == sorted(ids, key=lambda one: [int(part) for part in one.split(".")])


@cache
def called(path: Path) -> list[tuple[str, ast.Call]]:
    return [(ast.unparse(node.func), node) for node in ast.walk(tree_of(path)) if isinstance(node, ast.Call)]


def imported(tree):
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (name.name for name in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield node.module
            yield from (f"{node.module}.{name.name}" for name in node.names)


def test_nothing_is_run_or_unpickled_from_data():
    forbidden = {"eval", "exec", "pickle.loads", "pickle.load", "marshal.loads", "yaml.load", "os.system"}
    found = [f"{path.name}: {name}" for path in sources() for name, _ in called(path) if name in forbidden]
    readers = {"pickle", "marshal", "shelve"}
    found += [
        f"{path.name}: {name}" for path in sources() for name in imported(tree_of(path)) if name in readers
    ]
    assert found == []
    assert settings.SESSION_SERIALIZER.endswith("JSONSerializer")


def test_the_server_fetches_nothing_from_other_hosts():
    found = [
        f"{path.name}: {name}" for path in sources() for name in imported(tree_of(path)) if name in CALLERS
    ]
    assert found == []


def test_no_weak_hash_is_used():
    text = "\n".join(path.read_text("utf-8") for path in sources())
    assert not re.search(r"\b(md5|sha1)\b", text)


def test_sql_written_by_hand_is_put_together_from_names_of_our_own_alone():
    """Where SQL is put together, what goes in is a name of a table or column of ours, never what somebody
    typed.
    """
    ours = re.compile(r"quote|table|names|columns|marks|role|guard|_meta|statement|sql|query|ENTRY|name\b")
    found = []
    for path in sources():
        for name, node in called(path):
            if name.endswith((".execute", ".executemany", ".raw", ".extra")) and node.args:
                parts = [one for one in ast.walk(node.args[0]) if isinstance(one, ast.FormattedValue)]
                found += [
                    f"{path.name}: {ast.unparse(one.value)}"
                    for one in parts
                    if not ours.search(ast.unparse(one.value))
                ]
    assert found == []


def test_passwords_are_hashed_slowly_as_deployed():
    assert settings.PASSWORD_HASHERS[0].rsplit(".", 1)[1] in {
        "PBKDF2PasswordHasher",
        "Argon2PasswordHasher",
        "ScryptPasswordHasher",
    }


def test_a_session_ends_after_twelve_hours_whatever_is_done():
    assert settings.SESSION_COOKIE_AGE == 12 * 3600
    assert not settings.SESSION_SAVE_EVERY_REQUEST


@pytest.fixture
def engineer(client):
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    makers.a_reading(bearing=bearing)
    client.force_login(makers.an_account())
    return client


@pytest.mark.django_db
def test_looking_writes_nothing_into_the_record(engineer):
    before = (
        Entry.objects.count(),
        Reading.objects.count(),
        StoredFile.objects.count(),
        Account.objects.count(),
    )
    for page in PAGES:
        assert engineer.get(page).status_code == 200
        engineer.head(page)
    assert before == (
        Entry.objects.count(),
        Reading.objects.count(),
        StoredFile.objects.count(),
        Account.objects.count(),
    )


@pytest.mark.django_db
@pytest.mark.parametrize("page", [*PAGES, "/nowhere/"])
def test_every_page_carries_the_headers_that_keep_it_apart(engineer, page):
    answer = engineer.get(page)
    assert answer["Content-Type"] == "text/html; charset=utf-8"
    wanted = {
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cache-Control": "no-store",
    }
    assert {name: answer[name] for name in wanted} == wanted


@pytest.mark.django_db
def test_kept_files_stand_in_the_database_and_none_is_named_by_who_sent_it():
    photo = makers.a_photo(bearing=makers.a_bearing())
    assert len(photo.file_id) == 64 and bytes(photo.file.data) == makers.a_png()
    assert not any(
        "open(" in path.read_text("utf-8") and "request.FILES" in path.read_text("utf-8")
        for path in sources()
    )


def test_no_form_that_carries_a_secret_is_sent_in_the_address():
    for path in CHECKOUT.rglob("templates/**/*.html"):
        for form in re.findall(r"<form\b[^>]*>.*?</form>", path.read_text("utf-8"), re.DOTALL):
            if "password" in form.lower() or "csrf_token" in form:
                assert 'method="post"' in form.split(">")[0], path.name


@pytest.mark.django_db
def test_fields_that_a_form_does_not_have_change_nothing(engineer):
    reading = Reading.objects.get()
    address = reverse("bearing-correct", args=["Lift 1", "DE", reading.pk])
    form = engineer.get(address).context["form"]
    sent = {name: str(form.initial.get(name) or "") for name in form.fields}
    sent |= {
        "act": "correct",
        "value": "0.155",
        "reason": "typed wrong",
        "recorded_by": str(makers.a_person(name="X").pk),
        "entry_n": "1",
        "counts": "False",
        "hash": "0",
        "is_staff": "1",
    }
    assert engineer.post(address, sent).status_code == 302
    new = Reading.objects.standing().get()
    assert new.counts and new.recorded_by != makers.a_person(name="X").pk and new.entry_n > reading.entry_n


@pytest.mark.django_db
def test_an_error_inside_is_told_without_path_query_or_setting(monkeypatch):
    from dashboards.views import watch

    monkeypatch.setattr(watch, "sites_for", lambda *_: 1 / 0)
    client = Client(raise_request_exception=False)
    client.force_login(makers.an_account())
    answer = client.get("/")
    page = answer.content.decode()
    assert answer.status_code == 500
    assert not re.search(r"ZeroDivision|Traceback|SELECT|/site-packages/|SECRET", page)
