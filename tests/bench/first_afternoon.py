"""From an empty folder to first dates with one history workbook of 22 pumps and no register: clicks, fields
and minutes by script of human pace (3 s a click, 2 s a field), the machine's own time measured and added.

python -m tests.bench.first_afternoon [--pumps 22]
"""

import argparse
import os
import re
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "fleet.settings")
os.environ.setdefault("PLAIN_HTTP", "yes")
_FOLDER = tempfile.TemporaryDirectory()
os.environ["DATABASE_URL"] = f"sqlite:///{_FOLDER.name}/first.sqlite3"
import django

django.setup()

from django.core.wsgi import get_wsgi_application
from webtest import TestApp

from tests.imports.first_afternoon import MOST_CLICKS, MOST_MINUTES, Newcomer, Step, workbook

NAME = "A. Quill"


def command(*words: str) -> tuple[Step, str]:
    """One command typed and waited for, and what it printed."""
    began = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "manage.py", *words], check=True, capture_output=True, text=True, timeout=600
    )
    return Step(f"manage.py {words[0]}", 0, 1, time.perf_counter() - began), done.stdout


def served() -> Step:
    """The server started, until it answers; then ended: the pages are asked for in this process."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    began = time.perf_counter()
    words = [sys.executable, "manage.py", "runserver", "--noreload", str(port)]
    server = subprocess.Popen(words, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        while server.poll() is None:
            try:
                urllib.request.urlopen(f"http://127.0.0.1:{port}/health/", timeout=5).close()
                break
            except OSError:
                time.sleep(0.2)
        assert server.poll() is None, "the server ended by itself"
        return Step("manage.py runserver", 0, 1, time.perf_counter() - began)
    finally:
        server.terminate()
        server.wait()


def main() -> None:
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--pumps", type=int, default=22)
    given = options.parse_args()
    migrated, _ = command("migrate", "-v0")
    added, said = command("add_person", NAME, "--role", "engineer")
    steps = [migrated, added, served()]
    newcomer = Newcomer(TestApp(get_wsgi_application(), extra_environ={"HTTP_HOST": "127.0.0.1"}))
    newcomer.walk(workbook(given.pumps, worst=2), NAME, said.split()[-1])
    steps += newcomer.steps
    print("| step | clicks | fields | machine, s | with human pace, s |\n| --- | --- | --- | --- | --- |")
    for step in steps:
        print(f"| {step.name} | {step.clicks} | {step.fields} | {step.server_s:.1f} | {step.seconds:.0f} |")
    clicks, minutes = sum(step.clicks for step in steps), sum(step.seconds for step in steps) / 60
    fields, machine = sum(step.fields for step in steps), sum(step.server_s for step in steps)
    print(f"| whole | {clicks} | {fields} | {machine:.1f} | {minutes * 60:.0f} |")
    words = " ".join(newcomer.page.html.get_text(" ").replace("\u00a0", " ").split())
    found = re.search(r"[^.]* have dates\..*? comes first", words)
    assert found is not None, words[:500]
    print(
        f"\n{found[0].strip()}: {clicks} clicks of {MOST_CLICKS}, {minutes:.1f} of {MOST_MINUTES:.0f} minutes"
    )
    assert clicks <= MOST_CLICKS and minutes <= MOST_MINUTES


if __name__ == "__main__":
    main()
