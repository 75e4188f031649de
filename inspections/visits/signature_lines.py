"""How a visit's signatures stand, in words: given, asked for and awaited, claimed by a device, or named by
another.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.clock import now
from fleet.formatting import plain_day
from fleet.models import Entry, Person, Setting, Site
from fleet.models.recorded import IN_ORDER
from inspections.models import (
    Attendance,
    Closing,
    Event,
    NotMeasured,
    Reading,
    Signature,
    SignatureAsked,
    Visit,
)
from inspections.visits.joined_visits import continued_by
from inspections.visits.signatures import CHECKS, Meaning

HOURS_SETTING, HOURS = "signature_hours", 72


@dataclass(frozen=True)
class SignatureLine:
    """One sentence; `warning` is what speaks against it; `code` leads the one asked to the visit."""

    words: str
    warning: str = ""
    code: str = ""
    awaits: UUID | None = None


def hours_at(site: Site, day: dt.date) -> float:
    """Within how many hours a signature that was asked for is wanted at a site."""
    return float(Setting.objects.in_force(HOURS_SETTING, site, day) or HOURS)


def signature_lines(visits: Iterable[Visit]) -> dict[UUID, list[SignatureLine]]:
    """By visit, with a constant number of questions to the database."""
    visits = list(visits)
    counts_for = continued_by(visits)
    given = _signed_for(Signature, counts_for)
    asked = _signed_for(SignatureAsked, counts_for)
    first = list(
        Attendance.objects.standing()
        .filter(visit__in=visits, part__in=("checked", "signed"))
        .order_by("entry_n")
    )
    if not (given or asked or first):
        return {}
    named: list[Attendance | Signature | SignatureAsked] = [*(row for row, _ in [*given, *asked]), *first]
    people = {pk for row in named for pk in (row.person_id, row.recorded_by)}
    names = {person.pk: str(person) for person in Person.objects.filter(pk__in=people)}
    lines: dict[UUID, list[SignatureLine]] = defaultdict(list)
    own = {visit.pk: visit for visit in visits}
    for there in first:
        lines[there.visit_id].append(_named(there, names, own[there.visit_id].place.site))
    speaks_against = _warnings(given, own, counts_for)
    for row, pk in given:
        words = (
            f"{names.get(row.person_id, 'name removed')} signed on"
            f" {_at(row.recorded_at, own[pk].place.site)}: {row.get_meaning_display()}."
        )
        if row.visit_id != pk:
            words += f" It was given at {row.visit.place.tag}, before two positions were joined."
        lines[pk].append(SignatureLine(words, speaks_against[row.pk, pk]))
    done = {(pk, row.person_id) for row, pk in given if row.meaning in CHECKS}
    for request, pk in asked:
        if (pk, request.person_id) not in done:
            lines[pk].append(_awaited(request, names, own[pk].place.site))
    return dict(lines)


def _signed_for(model: Any, counts_for: dict[UUID, list[UUID]]) -> list[tuple[Any, UUID]]:
    """Signatures, or requests for one, each with the visit that it counts for; in the order of entries."""
    rows = model.objects.standing().filter(visit__in=counts_for).order_by(*IN_ORDER)
    rows = rows.select_related("visit__place")
    return [(row, pk) for row in rows for pk in counts_for[row.visit_id]]


def _named(there: Attendance, names: dict[UUID, str], site: Site) -> SignatureLine:
    """What the closing of a visit keeps: who closed it, and (of earlier visits) whom that person named as
    checking.
    """
    who, by = (names.get(pk, "name removed") for pk in (there.person_id, there.recorded_by))
    if there.part == "signed":
        return SignatureLine(f"{who} signed and closed it on {_at(there.recorded_at, site)}.")
    return SignatureLine(
        f"Checked by {who}, named by the first signer {by}.", "There is no signature of their own."
    )


def _awaited(asked: SignatureAsked, names: dict[UUID, str], site: Site) -> SignatureLine:
    who, by = (names.get(pk, "name removed") for pk in (asked.person_id, asked.recorded_by))
    hours = hours_at(site, asked.recorded_at.date())
    until = asked.recorded_at + dt.timedelta(hours=hours)
    late = now() > until
    if asked.claimed:
        words = f"Checked by {who}, claimed on a device of {by} without network"
        words += (
            f"; not confirmed within {hours:g} hours."
            if late
            else f", to be confirmed by sign-in until {_at(until, site)}."
        )
    else:
        words = f"Second signature: asked of {who} by {by} on {_at(asked.recorded_at, site)}, awaits."
        words += f" It did not come within {hours:g} hours." if late else ""
    code = f"{asked.code[:3]}-{asked.code[3:]}"
    return SignatureLine(words, "Nobody has checked it so far." if late else "", code, asked.person_id)


def _at(instant: dt.datetime, site: Site) -> str:
    there = instant.astimezone(ZoneInfo(site.time_zone))
    return f"{plain_day(there)}, {there:%H:%M} ({site.time_zone})"


def _warnings(
    given: Sequence[tuple[Signature, UUID]], visits: Mapping[UUID, Visit], counts_for: dict[UUID, list[UUID]]
) -> dict[tuple[UUID, UUID], str]:
    """By signature and visit: entries that are not what was signed, changes since, and one person who
    measured and checked.
    """
    if not given:
        return {}
    signed = {pk: visits[pk] for _, pk in given}
    readings = Reading.objects.standing().filter(visit__in=signed).values_list("visit", "measured_by")
    measured: dict[UUID, set[UUID | None]] = defaultdict(set)
    for visit, who in readings:
        measured[visit].add(who)
    changes = _changes(signed, counts_for)
    hashes = _hashes([row for row, _ in given])
    warnings = {}
    for row, pk in given:
        found = []
        if any(hashes.get((one["chain"], one["n"])) != one["hash"] for one in row.signs):
            found.append("The entries it was given for are not what stands in the record now.")
        found += _one_person(row, measured[pk])
        ends = {one["chain"]: one["n"] for one in row.signs}
        since = sum(n > ends.get(chain, 0) for chain, n in changes[pk])
        if since:
            found.append(f"{since} {'entry' if since == 1 else 'entries'} of this visit came after it.")
        warnings[row.pk, pk] = " ".join(found)
    return warnings


def _one_person(row: Signature, measured: set[UUID | None]) -> list[str]:
    """What is said where whoever checked had measured too."""
    if row.meaning in CHECKS and measured and measured <= {row.person_id}:
        return ["Measured and checked by the same person."]
    if row.meaning in (Meaning.WITNESSED, Meaning.CONFIRMED) and row.person_id in measured:
        return ["Some of it was measured and checked by the same person."]
    return []


def _changes(
    visits: Mapping[UUID, Visit], counts_for: dict[UUID, list[UUID]]
) -> dict[UUID, list[tuple[str, int]]]:
    """By visit: (chain, number) of every entry that says or changes what was seen, measured and done in it,
    and in those it continues; what a join only moved is no change.
    """
    found: dict[UUID, list[tuple[str, int]]] = defaultdict(list)
    of_row: dict[UUID, list[UUID]] = {}
    joins = {visit.act for visit in visits.values() if visit.supersedes}
    whole = [pk for pk, now in counts_for.items() if any(visit in visits for visit in now)]
    for model in (Reading, Event, NotMeasured, Closing):
        rows = model._base_manager.filter(visit__in=whole)
        for visit, pk, chain, n, act in rows.values_list("visit", "pk", "chain", "entry_n", "act"):
            of_row[pk] = counts_for[visit]
            for continuing in of_row[pk] if act not in joins else []:
                found[continuing].append((chain, n))
    later = Entry.objects.filter(thing__in=list(of_row), kind__in=("withdrawal", "revision"))
    for thing, chain, n in later.exclude(act__in=joins).values_list("thing", "chain", "n"):
        for continuing in of_row.get(thing, []) if thing else []:
            found[continuing].append((chain, n))
    return found


def _hashes(given: Sequence[Signature]) -> dict[tuple[str, int], str]:
    bound = [one for row in given for one in row.signs]
    rows = Entry.objects.filter(chain__in={one["chain"] for one in bound}, n__in={one["n"] for one in bound})
    return {(chain, n): hash for chain, n, hash in rows.values_list("chain", "n", "hash")}
