"""A gauge found wrong: every reading taken with it since its last good check, and what rests on it."""

import datetime as dt
from collections.abc import Iterable
from dataclasses import dataclass

from fleet.calibrating import calibrations, in_doubt
from fleet.models import Calibration, Instrument, Site
from fleet.templatetags.figures import day
from inspections import forecasting
from inspections.figures import Figures
from inspections.models import Forecast, Reading


@dataclass(frozen=True)
class Affected:
    """One reading in doubt, with the rate and date of its bearing as last worked out."""

    reading: Reading
    figures: Figures | None

    @property
    def early(self) -> str:
        """The 1 in 10 date in words."""
        if self.figures is None:
            return "not worked out"
        if self.figures.is_beyond("replace_date_p10"):
            return "beyond 40 years"
        on = self.figures.day("replace_date_p10")
        return day(on) if on else "none"


@dataclass(frozen=True)
class Recall:
    """What a gauge found wrong casts in doubt, from `since` (None: its first reading) until `until`."""

    calibration: Calibration
    since: dt.date | None
    until: dt.date
    affected: list[Affected]

    @property
    def n_bearings(self) -> int:
        return len({one.reading.bearing_id for one in self.affected})


def recalls(instrument: Instrument, sites: Iterable[Site]) -> list[Recall]:
    """Every time a gauge was found wrong, the latest first, with the readings at these sites that it casts in doubt."""
    known = calibrations([instrument]).get(instrument.pk, [])
    return [_recall(instrument, known, one, sites) for one in reversed(known) if not one.found_fit]


def _recall(
    instrument: Instrument, known: list[Calibration], wrong: Calibration, sites: Iterable[Site]
) -> Recall:
    since, until = in_doubt(known, wrong)
    rows = Reading.objects.standing().filter(instrument=instrument, on__lte=until)
    if since is not None:
        rows = rows.filter(last_on__gte=since)
    rows = rows.filter(bearing__place__site__in=list(sites)).select_related("bearing__place__site")
    found = list(rows.order_by("-on", "bearing__place__folded", "bearing__folded"))
    figures = _figures({one.bearing_id for one in found})
    return Recall(wrong, since, until, [Affected(one, figures.get(one.bearing_id)) for one in found])


def _figures(bearings: set) -> dict:
    run = forecasting.standing_run()
    if run is None:
        return {}
    rows = Forecast.objects.filter(run=run, bearing__in=bearings).values_list("bearing", "figures")
    return {bearing: Figures(values) for bearing, values in rows}
