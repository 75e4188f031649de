"""Where a plant wants a second person for limits and shell changes, and the limit that then only waits."""

from collections.abc import Iterable
from uuid import UUID

from fleet.clock import today_at
from fleet.models import Limit, ProposedLimit, Recorded, Setting, Site

SETTING = "second_person"


def sites_wanting(sites: Iterable[Site]) -> frozenset[UUID]:
    """Those of the sites that want a second person today; where no plant ever chose so, one question and no
    more.
    """
    if not Setting.objects.standing().filter(name=SETTING, value=True).exists():
        return frozenset()
    return frozenset(
        site.pk for site in sites if Setting.objects.in_force(SETTING, site, today_at(site)) is True
    )


def proposed(limit: Limit) -> ProposedLimit:
    """What waits instead of a limit that was set; it keeps the limit's own id, so that sending twice stores
    once.
    """
    assert limit.bearing is not None
    return ProposedLimit(id=limit.pk, bearing=limit.bearing, **said_of(limit))


def said_of(row: Limit | ProposedLimit) -> dict[str, object]:
    """Everything a limit says but whose it is: column -> value."""
    skipped = {"id", "bearing_id", "wear_class_id", *Recorded.STAMPS}
    return {f.attname: getattr(row, f.attname) for f in row._meta.concrete_fields if f.attname not in skipped}
