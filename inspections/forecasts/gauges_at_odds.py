"""A gauge that disagrees with its peers, as the last fit of the fleet found it, and the bearings whose dates
it moves.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from fleet.models import Instrument, Site
from inspections.forecasts.current_forecasts import standing_run
from inspections.forecasts.gauge_periods import Disagreement, disagreements
from inspections.forecasts.gauge_recall import early_words
from inspections.models import Forecast, ForecastRun
from inspections.wear.population import Population


@dataclass(frozen=True)
class Moved:
    """A bearing with ``n`` readings by the gauge, as last worked out."""

    site: str
    pump: str
    position: str
    n: int
    rate_um_per_kh: float | None
    exposure: str
    early: str


@dataclass(frozen=True)
class AtOdds:
    """What a gauge reads too much in one of its periods; ``n_elsewhere`` bearings are of
    sites not asked for.
    """

    found: Disagreement
    moved: list[Moved]
    n_elsewhere: int


def at_odds(gauge: Instrument, sites: Iterable[Site]) -> list[AtOdds]:
    """The periods in which a gauge disagrees with its peers by the standing run, the latest first."""
    run = standing_run()
    if run is None:
        return []
    known = disagreements(Population.from_json(run.parameters["population"]))
    own = [one for one in known.values() if one.gauge == gauge.pk]
    own.sort(key=lambda one: one.since.isoformat() if one.since else "", reverse=True)
    allowed = {site.name for site in sites}
    return [_at_odds(run, one, allowed) for one in own]


def _at_odds(run: ForecastRun, found: Disagreement, allowed: set[str]) -> AtOdds:
    since = found.since.isoformat() if found.since else None
    moved, n_elsewhere = [], 0
    rows = Forecast.objects.filter(run=run, figures__has_key="gauges").order_by("first_on", "bearing_id")
    for figures in rows.values_list("figures", flat=True):
        mine = [f for f in figures["gauges"] if f["gauge"] == str(found.gauge) and f["since"] == since]
        if not mine:
            continue
        if figures["site"] not in allowed:
            n_elsewhere += 1
            continue
        where = figures["site"], figures["pump"], figures["position"]
        rate, early = figures["rate_um_per_kh_p50"], early_words(figures["replace_date_p10"])
        moved.append(Moved(*where, mine[0]["n"], rate, figures["exposure"], early))
    return AtOdds(found, moved, n_elsewhere)
