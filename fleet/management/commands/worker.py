"""Do the long work that pages ask for: `manage.py worker [--once]`."""

import time
from typing import Any

from django.core.management.base import BaseCommand, CommandParser
from django.db import close_old_connections

from fleet import background_jobs
from fleet.models import Job

LOOKS_EVERY_S = 1.0


class Command(BaseCommand):
    help = "Do the jobs that pages start, one at a time, the first asked first. Stop it with Ctrl-C."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--once", action="store_true", help="do what waits now, then end")

    def handle(self, *args: Any, once: bool, **_: Any) -> None:
        n = 0
        try:
            while True:
                job = background_jobs.do_next()
                if job is not None:
                    n += 1
                    self.stdout.write(said(job))
                elif once:
                    break
                else:
                    close_old_connections()
                    time.sleep(LOOKS_EVERY_S)
        except KeyboardInterrupt:
            pass
        self.stdout.write(f"{n} job{'' if n == 1 else 's'} done.")


def said(job: Job) -> str:
    """A job's end in a line."""
    return f"{job.kind}: {'failed. ' if job.state == Job.State.FAILED else ''}{job.said}"
