"""A bearing position, what is known of it, and its limits."""

from collections.abc import Iterable
from typing import Self

from django.db import models

from fleet.models.place import Place
from fleet.models.recorded import DatedQuerySet, Recorded, RecordedQuerySet, between, micrometres
from fleet.models.site import Site


class WearClass(Recorded):
    """Bearings expected to wear alike."""

    name = models.CharField(max_length=80)
    folded = models.CharField(max_length=80, unique=True)

    class Meta:
        ordering = ["folded"]

    def __str__(self) -> str:
        return self.name


class BearingQuerySet(RecordedQuerySet):
    def at_sites(self, sites: Iterable[Site]) -> Self:
        return self.filter(place__site__in=sites)

    def in_order(self) -> Self:
        """By site, pump and position, with what a list of them shows."""
        return self.select_related("place", "place__site").order_by(
            "place__site__folded", "place__folded", "folded"
        )


class Bearing(Recorded):
    """A bearing position of a place; shells, rotors and machines come and go, the position stays."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="bearings")
    name = models.CharField(max_length=40, help_text="the position's name in use: DE, NDE, ...")
    folded = models.CharField(max_length=40)

    objects = BearingQuerySet.as_manager()

    class Meta:
        ordering = ["folded"]
        constraints = [
            models.UniqueConstraint(
                fields=["place", "folded"],
                condition=models.Q(withdrawn_by__isnull=True),
                name="position_once_per_place",
                violation_error_message="This pump has a bearing position of this name already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.place.tag} {self.name}"


class Seat(models.TextChoices):
    CYLINDRICAL = "cylindrical"
    SPHERICAL = "spherical"


class LoadSide(models.TextChoices):
    BOTTOM = "bottom"
    TOP = "top"
    LEFT = "left"
    RIGHT = "right"


class BearingFacts(Recorded):
    """What is known of a position from a day on; the latest row that holds on a day governs."""

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="facts")
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")
    wear_class = models.ForeignKey(WearClass, models.PROTECT, null=True, blank=True)
    seat = models.CharField(max_length=12, choices=Seat.choices, default=Seat.CYLINDRICAL)
    load_side = models.CharField(max_length=8, choices=LoadSide.choices, default=LoadSide.BOTTOM)
    journal_diameter_um = micrometres()
    length_um = micrometres()
    shell_type = models.CharField(max_length=80, blank=True)
    scrapeable = models.BooleanField(null=True, help_text="empty: not known")
    wall_new_um = micrometres()
    lining_new_um = micrometres()

    objects = DatedQuerySet.as_manager()

    class Meta:
        constraints = [
            between(
                "journal_diameter_um", 1_000, 2_000_000, "bearing_journal_bounds", "A journal is 1 mm to 2 m."
            ),
            between("length_um", 1_000, 2_000_000, "bearing_length_bounds", "A bearing is 1 mm to 2 m long."),
            between("wall_new_um", 0, 200_000, "wall_new_bounds", "A shell wall is at most 200 mm."),
            between("lining_new_um", 0, 200_000, "lining_new_bounds", "A lining is at most 200 mm."),
        ]


class LimitUse(models.TextChoices):
    FITTING_MIN = "fitting_min"
    FITTING_MAX = "fitting_max"
    IN_SERVICE_MIN = "in_service_min"
    IN_SERVICE_MAX = "in_service_max"
    REPLACE = "replace"
    LINING_MIN = "lining_min"


class Authority(models.TextChoices):
    """Who says so, in the order of weight that published clearance specifications give."""

    CUSTOMER = "customer", "customer specification"
    MAKER_MACHINE = "maker_machine", "maker, this machine"
    MAKER_CHART = "maker_chart", "maker's general chart"
    GENERAL_RULE = "general_rule", "general rule"
    PLANT = "plant", "plant"


class LimitSaid(Recorded):
    """What is said of a limit: of one that holds, and of one that waits for a second person."""

    quantity = models.CharField(max_length=20, default="clearance")
    use = models.CharField(max_length=16, choices=LimitUse.choices)
    value_um = micrometres(help_text="empty: this limit is lifted from that day")
    typed = models.CharField(max_length=40, blank=True)
    unit = models.CharField(max_length=8, blank=True)
    authority = models.CharField(max_length=16, choices=Authority.choices, blank=True)
    document = models.CharField(max_length=120, blank=True)
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")
    reason = models.CharField(max_length=300, blank=True, help_text="why it was set or lifted")

    class Meta:
        abstract = True


class Limit(LimitSaid):
    """A dated limit of one position, or of a class; the latest row that holds on a day governs, a position's
    first.
    """

    bearing = models.ForeignKey(Bearing, models.PROTECT, null=True, blank=True, related_name="limits")
    wear_class = models.ForeignKey(WearClass, models.PROTECT, null=True, blank=True, related_name="limits")

    objects = DatedQuerySet.as_manager()

    class Meta:
        indexes = [models.Index(fields=["bearing", "use", "from_on"])]
        constraints = [
            between(
                "value_um", 0, 2_000_000, "limit_bounds", "A limit lies between 0 and 2 m. Check the unit."
            ),
            models.CheckConstraint(
                condition=models.Q(bearing__isnull=False, wear_class__isnull=True)
                | models.Q(bearing__isnull=True, wear_class__isnull=False),
                name="limit_of_a_position_or_a_class",
                violation_error_message="A limit belongs to one position or to one class.",
            ),
        ]
