"""Propose the outage and the work for every bearing."""

import datetime as dt
from pathlib import Path

from django.core.management.base import BaseCommand, CommandError

from dashboards.outage_plan import versions
from dashboards.outage_plan.drafts import NotPlanned
from dashboards.outage_plan.plan_frames import lines_of
from dashboards.outage_plan.plan_sheet import COLUMNS
from dashboards.outage_plan.proposal import Proposal, propose
from fleet.clock import today_at
from fleet.models import Site
from fleet.sheets.export import csv_bytes
from fleet.sheets.frames import sheet_rows


class Command(BaseCommand):
    help = (
        "Propose the outage and the work for every bearing, site by site, keeping to what was changed by"
        " hand, and take the plans in hand for the pages; with --as-of only propose."
    )

    def add_arguments(self, parser):
        parser.add_argument(
            "--as-of", metavar="DATE", help="a day such as 2026-03-09: outages before it are past"
        )
        parser.add_argument(
            "--if-needed",
            action="store_true",
            help="leave today's plan in hand where neither the record nor the forecast changed since",
        )
        parser.add_argument(
            "--csv", type=Path, metavar="FILE", help="write one row per proposed job to this file"
        )

    def handle(self, *args, as_of, if_needed, csv, **options):
        day = _day(as_of)
        proposals = []
        for site in Site.objects.standing():
            proposal = propose(site, day) if day else _in_hand(site, if_needed=if_needed)
            proposals.append(proposal)
            for reason in proposal.refused:
                self.stdout.write(f"{site.name}: {reason}")
            if proposal.evaluation and proposal.solution:
                made = proposal.evaluation
                self.stdout.write(
                    f"{site.name}: {len(made.jobs)} jobs in {len(made.loads)} outages,"
                    f" {made.expected_passings:.1f} passings expected, at most {proposal.solution.gap:.1%}"
                    " from the best."
                )
        if csv:
            csv.write_bytes(csv_bytes(COLUMNS, sheet_rows(lines_of(proposals))))
            self.stdout.write(f"Written to {csv}.")


def _in_hand(site: Site, *, if_needed: bool) -> Proposal:
    """A site's plan worked out anew and taken in hand; `if_needed`, the one that is up to date."""
    today = today_at(site)
    try:
        stands = versions.up_to_date(site, today) if if_needed else None
        draft = stands or versions.propose(site, today, by=None)
    except NotPlanned as trouble:
        return Proposal(site, today, None, refused=(str(trouble),))
    return versions.shown(draft, versions.version(draft, versions.HAND))


def _day(text: str | None) -> dt.date | None:
    try:
        return dt.date.fromisoformat(text) if text else None
    except ValueError:
        raise CommandError(f"--as-of {text}: this is no day; write it as 2026-03-09.", returncode=2) from None
