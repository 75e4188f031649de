"""A reading: what was measured, how, and as typed."""

from typing import Self

from django.db import models

from fleet.models import Bearing, Instrument, Recorded, Sheet
from fleet.models.recorded import RecordedQuerySet, micrometres
from inspections.models.visit import Precision, Visit


class Quantity(models.TextChoices):
    CLEARANCE = "clearance"
    SIDE_GAP = "side_gap", "side gap"
    END_FLOAT = "end_float", "end float"
    BORE = "bore"
    JOURNAL = "journal", "journal diameter"
    WALL = "wall", "shell wall"
    SHAFT_DROP = "shaft_drop", "shaft drop"
    HOUSING_FIT = "housing_fit", "housing fit"


# The least and the most, in um, that a quantity may be (record.md, Reading).
BOUNDS_UM: dict[str, tuple[int, int]] = {
    Quantity.CLEARANCE: (0, 10_000),
    Quantity.SIDE_GAP: (0, 10_000),
    Quantity.END_FLOAT: (0, 10_000),
    Quantity.BORE: (0, 2_000_000),
    Quantity.JOURNAL: (0, 2_000_000),
    Quantity.WALL: (0, 200_000),
    Quantity.SHAFT_DROP: (0, 200_000),
    Quantity.HOUSING_FIT: (-2_000, 2_000),
}


class Stage(models.TextChoices):
    AS_FOUND = "as_found", "as found"
    AS_LEFT = "as_left", "as left"


class Basis(models.TextChoices):
    DIAMETRAL = "diametral"
    RADIAL = "radial"


class End(models.TextChoices):
    IN = "in", "pump side"
    OUT = "out", "away from the pump"
    MID = "mid", "middle"
    UNKNOWN = "", "end not known"


class FromSheet(Recorded):
    """What every row of a history has, whether typed in a sheet or at the bearing."""

    on = models.DateField(help_text="first day")
    last_on = models.DateField(help_text="last day it may have been")
    precision = models.CharField(max_length=8, choices=Precision.choices, default=Precision.DAY)
    order = models.PositiveIntegerField(default=0, help_text="the given order within a visit")
    note = models.TextField(blank=True)
    job = models.CharField(max_length=80, blank=True)
    sheet = models.ForeignKey(Sheet, models.PROTECT, null=True, blank=True, related_name="+")
    sheet_row = models.PositiveIntegerField(null=True, blank=True)
    # Not `sheet_id`: that is the column of `sheet`.
    row_id = models.CharField(max_length=80, blank=True, help_text="the sheet's own id of the row")
    entered_at = models.DateTimeField(null=True, blank=True, help_text="a device's own claim")

    class Meta:
        abstract = True


def _within_bounds(column: str) -> models.Q:
    known = models.Q()
    for quantity, (low, high) in BOUNDS_UM.items():
        known |= models.Q(quantity=quantity, **{f"{column}__gte": low, f"{column}__lte": high})
    return known | models.Q(**{f"{column}__isnull": True})


class ReadingQuerySet(RecordedQuerySet):
    def for_wear(self) -> Self:
        """Standing readings that count and that nobody has set apart from the wear series."""
        return self.standing().filter(counts=True, not_for_wear=False)


class Reading(FromSheet):
    # The index of bearing and day serves for the bearing alone too.
    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="readings", db_index=False)
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="readings")
    quantity = models.CharField(max_length=12, choices=Quantity.choices)
    basis = models.CharField(max_length=10, choices=Basis.choices, default=Basis.DIAMETRAL)
    end = models.CharField(max_length=3, choices=End.choices, blank=True)
    clock = models.PositiveSmallIntegerField(null=True, blank=True, help_text="1 to 12; empty: vertical")
    stage = models.CharField(max_length=8, choices=Stage.choices)
    method = models.CharField(max_length=40, blank=True)
    instrument = models.ForeignKey(Instrument, models.PROTECT, null=True, blank=True)
    step_um = micrometres(help_text="the smallest step read")
    typed = models.CharField(max_length=60, help_text="as typed")
    unit = models.CharField(max_length=8)
    value_um = micrometres(help_text="diametral for a clearance")
    low_um = micrometres(help_text="an interval's lower end; empty: open")
    high_um = micrometres(help_text="an interval's upper end; empty: open")
    repeat = models.PositiveSmallIntegerField(default=1)
    counts = models.BooleanField(default=True)
    not_for_wear = models.BooleanField(default=False)
    not_for_wear_because = models.CharField(max_length=300, blank=True)
    conditions = models.JSONField(
        default=dict, blank=True, help_text="exceptions from the plant's standard conditions"
    )
    measured_by = models.UUIDField(null=True, blank=True)
    checked_by = models.UUIDField(null=True, blank=True)
    supersedes = models.UUIDField(null=True, blank=True)

    objects = ReadingQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["bearing", "on"])]
        constraints = [
            models.CheckConstraint(
                condition=_within_bounds(column),
                name=f"reading_{column}_bounds",
                violation_error_message="This value lies outside what its quantity can be. Check the unit.",
            )
            for column in ("value_um", "low_um", "high_um")
        ] + [
            models.CheckConstraint(
                condition=models.Q(value_um__isnull=False, low_um__isnull=True, high_um__isnull=True)
                | models.Q(value_um__isnull=True, low_um__isnull=False)
                | models.Q(value_um__isnull=True, high_um__isnull=False),
                name="reading_is_a_value_or_an_interval",
                violation_error_message="A reading is one value, or an interval with at least one end.",
            ),
            models.CheckConstraint(
                condition=models.Q(clock__isnull=True) | models.Q(clock__gte=1, clock__lte=12),
                name="reading_clock_1_to_12",
                violation_error_message="A clock position is 1 to 12.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.bearing} {self.on} {self.typed} {self.unit}"


def reading_columns() -> tuple[str, ...]:
    """What a reading says, by column: all but what every row of the record carries. The one list of them."""
    return _READING_COLUMNS


_READING_COLUMNS = tuple(
    column.attname
    for column in Reading._meta.concrete_fields
    if column.attname not in ("id", *Recorded.STAMPS)
)


class NotMeasured(Recorded):
    """A station of a visit that could not be measured, and why; what was opened and left out is part of the
    record.
    """

    class Because(models.TextChoices):
        NO_ACCESS = "no_access", "no access to it"
        NO_GAUGE = "no_gauge", "no gauge for it at hand"
        NO_TIME = "no_time", "no time in this outage"
        NOT_OPENED = "not_opened", "not opened so far"
        DAMAGED = "damaged", "too damaged to measure"
        OTHER = "other", "another reason"

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="not_measured")
    visit = models.ForeignKey(Visit, models.PROTECT, related_name="not_measured")
    quantity = models.CharField(max_length=12, choices=Quantity.choices, default=Quantity.CLEARANCE)
    stage = models.CharField(max_length=8, choices=Stage.choices)
    end = models.CharField(max_length=3, choices=End.choices, blank=True)
    clock = models.PositiveSmallIntegerField(null=True, blank=True)
    because = models.CharField(max_length=12, choices=Because.choices)
    note = models.CharField(max_length=300, blank=True)
    entered_at = models.DateTimeField(null=True, blank=True, help_text="a device's own claim")
