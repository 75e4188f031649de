"""Gauges between their checks, as the wear engine takes them, and what it has learned of each."""

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import UUID

from fleet.models import Calibration, Instrument
from fleet.plant.calibration import calibrations
from inspections.wear.arrays import GaugePeriod
from inspections.wear.population import Population

# A gauge disagrees with its peers where what it reads too much is this sure, in its sds, and this large, um.
SURE, WORTH_UM = 2.0, 5.0


@dataclass(frozen=True)
class GaugeChecks:
    """The checks of gauges by a day, by gauge and the earliest first."""

    known: Mapping[UUID, list[Calibration]] = field(default_factory=dict)

    def period(self, gauge: UUID, on: dt.date) -> GaugePeriod:
        """The period of a gauge in which a day lies: from a check on, its own day included, to the day before
        the next.
        """
        checks = self.known.get(gauge, [])
        since = max((check.on for check in checks if check.on <= on), default=None)
        later = next((check for check in checks if check.on > on), None)
        found = None if later is None else later.read_over_um
        name = period_name(gauge, since)
        return GaugePeriod(name) if found is None else GaugePeriod(name, float(found))


def checks_of(gauges: Iterable[UUID], as_of: dt.date) -> GaugeChecks:
    """The checks of some gauges that had been made by a day; asks the database nothing where there is no
    gauge.
    """
    wanted = set(gauges)
    if not wanted:
        return GaugeChecks()
    rows = calibrations()
    return GaugeChecks({one: [row for row in rows.get(one, []) if row.on <= as_of] for one in wanted})


def period_name(gauge: UUID, since: dt.date | None) -> str:
    """A period's name, the same on every day: the gauge and the day of the check it begins with."""
    return f"{gauge} {since.isoformat() if since else ''}"


@dataclass(frozen=True)
class Disagreement:
    """A gauge that reads too much (um; below 0: too little) against its peers since a check (None: from the
    first on).
    """

    gauge: UUID
    since: dt.date | None
    bias_um: float
    sd_um: float

    @property
    def size_um(self) -> float:
        return abs(self.bias_um)

    @property
    def way(self) -> str:
        return "too high" if self.bias_um > 0 else "too low"


def disagreements(population: Population) -> dict[str, Disagreement]:
    """By the period's name: gauges that disagree with their peers, by the pool that knows each best."""
    found: dict[str, Disagreement] = {}
    for pool in population.pools:
        p = pool.designs[0]
        for name, bias in p.gauge_bias.items():
            sd = p.gauge_bias_sd[name]
            if abs(bias) > max(SURE * sd, WORTH_UM) and (name not in found or sd < found[name].sd_um):
                gauge, _, since = name.partition(" ")
                day = dt.date.fromisoformat(since) if since else None
                found[name] = Disagreement(UUID(gauge), day, bias, sd)
    return found


def labels_of(found: Iterable[Disagreement]) -> dict[UUID, str]:
    """The labels of gauges; nothing is asked where there are none."""
    wanted = {one.gauge for one in found}
    return dict(Instrument.objects.filter(pk__in=wanted).values_list("pk", "label")) if wanted else {}


def as_figure(one: Disagreement, label: str, n: int) -> dict[str, Any]:
    """What a bearing's figures keep of a gauge that disagrees, ``n`` of its readings taken with it."""
    since = one.since.isoformat() if one.since else None
    return {"gauge": str(one.gauge), "label": label, "since": since, "bias_um": round(one.bias_um, 1), "n": n}
