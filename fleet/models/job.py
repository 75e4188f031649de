"""Long work that a page starts and the worker does."""

import uuid

from django.db import models


class Job(models.Model):
    class State(models.TextChoices):
        WAITING = "waiting"
        RUNNING = "running"
        DONE = "done"
        FAILED = "failed"

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    kind = models.CharField(max_length=40)
    by = models.ForeignKey("fleet.Account", models.PROTECT, null=True)
    wanted = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=State.choices, default=State.WAITING)
    done = models.PositiveIntegerField(default=0)
    of = models.PositiveIntegerField(default=0)
    said = models.CharField(max_length=500, blank=True, help_text="how it ended, in a sentence")
    address = models.CharField(max_length=300, blank=True, help_text="the page that shows what came of it")
    asked_at = models.DateTimeField(auto_now_add=True)
    begun_at = models.DateTimeField(null=True)
    beat_at = models.DateTimeField(null=True, help_text="the worker's last sign of life")
    ended_at = models.DateTimeField(null=True)

    class Meta:
        indexes = [models.Index(fields=["state", "asked_at"])]

    @property
    def is_over(self) -> bool:
        return self.state in (self.State.DONE, self.State.FAILED)
