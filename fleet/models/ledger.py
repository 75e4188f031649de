"""Chains, entries and seals. Written only by `fleet.ledger`; the database refuses to change or remove an
entry.
"""

from django.db import models


class Chain(models.Model):
    """The small mutable table that is locked to append: where each chain ends."""

    id = models.CharField(primary_key=True, max_length=80)
    n = models.PositiveBigIntegerField(default=0)
    head = models.CharField(max_length=64)
    retired_by = models.UUIDField(
        null=True, blank=True, help_text="the act that emptied a site still setting up"
    )

    def __str__(self) -> str:
        return f"{self.id}, {self.n} entries"


class Entry(models.Model):
    """One recorded fact. `text` is what is hashed; the other columns are copies of what it says."""

    id = models.BigAutoField(primary_key=True)
    chain = models.CharField(max_length=80)
    n = models.PositiveBigIntegerField()
    act = models.UUIDField(db_index=True)
    kind = models.CharField(max_length=40)
    thing = models.UUIDField(db_index=True, null=True)
    by = models.UUIDField()
    recorded_at = models.DateTimeField()
    format = models.PositiveSmallIntegerField()
    text = models.TextField()
    hash = models.CharField(max_length=64)

    # Columns that INSERT OR REPLACE could collide on, for the guard.
    GUARDED = ("chain n",)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["chain", "n"], name="entry_number_once_per_chain")]

    def __str__(self) -> str:
        return f"{self.chain} {self.n}: {self.kind}"


class Seal(models.Model):
    """The root over all chains' heads at an instant, and what had changed since the seal before."""

    id = models.BigAutoField(primary_key=True)
    n = models.PositiveBigIntegerField(unique=True)
    sealed_at = models.DateTimeField()
    root = models.CharField(max_length=64)
    text = models.TextField()
    hash = models.CharField(max_length=64, unique=True)

    GUARDED = ("n", "hash")

    def __str__(self) -> str:
        return f"seal {self.n} of {self.sealed_at:%Y-%m-%d %H:%M} UTC"
