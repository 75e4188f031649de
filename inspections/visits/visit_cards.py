"""What the bearing's page shows of a visit recorded at the pump: its prints drawn by round, what was left
out, its receipt.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field
from uuid import UUID

from django.utils.safestring import SafeString

from fleet.end_words import END_WORDS
from fleet.formatting import day
from fleet.models import Attachment, Bearing
from fleet.web.bearing_addresses import bearing_address
from inspections.models import (
    Attendance,
    Closing,
    ContactCheck,
    Decision,
    Disposition,
    NotMeasured,
    Stage,
    Visit,
)
from inspections.story.decided_words import DECIDED_WORDS
from inspections.visits import print_drawing
from inspections.visits.late_facts import added_to
from inspections.visits.photos import photos_of
from inspections.visits.print_words import with_cause
from inspections.visits.signature_lines import signature_lines
from inspections.visits.stations import Station


@dataclass
class ShownVisit:
    """One visit: drawings with their captions, and lines of words."""

    prints: list[tuple[SafeString, str, str]] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    photos: list[Attachment] = field(default_factory=list)
    receipt: str = ""


def shown_of(bearing: Bearing) -> dict[UUID, ShownVisit]:
    """By visit, with a constant number of questions to the database."""
    found: defaultdict[UUID, ShownVisit] = defaultdict(ShownVisit)
    checks = ContactCheck.objects.standing().filter(event__bearing=bearing).select_related("event")
    for one in checks.order_by("event__on", "round", "entry_n"):
        cells = one.pattern.get("cells")
        if cells and one.event.visit_id:
            share = one.event.contact_percent
            covered = "" if share is None else f", {share:.0f} % of the length"
            first = f"{END_WORDS[one.pattern.get('first_end', 'out')]} on the left"
            label = f"Print of round {one.round}, {first}: {print_drawing.in_words(cells)}"
            caption = f"Round {one.round}{covered}, {first}"
            found[one.event.visit_id].prints.append(
                (print_drawing.drawing(cells, label), caption, with_cause(one.conditions))
            )
    for left in NotMeasured.objects.standing().filter(bearing=bearing).order_by("entry_n"):
        where = f"{Stage(left.stage).label}, {Station(left.end, left.clock).words}"
        found[left.visit_id].lines.append(f"Not measured {where}: {left.get_because_display()}")
    visits = (
        Attendance.objects.standing()
        .filter(visit__place=bearing.place, part="measured")
        .select_related("visit")
    )
    days = {}
    for there in visits:
        days[there.visit_id] = (there.visit.opened_on, there.visit.closed_on)
        found[there.visit_id].receipt = f"{bearing_address(bearing, 'record-receipt')}&visit={there.visit_id}"
    _decided(bearing, days, found)
    signed_at = Visit.objects.filter(pk__in=list(found)).select_related("place__site")
    for pk, signatures in signature_lines(signed_at).items():
        found[pk].lines += [f"{line.words} {line.warning}".strip() for line in signatures]
    for visit, words in added_to(bearing).items():
        found[visit].lines.append(words)
    for photo in photos_of(bearing):
        found[photo.about].photos.append(photo)
    return dict(found)


def _decided(
    bearing: Bearing,
    days: Mapping[UUID, tuple[dt.date, dt.date | None]],
    found: defaultdict[UUID, ShownVisit],
) -> None:
    """What was decided, closed against the word and signed, each to its visit."""
    for decision in Decision.objects.standing().of_visits().filter(bearing=bearing).order_by("entry_n"):
        for pk, (first_on, last_on) in days.items():
            if first_on <= decision.on <= (last_on or decision.on):
                why = f": {decision.why}" if decision.why else ""
                found[pk].lines.append(
                    f"Decided: {DECIDED_WORDS.get(decision.decided, decision.decided)}{why}"
                )
    for closing in (
        Closing.objects.standing().filter(bearing=bearing, without_disposition=True).order_by("entry_n")
    ):
        word = DECIDED_WORDS.get(closing.word, closing.word)
        found[closing.visit_id].lines.append(
            f"Closed against the word “{word}” without a disposition: {closing.why_word}"
        )
    for signed in Disposition.objects.standing().filter(bearing=bearing).order_by("entry_n"):
        until = f", until {day(signed.expires_on)}" if signed.expires_on else ""
        found[signed.visit_id].lines.append(
            f"Disposition: {signed.get_answer_display()}{until}; checked: {signed.checked}"
        )
