"""A visit: an opening of one machine, over days, shifts and people."""

import datetime as dt
from typing import Self

from django.db import models

from fleet.models import Machine, Outage, Person, Place, Recorded
from fleet.models.recorded import LAST_FIRST, RecordedQuerySet

# An opening rarely takes longer; common practice, no published source. A visit left open beyond it is not
# gone on with, and rows under one label further apart are two visits: plants number their visits anew.
LONGEST_OPENING = dt.timedelta(days=120)


class Precision(models.TextChoices):
    DAY = "day"
    MONTH = "month"
    YEAR = "year"
    OUTAGE = "outage"


class VisitQuerySet(RecordedQuerySet):
    def open_on(self, day: dt.date) -> Self:
        """Those by which a pump stands open on a day, the latest opened first: neither closed by then nor
        left open for longer than an opening takes.
        """
        is_open = models.Q(closed_on__isnull=True) | models.Q(closed_on__gt=day)
        rows = self.standing().filter(is_open, opened_on__gte=day - LONGEST_OPENING, opened_on__lte=day)
        return rows.order_by("-opened_on", *LAST_FIRST)


class Visit(Recorded):
    class Why(models.TextChoices):
        PLANNED = "planned"
        CONDITION = "condition"
        BREAKDOWN = "breakdown"
        OPPORTUNITY = "opportunity"
        UNKNOWN = "", "not known"

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="visits")
    place = models.ForeignKey(Place, models.PROTECT, related_name="visits")
    label = models.CharField(max_length=80, blank=True, help_text="the plant's own name of the visit")
    why = models.CharField(max_length=12, choices=Why.choices, blank=True)
    outage = models.ForeignKey(Outage, models.PROTECT, null=True, blank=True)
    outage_words = models.CharField(
        max_length=80, blank=True, help_text="as typed, where no outage of that name is known"
    )
    job = models.CharField(max_length=80, blank=True)
    procedure = models.CharField(max_length=120, blank=True)
    revision = models.CharField(max_length=40, blank=True)
    opened_on = models.DateField(help_text="first day")
    last_on = models.DateField(
        help_text="last day that it may have been; the same day where it is known to the day"
    )
    precision = models.CharField(max_length=8, choices=Precision.choices, default=Precision.DAY)
    closed_on = models.DateField(null=True, blank=True)
    entered_at = models.DateTimeField(null=True, blank=True, help_text="a device's own claim")
    supersedes = models.UUIDField(
        null=True, blank=True, help_text="the visit that it continues since two positions were joined"
    )

    objects = VisitQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["place", "opened_on"])]

    def __str__(self) -> str:
        return f"{self.place} {self.opened_on}"


class Attendance(Recorded):
    """A person who took part in a visit, and as what: measured, recorded, checked, signed."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="attendances")
    person = models.ForeignKey(Person, models.PROTECT)
    part = models.CharField(max_length=12)
