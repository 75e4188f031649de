"""What every test stands on: the settings, a database of its own, Chromium, and nothing
skipped unseen in CI.
"""

import hashlib
import os
import re
import shutil
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from types import ModuleType

import hypothesis
import pytest

# Django reads these when its settings load, which is below; the suite has no TLS and asks for none.
os.environ["PLAIN_HTTP"] = "yes"
os.environ["SECRET_KEY"] = "for-the-tests-only-" + "0123456789" * 5
os.environ["DJANGO_SETTINGS_MODULE"] = "fleet.settings"
# Playwright runs an event loop in the thread of the test; Django would refuse its own queries there.
os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "yes"

import django

django.setup()

from django import VERSION
from django.conf import settings as site
from django.contrib.auth.hashers import PBKDF2PasswordHasher
from django.db import connection, transaction
from django.db.backends.base.operations import BaseDatabaseOperations
from django.http import HttpResponse
from django.test import Client

from inspections.bundle.report import NoPrinter, must_be_able_to_print

# A shared machine may be slow to draw examples, and that is no fault of what is tested.
hypothesis.settings.register_profile(
    "shared", deadline=None, suppress_health_check=[hypothesis.HealthCheck.too_slow]
)
hypothesis.settings.load_profile("shared")

# The site's own hash, in a thousandth of its rounds: half a second for each sign-in proves nothing here.
PBKDF2PasswordHasher.iterations = 1_000

CHECKOUT = Path(__file__).resolve().parent.parent
# What a browser does with a page is the same on both databases; what it sends later, by many at once, may not
# be.
BROWSER_ON_BOTH = frozenset({"test_record_offline.py", "test_record_unsent.py"})
DATABASE_FIXTURES = frozenset({"db", "transactional_db", "live_server", "django_db_setup"})
# A file that takes names from one of these starts programs, makes whole fleets, or fits and judges them.
COSTLY = (
    "subprocess",
    "fleet.sheets.files",
    "inspections.wear.fit",
    "inspections.wear.forecast",
    "inspections.wear.trigger",
    "tests.bench",
    "tests.inspections.trend.random_trends",
    "tests.inspections.wear.makers",
    "tests.one_answer",
    "tests.page_scripts",
    "tests.upgrades",
)
IN_CI = os.environ.get("CI", "").lower() in ("1", "true", "yes")


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark what opens a browser; leave out what only the other database can do (CI runs
    the suite on both).
    """
    other = "sqlite" if connection.vendor == "postgresql" else "postgresql"
    once = connection.vendor == "postgresql"
    foreign = [item for item in items if item.get_closest_marker(other) or (once and _once_is_enough(item))]
    if foreign:
        config.hook.pytest_deselected(items=foreign)
        apart = set(foreign)
        items[:] = [item for item in items if item not in apart]
    for item in items:
        parts = item.path.relative_to(CHECKOUT).parts
        if "browser" in parts:
            item.add_marker(pytest.mark.browser)
        if "bench" in parts or item.path.name == "test_demo.py":
            item.add_marker(pytest.mark.slow)
        elif "browser" not in parts and _is_everyday(item):
            item.add_marker(pytest.mark.everyday)


def _once_is_enough(item: pytest.Item) -> bool:
    """What touches no database, and most of what a browser shows, proves nothing more on
    a second database.
    """
    if "browser" in item.path.relative_to(CHECKOUT).parts:
        return item.path.name not in BROWSER_ON_BOTH
    return not _touches_the_database(item)


def _touches_the_database(item: pytest.Item) -> bool:
    fixtures = set(getattr(item, "fixturenames", ()))
    return item.get_closest_marker("django_db") is not None or bool(DATABASE_FIXTURES & fixtures)


def _is_everyday(item: pytest.Item) -> bool:
    """What needs no database and costs little; the few of pages and of the ledger say it of themselves."""
    return not _touches_the_database(item) and not _is_costly(item.getparent(pytest.Module).obj)


@cache
def _is_costly(module: ModuleType) -> bool:
    used = {getattr(one, "__module__", getattr(one, "__name__", "")) for one in vars(module).values()}
    return any(f"{name}.".startswith(f"{costly}.") for name in used if name for costly in COSTLY)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item: pytest.Item, call: pytest.CallInfo):
    """In CI a test that was skipped has failed: what it needs is missing there."""
    return _a_skip_fails_in_ci((yield))


@pytest.hookimpl(wrapper=True)
def pytest_make_collect_report(collector: pytest.Collector):
    """The same for a whole file that skips itself."""
    return _a_skip_fails_in_ci((yield))


def _a_skip_fails_in_ci(report):
    if IN_CI and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped, and in CI nothing may be skipped: {report.longrepr}"
    return report


@pytest.fixture(scope="session")
def kept_record(request: pytest.FixtureRequest) -> Path | None:
    """Where the empty record that these very migrations make is kept from run to run; none for PostgreSQL."""
    if connection.vendor != "sqlite":
        return None
    made_by = hashlib.sha256(repr(VERSION).encode())
    for path in sorted([*CHECKOUT.glob("*/migrations/*.py"), *CHECKOUT.glob("fleet/ledger/*.py")]):
        made_by.update(path.read_bytes())
    return request.config.cache.mkdir("records") / f"{made_by.hexdigest()[:32]}.sqlite3"


@pytest.fixture(scope="session")
def django_db_modify_db_settings(kept_record, tmp_path_factory, django_db_modify_db_settings_parallel_suffix):
    """A database file of this run's own: threads of one process must meet on it as they do in service."""
    if kept_record is not None:
        mine = tmp_path_factory.mktemp("record") / "record.sqlite3"
        if kept_record.exists():
            shutil.copyfile(kept_record, mine)
        site.DATABASES["default"].setdefault("TEST", {})["NAME"] = str(mine)


