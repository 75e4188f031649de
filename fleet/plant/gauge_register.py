"""Gauges found by name, or made: each an instrument of the plant with its method."""

import uuid
from collections.abc import Mapping

from fleet.models import (
    Instrument,
    folded,
)
from fleet.plant.acts import record


def instrument_named(
    label: str, *, method: str = "", by: uuid.UUID, act: uuid.UUID | None = None
) -> Instrument:
    """The instrument with that label, made where there is none."""
    return instruments_named({label: method}, by=by, act=act)[folded(label)]


def instruments_named(
    labels: Mapping[str, str], *, by: uuid.UUID, act: uuid.UUID | None = None
) -> dict[str, Instrument]:
    """Many at once: folded label -> instrument; `labels` gives the method of those to be made."""
    known = {one.folded: one for one in Instrument.objects.standing()}
    new = {
        folded(label): Instrument(label=" ".join(label.split()), folded=folded(label), method=method)
        for label, method in labels.items()
        if folded(label) not in known
    }
    if new:
        record(new.values(), by=by, act=act)
    return known | new
