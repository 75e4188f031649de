"""What is tapped on the print of a contact check: kept tap by tap, and made one entry
when the round is left.
"""

import json
import uuid
from collections.abc import Mapping, Sequence
from typing import Any
from uuid import UUID

from django.db import IntegrityError, transaction

from inspections import contact
from inspections.contact.check import Check
from inspections.contact.outcome import Earlier
from inspections.contact.reader import read_print
from inspections.models import ContactCheck, TappedCells, Visit
from inspections.records.openings import NotRecorded
from inspections.visits import print_words
from inspections.visits.contact_checks import check_contact
from inspections.visits.contact_facts import changed_after, check_facts, criteria_for
from inspections.visits.expectations import Before
from inspections.visits.forms import ContactForm, new_id, read_cells, write_cells

NOT_FACTS = {"id"}  # what a form's field says of the form, not of the print


def tap(
    *,
    check: UUID,
    by: UUID,
    visit: UUID,
    bearing: UUID,
    cells: Any,
    fields: Mapping[str, str],
    taps: int | None = None,
) -> TappedCells:
    """Keep the cells as they stand on the page; what was tapped later than `taps` is not overwritten.

    Parameters
    ----------
    check : UUID
        the check whose print was shown; one that only a device knows so far counts too.
    fields : mapping
        how the print was taken, as the form sends it.
    taps : int, optional
        how often the page was tapped; None: once more than was known.

    Raises
    ------
    NotRecorded
        for cells that are no print.
    """
    try:
        contact.checked(cells)
    except contact.PatternError as fault:
        raise NotRecorded(str(fault)) from None
    with transaction.atomic():
        draft, made = TappedCells.objects.select_for_update().get_or_create(
            check_id=check, by=by, defaults={"visit": visit, "bearing": bearing, "cells": write_cells(cells)}
        )
        count = draft.taps + 1 if taps is None else taps
        if count < draft.taps and not made:
            return draft
        known = {name: str(fields[name]) for name in ContactForm.base_fields if name in fields}
        draft.cells, draft.fields, draft.taps, draft.kept = write_cells(cells), known, count, False
        draft.save()
    return draft


def waiting_cells(check: UUID, by: UUID) -> TappedCells | None:
    """What this person tapped on a print and no entry holds yet."""
    return TappedCells.objects.filter(check_id=check, by=by, kept=False).first()


def tap_count(check: UUID, by: UUID) -> int:
    """How often this person has tapped the print of a check."""
    return TappedCells.objects.filter(check_id=check, by=by).values_list("taps", flat=True).first() or 0


def keep(
    draft: TappedCells,
    *,
    visit: Visit,
    on: Any,
    known: Before,
    bearing: Any,
    id: UUID | None = None,
    entered_at: Any = None,
    late: bool = False,
) -> ContactCheck | None:
    """Make what was tapped one entry, read anew, in the place of the check that stands; nothing where nothing
    differs.

    Raises
    ------
    NotRecorded
        for a visit that is closed, or a check of another visit or bearing.
    """
    before = standing_check(draft.stored_as or draft.check_id)
    if before and (before.event.visit_id, before.event.bearing_id) != (visit.pk, bearing.pk):
        raise NotRecorded(
            "The print that these cells mend is of another visit or bearing. Tap it again there."
        )
    form = ContactForm(draft.fields, initial=taken_as(before) if before else None)
    if before and not form.is_valid():  # a worn arc that is none takes no cells along
        form = ContactForm(_bare(taken_as(before)), initial=taken_as(before))
    cells, stored = read_cells(draft.cells), before
    until = changed_after(before) if before else entered_at
    if form.is_valid() and (before is None or differs(before, cells, form)):
        try:
            with transaction.atomic():
                stored = check_contact(
                    visit=visit,
                    bearing=bearing,
                    on=on,
                    cells=cells,
                    by=draft.by,
                    instead_of=before,
                    drawn=before.pattern.get("drawn", "") if before else "",
                    entered_at=entered_at,
                    late=late,
                    criteria=criteria_for(bearing.place.site_id, on),
                    match_mark=form.cleaned_data["match_mark"],
                    facts=check_facts(form.facts(), known, visit, bearing, until),
                    id=id or _id_of(draft, before),
                )
        except IntegrityError:  # the same cells, stored by another post of this page at this moment
            stored = standing_check(draft.stored_as or draft.check_id)
    TappedCells.objects.filter(pk=draft.pk, taps=draft.taps).update(
        kept=True, stored_as=stored.pk if stored else None
    )
    return stored


def differs(check: ContactCheck, cells: Any, form: ContactForm) -> bool:
    """Whether cells, or how the print was taken, are not those of a stored check."""
    return cells != check.pattern["cells"] or bool(set(form.changed_data) - NOT_FACTS)


def standing_check(pk: UUID | None) -> ContactCheck | None:
    """A check, or the one that stands in its place after it was mended; None where it was taken back."""
    while pk is not None:
        found = ContactCheck.objects.standing().filter(pk=pk).select_related("event").first()
        if found is not None:
            return found
        later = ContactCheck._base_manager.filter(supersedes=pk).order_by("-entry_n")
        pk = later.values_list("pk", flat=True).first()
    return None


def reading_of(
    cells: Any, facts: Check, criteria: contact.Criteria, earlier: Sequence[Earlier] = ()
) -> dict[str, Any]:
    """What cells say before they are kept: headline, reasons, criteria and outcome, as a stored check has
    them.
    """
    said = read_print(cells, facts, criteria, earlier)
    return print_words.kept(said, criteria) | {"outcome": said.outcome or ""}


def taken_as(row: ContactCheck) -> dict[str, Any]:
    """How a stored print was taken, as its form begins."""
    said = {None: "", True: "yes", False: "no"}
    return {
        "id": new_id(),
        "half": row.half,
        "in_place": said[row.in_place],
        "film": row.conditions.get("film", ""),
        "bedded": said[row.bedded_by_hand],
        "worn_arc_deg": row.worn.get("arc_deg"),
        "turned_deg": row.conditions.get("turned_deg"),
        "first_end": row.pattern.get("first_end", "out"),
        "first_side": row.conditions.get("first_side", ""),
        "match_mark": row.pattern.get("match_mark", ""),
    }


def _bare(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in fields.items() if value is not None}


def _id_of(draft: TappedCells, before: ContactCheck | None) -> UUID:
    """One id for the same cells in the place of the same check, so that a post that comes
    twice is one entry.
    """
    content = json.dumps([draft.cells, draft.fields, str(draft.by)], sort_keys=True)
    return uuid.uuid5(before.pk if before else draft.check_id, content)