@pytest.fixture(scope="session")
def django_db_keepdb(kept_record) -> bool:
    """A copy of the kept record is gone on from: migrating it once more finds nothing to do."""
    return kept_record is not None and kept_record.exists()


@pytest.fixture(scope="session")
def django_db_setup(kept_record, django_db_setup, django_db_blocker) -> None:
    """The first run keeps the record it made, before any test adds to it."""
    if kept_record is not None and not kept_record.exists():
        made = kept_record.with_suffix(f".{os.getpid()}")
        with django_db_blocker.unblock(), connection.cursor() as cursor:
            cursor.execute("VACUUM INTO %s", [str(made)])
        made.replace(kept_record)


@pytest.fixture(scope="session", autouse=True)
def _the_ledger_may_be_emptied_between_tests() -> None:
    """The guards refuse the flush after a test with real transactions too; only the tests may lift them for
    it.
    """
    operations = type(connection.ops)
    flush = operations.sql_flush

    def unguarded(self: BaseDatabaseOperations, style, tables, **options) -> list[str]:
        statements = flush(self, style, tables, **options)
        if not statements:
            return statements
        if self.connection.vendor == "postgresql":
            lifted = "SET LOCAL session_replication_role = "
            return [f"{lifted}replica;", *statements, f"{lifted}DEFAULT;"]
        with self.connection.cursor() as cursor:
            cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
            triggers = cursor.fetchall()
        return [*(f"DROP TRIGGER {name}" for name, _ in triggers), *statements, *(sql for _, sql in triggers)]

    operations.sql_flush = unguarded


@pytest.fixture(scope="session", autouse=True)
def _pages_are_read_as_browsers_do() -> None:
    """Blanks between words or attributes count as one: how a template's lines are broken is no test's
    business.
    """
    asked = Client.request

    def request(self: Client, **parts) -> HttpResponse:
        answer = asked(self, **parts)
        if not answer.streaming and answer.get("Content-Type", "").startswith("text/html"):
            answer.content = re.sub(rb"\s+>", b">", re.sub(rb"[ \t\r\n]+", b" ", answer.content))
        return answer

    Client.request = request


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict) -> dict:
    """The system's own Chromium, the one without windows where it is there; nothing is downloaded."""
    known = filter(None, map(shutil.which, ("chromium-headless-shell", "chromium", "chromium-browser")))
    program = os.environ.get("CHROMIUM") or next(known, None)
    if not program:
        pytest.skip("no Chromium on this machine: apt-get install chromium, or name it in CHROMIUM")
    arguments = [*browser_type_launch_args.get("args", []), "--disable-dev-shm-usage"]
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--no-sandbox")  # Chromium refuses its sandbox to root
    return {**browser_type_launch_args, "executable_path": program, "args": arguments}


@pytest.fixture(scope="module")
def record_of_module(django_db_setup, django_db_blocker) -> Iterator[None]:
    """What a fixture of scope "module" that asks for this one records is there for each test of its file.

    It is made once, and what a test adds is taken back after it.
    """
    with django_db_blocker.unblock(), transaction.atomic():
        yield
        transaction.set_rollback(True)


@pytest.fixture(scope="session")
def pango() -> None:
    """For a test that needs a PDF: the system library that it is made with."""
    try:
        must_be_able_to_print()
    except NoPrinter as missing:
        pytest.skip(str(missing))


@pytest.fixture
def checkout() -> Path:
    """The folder of the project."""
    return CHECKOUT
