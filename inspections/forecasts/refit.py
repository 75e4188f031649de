"""The nightly run: the fleet fitted anew, every bearing's forecast and judgement stored under one run that
the ledger names.
"""

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction

from fleet import bulk
from fleet.clock import now, today_in
from fleet.ledger.canonical import canonical_hash
from fleet.ledger.seal import leaves, root_of, seal_now
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing
from inspections.forecasts.codes import Codes
from inspections.forecasts.computation import ENGINE, WORTH_THREADS, figures_of
from inspections.forecasts.current_forecasts import record_digests, standing_run
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.forecast_verification import rows_hash
from inspections.forecasts.judgement.current_judgements import digests_of
from inspections.forecasts.judgement.judgement_figures import Judgement
from inspections.forecasts.judgement.reckoning import reckon
from inspections.forecasts.kept_backtest import KEPT_UNDER, backtest
from inspections.forecasts.sudden_failures import by_site
from inspections.forecasts.wear_inputs import fleet_inputs
from inspections.models import Forecast, ForecastRun
from inspections.wear.fit import fit_fleet


def refit(*, by: uuid.UUID, as_of: dt.date | None = None, hide: int = 0) -> ForecastRun:
    """Fit the fleet on what had happened by a day, store every bearing's forecast, record the run and seal
    the record.

    Parameters
    ----------
    by : UUID
        the person who asks.
    as_of : date, optional
        an earlier day is stored beside and never hides today's dates.
    hide : int, optional
        also a backtest that hides so many of each bearing's last openings; stored with the run's parameters.
    """
    today = today_in("UTC")
    day = as_of or today
    codes = Codes()
    bearings = list(Bearing.objects.standing().in_order())
    digests = record_digests(bearings)
    heads = root_of(leaves())
    known = fleet_inputs(day, codes)
    threads = len(bearings) > WORTH_THREADS
    population = fit_fleet(known.histories, threads=threads)
    sudden = by_site(day)
    figures = figures_of(known, population, threads=threads, sudden=sudden)
    reckoned = reckon(known, population, figures) if day == today else None
    judged = _Judged(reckoned.judgements, digests_of(bearings)) if reckoned else _Judged({}, {})
    parameters: dict[str, Any] = {
        "population": population.to_json(),
        "young": population.young,
        "sudden": sudden,
    } | codes.stored()
    if hide:
        parameters[KEPT_UNDER] = backtest(known, hide, threads=threads)
    run = ForecastRun(
        as_of=day,
        made_at=now(),
        engine=ENGINE,
        heads_digest=heads,
        standing=day == today,
        parameters=parameters,
        figures_hash=canonical_hash([figures[bearing.pk].row() for bearing in bearings]),
    )
    with transaction.atomic():
        run.save(force_insert=True)
        rows = [_row(run, bearing, digests[bearing.pk], figures[bearing.pk], judged) for bearing in bearings]
        bulk.insert(rows)
        write([Fact("plant", "forecast_run", body=_entry(run, rows))], by=by)
        seal_now(by=by)
    return run


def up_to_date() -> ForecastRun | None:
    """The latest refit where every bearing's figures and judgement are those of today, of the record as it
    stands and of this engine; None where another is needed.
    """
    run = standing_run()
    if run is None or run.as_of != today_in("UTC") or run.engine != ENGINE:
        return None
    bearings = list(Bearing.objects.standing().select_related("place").in_order())
    figures, judgements = record_digests(bearings), digests_of(bearings)
    kept = run.forecasts.values_list("bearing_id", "inputs_digest", "judgement_digest")
    return run if {(pk, figures[pk], judgements[pk]) for pk in figures} == set(kept) else None


def _entry(run: ForecastRun, rows: list[Forecast]) -> dict[str, Any]:
    return {
        "id": run.pk,
        "as_of": run.as_of,
        "made_at": run.made_at,
        "standing": run.standing,
        "engine": run.engine,
        "bearings": len(rows),
        "heads": run.heads_digest,
        "parameters": canonical_hash(run.parameters),
        "figures": run.figures_hash,
        "rows": rows_hash(rows),
    }


@dataclass(frozen=True)
class _Judged:
    """Judgements and what each depends on, by bearing; none of an earlier day."""

    judgements: Mapping[uuid.UUID, Judgement]
    digests: Mapping[uuid.UUID, str]


def _row(run: ForecastRun, bearing: Bearing, digest: str, figures: Figures, judged: _Judged) -> Forecast:
    made = judged.judgements.get(bearing.pk)
    return Forecast(
        run=run,
        bearing=bearing,
        inputs_digest=digest,
        figures=dict(figures.values),
        outcome=figures["outcome"],
        advice=figures["advice"],
        first_on=figures.first_on,
        judgement=made.to_json() if made else None,
        judgement_digest=judged.digests.get(bearing.pk, ""),
    )
