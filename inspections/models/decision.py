"""What was advised and decided, by whom, why, until when; outage plans, accepted and in hand."""

import uuid

from django.db import models

from fleet.models import Bearing, Outage, Recorded, Site
from fleet.models.recorded import RecordedQuerySet


class Plan(Recorded):
    """A plan of a site's outages as it was accepted: part of the record from then on.

    `jobs` names bearings and outages by their inner ids; figures in it and in `inputs` are text, as all in
    the ledger.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="plans")
    as_of = models.DateField()
    name = models.CharField(max_length=120, blank=True)
    inputs = models.JSONField(default=dict)
    jobs = models.JSONField(default=list)
    accepted_on = models.DateField(null=True, blank=True)
    reason = models.CharField(max_length=500, blank=True)


class DecisionQuerySet(RecordedQuerySet):
    def of_visits(self):
        """Decisions taken at the open bearing; not those of a plan, nor deferrals."""
        return self.filter(plan__isnull=True).exclude(decided="defer")


class Decision(Recorded):
    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="decisions")
    outage = models.ForeignKey(Outage, models.PROTECT, null=True, blank=True)
    plan = models.ForeignKey(
        Plan, models.PROTECT, null=True, blank=True, help_text="the accepted plan it belongs to"
    )
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

    objects = DecisionQuerySet.as_manager()


class DraftPlan(models.Model):
    """A proposal and the changes made to it by hand: a working paper, no part of the record until it is
    accepted.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    site = models.ForeignKey(Site, models.CASCADE, related_name="draft_plans")
    name = models.CharField(
        max_length=80, blank=True, help_text="a version kept under a name; empty: in hand"
    )
    as_of = models.DateField()
    made_at = models.DateTimeField()
    made_by = models.UUIDField(null=True, blank=True, help_text="the person's inner id")
    digest = models.CharField(max_length=64, help_text="of the record that the proposal was made from")
    inputs = models.JSONField(help_text="what the solver was given, before any change")
    solved = models.JSONField(help_text="its jobs, their cost and bound, or why there are none")
    changes = models.JSONField(default=list, help_text="in the order in which they were made")

    class Meta:
        indexes = [models.Index(fields=["site", "-made_at"])]
