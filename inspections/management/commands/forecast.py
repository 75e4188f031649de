"""Refit the fleet and store every bearing's forecast."""

import datetime as dt
from collections import Counter
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from fleet.export import csv_bytes
from fleet.registering import person_named
from inspections import forecasting
from inspections.figures import COLUMNS, Figures


class Command(BaseCommand):
    help = "Refit the fleet, store every bearing's forecast, and write them out where a file is named."

    def add_arguments(self, parser):
        parser.add_argument(
            "--as-of", type=_day, help="a day such as 2026-03-09: uses what had happened by then"
        )
        parser.add_argument("--csv", type=Path, help="write one row per bearing position to this file")
        parser.add_argument("--by", default="command line", help="who asks")

    def handle(self, *args, as_of, csv, by, **options):
        run = forecasting.refit(by=person_named(by).pk, as_of=as_of)
        rows = [Figures(values) for values in run.forecasts.order_by("pk").values_list("figures", flat=True)]
        if csv:
            csv.write_bytes(csv_bytes(COLUMNS, [figures.row() for figures in rows]))
        counts = Counter(figures["outcome"] for figures in rows)
        said = ", ".join(f"{n} {outcome}" for outcome, n in counts.most_common()) or "none"
        self.stdout.write(f"Forecast {len(rows)} bearings as of {run.as_of}: {said}.")
        if csv:
            self.stdout.write(f"Written to {csv}.")


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--as-of {text}: this is no day; write it as 2026-03-09.", returncode=2) from None
