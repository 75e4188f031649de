"""What was done or seen at a pump or a bearing, each kind with its effect on the series;
and the hour meter.
"""

from django.db import models

from fleet.models import Bearing, Half, Machine, Place, Recorded
from fleet.models.recorded import between
from inspections.models.reading import FromSheet
from inspections.models.visit import Visit


class EventKind(models.TextChoices):
    SCRAPE = "scrape", "scraped"
    SHELL_CHANGE = "shell_change", "shell changed"
    REBABBITT = "rebabbitt", "rebabbitted"
    JOURNAL_REGRIND = "journal_regrind", "journal reground"
    SHIM_CHANGE = "shim_change", "shims changed"
    ROTOR_CHANGE = "rotor_change", "rotor changed"
    PUMP_CHANGE = "pump_change", "pump changed"
    ALIGNMENT = "alignment", "alignment corrected"
    OIL = "oil", "oil cleaned or changed"
    DUTY_CHANGE = "duty_change", "duty changed"
    CONTACT_CHECK = "contact_check", "contact checked"
    OPENED = "opened", "opened, nothing measured"
    FOUND = "found", "found"
    NOTE = "note", "note"


class Effect(models.TextChoices):
    STEP = "step"
    NEW_METAL = "new_metal"  # a new life when the loaded half is new, a new baseline when only the other is
    NEW_BASELINE = "new_baseline"
    RATE_BREAK = "rate_break"
    NONE = "none"


EFFECTS: dict[str, Effect] = {
    EventKind.SCRAPE: Effect.STEP,
    EventKind.SHELL_CHANGE: Effect.NEW_METAL,
    EventKind.REBABBITT: Effect.NEW_METAL,
    EventKind.JOURNAL_REGRIND: Effect.NEW_BASELINE,
    EventKind.SHIM_CHANGE: Effect.NEW_BASELINE,
    EventKind.ROTOR_CHANGE: Effect.NEW_BASELINE,
    EventKind.PUMP_CHANGE: Effect.NEW_BASELINE,
    EventKind.ALIGNMENT: Effect.RATE_BREAK,
    EventKind.OIL: Effect.RATE_BREAK,
    EventKind.DUTY_CHANGE: Effect.RATE_BREAK,
    EventKind.CONTACT_CHECK: Effect.NONE,
    EventKind.OPENED: Effect.NONE,
    EventKind.FOUND: Effect.NONE,
    EventKind.NOTE: Effect.NONE,
}
# Work parts as found from as left.
WORK = frozenset(
    kind for kind, effect in EFFECTS.items() if effect in (Effect.STEP, Effect.NEW_METAL, Effect.NEW_BASELINE)
)
# These are of the machine as a whole even where a position is named.
WHOLE_PUMP = frozenset({EventKind.ROTOR_CHANGE, EventKind.PUMP_CHANGE})
# These need no opening: alone they make no visit.
NO_VISIT = frozenset({EventKind.OIL, EventKind.NOTE})
# The columns that say what was done at a bearing, beside the day and the place.
WHAT_WAS_DONE = ("kind", "half", "shell", "reason", "outcome", "contact_percent", "note")


class Outcome(models.TextChoices):
    ACCEPTABLE = "acceptable", "acceptable"
    SCRAPE = "scrape", "scrape here and check again"
    ALIGNMENT = "alignment", "look at the alignment first"
    SEAT = "seat", "look at the seat: crush, cap, dirt behind the shell, roundness"
    MEASURE = "measure", "measure before doing more"
    REPEAT = "repeat", "repeat the check"


class Reason(models.TextChoices):
    WORN = "worn"
    DAMAGED = "damaged"
    PRECAUTION = "precaution"
    OTHER_WORK = "other_work", "other work"
    UNKNOWN = "unknown"


