"""Small facts that docs/asvs.csv rests on, and the lists of docs/security.md held to the code."""

import ast
import logging
import re
from html.parser import HTMLParser

import pytest
from django.apps import apps
from django.conf import settings
from django.contrib.auth import hashers
from django.core.mail import BadHeaderError, EmailMessage
from django.test import Client
from django.urls import reverse

from fleet.checks import the_database_is_spoken_to_in_secret
from fleet.models import Account, Setting
from fleet.plant.people import add_account, add_person
from fleet.web.bearing_addresses import bearing_address
from inspections.bundle.archive import folder_name
from inspections.models import Reading
from tests import makers
from tests.test_security import CHECKOUT, called, sources, tree_of

WORDS = (CHECKOUT / "docs" / "security.md").read_text("utf-8")
PASSWORD = "a quiet pump in the long hall"
HOSTILE = 'a"b<i>\\1 ?x=1&y#z;%41'


def scripts():
    """The scripts of our own, the drawing library's apart."""
    for app in ("fleet", "inspections", "dashboards"):
        yield from (path for path in (CHECKOUT / app).rglob("static/**/*.js") if "plotly" not in path.name)


def templates():
    return CHECKOUT.rglob("templates/**/*.html")


def section(number: str) -> str:
    """The part of the page whose heading names a number."""
    return next(part for part in WORDS.split("\n## ") if number in part.split("\n", 1)[0])


class Links(HTMLParser):
    """Where a page's links, forms and pictures lead."""

    def __init__(self):
        super().__init__()
        self.found = []

    def handle_starttag(self, tag, attrs):
        self.found += [value for name, value in attrs if name in {"href", "src", "action"} and value]


# 1: what comes in and goes out ----------------------------------------------------------------------------


@pytest.mark.django_db
def test_what_is_typed_is_decoded_once_and_kept_as_typed(client):
    site = makers.a_site()
    client.force_login(makers.an_account(site=site))
    typed = "&amp;lt; %2541 \\u0041 &#x41;"
    client.post("/choices/", {"name": "whom_to_ring", "value": typed, "site": site.name})
    assert Setting.objects.get(name="whom_to_ring").value == typed


@pytest.mark.django_db
def test_links_of_a_hostile_name_stay_on_this_host_and_lead_back_to_it(client):
    place = makers.a_place(tag="javascript:alert(1)//" + HOSTILE)
    bearing = makers.a_bearing(place=place)
    makers.a_reading(bearing=bearing)
    client.force_login(makers.an_account())
    pages = [client.get(bearing_address(bearing, page)) for page in ("bearing", "bearing-history")]
    for answer in pages:
        assert answer.status_code == 200
        links = Links()
        links.feed(answer.content.decode())
        assert len(links.found) > 10
        assert not [link for link in links.found if re.match(r"//|(?!data:image/)[A-Za-z][\w+.-]*:", link)]


def test_no_typed_text_becomes_an_expression_or_a_format():
    """Patterns and formats are constants, or put together from constants of the source."""
    patterns = {
        f"re.{name}" for name in ("compile", "search", "match", "fullmatch", "sub", "split", "finditer")
    }
    ours = re.compile(r"[A-Z_]+\b|either\(|re\.escape\(|words?\b|pattern\b|pieces\b|far\b|m\.heard|p\b")
    found = []
    for path in sources():
        for name, node in called(path):
            first = node.args[0] if node.args and name in patterns else None
            if first is not None and not isinstance(first, ast.Constant):
                parts = [one.value for one in ast.walk(first) if isinstance(one, ast.FormattedValue)] or [
                    first
                ]
                found += [
                    f"{path.name}: {ast.unparse(one)}" for one in parts if not ours.search(ast.unparse(one))
                ]
            is_made = name.endswith((".format", ".format_map")) and not isinstance(
                node.func.value, ast.Constant
            )
            # The words on prints are a table of the source that no form reaches.
            if is_made and path.parent.name != "contact":
                found.append(f"{path.name}: {ast.unparse(node)[:80]}")
    assert found == []


@pytest.mark.parametrize("head", ["subject", "to", "from_email"])
def test_no_line_break_steers_a_mail(head):
    given = {"subject": "a seal", "to": ["keeper@example.org"], "from_email": "site@example.org"}
    broken = f"{given[head][0] if head == 'to' else given[head]}\nBcc: other@example.org"
    letter = EmailMessage(body="", **given | {head: [broken] if head == "to" else broken})
    with pytest.raises(BadHeaderError):
        letter.message()


# 3: pages and scripts -------------------------------------------------------------------------------------


