"""The whole site in one file: `manage.py backup FILE`."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.backup import NotDone, back_up
from fleet.plant.acts import COMMAND_LINE
from fleet.plant.people import person_named


class Command(BaseCommand):
    help = (
        "Seal the record and write the whole site to a new file, which `restore` reads into either database."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="a new file; it holds password hashes, keep it safe")
        parser.add_argument(
            "--by", metavar="NAME", default=COMMAND_LINE, help="who asks; else 'command line'"
        )

    def handle(self, *args: Any, file: Path, by: str, **_: Any) -> None:
        try:
            kept = back_up(file, by=person_named(by).pk)
        except NotDone as refused:
            raise CommandError(f"{refused} Nothing was written.", returncode=2) from None
        self.stdout.write(
            f"{kept.n_rows} rows, {kept.n_entries} ledger entries among them, in {file}, sealed: {kept.seal}."
            " Keep it outside this machine, and try `manage.py restore` with it on an empty database now and"
            " then."
        )
