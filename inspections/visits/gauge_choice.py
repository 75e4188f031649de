"""The gauges to choose from at the pump, and what speaks against each on the day it is used."""

import datetime as dt
from dataclasses import dataclass

from fleet.measuring_methods import is_ranged
from fleet.models import Instrument
from fleet.plant.calibration import calibrations, doubt_on
from inspections.story.uncertainty import STRIPS_UM


@dataclass(frozen=True)
class Gauge:
    """A gauge by its label; `doubt` says what speaks against it, empty where nothing does."""

    label: str
    doubt: str = ""

    @property
    def words(self) -> str:
        return f"{self.label}: {self.doubt}" if self.doubt else self.label


def gauges(method: str, on: dt.date) -> list[Gauge]:
    """The gauges that measure by a method, and those of no method; for plastic strips also their ranges.

    Parameters
    ----------
    method : str
        a method's name; empty: all gauges.
    on : date
        the day they are used on. Of a plant that records no calibrations nothing is said.
    """
    rows = Instrument.objects.standing().order_by("folded")
    rows = rows.filter(method__in=("", method)) if method else rows
    chosen = list(rows)
    known = calibrations() if chosen else {}
    found = [Gauge(one.label, doubt_on(known.get(one.pk, []), on) if known else "") for one in chosen]
    if is_ranged(method):
        labels = {one.label for one in found}
        found += [Gauge(label) for label in STRIPS_UM if label not in labels]
    return found
