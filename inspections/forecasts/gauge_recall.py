"""A gauge found wrong: every reading taken with it since its last good check, and what rests on it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any
from uuid import UUID

from fleet.formatting import day
from fleet.models import Calibration, Instrument, Site
from fleet.plant.calibration import calibrations, in_doubt
from inspections.forecasts.current_forecasts import standing_run
from inspections.forecasts.forecast_figures import BEYOND
from inspections.models import Forecast, Reading, Stage

_OF_READING = (
    "pk",
    "bearing_id",
    "bearing__place__site__name",
    "bearing__place__tag",
    "bearing__name",
    "on",
    "precision",
    "stage",
    "typed",
    "unit",
    "value_um",
    "not_for_wear",
    "chain",
    "entry_n",
)


def sites_that_used(gauge: Instrument) -> set[UUID]:
    """The sites at which readings stand that were taken with a gauge."""
    rows = Reading.objects.standing().filter(instrument=gauge)
    return set(rows.values_list("bearing__place__site", flat=True).distinct())


@dataclass(frozen=True, slots=True)
class Affected:
    """One reading in doubt, with the rate and the 1 in 10 date of its bearing as last
    worked out (None: not).
    """

    reading: UUID
    bearing: UUID
    site: str
    pump: str
    position: str
    on: dt.date
    precision: str
    stage: str
    typed: str
    unit: str
    value_um: Decimal | None
    not_for_wear: bool
    chain: str
    entry_n: int
    rate_um_per_kh: float | None = None
    exposure: str = ""
    early_date: str | None = None

    @property
    def stage_words(self) -> str:
        return str(Stage(self.stage).label)

    @property
    def early(self) -> str:
        return early_words(self.early_date)


def early_words(date: str | None) -> str:
    """A 1 in 10 date as figures keep it, in words."""
    if date == BEYOND:
        return "beyond 40 years"
    return day(dt.date.fromisoformat(date)) if date else "none"


@dataclass(frozen=True)
class Recall:
    """What a gauge found wrong casts in doubt, from `since` (None: its first reading) until `until`."""

    calibration: Calibration
    since: dt.date | None
    until: dt.date
    affected: list[Affected]

    @property
    def n_bearings(self) -> int:
        return len({one.bearing for one in self.affected})


def recalls(instrument: Instrument, sites: Iterable[Site]) -> list[Recall]:
    """Every time a gauge was found wrong, the latest first, with the readings at these sites that it casts in
    doubt.
    """
    known = calibrations([instrument]).get(instrument.pk, [])
    return [_recall(instrument, known, one, sites) for one in reversed(known) if not one.found_fit]


def _recall(
    instrument: Instrument, known: list[Calibration], wrong: Calibration, sites: Iterable[Site]
) -> Recall:
    since, until = in_doubt(known, wrong)
    rows = Reading.objects.standing().filter(instrument=instrument, on__lte=until)
    if since is not None:
        rows = rows.filter(last_on__gte=since)
    rows = rows.filter(bearing__place__site__in=list(sites))
    found = rows.order_by("-on", "bearing__place__folded", "bearing__folded").values_list(*_OF_READING)
    figures = _figures()
    return Recall(wrong, since, until, [Affected(*row, *figures.get(row[1], ())) for row in found])


def _figures() -> dict[UUID, tuple[Any, ...]]:
    """By bearing: rate, what it is per, and the 1 in 10 date of the standing run."""
    run = standing_run()
    names = ("figures__rate_um_per_kh_p50", "figures__exposure", "figures__replace_date_p10")
    rows = Forecast.objects.filter(run=run).values_list("bearing_id", *names) if run else ()
    return {row[0]: row[1:] for row in rows}
