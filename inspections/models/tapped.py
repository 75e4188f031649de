"""The cells of a print while they are tapped: a draft, no record; the entry is made when
the round is left.
"""

import uuid

from django.db import models

LONGEST = 1700  # characters: a print has at most 40 by 40 cells


class TappedCellsQuerySet(models.QuerySet["TappedCells"]):
    """Questions about drafts of prints."""

    def waiting(self, visit: uuid.UUID) -> "TappedCellsQuerySet":
        """Those of a visit that no entry holds yet, in the order in which they were tapped last."""
        return self.filter(visit=visit, kept=False).order_by("changed_at")


class TappedCells(models.Model):
    """What one person tapped on the print of one check: half and round are the check's.

    `taps` counts them, so that a post that arrives late changes nothing; `kept` says that an entry holds
    these cells.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    check_id = models.UUIDField(help_text="the contact check whose print was shown")
    by = models.UUIDField(help_text="who taps")
    visit = models.UUIDField()
    bearing = models.UUIDField()
    cells = models.CharField(max_length=LONGEST, help_text="lines of . + # parted by /")
    fields = models.JSONField(default=dict, help_text="how the print was taken, as the form sends it")
    taps = models.PositiveIntegerField(default=0)
    kept = models.BooleanField(default=False)
    stored_as = models.UUIDField(null=True, blank=True, help_text="the check that holds these cells")
    changed_at = models.DateTimeField(auto_now=True)

    objects = TappedCellsQuerySet.as_manager()

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["check_id", "by"], name="tapped_cells_once_a_person"),
        ]
        indexes = [models.Index(fields=["visit", "kept"])]

    def __str__(self) -> str:
        return f"{self.taps} taps on {self.check_id}"
