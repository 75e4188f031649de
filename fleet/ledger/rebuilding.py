"""Making the typed rows anew from their entries."""

import json
from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django.db import models, transaction
from django.utils.dateparse import parse_datetime

from fleet.ledger import kinds
from fleet.ledger.writing import project
from fleet.models.ledger import Entry

BATCH = 5000


def rebuild(emptied: Iterable[type[models.Model]] = ()) -> int:
    """Empty the typed tables and fill them from the ledger, in the order of recording; returns how many
    entries were read.

    Parameters
    ----------
    emptied : models, optional
        derived tables that point to typed rows (forecasts) and are emptied with them.
    """
    n = 0
    with transaction.atomic():
        for model in [*emptied, *_typed_models_last_first()]:
            model._base_manager.all()._raw_delete(using="default")
        batch: list[tuple[kinds.Kind, kinds.Body, kinds.Stamp]] = []
        # The order of insertion is the order of recording; it is not part of the record, so ties need no
        # rule.
        for entry in Entry.objects.order_by("id").values_list("text", flat=True).iterator(chunk_size=BATCH):
            batch.append(said(json.loads(entry)))
            n += 1
            if len(batch) == BATCH:
                project(batch)
                batch = []
        project(batch)
    return n


def _typed_models_last_first() -> list[type[models.Model]]:
    typed = [known.model for known in kinds.all_kinds() if known.model]
    return list(reversed(typed))


def said(entry: dict[str, Any]) -> tuple[kinds.Kind, kinds.Body, kinds.Stamp]:
    stamp = kinds.Stamp(
        entry["chain"],
        entry["n"],
        UUID(entry["act"]),
        UUID(entry["by"]),
        parse_datetime(entry["recorded_at"]),
    )
    return kinds.kind(entry["kind"]), entry["body"], stamp