def test_scripts_put_text_in_as_text_and_listen_to_no_other_window():
    as_markup = (
        r"innerHTML|outerHTML|insertAdjacentHTML|document\.write|createContextualFragment|"
        r"\beval\(|new Function"
    )
    texts = {path.name: path.read_text("utf-8") for path in scripts()}
    assert len(texts) > 8
    assert not [name for name, text in texts.items() if re.search(as_markup, text)]
    assert not [name for name, text in texts.items() if re.search(r"onmessage|opener", text)]
    for name, text in texts.items():  # a page hears its own worker, a worker its page, and nobody else
        heard = re.findall(r"(\w+)\.addEventListener\(\s*[\"']message", text)
        assert len(heard) == len(re.findall(r"[\"']message[\"']", text)), name
        assert set(heard) <= ({"self"} if name.endswith("_worker.js") else {"worker"}), name


def test_pages_use_no_technology_that_browsers_gave_up():
    dead = re.compile(r"<(object|embed|applet|frame|frameset|iframe|marquee)\b", re.IGNORECASE)
    assert not [path.name for path in templates() if dead.search(path.read_text("utf-8"))]


@pytest.mark.django_db
def test_no_other_origin_is_let_in():
    client = Client(headers={"Origin": "https://other.example"})
    client.force_login(makers.an_account())
    for answer in (client.get("/"), client.get("/sign-in/"), client.options("/"), client.get("/nowhere/")):
        assert not [name for name in answer.headers if name.lower().startswith("access-control")]


@pytest.mark.django_db
def test_a_file_given_out_has_a_name_of_the_sites_making_that_cannot_break_its_header(client):
    bearing = makers.a_bearing(place=makers.a_place(tag=HOSTILE))
    assert re.fullmatch(r"[A-Za-z0-9._-]+", folder_name(bearing))
    client.force_login(makers.an_account())
    answer = client.get("/import/template/history/")
    assert answer["Content-Disposition"] == 'attachment; filename="history.csv"'
    heads = [
        line.strip()
        for path in sources()
        for line in path.read_text("utf-8").splitlines()
        if '["Content-Disposition"] =' in line
    ]
    assert len(heads) > 5
    assert all(re.search(r"= f?'attachment; filename=\"[^\"]+\"'$", head) for head in heads)


# 6: passwords ---------------------------------------------------------------------------------------------


@pytest.mark.django_db
def test_a_password_may_be_pasted_and_filled_in_by_a_store_and_nothing_else_is_asked(client):
    page = client.get("/sign-in/").content.decode()
    assert 'autocomplete="current-password"' in page and 'autocomplete="username"' in page
    texts = [path.read_text("utf-8") for path in (*scripts(), *templates())]
    assert not [text for text in texts if re.search(r"onpaste|[\"']paste[\"']", text)]
    fields = set(re.findall(r'<input[^>]*\bname="([^"]+)"', page))
    assert fields <= {"csrfmiddlewaretoken", "username", "password", "next"}


def test_a_password_does_not_end_by_itself(db):
    account = add_account(
        person=add_person(name="M. Ohr"), username="ohr", password=PASSWORD, must_change_password=False
    )
    columns = {field.name for field in Account._meta.concrete_fields}
    assert not {name for name in columns if re.search("expir|valid_until|changed_at", name)}
    made = {"date_joined", "last_login", "created_at"} & columns
    Account.objects.filter(pk=account.pk).update(**dict.fromkeys(made, "2001-01-01T00:00:00Z"))
    answer = Client().post("/sign-in/", {"username": "ohr", "password": PASSWORD})
    assert (answer.status_code, answer.url) == (302, "/")


# 7, 8, 11, 13, 14, 16: the lists --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("number", "words"),
    [
        ("2.1.2", ("hour meter", "unit and basis", "belong together")),
        ("7.1.2", ("any number at once", "a new password ends all")),
        ("8.1.2", ("fleet/access.py", "every field of its form and\nno other")),
        ("11.1.1", ("SECRET_KEY_FILE", "It is changed where")),
        ("13.1.1", ("a name of its own (3.5.4)",)),
        ("14.1.2", ("secret | hashed", "personal | by site and role", "of the plant | by site and role")),
        ("15.1.1", ("within 7\ndays", "within 30 days")),
    ],
)
def test_what_is_written_down_stands_there(number, words):
    assert not [word for word in words if word not in section(number)]


def test_the_words_on_sessions_are_those_of_the_settings():
    words = section("7.1.1")
    assert f"SESSION_IDLE_MINUTES ({settings.SESSION_IDLE_MINUTES})" in words
    assert f"{settings.SESSION_COOKIE_AGE // 3600} hours after signing in" in words


