"""Settings refuse a wrong word, are strict where deployed, and are loosened in one place only."""

import json
import os
import subprocess
import sys

import pytest
from django.conf import settings as site

from fleet.checks import the_clock_is_utc
from tests.conftest import CHECKOUT

KEY = "0123456789abcdefghijklmnopqrstuvwxyz-0123456789-ABCDEFGHIJKLMNOPQ"


def in_a_process_of_its_own(*command: str, **environment: str) -> subprocess.CompletedProcess:
    """manage.py with nothing of the tests' own environment."""
    left_out = ("PLAIN_HTTP", "DATABASE_", "SECRET_KEY", "DJANGO_")
    clean = {name: value for name, value in os.environ.items() if not name.startswith(left_out)}
    return subprocess.run(
        [sys.executable, *command],
        cwd=CHECKOUT,
        env=clean | environment,
        capture_output=True,
        text=True,
        timeout=120,
    )


@pytest.fixture
def deployed(tmp_path) -> dict[str, str]:
    return {"SECRET_KEY": KEY, "DATABASE_URL": f"sqlite:///{tmp_path}/record.sqlite3"}


def read(names: list[str], **environment: str) -> dict:
    code = (
        "from django.conf import settings as s; import json; print(json.dumps({n: getattr(s, n) for n in"
        f" {names}}}))"
    )
    done = in_a_process_of_its_own("-c", code, DJANGO_SETTINGS_MODULE="fleet.settings", **environment)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_the_tests_run_without_tls_and_with_plain_static_files():
    assert site.PLAIN_HTTP is True
    assert "Manifest" not in site.STORAGES["staticfiles"]["BACKEND"]


def test_check_deploy_finds_nothing_in_the_settings_as_deployed(deployed):
    done = in_a_process_of_its_own("manage.py", "check", "--deploy", "--fail-level", "INFO", **deployed)
    assert done.returncode == 0, done.stderr


def test_one_check_is_silenced_and_no_more():
    assert site.SILENCED_SYSTEM_CHECKS == ["security.W021"]


def test_as_deployed_cookies_need_tls_and_carry_the_host_prefix(deployed):
    names = ["SESSION_COOKIE_NAME", "CSRF_COOKIE_NAME", "SESSION_COOKIE_SECURE", "CSRF_COOKIE_SECURE"]
    names += ["SECURE_SSL_REDIRECT", "SECURE_HSTS_SECONDS", "DEBUG"]
    said = read(names, **deployed)
    assert said["SESSION_COOKIE_NAME"].startswith("__Host-") and said["CSRF_COOKIE_NAME"].startswith(
        "__Host-"
    )
    assert said["SESSION_COOKIE_SECURE"] and said["CSRF_COOKIE_SECURE"] and said["SECURE_SSL_REDIRECT"]
    assert said["SECURE_HSTS_SECONDS"] >= 31_536_000  # ASVS 5.0.0, 3.4.1: a year at least
    assert said["DEBUG"] is False


def test_plain_http_turns_off_what_needs_tls_and_nothing_else(deployed):
    policy = [
        "CONTENT_SECURITY_POLICY",
        "X_FRAME_OPTIONS",
        "SECURE_REFERRER_POLICY",
        "SESSION_COOKIE_HTTPONLY",
        "DEBUG",
    ]
    assert read(policy, PLAIN_HTTP="yes", **deployed) == read(policy, **deployed)


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("PLAIN_HTTP", "perhaps", "PLAIN_HTTP is 'perhaps'; yes or no is allowed"),
        ("BEHIND_TLS_PROXY", "2", "BEHIND_TLS_PROXY is '2'; yes or no is allowed"),
        ("DATABASE_URL", "mysql://here/record", "the two databases that are supported"),
    ],
)
def test_a_wrong_word_in_the_environment_stops_the_site_with_a_sentence(deployed, name, value, says):
    done = in_a_process_of_its_own("manage.py", "check", **(deployed | {name: value}))
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_a_made_key_is_kept_beside_the_record_for_the_owner_alone(tmp_path, deployed):
    kept = tmp_path / "key.txt"
    without = {"DATABASE_URL": deployed["DATABASE_URL"], "SECRET_KEY_FILE": str(kept)}
    first = read(["SECRET_KEY"], **without)
    assert read(["SECRET_KEY"], **without) == first
    assert len(first["SECRET_KEY"]) >= 50
    assert kept.stat().st_mode & 0o077 == 0


def test_the_sites_clock_must_be_utc(settings):
    assert the_clock_is_utc(None) == []
    settings.TIME_ZONE = "Etc/GMT+5"
    assert [fault.id for fault in the_clock_is_utc(None)] == ["fleet.E001"]


def test_sqlite_waits_for_the_disk_and_takes_its_lock_at_the_start(deployed):
    options = read(["DATABASES"], **deployed)["DATABASES"]["default"]["OPTIONS"]
    assert options["transaction_mode"] == "IMMEDIATE"
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "recursive_triggers=ON"):
        assert pragma in options["init_command"]
