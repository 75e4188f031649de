"""Which bearing an address means, and which one a few typed letters do: by the names in use, else by old
names and other spellings.
"""

import re
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from uuid import UUID

from django.db.models import Q, QuerySet
from django.http import Http404

from fleet.access import sites_for
from fleet.models import Account, Bearing, Name, folded
from fleet.web.bearing_addresses import read


def visible(account: Account) -> QuerySet[Bearing]:
    """The bearings that an account may read."""
    return Bearing.objects.standing().at_sites(sites_for(account)).in_order()


def called(account: Account, pump: str, position: str, site: str = "") -> list[Bearing]:
    """The visible bearings of that pump and position, old names included; several where sites share a tag."""
    return called_among(visible(account), pump, position, site)


def the_one_called(account: Account, pump: str, position: str, site: str) -> Bearing:
    """The bearing that the parts of an address mean; 404 where it is none of the asker's, or several and no
    site is named.
    """
    found = called(account, read(pump), read(position), site)
    if len(found) != 1:
        raise Http404("No bearing of this name at your sites, or more than one: name its site.")
    return found[0]


def called_among(rows: QuerySet[Bearing], pump: str, position: str, site: str = "") -> list[Bearing]:
    """`called` among any bearings: for commands, which see all sites."""
    if site:
        rows = rows.filter(
            Q(place__site__folded=folded(site)) | Q(place__site__in=_things(Name.Of.SITE, site))
        )
    now = list(rows.filter(place__folded=folded(pump), folded=folded(position)))
    if now:
        return now
    places, positions = _things(Name.Of.PLACE, pump), _things(Name.Of.BEARING, position)
    return list(
        rows.filter(
            Q(place__folded=folded(pump)) | Q(place__in=places),
            Q(folded=folded(position)) | Q(pk__in=positions),
        )
    )


def holds(names: str, asked: str, *, whole_number: bool = False) -> bool:
    """Whether names hold what was asked, whatever stands between letters and figures; case is ignored.

    `whole_number`: a figure at either end of what was asked is no part of a longer number.

    >>> holds("Descale 1 DE", "descale1"), holds("Descale 12 DE", "descale1", whole_number=True)
    (True, False)
    >>> holds("Descale 1 DE", "de descale"), holds("Descale 1 DE", "lift")
    (True, False)
    """
    text = folded(names)
    return _stands_in(text, folded(asked), whole_number) or all(
        _stands_in(text, word, whole_number) for word in folded(asked).split()
    )


def _stands_in(text: str, asked: str, whole_number: bool) -> bool:
    signs = [sign for sign in asked if sign.isalnum()]
    if not signs:
        return not asked or asked in text
    before = r"(?<!\d)" if whole_number and signs[0].isdigit() else ""
    after = r"(?!\d)" if whole_number and signs[-1].isdigit() else ""
    return re.search(before + r"[\W_]*".join(map(re.escape, signs)) + after, text) is not None


@dataclass(frozen=True)
class Search:
    """What a search found; where nothing, the names that are most like it."""

    asked: str
    found: list[Bearing]
    nearest: list[str]


def search(rows: QuerySet[Bearing], asked: str) -> Search:
    """The bearings that a few letters mean, old names and other spellings included; of numbers the very one
    first.
    """
    bearings = list(rows)
    spellings = _spellings(bearings)
    for whole in (True, False):
        found = [
            one
            for one in bearings
            if any(holds(names, asked, whole_number=whole) for names in spellings[one.pk])
        ]
        if found:
            return Search(asked, found, [])
    tags = {folded(one.place.tag): one.place.tag for one in bearings}
    return Search(asked, [], [tags[key] for key in get_close_matches(folded(asked), tags, n=3, cutoff=0.5)])


def _spellings(bearings: Iterable[Bearing]) -> dict[UUID, list[str]]:
    """By bearing, its pump and position as they are called now, then by each name that either had."""
    other: dict[UUID, list[str]] = defaultdict(list)
    rows = Name.objects.standing().filter(of__in=(Name.Of.PLACE, Name.Of.BEARING))
    for thing, name in rows.values_list("thing", "text"):
        other[thing].append(name)
    return {
        one.pk: [
            f"{tag} {position}"
            for tag in (one.place.tag, *other[one.place_id])
            for position in (one.name, *other[one.pk])
        ]
        for one in bearings
    }


def _things(of: str, name: str) -> list[UUID]:
    rows = Name.objects.standing().filter(of=of, folded=folded(name))
    return list(rows.values_list("thing", flat=True))