class Event(FromSheet):
    """One event; of one bearing, or of the whole pump where `bearing` is empty."""

    place = models.ForeignKey(Place, models.PROTECT, related_name="events", db_index=False)
    bearing = models.ForeignKey(
        Bearing, models.PROTECT, null=True, blank=True, related_name="events", db_index=False
    )
    visit = models.ForeignKey(Visit, models.PROTECT, null=True, blank=True, related_name="events")
    kind = models.CharField(max_length=40, help_text="a kind of `EventKind`, or one of the plant's own")
    half = models.CharField(max_length=5, choices=Half.choices, blank=True, help_text="empty: both")
    shell = models.CharField(max_length=60, blank=True, help_text="serial as typed")
    reason = models.CharField(max_length=12, choices=Reason.choices, blank=True)
    outcome = models.CharField(max_length=12, choices=Outcome.choices, blank=True)
    contact_percent = models.DecimalField(max_digits=6, decimal_places=2, null=True, blank=True)
    done_by = models.UUIDField(null=True, blank=True)
    checked_by = models.UUIDField(null=True, blank=True)
    supersedes = models.UUIDField(null=True, blank=True)
    awaits_second = models.BooleanField(null=True, help_text="recorded where shells want a second person")

    class Meta:
        indexes = [
            models.Index(fields=["bearing", "on"]),
            models.Index(fields=["place", "on"]),
            models.Index(
                fields=["bearing"], condition=models.Q(awaits_second=True), name="event_awaits_second"
            ),
        ]
        constraints = [
            between(
                "contact_percent",
                0,
                100,
                "contact_percent_bounds",
                "A contact is 0 to 100 per cent of the length.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.kind} {self.on}"


class MeterEntry(FromSheet):
    """The hour meter (and starts) of a machine on a day; a reset gives the meter after
    and, if known, before.
    """

    machine = models.ForeignKey(Machine, models.PROTECT, related_name="meter_entries", db_index=False)
    place = models.ForeignKey(Place, models.PROTECT, related_name="meter_entries")
    hours = models.DecimalField(max_digits=12, decimal_places=2)
    reset = models.BooleanField(default=False)
    hours_before = models.DecimalField(max_digits=12, decimal_places=2, null=True, blank=True)
    starts = models.PositiveIntegerField(null=True, blank=True)

    class Meta:
        indexes = [models.Index(fields=["machine", "on"])]
        constraints = [
            between(
                "hours", 0, 10_000_000, "meter_hours", "Run hours lie between 0 and 10 000 000.", null=False
            ),
            between("hours_before", 0, 10_000_000, "meter_before", "Run hours lie between 0 and 10 000 000."),
            between("starts", 0, 100_000_000, "meter_starts", "Starts lie between 0 and 100 000 000."),
        ]


class ContactCheck(Recorded):
    """The print of a contact check as data: which cells of the shell printed, and how it was taken."""

    event = models.OneToOneField(Event, models.PROTECT, related_name="contact")
    round = models.PositiveSmallIntegerField(default=1)
    half = models.CharField(max_length=5, choices=Half.choices, blank=True)
    in_place = models.BooleanField(null=True, help_text="in place, or (no) on a mandrel")
    bedded_by_hand = models.BooleanField(null=True)
    pattern = models.JSONField(default=dict, help_text="rows around by columns along: none, light, heavy")
    worn = models.JSONField(default=dict, help_text="the worn arc, apart from the print")
    conditions = models.JSONField(default=dict)
    supersedes = models.UUIDField(null=True, blank=True)


class ContactCriteria(Recorded):
    """What the plant accepts as contact; dated, with its author."""

    site = models.ForeignKey("fleet.Site", models.PROTECT, null=True, blank=True)
    body = models.JSONField()
    author = models.CharField(max_length=120)
    from_on = models.DateField(null=True, blank=True)


class Finding(Recorded):
    """What was seen on one part."""

    event = models.ForeignKey(Event, models.PROTECT, related_name="findings")
    part = models.CharField(max_length=20)
    words = models.JSONField(default=list)
    where = models.CharField(max_length=80, blank=True)
    note = models.CharField(max_length=500, blank=True)
