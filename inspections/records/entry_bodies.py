"""What an entry says of a new row, made without the row: a sheet brings tens of thousands of them."""

from decimal import Decimal
from functools import cache
from typing import Any
from uuid import UUID, uuid4

from django.db import models

from fleet.ledger import kinds
from fleet.ledger.writing import Fact


@cache
def _quanta(kind: str) -> dict[str, Decimal]:
    """The last digit that each decimal column of a kind keeps."""
    fields = kinds.kind(kind).fields
    return {
        f.attname: Decimal(1).scaleb(-f.decimal_places) for f in fields if isinstance(f, models.DecimalField)
    }


def new_row(chain: str, kind: str, values: dict[str, Any], pk: UUID | None = None) -> Fact:
    """The fact that adds a row with these values (by column), word for word what `kinds.body_of` says of the
    row.

    Columns that are not named must be without a default of their own.
    """
    quanta = _quanta(kind)
    body: dict[str, Any] = {"id": pk or uuid4()}
    for name, value in values.items():
        if value is None or value == "" or value == {} or value == []:
            continue
        quantum = quanta.get(name)
        body[name] = value if quantum is None else value.quantize(quantum)
    return Fact(chain, kind, body=body)
