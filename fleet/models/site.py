"""A site and its outages."""

import datetime
from typing import Self

from django.core.validators import MaxValueValidator, MinValueValidator
from django.db import models

from fleet.models.recorded import Recorded, RecordedQuerySet, between


class Site(Recorded):
    name = models.CharField(max_length=80)
    folded = models.CharField(
        max_length=80, unique=True, help_text="the name as compared: small letters, single spaces"
    )
    time_zone = models.CharField(max_length=60, default="UTC")
    opened_on = models.DateField(null=True, blank=True, help_text="empty while the site is setting up")

    class Meta:
        ordering = ["folded"]

    def __str__(self) -> str:
        return self.name


class OutageQuerySet(RecordedQuerySet):
    def coming(self, day: datetime.date) -> Self:
        """Outages not yet over on a day, soonest first: one that runs counts until its last day."""
        return self.standing().filter(end_on__gte=day).order_by("start_on")


class Outage(Recorded):
    site = models.ForeignKey(Site, models.PROTECT, related_name="outages")
    name = models.CharField(max_length=80)
    start_on = models.DateField()
    end_on = models.DateField()
    crew_hours = models.DecimalField(
        max_digits=9,
        decimal_places=1,
        null=True,
        blank=True,
        validators=[MinValueValidator(0), MaxValueValidator(1e7)],
    )
    block = models.CharField(max_length=80, blank=True, help_text="empty: the whole site")
    pumps = models.JSONField(default=list, help_text="tags; empty: all pumps of the block")
    scope_freeze_on = models.DateField(null=True, blank=True)

    objects = OutageQuerySet.as_manager()

    class Meta:
        ordering = ["start_on"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(end_on__gte=models.F("start_on")),
                name="outage_ends_after_it_starts",
                violation_error_message="An outage cannot end before it starts. Check the two dates.",
            ),
            between(
                "crew_hours", 0, 10_000_000, "outage_crew_hours", "Crew hours lie between 0 and 10 000 000."
            ),
            models.UniqueConstraint(
                fields=["site", "name"],
                condition=models.Q(withdrawn_by__isnull=True),
                name="outage_name_once_per_site",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.name} ({self.site})"
