"""A backup into an empty database: `manage.py restore FILE`."""

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.backup import NotDone, restore


class Command(BaseCommand):
    help = "Fill an empty database from a file of `backup`, and verify every chain before it stands."
    # The tables may not be there yet.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a file of `manage.py backup`")

    def handle(self, *args: Any, file: Path, **_: Any) -> None:
        if not file.exists():
            raise CommandError(f"{file} is not there. Name a file of `manage.py backup`.", returncode=2)
        call_command("migrate", verbosity=0)
        try:
            kept = restore(file)
        except NotDone as refused:
            raise CommandError(str(refused), returncode=2) from None
        self.stdout.write(
            f"{kept.n_rows} rows restored, {kept.n_entries} ledger entries among them; every chain verified,"
            f" sealed: {kept.seal}."
        )
