"""README and DEVELOPERS stay true: every setting, command, option, import column and address is described
there.
"""

import ast
import re
from functools import cache

import pytest
from django.core.management import get_commands, load_command_class
from django.core.management.base import BaseCommand

from fleet.importing.loaders import loaders
from fleet.ledger.committed_rows import NOT_COVERED
from tests.conftest import CHECKOUT

APPS = ("fleet", "inspections", "dashboards")
DOCUMENTS = ("README.md", "DEVELOPERS.md")
READERS = ("get", "getenv", "_yes_or_no", "_words")


@cache
def words() -> str:
    """Both documents; a missing one describes nothing."""
    files = [CHECKOUT / name for name in DOCUMENTS]
    return "\n".join(path.read_text("utf-8") for path in files if path.exists())


def described(word: str) -> bool:
    return re.search(rf"(?<![\w-]){re.escape(word)}(?![\w-])", words()) is not None


def settings_read() -> set[str]:
    """Names in capitals that the site reads from its environment."""
    found = set()
    for path in [
        *CHECKOUT.glob("fleet/**/*.py"),
        *CHECKOUT.glob("inspections/**/*.py"),
        CHECKOUT / "manage.py",
    ]:
        text = path.read_text("utf-8")
        if "environ" not in text:
            continue
        for node in ast.walk(ast.parse(text)):
            if isinstance(node, ast.Call) and node.args and isinstance(node.args[0], ast.Constant):
                called = getattr(node.func, "attr", None) or getattr(node.func, "id", None)
                name = node.args[0].value
                if "META" in ast.unparse(node.func):  # of a request, not of the environment
                    continue
                if called in READERS and isinstance(name, str) and re.fullmatch(r"[A-Z][A-Z_]{4,}", name):
                    found.add(name)
    return found


def our_commands() -> list[str]:
    return sorted(name for name, app in get_commands().items() if app in APPS)


@pytest.mark.parametrize("name", DOCUMENTS)
def test_the_document_is_there(name):
    assert (CHECKOUT / name).read_text("utf-8").strip()


def test_settings_are_found_where_they_are_read():
    assert {
        "DATABASE_URL",
        "DATABASE_OWNER_URL",
        "PLAIN_HTTP",
        "SECRET_KEY",
        "ALLOWED_HOSTS",
    } <= settings_read()


@pytest.mark.parametrize("name", sorted(settings_read()))
def test_every_setting_is_described(name):
    assert described(name), f"describe {name} in README.md or DEVELOPERS.md"


@pytest.mark.parametrize("name", our_commands())
def test_every_command_is_described_with_its_options(name):
    assert described(name), f"describe the command {name}"
    usual = set(BaseCommand().create_parser("manage.py", "usual")._option_string_actions)
    parser = load_command_class(get_commands()[name], name).create_parser("manage.py", name)
    options = [text for text in parser._option_string_actions if text.startswith("--") and text not in usual]
    assert [text for text in options if not described(text)] == []


def test_the_commands_of_the_first_day_are_there():
    owed = {
        "demo",
        "import_register",
        "import_history",
        "import_outages",
        "import_spares",
        "import_work_hours",
        "forecast",
        "verify_records",
        "seal",
        "add_person",
    }
    assert owed - set(our_commands()) == set()


def test_every_sheet_has_its_loader():
    assert list(loaders()) == ["register", "history", "outages", "spares", "work_hours", "planned_duty"]


@pytest.mark.parametrize("holds", ["register", "history", "outages", "spares", "work_hours", "planned_duty"])
def test_every_column_of_a_sheet_is_described(holds):
    names = [column.name for column in loaders()[holds].columns]
    assert names
    assert [name for name in names if f"`{name}`" not in words()] == []


def test_the_two_lines_of_the_readme_are_those_that_ci_runs():
    readme = (CHECKOUT / "README.md").read_text("utf-8")
    install = "python3 -m venv .venv && .venv/bin/pip install -c requirements.lock -e "
    assert f"{install}. && .venv/bin/python manage.py demo" in readme
    assert f"{install}'.[test]' && .venv/bin/pytest" in readme
    ci = (CHECKOUT / ".ci/run").read_text("utf-8")
    assert "pip install --quiet -c requirements.lock -e '.[test]'" in ci
    assert ".venv/bin/pytest" in ci


def test_the_readme_says_what_a_sound_record_shows_and_what_no_chain_can():
    assert "since the last seal kept outside" in words()
    assert "never entered" in words()


def test_the_readme_names_all_that_no_check_covers():
    readme = (CHECKOUT / "README.md").read_text("utf-8")
    assert [what for what in NOT_COVERED if what.split(" (")[0] not in readme] == []


def test_the_ways_through_the_code_name_what_is_there():
    text = (CHECKOUT / "DEVELOPERS.md").read_text("utf-8")
    ways = re.findall(r"^### (A .+?)\n\n```\n(.*?)```", text, re.DOTALL | re.MULTILINE)
    assert [name for name, _ in ways] == ["A reading", "A row of a sheet", "A forecast", "A line of a plan"]
    for _, stations in ways:
        for line in stations.splitlines():
            room = line.split()[0].rstrip(",")
            places = [CHECKOUT / app / room for app in ("", "inspections", "dashboards")]
            assert any(one.is_dir() or one.with_suffix(".py").exists() for one in places), line
