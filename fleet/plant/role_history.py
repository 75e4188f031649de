"""Roles and accounts over time, as an auditor reads them: every role with when it was given and ended, every
act on a way to sign in.
"""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db.models import Q

from fleet.ledger.commitments import ACCOUNT
from fleet.models import Entry, Person, Role
from fleet.plant.acts import PLANT

NOT_KNOWN = "someone not known"


@dataclass(frozen=True)
class RoleLine:
    """A role: whose, where, and by whom and when it was given and ended."""

    role: Role
    given_by: str
    ended_at: datetime | None
    ended_by: str
    because: str


@dataclass(frozen=True)
class AccountLine:
    """One act on a way to sign in."""

    at: datetime
    person: str
    what: str
    by: str
    entry: int


def roles_at(sites: frozenset[UUID] | None) -> list[RoleLine]:
    """Roles at these sites (None: anywhere) and at all sites, ended ones too, the last given first."""
    rows = Role.objects.select_related("person", "site").order_by()
    if sites is not None:
        rows = rows.filter(Q(site__in=sites) | Q(site=None))
    roles = list(rows.last_recorded_first())
    ended: dict[UUID | None, tuple[datetime, UUID, str]] = {}
    entries = Entry.objects.filter(thing__in=[role.pk for role in roles], kind="withdrawal").order_by("pk")
    for thing, at, by, text in entries.values_list("thing", "recorded_at", "by", "text"):
        ended[thing] = at, by, json.loads(text)["body"].get("reason", "")
    names = names_of([role.recorded_by for role in roles] + [by for _, by, _ in ended.values()])
    lines = []
    for role in roles:
        given = names.get(role.recorded_by, NOT_KNOWN)
        if role.pk in ended:
            at, by, because = ended[role.pk]
            lines.append(RoleLine(role, given, at, names.get(by, NOT_KNOWN), because))
        else:
            lines.append(RoleLine(role, given, None, "", ""))
    return lines


def account_history(persons: Iterable[UUID], most: int) -> list[AccountLine]:
    """What was done to these persons' ways to sign in, the last first: at most so many lines."""
    wanted = {str(pk) for pk in persons}
    rows = Entry.objects.filter(chain=PLANT, kind=ACCOUNT).order_by("-n")
    found: list[tuple[datetime, dict[str, Any], UUID, int]] = []
    for at, by, n, text in rows.values_list("recorded_at", "by", "n", "text").iterator(chunk_size=500):
        body = json.loads(text)["body"]
        if body["id"] in wanted:
            found.append((at, body, by, n))
        if len(found) == most:
            break
    names = names_of([by for _, _, by, _ in found] + [UUID(body["id"]) for _, body, _, _ in found])
    return [
        AccountLine(at, names.get(UUID(body["id"]), NOT_KNOWN), body["what"], names.get(by, NOT_KNOWN), n)
        for at, body, by, n in found
    ]


def names_of(persons: Iterable[UUID | None]) -> dict[UUID, str]:
    """Names by inner id."""
    return {person.pk: str(person) for person in Person.objects.filter(pk__in={pk for pk in persons if pk})}
