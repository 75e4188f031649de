"""A bearing's work put off, a pump opened outside an outage, and who agreed to either or refused it."""

from django.db import models

from fleet.models import Bearing, Outage, Recorded
from fleet.models.recorded import between


class Deferral(Recorded):
    """Work that somebody asks to put off; it holds once everybody of its level has agreed, until its last
    day.

    Without an outage the bearing runs on: nothing is opened before `until_on`.
    """

    class Level(models.TextChoices):
        PLANNER = "planner", "planner"
        ENGINEER = "engineer", "engineer"
        OPERATIONS = "operations", "engineer and operations"

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="deferrals")
    outage = models.ForeignKey(Outage, models.PROTECT, null=True, blank=True, related_name="deferrals")
    on = models.DateField()
    until_on = models.DateField(help_text="the last day on which it holds")
    level = models.CharField(max_length=10, choices=Level.choices)
    why_level = models.CharField(max_length=200, help_text="what asks for this level")
    chance = models.DecimalField(
        max_digits=6,
        decimal_places=5,
        null=True,
        blank=True,
        help_text="of having passed the maximum when it is opened next",
    )
    earlier = models.PositiveSmallIntegerField(
        default=0, help_text="how often its work was put off before, since it was last done"
    )
    reason = models.CharField(max_length=500)
    late_why = models.CharField(max_length=300, blank=True, help_text="why it outlasts the early date")
    check_by = models.CharField(max_length=120, help_text="who makes the interim checks")
    check_every_days = models.PositiveIntegerField()
    stop_at = models.CharField(max_length=120, help_text="the value at which it is stopped")
    forecast_hash = models.CharField(max_length=64)

    class Meta:
        constraints = [
            between(
                "check_every_days",
                1,
                366,
                "deferral_interval",
                "Interim checks lie 1 to 366 days apart.",
                null=False,
            ),
            between("chance", 0, 1, "deferral_chance", "A chance lies between 0 and 1."),
        ]


class OutsideOpening(Recorded):
    """A pump that somebody asks to open outside an outage, for one of its bearings, with
    what the stop costs.
    """

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="outside_openings")
    on = models.DateField()
    opens_on = models.DateField(help_text="the day on which the pump is to be opened")
    reason = models.CharField(max_length=500)
    stop_h = models.DecimalField(
        max_digits=9,
        decimal_places=1,
        null=True,
        blank=True,
        help_text="crew hours that the stop costs; empty: not stated",
    )
    saved_h = models.DecimalField(
        max_digits=9, decimal_places=1, null=True, blank=True, help_text="crew hours of later cost saved"
    )
    forecast_hash = models.CharField(max_length=64)

    class Meta:
        constraints = [
            between("stop_h", 0, 1e7, "outside_opening_stop", "A stop costs 0 to 10 000 000 crew hours."),
            between("saved_h", -1e7, 1e7, "outside_opening_saved", "Hours saved lie within 10 000 000."),
        ]


class Agreement(Recorded):
    """One side's answer to a deferral or an opening outside an outage (`thing`)."""

    class Side(models.TextChoices):
        ENGINEER = "engineer", "the engineer"
        OPERATIONS = "operations", "operations"

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="agreements")
    thing = models.UUIDField(help_text="the deferral, or the opening outside an outage")
    side = models.CharField(max_length=10, choices=Side.choices)
    agreed = models.BooleanField()
    on = models.DateField()
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        indexes = [models.Index(fields=["thing"])]
        constraints = [
            models.UniqueConstraint(
                fields=["thing", "side"],
                condition=models.Q(withdrawn_by__isnull=True),
                name="agreed_once",
                violation_error_message="This side has answered already.",
            )
        ]
