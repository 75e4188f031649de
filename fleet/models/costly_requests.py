"""What one account asked for of late that costs the site much."""

from django.db import models


class CostlyRequest(models.Model):
    """One request for a costly page; kept no longer than it counts. Work, not record: it
    stands in no chain.
    """

    account = models.ForeignKey("fleet.Account", models.CASCADE)
    at = models.DateTimeField()

    class Meta:
        indexes = [models.Index(fields=["account", "at"])]
