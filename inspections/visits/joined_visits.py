"""A visit that moved when two positions were joined goes on under a new id; what was signed for it, or asked,
stays with the old one, for nobody signs for another. Here the two are led together.
"""

from collections import defaultdict
from collections.abc import Iterable
from uuid import UUID

from inspections.models import Visit


def earlier_ids(visit: Visit) -> list[UUID]:
    """A visit's own id, then those of the visits that it continues."""
    return list(continued_by([visit]))


def continued_by(visits: Iterable[Visit]) -> dict[UUID, list[UUID]]:
    """By every visit whose signatures count for these: which of these. Each counts for itself; without a join
    nothing is asked of the database.
    """
    stands_for: dict[UUID, list[UUID]] = {}
    before: dict[UUID, list[UUID]] = defaultdict(list)
    for visit in visits:
        stands_for[visit.pk] = [visit.pk]
        if visit.supersedes:
            before[visit.supersedes].append(visit.pk)
    while before:
        for earlier, now in before.items():
            stands_for[earlier] = [*stands_for.get(earlier, []), *now]
        rows = Visit._base_manager.filter(pk__in=before)
        further: dict[UUID, list[UUID]] = defaultdict(list)
        for earlier, still_before in rows.values_list("pk", "supersedes"):
            if still_before is not None:
                further[still_before] += before[earlier]
        before = further
    return stands_for


def standing_now(visits: Iterable[Visit]) -> dict[UUID, Visit]:
    """By visit the one that stands in its place: itself, or what continues it; withdrawn ones stand for
    nothing.
    """
    found = {visit.pk: visit for visit in visits}
    asked = {pk: pk for pk, visit in found.items() if visit.withdrawn_by}
    while asked:
        next_asked = {}
        for visit in Visit._base_manager.filter(supersedes__in=asked).select_related("place__site"):
            if visit.supersedes is None:
                continue
            first = asked[visit.supersedes]
            found[first] = visit
            if visit.withdrawn_by:
                next_asked[visit.pk] = first
        asked = next_asked
    return {pk: visit for pk, visit in found.items() if not visit.withdrawn_by}
