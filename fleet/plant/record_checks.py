"""The check of the whole record as work that a page asks for; what it looked at and found
is itself recorded.
"""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.urls import reverse

from fleet.background_jobs import Done, Progress
from fleet.formatting import counted
from fleet.ledger.committed_rows import NOT_COVERED
from fleet.ledger.verify import Findings, verify
from fleet.ledger.writing import Fact, write
from fleet.models import Entry, Job
from fleet.plant.acts import COMMAND_LINE, PLANT
from fleet.plant.entry_kinds import CHECKED
from fleet.plant.people import person_named

WORK, RIGHT = "check the record", "audit"
SHOWN = 20
CANNOT_SHOW = "What came later, and what was never entered, no chain can show."


def check(job: Job, progress: Progress) -> Done:
    """Check the whole record, and record what was looked at and what was found."""
    progress(0, 1, "reading every entry, row and file")
    found = verify()
    by = job.by.person_id if job.by else person_named(COMMAND_LINE).pk
    write([Fact(PLANT, CHECKED, body=_body(found))], by=by)
    said = "Nothing altered was found." if found else f"Altered: {counted(len(found.faults), 'fault')}."
    return Done(f"{said} {found.n_entries} entries were read.", f"{reverse('proof')}#check")


def _body(found: Findings) -> dict[str, Any]:
    return {
        "entries": found.n_entries,
        "chains": found.n_chains,
        "seals": found.n_seals,
        "rows": found.n_rows,
        "looked_at": [{"what": look.what, "n": look.n, "faults": len(look.faults)} for look in found.beside],
        "not_covered": list(NOT_COVERED),
        "n_faults": len(found.faults),
        "faults": [fault[:500].replace("\x00", " ") for fault in found.faults[:SHOWN]],
        "last_seal_at": found.last_seal_at,
    }


@dataclass(frozen=True)
class LastCheck:
    """The last check that a page asked for: when, for whom, and what its entry says."""

    at: datetime
    by: UUID
    said: dict[str, Any]

    @property
    def more(self) -> int:
        """Faults beyond those kept in words."""
        return int(self.said["n_faults"]) - len(self.said["faults"])


def last_check() -> LastCheck | None:
    """The last check on record."""
    rows = Entry.objects.filter(chain=PLANT, kind=CHECKED).order_by("-n")
    row = rows.values_list("recorded_at", "by", "text").first()
    return LastCheck(row[0], row[1], json.loads(row[2])["body"]) if row else None
