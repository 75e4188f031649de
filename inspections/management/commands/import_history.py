"""Import a sheet of readings, events and run hours."""

import sys
import time
from typing import Any

from fleet.importing.command import ImportCommand
from fleet.importing.loading import Result

# How much of the whole time is behind when a step begins, as measured with 20 000 rows.
BEHIND = {
    "reading the file": 0.0,
    "checking the rows": 0.06,
    "preparing the entries": 0.2,
    "storing": 0.25,
    "done": 1.0,
}
WIDTH = 24


class Command(ImportCommand):
    help = "Import a sheet of readings, events and run hours, whole or not at all."
    holds = "history"

    def handle(self, *args: Any, **given: Any) -> None:
        self._began = time.monotonic()
        super().handle(*args, **given)

    def say(self, result: Result) -> None:
        """The whole bar stands only under what was stored."""
        if result.ok:
            self.progress("done")
        if sys.stderr.isatty():
            sys.stderr.write("\n")
        super().say(result)

    def progress(self, words: str) -> None:
        """A bar that grows with each step, on a terminal; one line a step elsewhere would only be noise."""
        if not sys.stderr.isatty():
            return
        done = BEHIND.get(words, 0.0)
        bar = ("#" * round(done * WIDTH)).ljust(WIDTH, ".")
        seconds = time.monotonic() - self._began
        sys.stderr.write(f"\r[{bar}] {done:4.0%} {words}, {seconds:.0f} s".ljust(79))
        sys.stderr.flush()
