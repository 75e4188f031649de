"""A whole fleet's table in a file: `manage.py export_table readings --account NAME --out FILE`."""

from pathlib import Path
from typing import Any

import pandas as pd
from django.core.management.base import BaseCommand, CommandError, CommandParser

from fleet.access import may
from fleet.models import Account
from fleet.sheets.export import csv_bytes, xlsx_bytes
from fleet.sheets.frames import sheet_rows
from inspections.forecasts import frames

TABLES = {"readings": frames.readings, "events": frames.events, "forecasts": frames.forecasts}


class Command(BaseCommand):
    help = (
        "Write the readings, events or forecasts of the sites at which an account may export to a CSV or XLSX"
        " file."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("table", choices=sorted(TABLES))
        parser.add_argument(
            "--account", metavar="NAME", required=True, help="whose sites; it may export there"
        )
        parser.add_argument("--out", metavar="FILE", type=Path, required=True, help="ends in .csv or .xlsx")

    def handle(self, *args: Any, table: str, account: str, out: Path, **_: Any) -> None:
        asker = Account.objects.filter(username=account, is_active=True).first()
        if asker is None:
            raise CommandError(
                f"No account in use is called {account}. Name one with --account.", returncode=2
            )
        if not may(asker, "export"):
            raise CommandError(
                f"{account} may not export: that needs the role engineer, planner or auditor at a site.",
                returncode=2,
            )
        made = TABLES[table](asker, act="export")
        try:
            out.write_bytes(_file(made, table, out.suffix))
        except OSError as trouble:
            raise CommandError(f"{out} cannot be written: {trouble.strerror}.", returncode=2) from None
        self.stdout.write(f"{len(made)} rows of {table} in {out}.")


def _file(made: pd.DataFrame, table: str, suffix: str) -> bytes:
    """The table as a file of that kind.

    Raises
    ------
    CommandError
        where the name ends otherwise, or a workbook cannot hold the table.
    """
    rows = sheet_rows(made)
    if suffix == ".csv":
        return csv_bytes(list(made.columns), rows)
    if suffix != ".xlsx":
        raise CommandError(
            f"--out ends in '{suffix}': write a file that ends in .csv or .xlsx.", returncode=2
        )
    try:
        return xlsx_bytes(list(made.columns), rows, sheet_name=table)
    except ValueError as trouble:
        raise CommandError(f"A workbook cannot hold this: {trouble}.", returncode=2) from None
