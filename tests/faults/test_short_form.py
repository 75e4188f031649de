"""The short form of the rounds of faults; the whole is `python -m tests.faults`."""

import os
import subprocess
import sys

import pytest
from django.db import connection

from tests.faults.__main__ import HEAD


@pytest.mark.slow
def test_nothing_is_lost_half_done_or_doubled_and_the_controls_show_that_it_would_be_seen(checkout, db):
    command = [sys.executable, "-m", "tests.faults", "--rounds", "1"]
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    if connection.vendor == "postgresql":  # a cluster of its own, for its processes are killed
        command.insert(0, ".ci/with_postgres")
    ran = subprocess.run(command, cwd=checkout, env=environment, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr[-2000:]
    assert "0 lost, 0 half done, 0 doubled, sound after each" in ran.stdout
    table = [
        line
        for line in ran.stdout.splitlines()
        if len(line.split()) > len(HEAD) and line.split()[-1].isdigit()
    ]
    assert len(table) == (20 if connection.vendor == "postgresql" else 19)
    assert all(line.split()[-len(HEAD)] != "0" for line in table)
