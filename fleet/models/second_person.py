"""What waits for a second person, and what that person said."""

from django.db import models

from fleet.models.bearing import Bearing, LimitSaid
from fleet.models.recorded import Recorded, RecordedQuerySet, between


class ProposedLimitQuerySet(RecordedQuerySet):
    def waiting(self):
        """Those that nobody has confirmed or refused."""
        return self.standing().exclude(pk__in=Confirmation.objects.standing().values("thing"))


class ProposedLimit(LimitSaid):
    """A limit that a second person has to confirm: it changes nothing in force.

    A row of its own rather than a mark on `Limit`: whoever asks which limits hold need not know that some
    only wait, and rebuilt from the ledger it is what it was, an entry of its own kind.
    """

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="proposed_limits")

    objects = ProposedLimitQuerySet.as_manager()

    class Meta:
        constraints = [
            between(
                "value_um",
                0,
                2_000_000,
                "proposed_limit_bounds",
                "A limit lies between 0 and 2 m. Check the unit.",
            ),
        ]


class Confirmation(Recorded):
    """The second entry: another person confirmed or refused what the first entry (`thing`) says."""

    class Of(models.TextChoices):
        LIMIT = "limit"
        SHELL = "shell", "shell change"

    bearing = models.ForeignKey(Bearing, models.PROTECT, related_name="confirmations")
    of = models.CharField(max_length=8, choices=Of.choices)
    thing = models.UUIDField(help_text="the proposed limit, or the event of the shell change")
    agreed = models.BooleanField()
    reason = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["thing"],
                condition=models.Q(withdrawn_by__isnull=True),
                name="confirmed_once",
                violation_error_message="A second person has answered this already.",
            )
        ]
