"""Shell halves, where they are, and the spares and crew hours a planner counts with."""

from django.db import models

from fleet.models.bearing import Bearing, WearClass
from fleet.models.recorded import DatedQuerySet, Recorded, between, micrometres
from fleet.models.site import Site


class Half(models.TextChoices):
    LOWER = "lower"
    UPPER = "upper"


class ShellHalf(Recorded):
    """One half of a shell as a thing; it may be relined and come back to another position."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="shell_halves")
    serial = models.CharField(max_length=60)
    half = models.CharField(max_length=5, choices=Half.choices)
    shell_type = models.CharField(max_length=80, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["site", "serial", "half"],
                condition=models.Q(withdrawn_by__isnull=True),
                name="shell_serial_once_per_site",
            )
        ]

    def __str__(self) -> str:
        return f"{self.serial}, {self.half} half"


class ShellFitting(Recorded):
    """Which half lies in a position from a day on; without serial where the plant does not know it."""

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="shell_fittings")
    half = models.CharField(max_length=5, choices=Half.choices)
    shell = models.ForeignKey(ShellHalf, models.PROTECT, null=True, blank=True, related_name="fittings")
    from_on = models.DateField(null=True, blank=True, help_text="empty: unknown, before the record begins")
    precision = models.CharField(max_length=8, default="day")

    objects = DatedQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["bearing", "from_on"])]


class ShellState(Recorded):
    """Where a half is when it lies in no position."""

    class State(models.TextChoices):
        IN_STORE = "in_store", "in store"
        AWAY = "away", "away for repair"
        SCRAPPED = "scrapped", "scrapped"

    shell = models.ForeignKey(ShellHalf, models.PROTECT, related_name="states")
    state = models.CharField(max_length=10, choices=State.choices)
    from_on = models.DateField()


class Spare(Recorded):
    """Spare shells of one type in store or on order."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="spares")
    shell_type = models.CharField(max_length=80)
    half = models.CharField(max_length=5, choices=Half.choices, blank=True, help_text="empty: pairs")
    bore_um = micrometres()
    bored = models.BooleanField(default=True)
    on_hand = models.PositiveIntegerField(default=0)
    due_back_on = models.DateField(null=True, blank=True)
    lead_time_days = models.PositiveIntegerField(null=True, blank=True)
    relined_after_days = models.PositiveIntegerField(
        null=True, blank=True, help_text="one that comes out is back relined, to be bored; empty: scrapped"
    )

    class Meta:
        constraints = [
            between(
                "bore_um", 1_000, 2_000_000, "spare_bore_bounds", "A bore is 1 mm to 2 m. Check the unit."
            ),
            between("on_hand", 0, 100_000, "spare_count", "At most 100 000 spares.", null=False),
            between("lead_time_days", 0, 10_000, "spare_lead_time", "A lead time is at most 10 000 days."),
            between(
                "relined_after_days", 1, 10_000, "spare_relined_after", "Relining takes 1 to 10 000 days."
            ),
        ]


class WorkHours(Recorded):
    """Crew hours of the kinds of work, for a class or (without one) for all."""

    wear_class = models.ForeignKey(WearClass, models.PROTECT, null=True, blank=True)
    open_hours = models.DecimalField(max_digits=7, decimal_places=1)
    measure_hours = models.DecimalField(max_digits=7, decimal_places=1)
    scrape_hours = models.DecimalField(max_digits=7, decimal_places=1)
    replace_hours = models.DecimalField(max_digits=7, decimal_places=1)

    class Meta:
        constraints = [
            between(name, 0, 10_000, f"work_{name}", "Hours of work lie between 0 and 10 000.", null=False)
            for name in ("open_hours", "measure_hours", "scrape_hours", "replace_hours")
        ]
