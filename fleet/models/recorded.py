"""What every typed row has: an unchanging inner id and the ledger entry it comes from."""

import datetime
import uuid
from typing import Any, Self

from django.db import models

from fleet.models.ledger import Entry

# The order of recording is that of a chain's entries; no clock is asked, for a clock may be set back. Rows of
# several chains come chain by chain, in the order of the chains' names.
IN_ORDER = ("chain", "entry_n")
LAST_FIRST = ("-chain", "-entry_n")


def order_of(row: Any) -> tuple[bool, str, int]:
    """Where a row stands among those that say the same thing: the last of them holds.

    On one chain the later entry is the last. Across chains what is said of a position on its own chain goes
    before what stands on any other, then comes the order of the chains' names (a site's after the plant's).
    """
    own = row.chain == f"bearing:{getattr(row, 'bearing_id', None)}"
    return own, row.chain, row.entry_n


def is_later(row: Any, other: Any) -> bool:
    """Whether a row was recorded after another; only between two chains is the clock asked."""
    if row.chain == other.chain:
        return bool(row.entry_n > other.entry_n)
    return bool(row.recorded_at > other.recorded_at)


class RecordedQuerySet(models.QuerySet[Any]):
    def standing(self) -> Self:
        """Rows that no later act has withdrawn."""
        return self.filter(withdrawn_by__isnull=True)

    def last_recorded_first(self) -> Self:
        """In the order in which the entries were written, over all chains; no clock is asked."""
        entry = Entry.objects.filter(chain=models.OuterRef("chain"), n=models.OuterRef("entry_n"))
        return self.annotate(_written=models.Subquery(entry.values("pk")[:1])).order_by("-_written", "pk")


class DatedQuerySet(RecordedQuerySet):
    """Rows that hold from a day on (`from_on`; empty: always) until a later row takes over."""

    def holding_on(self, day: datetime.date, *key: str) -> dict[Any, Any]:
        """For each value of the key's columns, the standing row that holds on a day: the latest begun, then
        `order_of`.
        """
        rows = self.standing().filter(models.Q(from_on__isnull=True) | models.Q(from_on__lte=day))
        begun = sorted(rows, key=lambda row: (row.from_on or datetime.date.min, *order_of(row)))
        if len(key) == 1:
            return {getattr(row, key[0]): row for row in begun}
        return {tuple(getattr(row, name) for name in key): row for row in begun}


class Recorded(models.Model):
    """A row derived from the ledger: it can be rebuilt from its entries and compared with them."""

    STAMPS = ("act", "chain", "entry_n", "recorded_at", "recorded_by", "withdrawn_by")

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    act = models.UUIDField()
    chain = models.CharField(max_length=80)
    entry_n = models.PositiveBigIntegerField()
    recorded_at = models.DateTimeField()
    recorded_by = models.UUIDField(help_text="the person's inner id")
    withdrawn_by = models.UUIDField(null=True, blank=True, help_text="the act that withdrew it")

    objects = RecordedQuerySet.as_manager()

    class Meta:
        abstract = True


def between(
    field: str, low: float, high: float, name: str, sentence: str, *, null: bool = True
) -> models.CheckConstraint:
    """A two-sided check: one side alone lets NaN into PostgreSQL."""
    condition = models.Q(**{f"{field}__gte": low, f"{field}__lte": high})
    if null:
        condition |= models.Q(**{f"{field}__isnull": True})
    return models.CheckConstraint(condition=condition, name=name, violation_error_message=sentence)


def micrometres(**options: Any) -> "models.DecimalField[Any, Any]":
    """A length in um with four decimals: an inch is exactly 25 400 um, a tenth of a thou exactly 2.54 um."""
    options.setdefault("null", True)
    options.setdefault("blank", True)
    return models.DecimalField(max_digits=12, decimal_places=4, **options)
