"""What comes for a visit after it was closed: it joins the visit it was begun in, and the visit says so."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Mapping
from uuid import UUID

from django.db.models import Max

from fleet.models import Bearing, Place
from inspections.models import Attendance, Event, EventKind, NotMeasured, Reading, Visit
from inspections.visits.acts import SIGNED

# A device kept without network for longer than this has begun another visit. Common practice, no published source.
REACHES = dt.timedelta(days=14)


def closed_at(visit: Visit) -> dt.datetime | None:
    """The instant a visit was closed at the pump; None for one that stands open or came from a sheet."""
    if visit.closed_on is None:
        return None
    rows = visit.attendances.standing().filter(part=SIGNED)
    return rows.aggregate(last=Max("recorded_at"))["last"]


def begun_in(place: Place, begun: dt.datetime | None, day: dt.date) -> Visit | None:
    """The closed visit of a pump that stood open at the instant at which a device began; None where none did.

    Parameters
    ----------
    begun : datetime or None
        the device's own claim; without one no closed visit is taken.
    day : date
        the site's day of it.
    """
    if begun is None:
        return None
    rows = Visit.objects.standing().filter(place=place, opened_on__lte=day, closed_on__gte=day)
    for visit in rows.order_by("-opened_on", "-recorded_at"):
        closing = closed_at(visit)
        if closing is not None and begun <= closing:
            return visit
    return None


def takes_late(visit: Visit, day: dt.date) -> bool:
    """Whether a closed visit takes what a device began in it on a day: up to two weeks after it was closed."""
    return visit.closed_on is not None and day <= visit.closed_on + REACHES


def added_to(bearing: Bearing) -> dict[UUID, str]:
    """By visit of a bearing's pump what devices brought after its closing, in words; a constant number of questions.

    What was corrected since is none of it: the corrected row stands in the place of one recorded in time.
    """
    signed = Attendance.objects.standing().filter(visit__place=bearing.place_id, part=SIGNED)
    closings = dict(signed.values_list("visit").annotate(last=Max("recorded_at")).order_by())
    counts: dict[UUID, Counter[str]] = defaultdict(Counter)
    if not closings:
        return {}
    for words, model in (("reading", Reading), ("station left out", NotMeasured), ("work or finding", Event)):
        rows = model.objects.standing().filter(bearing=bearing, entered_at__isnull=False, visit__in=closings)
        for row in rows.only("visit_id", "recorded_at") if model is NotMeasured else rows:
            if row.recorded_at > closings[row.visit_id] and not getattr(row, "supersedes", None):
                is_print = getattr(row, "kind", "") == EventKind.CONTACT_CHECK
                counts[row.visit_id]["print" if is_print else words] += 1
    return {visit: _in_words(found) for visit, found in counts.items()}


def _in_words(counts: Mapping[str, int]) -> str:
    """ "Added to after closing, from a device without network: 2 readings, 1 print." """
    plural = {"station left out": "stations left out", "work or finding": "works or findings"}
    said = [f"{n} {words if n == 1 else plural.get(words, f'{words}s')}" for words, n in counts.items()]
    return f"Added to after closing, from a device without network: {', '.join(said)}."
