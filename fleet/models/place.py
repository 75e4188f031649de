"""A place (the tag: foundation, pipework, duty) and the machine that stands on it."""

from django.db import models

from fleet.models.recorded import DatedQuerySet, Recorded, between
from fleet.models.site import Site


class Place(Recorded):
    """What the plant calls a pump: the tag. The machine on it may be changed; the place stays."""

    site = models.ForeignKey(Site, models.PROTECT, related_name="places")
    tag = models.CharField(max_length=80, help_text="the name in use; older names stand in `Name`")
    folded = models.CharField(max_length=80)

    class Meta:
        ordering = ["folded"]
        constraints = [
            models.UniqueConstraint(
                fields=["site", "folded"],
                condition=models.Q(withdrawn_by__isnull=True),
                name="place_tag_once_per_site",
                violation_error_message="This site has a pump with this tag already. Choose another tag.",
            )
        ]

    def __str__(self) -> str:
        return self.tag


class PlaceFacts(Recorded):
    """What is known of a place from a day on; the latest row that holds on a day governs."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="facts")
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")
    description = models.CharField(max_length=200, blank=True)
    model = models.CharField(max_length=80, blank=True)
    service = models.CharField(max_length=80, blank=True)
    speed_rpm = models.PositiveIntegerField(null=True, blank=True)
    duty_hours_per_day = models.DecimalField(max_digits=5, decimal_places=2, null=True, blank=True)
    criticality = models.CharField(max_length=80, blank=True, help_text="the plant's own words")
    consequence_money = models.DecimalField(max_digits=14, decimal_places=2, null=True, blank=True)
    block = models.CharField(max_length=80, blank=True)
    twin = models.CharField(max_length=80, blank=True, help_text="the tag of its twin")

    objects = DatedQuerySet.as_manager()

    class Meta:
        constraints = [
            between(
                "duty_hours_per_day", 0, 24, "duty_within_a_day", "Duty lies between 0 and 24 hours a day."
            ),
            between(
                "consequence_money", 0, 10**11, "consequence_bounds", "A consequence lies between 0 and 1e11."
            ),
            between("speed_rpm", 1, 100_000, "speed_bounds", "A speed lies between 1 and 100 000 rpm."),
        ]


class PlannedDuty(Recorded):
    """How a pump is meant to run from a day on, until the last day or the next period; other days run as they
    did.
    """

    place = models.ForeignKey(Place, models.PROTECT, related_name="planned_duties")
    from_on = models.DateField()
    until_on = models.DateField(null=True, blank=True, help_text="the last day; empty: until the next period")
    hours_per_day = models.DecimalField(max_digits=5, decimal_places=2)
    starts_per_day = models.DecimalField(max_digits=7, decimal_places=3, null=True, blank=True)

    class Meta:
        ordering = ["from_on"]
        constraints = [
            between(
                "hours_per_day",
                0,
                24,
                "planned_within_a_day",
                "A planned duty lies between 0 and 24 hours a day.",
                null=False,
            ),
            between(
                "starts_per_day", 0, 1000, "planned_starts", "Planned starts lie between 0 and 1000 a day."
            ),
            models.CheckConstraint(
                condition=models.Q(until_on__isnull=True) | models.Q(until_on__gte=models.F("from_on")),
                name="planned_duty_ends_after_it_starts",
                violation_error_message="A planned duty cannot end before it begins. Check the two days.",
            ),
        ]


class Machine(Recorded):
    """The pump as a thing: it holds a rotor and the hour meter. Unnamed where the plant
    never thinks of it.
    """

    site = models.ForeignKey(Site, models.PROTECT, related_name="machines")
    label = models.CharField(max_length=80, blank=True)

    def __str__(self) -> str:
        return self.label or "unnamed machine"


class Installation(Recorded):
    """Which machine stands on a place from a day on."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="installations")
    machine = models.ForeignKey(Machine, models.PROTECT, related_name="installations")
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")

    objects = DatedQuerySet.as_manager()


class Rotor(Recorded):
    site = models.ForeignKey(Site, models.PROTECT, related_name="rotors")
    label = models.CharField(max_length=80, blank=True)

    def __str__(self) -> str:
        return self.label or "unnamed rotor"


class RotorFitting(Recorded):
    """Which rotor a machine holds from a day on."""

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="rotor_fittings")
    rotor = models.ForeignKey(Rotor, models.PROTECT, related_name="fittings")
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")

    objects = DatedQuerySet.as_manager()


class Journal(Recorded):
    """One of a rotor's two bearing surfaces, named like the bearing position it runs in."""

    rotor = models.ForeignKey(Rotor, models.PROTECT, related_name="journals")
    name = models.CharField(max_length=40)

    def __str__(self) -> str:
        return f"{self.rotor}, journal {self.name}"


class JournalDiameter(Recorded):
    journal = models.ForeignKey(Journal, models.PROTECT, related_name="diameters")
    diameter_um = models.DecimalField(max_digits=12, decimal_places=4)
    from_on = models.DateField(null=True, blank=True, help_text="empty: always")

    objects = DatedQuerySet.as_manager()

    class Meta:
        constraints = [
            between(
                "diameter_um",
                1_000,
                2_000_000,
                "journal_diameter_bounds",
                "A journal diameter lies between 1 mm and 2 m. Check the unit.",
                null=False,
            )
        ]
