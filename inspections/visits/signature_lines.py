"""How a visit's signatures stand, in words: given, asked for and awaited, claimed by a device, or named by
another.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID
from zoneinfo import ZoneInfo

from fleet.clock import now
from fleet.models import Entry, Person, Setting, Site
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
    given = list(Signature.objects.standing().filter(visit__in=visits).order_by("entry_n"))
    asked = list(SignatureAsked.objects.standing().filter(visit__in=visits).order_by("entry_n"))
    first = list(
        Attendance.objects.standing()
        .filter(visit__in=visits, part__in=("checked", "signed"))
        .order_by("entry_n")
    )
    if not (given or asked or first):
        return {}
    named: list[Attendance | Signature | SignatureAsked] = [*given, *asked, *first]
    people = {pk for row in named for pk in (row.person_id, row.recorded_by)}
    names = {person.pk: str(person) for person in Person.objects.filter(pk__in=people)}
    lines: dict[UUID, list[SignatureLine]] = defaultdict(list)
    sites = {visit.pk: visit.place.site for visit in visits}
    for there in first:
        lines[there.visit_id].append(_named(there, names, sites[there.visit_id]))
    speaks_against = _warnings(given)
    for row in given:
        words = (
            f"{names.get(row.person_id, 'name removed')} signed on"
            f" {_at(row.recorded_at, sites[row.visit_id])}: {row.get_meaning_display()}."
        )
        lines[row.visit_id].append(SignatureLine(words, speaks_against[row.pk]))
    done = {(row.visit_id, row.person_id) for row in given if row.meaning in CHECKS}
    for request in asked:
        if (request.visit_id, request.person_id) not in done:
            lines[request.visit_id].append(_awaited(request, names, sites[request.visit_id]))
    return dict(lines)


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
    return f"{there.day} {there:%b %Y, %H:%M} ({site.time_zone})"


def _warnings(given: Sequence[Signature]) -> dict[UUID, str]:
    """By signature: entries that are not what was signed, changes since, and one person who measured and
    checked.
    """
    if not given:
        return {}
    visits = {row.visit_id for row in given}
    readings = Reading.objects.standing().filter(visit__in=visits).values_list("visit", "measured_by")
    measured: dict[UUID, set[UUID | None]] = defaultdict(set)
    for visit, who in readings:
        measured[visit].add(who)
    changes = _changes(visits)
    hashes = _hashes(given)
    warnings = {}
    for row in given:
        found = []
        if any(hashes.get((one["chain"], one["n"])) != one["hash"] for one in row.signs):
            found.append("The entries it was given for are not what stands in the record now.")
        if row.meaning in CHECKS and measured[row.visit_id] <= {row.person_id} and measured[row.visit_id]:
            found.append("Measured and checked by the same person.")
        elif (
            row.meaning in (Meaning.WITNESSED, Meaning.CONFIRMED) and row.person_id in measured[row.visit_id]
        ):
            found.append("Some of it was measured and checked by the same person.")
        ends = {one["chain"]: one["n"] for one in row.signs}
        since = sum(n > ends.get(chain, 0) for chain, n in changes[row.visit_id])
        if since:
            found.append(f"{since} {'entry' if since == 1 else 'entries'} of this visit came after it.")
        warnings[row.pk] = " ".join(found)
    return warnings


def _changes(visits: Iterable[UUID]) -> dict[UUID, list[tuple[str, int]]]:
    """By visit: (chain, number) of every entry that says or changes what was seen,
    measured and done in it.
    """
    found: dict[UUID, list[tuple[str, int]]] = defaultdict(list)
    of_row: dict[UUID, UUID] = {}
    for model in (Reading, Event, NotMeasured, Closing):
        rows = model._base_manager.filter(visit__in=visits)
        for visit, pk, chain, n in rows.values_list("visit", "pk", "chain", "entry_n"):
            of_row[pk] = visit
            found[visit].append((chain, n))
    later = Entry.objects.filter(thing__in=list(of_row), kind__in=("withdrawal", "revision"))
    for thing, chain, n in later.values_list("thing", "chain", "n"):
        if thing is not None:
            found[of_row[thing]].append((chain, n))
    return found


def _hashes(given: Sequence[Signature]) -> dict[tuple[str, int], str]:
    bound = [one for row in given for one in row.signs]
    rows = Entry.objects.filter(chain__in={one["chain"] for one in bound}, n__in={one["n"] for one in bound})
    return {(chain, n): hash for chain, n, hash in rows.values_list("chain", "n", "hash")}
