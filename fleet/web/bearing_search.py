"""Which bearing an address means: by the names in use, else by old names and other spellings."""

from uuid import UUID

from django.db.models import Q, QuerySet

from fleet.access import sites_for
from fleet.models import Account, Bearing, Name, folded


def visible(account: Account) -> QuerySet[Bearing]:
    """The bearings that an account may read."""
    return Bearing.objects.standing().at_sites(sites_for(account)).in_order()


def called(account: Account, pump: str, position: str, site: str = "") -> list[Bearing]:
    """The visible bearings of that pump and position, old names included; several where sites share a tag."""
    return called_among(visible(account), pump, position, site)


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
