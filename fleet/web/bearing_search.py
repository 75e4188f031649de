"""Which bearing an address means: by the names in use, else by old names and other spellings."""

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


def _things(of: str, name: str) -> list[UUID]:
    rows = Name.objects.standing().filter(of=of, folded=folded(name))
    return list(rows.values_list("thing", flat=True))
