"""Seal every chain's head now: `manage.py seal [--out FILE] [--mail]`."""

from pathlib import Path
from typing import Any, TextIO

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction

from fleet.ledger.canonical import canonical
from fleet.ledger.seal import seal_now
from fleet.plant import witnesses
from fleet.plant.acts import COMMAND_LINE, Refused
from fleet.plant.people import person_named


class Command(BaseCommand):
    help = (
        "Seal every chain's head. The file of --out proves the record of this day only if it is kept"
        " elsewhere."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--out", metavar="FILE", type=Path, help="write the seal and all leaves, to leave the house"
        )
        parser.add_argument(
            "--mail",
            action="store_true",
            help="send the seal to the addresses of SEAL_MAIL_TO, to be kept there",
        )
        parser.add_argument(
            "--by", metavar="NAME", default=COMMAND_LINE, help="who seals; else 'command line'"
        )

    def handle(self, *args: Any, out: Path | None, by: str, mail: bool = False, **_: Any) -> None:
        if mail and out:
            raise CommandError("Give --out or --mail, not both; each makes a seal of its own.", returncode=2)
        if mail:
            self.send(by)
            return
        paper = opened(out) if out else None
        try:
            with transaction.atomic():
                seal, leaves = seal_now(by=person_named(by).id)
                if paper:
                    paper.write(canonical({"hash": seal.hash, "leaves": leaves, "seal": seal.text}) + "\n")
                    paper.close()
        except BaseException:
            if out and paper:
                paper.close()
                out.unlink(missing_ok=True)
            raise
        self.stdout.write(
            f"Seal {seal.n} of {seal.sealed_at:%Y-%m-%d %H:%M} UTC over {len(leaves)} chains: {seal.root}"
        )
        self.stdout.write(
            f"All leaves are in {out}; keep it where nobody who could change the record can reach it."
            if out
            else (
                "Give --out FILE to write what can leave the house: only a seal kept outside proves anything."
            )
        )

    def send(self, by: str) -> None:
        """Seal and mail; exit code 2 where no server took it."""
        try:
            seal, to = witnesses.mail(by=person_named(by).id)
        except Refused as refused:
            raise CommandError(str(refused), returncode=2) from refused
        self.stdout.write(f"Seal {seal.n} of {seal.sealed_at:%Y-%m-%d %H:%M} UTC: {seal.root}")
        self.stdout.write(f"Sent to {', '.join(to)}.")


def opened(path: Path) -> TextIO:
    """A new file for the seal; one that is there already is never written over."""
    try:
        return path.open("x", encoding="utf-8")
    except FileExistsError:
        raise CommandError(
            f"{path} is there already, perhaps an earlier seal. Choose another name.", returncode=2
        ) from None
    except OSError as trouble:
        raise CommandError(
            f"{path} cannot be written ({trouble.strerror}). Nothing was sealed.", returncode=2
        ) from None
