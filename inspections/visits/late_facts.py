"""What comes for a visit after it was closed: it joins the visit it was begun in, and the visit says so."""

import datetime as dt
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping
from uuid import UUID

from django.db.models import Max

from fleet.models import Bearing, Place
from fleet.models.recorded import LAST_FIRST
from inspections.models import Attendance, Event, EventKind, NotMeasured, Reading, Visit
from inspections.visits.acts import SIGNED

Brought = Reading | NotMeasured | Event

# A device kept without network for longer than this has begun another visit. Common practice, no published
# source.
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
    for visit in rows.order_by("-opened_on", *LAST_FIRST):
        closing = closed_at(visit)
        if closing is not None and begun <= closing:
            return visit
    return None


def takes_late(visit: Visit, day: dt.date) -> bool:
    """Whether a closed visit takes what a device began in it on a day: up to two weeks
    after it was closed.
    """
    return visit.closed_on is not None and day <= visit.closed_on + REACHES


def added_to(bearing: Bearing) -> dict[UUID, str]:
    """By visit of a bearing's pump what devices brought after its closing, in words; a constant number of
    questions.
    """
    signed = Attendance.objects.standing().filter(visit__place=bearing.place_id, part=SIGNED)
    closings = dict(signed.values_list("visit").annotate(last=Max("recorded_at")).order_by())
    if not closings:
        return {}
    rows: dict[UUID, list[Brought]] = defaultdict(list)
    for model in (Reading, NotMeasured, Event):
        standing = model.objects.standing().filter(bearing=bearing)  # type: ignore[attr-defined]
        for row in standing.filter(entered_at__isnull=False, visit__in=closings):
            if row.visit_id is not None:
                rows[row.visit_id].append(row)
    words = {visit: added_words(brought, closings[visit]) for visit, brought in rows.items()}
    return {visit: sentence for visit, sentence in words.items() if sentence}


def added_words(rows: Iterable[Brought], closed: dt.datetime | None) -> str:
    """What of a visit's rows devices brought after its closing: "Added to after closing, ...: 2 readings, 1
    print."

    What was corrected since is none of it: the corrected row stands in the place of one recorded in time.
    """
    counts: Counter[str] = Counter()
    for row in rows:
        late = row.entered_at is not None and closed is not None and row.recorded_at > closed
        if late and not getattr(row, "supersedes", None):
            counts[_kind_of(row)] += 1
    return f"Added to after closing, from a device without network: {_listed(counts)}." if counts else ""


def _kind_of(row: Brought) -> str:
    if isinstance(row, Event):
        return "print" if row.kind == EventKind.CONTACT_CHECK else "work or finding"
    return "reading" if isinstance(row, Reading) else "station left out"


def _listed(counts: Mapping[str, int]) -> str:
    plural = {"station left out": "stations left out", "work or finding": "works or findings"}
    return ", ".join(
        f"{n} {words if n == 1 else plural.get(words, f'{words}s')}" for words, n in counts.items()
    )
