"""What a print is read with beside what the mechanic says: the plant's criteria, the seat, the clearance as it is now."""

import datetime as dt
from collections.abc import Iterable, Mapping
from typing import Any
from uuid import UUID

from inspections import contact
from inspections.models import ContactCriteria, Reading, Stage
from inspections.visits.expectations import Before


def criteria_for(site_id: UUID, day: dt.date) -> contact.Criteria:
    """What a site accepts as contact on a day: its own, else the plant's; the shipped default is common practice."""
    rows = ContactCriteria.objects.standing()
    held = [
        row for row in rows if row.site_id in (None, site_id) and (row.from_on is None or row.from_on <= day)
    ]
    if not held:
        return contact.Criteria()
    last = max(held, key=lambda row: (row.site_id is not None, str(row.from_on or ""), row.entry_n))
    since = last.from_on.isoformat() if last.from_on else None
    return contact.Criteria.from_dict(last.body | {"author": last.author, "from_on": since})


def clearance_now(readings: Iterable[Reading], known: Before) -> float | None:
    """The vertical clearance as it is now, um: the last stage measured in this visit, else as expected."""
    rows = list(readings)
    for stage in (Stage.AS_LEFT, Stage.AS_FOUND):
        values = [
            float(r.value_um)
            for r in rows
            if r.stage == stage and r.quantity == "clearance" and r.counts and r.value_um is not None
        ]
        if values:
            return sum(values) / len(values)
    middle = known.figures["clearance_um_p50"]
    return float(middle) if middle else None


def facts_for(said: Mapping[str, Any], known: Before, now_um: float | None) -> contact.Facts:
    """The facts of a print: what was said of it, and what the record knows of the bearing."""
    facts = known.known.facts
    journal = facts.journal_diameter_um if facts else None
    return contact.Facts(
        **said,
        seat=facts.seat if facts else "",
        load_side=facts.load_side if facts else "bottom",
        clearance_um=now_um,
        journal_mm=float(journal) / 1000 if journal else None,
    )
