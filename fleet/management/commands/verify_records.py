"""Recompute every chain and seal: `manage.py verify_records [--seal FILE] [--forecasts]`; 0 sound, 1 altered,
2 could not check.
"""

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.checks import RECOMPUTED
from fleet.ledger.committed_rows import NOT_COVERED
from fleet.ledger.outside_seals import compared, read_paper
from fleet.ledger.verify import Findings, verify

ALTERED, COULD_NOT_CHECK = 1, 2
SHOWN = 20
CANNOT_SHOW = "What came later, and what was never entered, no chain can show."


class Command(BaseCommand):
    help = (
        "Recompute every chain and seal. Exit 0: sound; 1: altered, and the first faults; 2: could not check."
    )
    # A failing check would exit 1, which is the word for "altered" here.
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--seal",
            metavar="FILE",
            type=Path,
            action="append",
            default=[],
            help="a file of `seal --out` that was kept outside; may be given again",
        )
        parser.add_argument(
            "--forecasts",
            action="store_true",
            help="also work out anew every forecast that was relied on, from the record as it was known then",
        )

    def handle(self, *args: Any, seal: list[Path], forecasts: bool = False, **_: Any) -> None:
        try:
            papers = [(path, read_paper(path.read_bytes(), path.name)) for path in seal]
            found = verify()
            for path, paper in papers:
                found.faults += compared(path.name, paper)
            told = [one for recompute in RECOMPUTED for one in recompute()] if forecasts else []
        except Exception as trouble:  # whatever stops the reading: it must never look like "altered"
            raise CommandError(
                f"could not check: {type(trouble).__name__}: {trouble}", returncode=COULD_NOT_CHECK
            ) from trouble
        for words, altered in told:
            self.stdout.write(words)
            if altered:
                found.faults.append(words)
        if forecasts:
            self.stdout.write(f"{len(told)} forecasts relied on, worked out anew.")
        self.say(found, [path for path, _ in papers])

    def say(self, found: Findings, papers: list[Path]) -> None:
        """The counts, then what they show and no more; or the first faults."""
        self.stdout.write(
            f"{found.n_entries} entries on {found.n_chains} chains, {found.n_seals} seals, {found.n_rows}"
            " rows read."
        )
        for look in found.beside:
            self.stdout.write(f"Looked at {look.what}: {look.n}, {len(look.faults)} faults.")
        for what in NOT_COVERED:
            self.stdout.write(f"Not covered: {what}.")
        for fault in found.faults[:SHOWN]:
            self.stdout.write(fault)
        if len(found.faults) > SHOWN:
            self.stdout.write(f"... and {len(found.faults) - SHOWN} more.")
        if not found:
            raise CommandError(f"altered: {len(found.faults)} faults", returncode=ALTERED)
        self.stdout.write(claim(found, papers))


def claim(found: Findings, papers: list[Path]) -> str:
    """What a sound record shows."""
    if not found.last_seal_at:
        return (
            "Sound within itself: every chain fits together. No seal was made yet, so nothing shows that it"
            " was not written anew as a whole; run `manage.py seal --out FILE` and keep the file outside."
        )
    compared_with = (
        f"compared with {', '.join(path.name for path in papers)}"
        if papers
        else "if that seal is kept outside (give it with --seal FILE to compare)"
    )
    return (
        "Sound: nothing recorded here was changed or removed since the last seal kept outside. The last seal"
        f" is of {found.last_seal_at:%Y-%m-%d %H:%M} UTC, {compared_with}. {CANNOT_SHOW}"
    )
