"""What all `import_*` commands share."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.importing.loading import Result, import_file
from fleet.importing.options import Options
from fleet.plant.acts import COMMAND_LINE
from fleet.plant.people import person_named

REFUSED = 2
SHOWN_REMARKS = 20


class ImportCommand(BaseCommand):
    """Import one file: exit 0 done, 2 refused with every fault and open question printed
    and nothing stored.
    """

    holds = ""
    # The pages and the wear engine behind them are not needed to bring a sheet in: their checks would load
    # both.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", metavar="FILE", help="CSV or XLSX")
        parser.add_argument("--by", metavar="NAME", default="", help="who imports; else 'command line'")
        parser.add_argument("--site", default="", help="the site of rows that name none")
        parser.add_argument("--plan", metavar="NAME", default="", help="a reading plan's name")
        parser.add_argument("--dry-run", action="store_true", help="check and count, store nothing")
        parser.add_argument(
            "--date-format", metavar="F", default="", help="such as DD/MM/YYYY; several parted by |"
        )
        parser.add_argument("--decimal", choices=["point", "comma"], default="point")
        parser.add_argument(
            "--set-aside",
            metavar="REASON",
            default="",
            help="keep rows with open questions, unused, for this reason",
        )

    def handle(self, *args: Any, **given: Any) -> None:
        path = Path(given["file"])
        try:
            data = path.read_bytes()
        except OSError as error:
            raise CommandError(
                f"file: {path} cannot be read ({error.strerror})", returncode=REFUSED
            ) from None
        options = Options(
            site=given["site"],
            plan=given["plan"],
            date_format=given["date_format"],
            decimal_comma=given["decimal"] == "comma",
            set_aside=given["set_aside"].strip(),
            dry_run=given["dry_run"],
        )
        by = person_named(given["by"].strip() or COMMAND_LINE)
        result = import_file(
            data, path.name, holds=self.holds, by=by.id, options=options, progress=self.progress
        )
        self.say(result)

    def progress(self, words: str) -> None:
        """Told what is being done; a command with long files shows it."""

    def say(self, result: Result) -> None:
        """Print the outcome; refuse with exit 2."""
        for finding in result.findings:
            self.stdout.write(finding.line())
        for remark in result.remarks[:SHOWN_REMARKS]:
            self.stdout.write(f"remark: {remark}")
        if not result.ok:
            raise CommandError(result.saying(), returncode=REFUSED)
        self.stdout.write(result.saying())
