"""A visit: an opening of one machine, over days, shifts and people."""

from django.db import models

from fleet.models import Machine, Outage, Person, Place, Recorded


class Precision(models.TextChoices):
    DAY = "day"
    MONTH = "month"
    YEAR = "year"
    OUTAGE = "outage"


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

    class Meta:
        indexes = [models.Index(fields=["place", "opened_on"])]

    def __str__(self) -> str:
        return f"{self.place} {self.opened_on}"


class Attendance(Recorded):
    """A person who took part in a visit, and as what: measured, recorded, checked, signed."""

    visit = models.ForeignKey(Visit, models.PROTECT, related_name="attendances")
    person = models.ForeignKey(Person, models.PROTECT)
    part = models.CharField(max_length=12)
