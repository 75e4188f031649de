"""Files kept whole, sheets imported from them, what was asked and answered, and rows set aside."""

import uuid

from django.db import models

from fleet.models.recorded import Recorded
from fleet.models.site import Site


class StoredFile(models.Model):
    """A file's bytes by their SHA-256, in the database so that one backup and one transaction hold them."""

    sha256 = models.CharField(primary_key=True, max_length=64)
    size = models.PositiveIntegerField()
    data = models.BinaryField()
    stored_at = models.DateTimeField(auto_now_add=True)


class Attachment(Recorded):
    """A file that belongs to something: a certificate, a photo, the document of a limit."""

    file = models.ForeignKey(StoredFile, models.PROTECT)
    name = models.CharField(max_length=200)
    about = models.UUIDField(db_index=True, help_text="the inner id of what it belongs to")
    note = models.CharField(max_length=500, blank=True)


class ReadingPlan(Recorded):
    """How a layout of the plant's own is read; kept by name, each change a new version."""

    name = models.CharField(max_length=80)
    version = models.PositiveIntegerField(default=1)
    body = models.JSONField(default=dict)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["name", "version"], name="plan_version_once")]


class Sheet(Recorded):
    """One import of one file: seen = stored + set aside + already there + blank."""

    class Holds(models.TextChoices):
        REGISTER = "register"
        HISTORY = "history"
        OUTAGES = "outages"
        SPARES = "spares"
        WORK_HOURS = "work_hours", "work hours"
        PLANNED_DUTY = "planned_duty", "planned duty"

    file = models.ForeignKey(StoredFile, models.PROTECT)
    name = models.CharField(max_length=200)
    holds = models.CharField(max_length=12, choices=Holds.choices)
    site = models.ForeignKey(Site, models.PROTECT, null=True, blank=True)
    plan = models.ForeignKey(ReadingPlan, models.PROTECT, null=True, blank=True)
    options = models.JSONField(default=dict)
    n_seen = models.PositiveIntegerField()
    n_stored = models.PositiveIntegerField()
    n_set_aside = models.PositiveIntegerField(default=0)
    n_already = models.PositiveIntegerField(default=0)
    n_blank = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ["-recorded_at"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(
                    n_seen=models.F("n_stored")
                    + models.F("n_set_aside")
                    + models.F("n_already")
                    + models.F("n_blank")
                ),
                name="sheet_rows_add_up",
            )
        ]

    def __str__(self) -> str:
        return self.name


class SheetRow(models.Model):
    """By what a row is known when it comes again: its own id, or its content and how often that came before.

    Derived data beside the ledger; the kept file holds the row itself.
    """

    id = models.BigAutoField(primary_key=True)
    sheet = models.ForeignKey(Sheet, models.PROTECT, related_name="rows")
    number = models.PositiveIntegerField(help_text="the sheet's own row number")
    site = models.UUIDField()
    key = models.CharField(max_length=200, help_text="id:<entry_id>, or row:<digest>#<count>")
    digest = models.CharField(max_length=64, help_text="of the row's canonical content")

    class Meta:
        constraints = [models.UniqueConstraint(fields=["site", "key"], name="sheet_row_known_once")]


class Answer(Recorded):
    """An answer to a question of a file, used again when the file comes again."""

    file = models.ForeignKey(StoredFile, models.PROTECT, related_name="answers")
    question = models.CharField(max_length=200)
    answer = models.JSONField()


class SetAside(Recorded):
    """A row nobody could settle yet: kept word for word, used for nothing."""

    sheet = models.ForeignKey(Sheet, models.PROTECT, related_name="set_aside")
    number = models.PositiveIntegerField()
    bearing = models.UUIDField(null=True, blank=True, db_index=True)
    cells = models.JSONField()
    question = models.CharField(max_length=500)
    reason = models.CharField(max_length=300)


class Draft(models.Model):
    """A file on its way in: what was declared, planned and answered so far. Of the account that brought it,
    and no record.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    file = models.ForeignKey(StoredFile, models.PROTECT)
    name = models.CharField(max_length=200)
    holds = models.CharField(max_length=12, choices=Sheet.Holds.choices)
    by = models.ForeignKey("fleet.Account", models.CASCADE)
    options = models.JSONField(default=dict)
    plan_name = models.CharField(max_length=80, blank=True)
    plan = models.JSONField(null=True)
    answers = models.JSONField(default=dict)
    made_at = models.DateTimeField(auto_now_add=True)
