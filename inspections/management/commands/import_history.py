"""Import a sheet of readings, events and run hours."""

import sys
import time
from typing import Any

from fleet.importing.command import ImportCommand

STEPS = ("reading the file", "checking the rows", "preparing the entries", "storing")
WIDTH = 24


class Command(ImportCommand):
    help = "Import a sheet of readings, events and run hours, whole or not at all."
    holds = "history"

    def handle(self, *args: Any, **given: Any) -> None:
        self._began = time.monotonic()
        try:
            super().handle(*args, **given)
        finally:
            if sys.stderr.isatty():
                self.stderr.write("\r" + " " * 79 + "\r", ending="")

    def progress(self, words: str) -> None:
        """A bar that grows with each step, on a terminal; one line a step elsewhere would only be noise."""
        if not sys.stderr.isatty():
            return
        done = STEPS.index(words) / len(STEPS) if words in STEPS else 0.0
        bar = ("#" * round(done * WIDTH)).ljust(WIDTH, ".")
        seconds = time.monotonic() - self._began
        self.stderr.write(f"\r[{bar}] {done:4.0%} {words}, {seconds:.0f} s".ljust(79), ending="")
        self.stderr.flush()
