"""The first line of the README, in a folder of its own: sheets in, forecasts made, sign-ins printed, pages
served.
"""

import json
import os
import re
import shutil
import socket
import sqlite3
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from html import unescape
from http.cookiejar import CookieJar
from pathlib import Path
from urllib.parse import urlencode

import pytest

from fleet.models import Role
from tests.conftest import CHECKOUT

# The demo keeps an SQLite file of its own on either database; once is enough.
pytestmark = pytest.mark.sqlite
SITE = ("fleet", "inspections", "dashboards", "fixtures", "manage.py")


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    """The site's files alone, as a clone has them, with the loops of the engine that are compiled already."""
    there = tmp_path_factory.mktemp("clone")
    for name in SITE:
        if (CHECKOUT / name).is_dir():
            shutil.copytree(CHECKOUT / name, there / name, ignore=shutil.ignore_patterns("*.pyc"))
        else:
            shutil.copy(CHECKOUT / name, there / name)
    return there


def demo(folder: Path, *options: str) -> subprocess.Popen:
    left_out = ("PLAIN_HTTP", "DATABASE_", "SECRET_KEY", "DJANGO_")
    clean = {name: value for name, value in os.environ.items() if not name.startswith(left_out)}
    clean |= {"PYTHONUNBUFFERED": "1"}
    return subprocess.Popen(
        [sys.executable, "manage.py", "demo", *options],
        cwd=folder,
        env=clean,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


@pytest.fixture(scope="module")
def first_run(folder) -> str:
    done = demo(folder, "--no-serve")
    said, faults = done.communicate(timeout=300)
    assert done.returncode == 0, said + faults
    return said


def sign_ins(said: str) -> dict[str, str]:
    """Lines of two words: nothing else that the demo prints looks so."""
    return dict(re.findall(r"^(\w+) +(\S+)$", said, re.MULTILINE))


def test_the_demo_says_what_is_turned_off(first_run):
    assert first_run.startswith("The demo's record: ")
    for word in ("Secure", "https", "HSTS"):
        assert word in first_run.split("import_register")[0]


def test_one_of_its_sheets_comes_in_by_a_saved_plan(first_run):
    assert "Reading plan 'Thessock bearing book', version 1" in first_run
    assert "import_history history_thessock_weir_book.xlsx --plan 'Thessock bearing book'" in first_run
    assert re.search(
        r"history_thessock_weir_book\.xlsx: \d+ rows seen = [1-9]\d* stored \+ 0 set aside", first_run
    )


def test_a_corrected_reading_and_checked_gauges_wait_for_a_visitor(folder, first_run):
    assert "A reading of 2013-05-21 put right at Descale 1 DE" in first_run
    with sqlite3.connect(folder / "demo.sqlite3") as record:
        corrected = "SELECT typed FROM inspections_reading WHERE supersedes IS NOT NULL"
        assert record.execute(corrected).fetchall() == [("8.8",)]
        assert record.execute("SELECT count(*) FROM fleet_calibration").fetchone() == (5,)


def test_every_role_has_a_sign_in_named_by_its_own_word(first_run):
    assert list(sign_ins(first_run)) == Role.Word.values


def test_a_second_run_adds_nothing_and_makes_the_passwords_anew(folder, first_run):
    counts = _counts(folder)
    second = demo(folder, "--no-serve")
    said, faults = second.communicate(timeout=300)
    assert second.returncode == 0, said + faults
    assert "Nothing was recorded since: Forecast 80 bearings" in said
    assert _counts(folder) == counts
    assert set(sign_ins(said).values()).isdisjoint(sign_ins(first_run).values())


def test_a_port_in_use_is_told_at_once(folder):
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        done = demo(folder, "--port", str(port))
        _, faults = done.communicate(timeout=60)
    assert done.returncode == 2
    assert f"Port {port} cannot be had" in faults


def test_every_station_gives_one_answer_of_every_bearing(folder, first_run, tmp_path):
    record = shutil.copy(folder / "demo.sqlite3", tmp_path / "demo.sqlite3")
    environment = os.environ | {
        "DATABASE_URL": f"sqlite:///{record}",
        "PLAIN_HTTP": "yes",
        "DJANGO_SETTINGS_MODULE": "fleet.settings",
    }
    done = subprocess.run(
        [sys.executable, "-m", "tests.one_answer_demo"],
        cwd=CHECKOUT,
        env=environment,
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout) == {"bearings": 80, "disagreements": []}


@pytest.fixture(scope="module")
def served(folder, first_run) -> Iterator[tuple[str, dict[str, str]]]:
    """The address of a demo that serves, and its sign-ins."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    site = demo(folder, "--port", str(port))
    try:
        said = ""
        until = time.monotonic() + 300
        while f"http://127.0.0.1:{port}/" not in said and time.monotonic() < until:
            line = site.stdout.readline()
            assert line, site.stderr.read()
            said += line
        yield f"http://127.0.0.1:{port}", sign_ins(said)
    finally:
        site.terminate()
        site.communicate(timeout=30)


def _signed_in(address: str, password: str) -> str:
    """The watch list as the engineer sees it."""
    jar = CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(jar))
    page = browser.open(f"{address}/sign-in/", timeout=30).read().decode()
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)[1]
    form = {"username": "engineer", "password": password, "csrfmiddlewaretoken": token}
    request = urllib.request.Request(
        f"{address}/sign-in/", urlencode(form).encode(), headers={"Referer": f"{address}/sign-in/"}
    )
    with browser.open(request, timeout=60) as answer:
        assert answer.status == 200
        assert answer.url == f"{address}/"
        return answer.read().decode()


def test_the_printed_sign_in_opens_the_watch_list(served):
    address, passwords = served
    assert "Sign out" in _signed_in(address, passwords["engineer"])


# What the watch list must say of each planted story, by its kind: words of the row, its group or its advice.
STORIES = {
    "misaligned": "as fast until the alignment of Apr 2019",
    "scraped_three_times": "this shell was scraped three times",
    "radial_typed": "rows set aside, to be settled",
    "standby": "standby, ",
    "gritty_class": "bearings like it (river water, grit) wear about",
    "past_limit": "limit already passed",
    "single_reading": "one reading only",
    "pump_moved": "another pump since Apr 2017",
    "spare_rotor": "another rotor since May 2017",
    "gauge_change": "measured by bore gauge now, by lead wire before",
    "twin_pair": "as fast as its twin Valley",
    "contact_open": "contact check of Oct 2026 stands open",
    "perhaps_copied": "readings perhaps copied",
    "duty_change": "the hours a day since Jan 2020",
    "no_limit": "no limit set",
    "no_reading": "no reading yet",
    "calendar": "no run hours known",
}


def test_the_watch_list_names_every_planted_story(served):
    address, passwords = served
    page = _signed_in(address, passwords["engineer"])
    rows = {
        tuple(unescape(part) for part in name): unescape(row.replace("\u00a0", " "))
        for row in re.findall(r"<tr[^>]*>.*?</tr>", page, re.DOTALL)
        for name in re.findall(r"<b>([^<]+)</b> ([^<]+)</a>", row)
    }
    stories = json.loads((CHECKOUT / "fixtures/demo/stories.json").read_text("utf-8"))
    assert {story["kind"] for story in stories} == set(STORIES)
    untold = [
        story for story in stories if STORIES[story["kind"]] not in rows[story["pump"], story["position"]]
    ]
    assert untold == []


def test_the_styles_are_served_without_being_collected(served):
    address, _ = served
    with urllib.request.urlopen(f"{address}/static/fleet/site.css", timeout=30) as styles:
        assert styles.status == 200
        assert styles.headers["Content-Type"].startswith("text/css")


def _counts(folder: Path) -> dict[str, int]:
    """Rows of the record; forecasts, sessions and the run's own entry are of their day."""
    tables = (
        "fleet_site",
        "fleet_bearing",
        "fleet_limit",
        "fleet_sheet",
        "fleet_person",
        "fleet_role",
        "inspections_reading",
    )
    with sqlite3.connect(folder / "demo.sqlite3") as record:
        return {table: record.execute(f"SELECT count(*) FROM {table}").fetchone()[0] for table in tables}
