"""Refit the fleet and store every bearing's forecast."""

import datetime as dt
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from fleet.plant.people import person_named
from fleet.sheets.export import csv_bytes
from inspections.forecasts import kept_backtest as backtests
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.frames import SHEET, figures_frame, forecast_sheet
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.refit import refit, up_to_date

MOST_HIDDEN = 5


class Command(BaseCommand):
    help = "Refit the fleet, store every bearing's forecast, and write them out where a file is named."

    def add_arguments(self, parser):
        parser.add_argument(
            "--as-of", type=_day, help="a day such as 2026-03-09: uses what had happened by then"
        )
        parser.add_argument(
            "--if-needed",
            action="store_true",
            help="take the forecast of today that stands, where nothing was recorded since",
        )
        parser.add_argument("--csv", type=Path, help="write one row per bearing position to this file")
        parser.add_argument(
            "--backtest",
            type=_openings,
            nargs="?",
            const=backtests.OPENINGS,
            default=0,
            metavar="OPENINGS",
            help="also hide every bearing's last opening (or so many), predict it, and print how that went",
        )
        parser.add_argument("--by", default="command line", help="who asks")

    def handle(self, *args, as_of, if_needed, csv, by, backtest, **options):
        stands = up_to_date() if if_needed and not (as_of or backtest) else None
        run = stands or refit(by=person_named(by).pk, as_of=as_of, hide=backtest)
        stored = run.forecasts.order_by("pk").values_list("figures", "judgement")
        made = figures_frame(
            (Figures(values), Judgement.from_json(kept) if kept else None) for values, kept in stored
        )
        if csv:
            csv.write_bytes(csv_bytes(SHEET, forecast_sheet(made)))
        counts = made["outcome"].value_counts()
        said = ", ".join(f"{n} {outcome}" for outcome, n in counts.items()) or "none"
        since = "Nothing was recorded since: " if stands else ""
        self.stdout.write(f"{since}Forecast {len(made)} bearings as of {run.as_of}: {said}.")
        if csv:
            self.stdout.write(f"Written to {csv}.")
        if backtest:
            self.stdout.write("\n".join(backtests.printed(run.parameters[backtests.KEPT_UNDER])))


def _openings(text: str) -> int:
    if text.isdecimal() and 1 <= int(text) <= MOST_HIDDEN:
        return int(text)
    raise CommandError(
        f"--backtest {text}: give how many openings to hide, 1 to {MOST_HIDDEN}, or nothing for one.",
        returncode=2,
    )


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError:
        raise CommandError(f"--as-of {text}: this is no day; write it as 2026-03-09.", returncode=2) from None