def test_every_module_of_cryptography_in_use_is_ready_made_and_listed():
    of_it = re.compile(
        r"hashlib|hmac|secrets|pyotp|ssl|cryptography|Crypto|random|.*\.(crypto|signing|hashers)"
    )
    used = set()
    for path in sources():
        for node in ast.walk(tree_of(path)):
            names = [node.module] if isinstance(node, ast.ImportFrom) else []
            names += [name.name for name in node.names] if isinstance(node, ast.Import) else []
            used |= {name for name in names if name and of_it.fullmatch(name)}
    listed = set(re.findall(r"`([\w.]+)`", section("11.1.2")))
    assert used - listed == set() and "random" not in used
    assert hashers.get_hasher().algorithm == "pbkdf2_sha256" and "PBKDF2 with SHA-256" in section("11.1.2")


def test_every_table_has_a_level_and_what_is_secret_or_personal_is_listed():
    named = {
        word
        for line in section("14.1.1").splitlines()
        if line.startswith(("| secret", "| personal"))
        for word in line.strip("|").split("|")[2].replace(",", " ").split()
    }
    there = {model.__name__: model for model in apps.get_models()}
    assert named - set(there) == set()
    of_people = {"password", "salt", "username", "ip_address", "person"}
    holds = {
        name for name, model in there.items() if of_people & {f.name for f in model._meta.concrete_fields}
    }
    assert holds - named == set(), "a table with a name or a secret in it has no level of its own"


@pytest.mark.parametrize("name", ["DATABASE_URL", "MAIL_HOST", "SEAL_MAIL_TO", "ALLOWED_HOSTS"])
def test_whom_the_site_speaks_to_is_listed_by_the_setting_that_names_them(name):
    assert name in section("13.1.1") and name in (CHECKOUT / "README.md").read_text("utf-8")


def test_logs_go_where_it_is_written_and_nowhere_else():
    kinds = {handler["class"] for handler in settings.LOGGING["handlers"].values()}
    assert kinds <= {"logging.StreamHandler", "logging.handlers.WatchedFileHandler"}
    opened = [
        f"{path.name}: {name}"
        for path in sources()
        if "management" not in path.parts and path.name != "verify.py"
        for name, _ in called(path)
        if name in {"print", "logging.FileHandler", "logging.basicConfig"} or name.startswith("syslog.")
    ]
    assert opened == [] and "AUDIT_LOG" in section("16.1.1")


@pytest.mark.django_db
def test_an_answer_that_failed_has_its_line_in_the_audit_log(monkeypatch, caplog):
    from dashboards.views import watch

    monkeypatch.setattr(watch, "sites_for", lambda *_: 1 / 0)
    client = Client(raise_request_exception=False)
    client.force_login(makers.an_account())
    monkeypatch.setattr(logging.getLogger("fleet.web.audit_log"), "propagate", True)
    with caplog.at_level(logging.INFO, logger="fleet.web.audit_log"):
        assert client.get("/").status_code == 500
    assert [line for line in caplog.messages if '"what": "failed"' in line and '"page": "/"' in line]


# 12, 15: connections, what is served, parameters ----------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "warned"),
    [
        ({"HOST": "", "OPTIONS": {}}, False),
        ({"HOST": "/run/postgresql", "OPTIONS": {}}, False),
        ({"HOST": "localhost", "OPTIONS": {}}, False),
        ({"HOST": "db.plant", "OPTIONS": {"sslmode": "verify-full"}}, False),
        ({"HOST": "db.plant", "OPTIONS": {"sslmode": "require"}}, True),
        ({"HOST": "db.plant", "OPTIONS": {}}, True),
    ],
)
def test_a_database_on_another_machine_is_spoken_to_under_a_certificate_or_warned_of(
    address, warned, monkeypatch
):
    whole = {"ENGINE": "django.db.backends.postgresql", "NAME": "record"} | address
    monkeypatch.setitem(settings.DATABASES, "default", whole)
    assert [one.id for one in the_database_is_spoken_to_in_secret(None)] == ["fleet.W007"] * warned


def test_nothing_for_tests_is_served():
    found = []
    for path in sources():
        for node in ast.walk(tree_of(path)):
            names = [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            names += [name.name for name in node.names] if isinstance(node, ast.Import) else []
            found += [f"{path.name}: {name}" for name in names if name.split(".")[0] in {"tests", "pytest"}]
    assert found == []


@pytest.mark.django_db
def test_a_parameter_sent_twice_or_in_the_address_changes_nothing(client):
    bearing = makers.a_bearing(place=makers.a_place(tag="Lift 1"))
    reading = makers.a_reading(bearing=bearing)
    client.force_login(makers.an_account())
    address = reverse("bearing-correct", args=["Lift 1", "DE", reading.pk])
    shown = client.get(address).context["form"]
    sent = {name: str(shown.initial.get(name) or "") for name in shown.fields}
    sent |= {"act": "correct", "value": ["0.999", "0.155"], "reason": "typed wrong"}
    assert client.post(f"{address}?value=0.777&reason=other", sent).status_code == 302
    assert Reading.objects.standing().get().value_um == 155
