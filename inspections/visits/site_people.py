"""The people to pick from at a site."""

import datetime as dt
from uuid import UUID

from django.db.models import Q

from fleet.models import Person
from inspections.models import Reading


def names_at(site_id: UUID, day: dt.date) -> list[Person]:
    """The people to pick from on a shared device: who holds a role at the site, or measured there in two
    years.
    """
    since = day - dt.timedelta(days=730)
    rows = Reading.objects.standing().filter(bearing__place__site=site_id, on__gte=since)
    measured = rows.exclude(measured_by=None).values("measured_by")
    there = Q(pk__in=measured) | Q(roles__site=site_id, roles__withdrawn_by=None)
    return sorted(Person.objects.filter(there).exclude(name="").distinct(), key=lambda p: p.folded)
