"""Who held which role, and so which right, when an entry was written: by the order of recording, no clock is
asked.
"""

import datetime as dt
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from uuid import UUID

from django.db.models import Q

from fleet.access import MAY
from fleet.models import Entry, Role, Site


@dataclass(frozen=True)
class Held:
    """A role from the entry that gave it until the one that ended it, both by their place in the order of
    recording.
    """

    role: Role
    since: int
    until: int | None

    def at(self, entry: int, on: dt.date) -> bool:
        """Whether it was held when an entry was written on a day."""
        ended = self.until is not None and self.until < entry
        begun = self.since < entry and (self.role.from_on is None or self.role.from_on <= on)
        return begun and not ended


@dataclass
class RolesHeld:
    """The roles of persons at a site, ended ones too."""

    held: dict[UUID, list[Held]] = field(default_factory=lambda: defaultdict(list))

    @classmethod
    def of(cls, persons: Iterable[UUID], site: Site | UUID) -> "RolesHeld":
        """Read with three questions, however many persons."""
        rows = Role._base_manager.filter(Q(site=site) | Q(site=None), person__in=set(persons))
        roles = {role.pk: role for role in rows.select_related("site").order_by("role")}
        since: dict[UUID, int] = {}
        until: dict[UUID, int] = {}
        entries = Entry.objects.filter(thing__in=list(roles), kind__in=("role", "withdrawal")).order_by("pk")
        for thing, kind, number in entries.values_list("thing", "kind", "pk"):
            if thing is not None:
                (since if kind == "role" else until).setdefault(thing, number)
        made = cls()
        for pk, role in roles.items():
            if pk in since:
                made.held[role.person_id].append(Held(role, since[pk], until.get(pk)))
        return made

    def at(self, person: UUID, entry: int, on: dt.date) -> list[Role]:
        """What a person held when an entry was written."""
        return [one.role for one in self.held.get(person, []) if one.at(entry, on)]


def role_words(roles: Iterable[Role]) -> str:
    """Roles and where they are held; "without a role" for none.

    >>> role_words([])
    'without a role'
    """
    return ", ".join(f"{role.role} at {role.site or 'all sites'}" for role in roles) or "without a role"


def right_words(roles: Iterable[Role]) -> str:
    """What these roles give the right to do, in the words of `fleet.access`."""
    held = {role.role for role in roles}
    return ", ".join(act for act, needed in MAY.items() if needed & held) or "none"
