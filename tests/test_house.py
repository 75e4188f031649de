"""The rules of the house that a program can hold us to."""

import ast
import doctest
import importlib
import re
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest
from django.core.management import call_command

from tests.conftest import CHECKOUT

APPS = ("fleet", "inspections", "dashboards")
LONGEST = 500
LONGEST_FUNCTION = 60
VAGUE = {"utils", "util", "helpers", "helper", "common", "base", "services", "service", "managers", "misc"}
# The first migration of an app is written by Django.
WRITTEN_BY_DJANGO = re.compile(r"/migrations/\d{4}_")
OURS = {".py", ".js", ".css", ".html", ".sh"}


@cache
def our_files() -> list[Path]:
    """Every file of ours that is in the repository, or waits to be put there."""
    command = ["git", "ls-files", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=CHECKOUT, capture_output=True, text=True, check=True).stdout
    return [CHECKOUT / name for name in listed.splitlines() if (CHECKOUT / name).is_file()]


def sources(*suffixes: str) -> list[Path]:
    return [path for path in our_files() if path.suffix in (suffixes or OURS)]


def short(path: Path) -> str:
    return path.relative_to(CHECKOUT).as_posix()


def test_no_file_is_longer_than_500_lines():
    long = {
        short(path): n
        for path in sources()
        if not WRITTEN_BY_DJANGO.search(short(path))
        and (n := len(path.read_text("utf-8").splitlines())) > LONGEST
    }
    assert long == {}, "split these by the work they do"


def test_no_function_is_longer_than_60_lines():
    long = {
        f"{short(path)}: {node.name}": n
        for path in sources(".py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.FunctionDef)
        and (n := (node.end_lineno or 0) - node.lineno + 1) > LONGEST_FUNCTION
    }
    assert long == {}, "part these by what they work out"


def test_the_formatter_decides_how_a_line_is_broken():
    left_out = re.compile(r"#\s*fmt:\s*(?:skip|off)")
    kept = [short(path) for path in sources(".py") if left_out.search(path.read_text("utf-8"))]
    assert kept == []


def test_files_are_named_for_the_work_they_do():
    # base.html is the frame every page extends, by Django's own custom.
    vague = [short(path) for path in sources(".py", ".js", ".css") if path.stem in VAGUE]
    assert vague == []


@pytest.mark.django_db
def test_the_migrations_say_all_that_the_models_say():
    call_command("makemigrations", check=True, dry_run=True, verbosity=0)


def test_only_the_clock_reads_the_clock():
    reads = re.compile(r"\b(datetime\.now|datetime\.utcnow|date\.today|timezone\.now|time\.time)\(")
    found = [
        f"{short(path)}:{number}"
        for path in sources(".py")
        if short(path).startswith(APPS) and short(path) != "fleet/clock.py"
        for number, line in enumerate(path.read_text("utf-8").splitlines(), start=1)
        if reads.search(line)
    ]
    assert found == [], "take the day or the instant as an argument, from fleet/clock.py"


def test_templates_put_out_nothing_unescaped_but_our_own_drawings():
    # ASVS 5.0.0, 1.2.1: text is encoded for where it stands.
    marked = [
        f"{short(path)}: {found}"
        for path in sources(".html")
        for found in re.findall(r"\|\s*safe\b|autoescape off", path.read_text("utf-8"))
    ]
    assert marked == []


def test_pages_carry_no_script_and_no_style_of_their_own():
    # The content policy allows neither; the browser would leave them out without a word.
    inline = re.compile(r"<script(?![^>]*\bsrc=)(?![^>]*application/json)|<style\b|\sstyle=\"|\son[a-z]+=\"")
    found = [
        f"{short(path)}: {match.group()}"
        for path in sources(".html")
        for match in inline.finditer(path.read_text("utf-8"))
    ]
    assert found == []


def test_nothing_in_our_pages_names_another_host():
    # Names of XML vocabularies look like addresses and are never fetched.
    address = re.compile(r"(?:https?:)?//(?!www\.w3\.org/)[a-z0-9-]+\.[a-z]{2,}", re.IGNORECASE)
    found = [
        f"{short(path)}: {match.group()}"
        for path in sources(".html", ".css", ".js", ".svg")
        for match in address.finditer(path.read_text("utf-8"))
    ]
    assert found == []


def test_no_path_of_one_machine_and_no_package_host_stands_in_the_repository():
    machine = re.compile(r"(?<![\w.])/(?:work|home|root|Users)/\w|pypi\.|files\.pythonhosted|--index-url")
    found = [
        f"{short(path)}: {match.group()}"
        for path in our_files()
        if path.suffix in OURS | {".md", ".toml", ".lock", ".json", ""} and path != Path(__file__)
        for match in machine.finditer(path.read_text("utf-8", errors="ignore"))
    ]
    assert found == []


TYPED = re.compile(
    r"inspections/(wear/|contact/|records/|forecasts/current|forecasts/refit)|fleet/(ledger/|units\.py|sheets/)"
)


def test_public_functions_say_what_they_take_and_give():
    """Compiled loops are left out: their types come with the arrays, and their docstrings give shapes and
    units.
    """
    untyped = []
    for path in sources(".py"):
        if not TYPED.match(short(path)):
            continue
        for node in ast.parse(path.read_text("utf-8")).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                asked = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
                is_compiled = any("compiled" in ast.unparse(decorator) for decorator in node.decorator_list)
                if not is_compiled and (node.returns is None or any(arg.annotation is None for arg in asked)):
                    untyped.append(f"{short(path)}:{node.lineno} {node.name}")
    assert untyped == []


def modules_with_examples() -> list[str]:
    return [
        short(path).removesuffix(".py").replace("/", ".")
        for path in sources(".py")
        if short(path).startswith(APPS) and ">>> " in path.read_text("utf-8")
    ]


@pytest.mark.parametrize("module", modules_with_examples())
def test_the_examples_in_docstrings_run(module):
    result = doctest.testmod(importlib.import_module(module), optionflags=doctest.NORMALIZE_WHITESPACE)
    assert result.attempted > 0
    assert result.failed == 0


def test_the_wear_model_loads_no_django():
    code = "import sys, inspections.wear, fleet.units, fleet.sheets.files; print('django' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=CHECKOUT, capture_output=True, text=True)
    assert done.stdout.strip() == "False", done.stderr
