"""What the site answered a device for each entry: work, not record; it stands in no chain."""

from django.db import models

from fleet.models import Account, Bearing


class DeviceReceipt(models.Model):
    """One answer to one entry of a device: which bytes came, and what became of them.

    A stored receipt proves to the device that these very bytes are in the record. A refused one stands on the
    pump's page until somebody settles it.
    """

    class Outcome(models.TextChoices):
        STORED = "stored"
        REFUSED = "refused"

    account = models.ForeignKey(Account, models.CASCADE, related_name="+", db_index=False)
    entry = models.UUIDField(help_text="the id the device gave the entry")
    sha256 = models.CharField(max_length=64, help_text="of the bytes the device sent")
    outcome = models.CharField(max_length=8, choices=Outcome.choices)
    why = models.CharField(max_length=600, blank=True, help_text="of a refused one")
    words = models.CharField(max_length=300, blank=True, help_text="what was entered, of a refused one")
    bearing = models.ForeignKey(Bearing, models.CASCADE, null=True, blank=True, related_name="+")
    at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)
    settled_by = models.UUIDField(null=True, blank=True)
    settled_how = models.CharField(max_length=120, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["account", "entry", "sha256"],
                name="one_receipt_of_the_same_bytes",
                violation_error_message="These bytes of a device have their receipt already.",
            )
        ]

    def __str__(self) -> str:
        return f"{self.entry} {self.outcome}"
