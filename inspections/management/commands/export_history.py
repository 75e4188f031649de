"""One bearing's bundle for an auditor: `manage.py export_history PUMP POSITION --out DIR [--site SITE]`."""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.models import Bearing
from fleet.plant.acts import COMMAND_LINE
from fleet.plant.people import person_named
from fleet.web.bearing_search import called_among
from inspections.bundle.archive import checker_hash, make
from inspections.bundle.report import NoPrinter


class Command(BaseCommand):
    help = (
        "Write everything recorded of one bearing to a folder, with a PDF, the proof and a checker"
        " (verify.py)."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("pump")
        parser.add_argument("position")
        parser.add_argument("--out", metavar="DIR", type=Path, required=True, help="a new or empty folder")
        parser.add_argument("--site", default="", help="where sites share the pump's tag")
        parser.add_argument(
            "--by", metavar="NAME", default=COMMAND_LINE, help="who asks; else 'command line'"
        )

    def handle(self, *args: Any, pump: str, position: str, out: Path, site: str, by: str, **_: Any) -> None:
        bearing = only_one(pump, position, site)
        if out.exists() and (not out.is_dir() or any(out.iterdir())):
            raise CommandError(f"{out} is there already and not empty. Name a new folder.", returncode=2)
        try:
            files = make(bearing, by=person_named(by).pk)
        except NoPrinter as missing:
            raise CommandError(str(missing), returncode=2) from None
        for name, data in files.items():
            path = out / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        self.stdout.write(
            f"{bearing}: {len(files)} files in {out}. Check it anywhere with: python verify.py (its SHA-256"
            f" is {checker_hash()}); give it a seal kept outside: --seal SEAL"
        )


def only_one(pump: str, position: str, site: str) -> Bearing:
    """The bearing of those names.

    Raises
    ------
    CommandError
        where there is none, or more than one.
    """
    found = called_among(Bearing.objects.standing().in_order(), pump, position, site)
    if len(found) == 1:
        return found[0]
    if not found:
        raise CommandError(
            f"No bearing is called {pump} {position}. Check the pump's tag and the position.", returncode=2
        )
    sites = ", ".join(sorted(str(one.place.site) for one in found))
    raise CommandError(
        f"{pump} {position} is at several sites ({sites}). Name one with --site.", returncode=2
    )
