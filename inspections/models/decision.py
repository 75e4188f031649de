"""What was advised and decided, by whom, why, until when; and outage plans."""

from django.db import models

from fleet.models import Bearing, Outage, Recorded


class Decision(Recorded):
    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="decisions")
    outage = models.ForeignKey(Outage, models.PROTECT, null=True, blank=True)
    on = models.DateField()
    advised = models.CharField(max_length=10, blank=True)
    decided = models.CharField(max_length=20)
    why = models.CharField(max_length=500, blank=True)
    until_on = models.DateField(null=True, blank=True, help_text="a deferral expires on this day")
    owner_role = models.CharField(max_length=16, blank=True)
    extra_checks = models.CharField(max_length=300, blank=True)
    forecast_hash = models.CharField(
        max_length=64, blank=True, help_text="of the forecast that was relied on"
    )


class Plan(Recorded):
    """A proposal of work for the coming outages; accepted by an act, then part of the record."""

    as_of = models.DateField()
    name = models.CharField(max_length=120, blank=True)
    inputs = models.JSONField(default=dict)
    jobs = models.JSONField(default=list)
    accepted_on = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=500, blank=True)
