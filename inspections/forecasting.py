"""Rows to arrays to forecasts: figures for pages (nothing stored), and the refit that is stored and exported.

`current` answers a page: stored figures where nothing has changed since, fresh ones with the fleet's stored
parameters where something has. `refit` fits the fleet anew and stores a run; its entry stands on the chain `plant`.
"""

import datetime as dt
import hashlib
import uuid
from collections import OrderedDict, defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import rfc8785
from django.db import transaction
from django.db.models import Max

from fleet import bulk
from fleet.clock import now, today_in
from fleet.ledger.seal import leaves, root_of, seal_now
from fleet.ledger.writing import Fact, write
from fleet.models import Bearing, Chain, Installation, Setting
from inspections.backtest import KEPT_UNDER, backtest
from inspections.figures import BEYOND, QUANTILES, Figures
from inspections.histories import ACCEPTED_RISK, Codes, Inputs, Known, inputs
from inspections.models import Forecast, ForecastRun
from inspections.noting import notes
from inspections.wear.advice import ADVICE, OUTCOMES, REASONS, REPLACE_FROM
from inspections.wear.arrays import Histories
from inspections.wear.fit import fit_fleet
from inspections.wear.forecast import Forecasts, forecast
from inspections.wear.population import Population

ENGINE = "3"
# Significant digits of a figure as it is stored, shown and hashed. The compiled and the plain numpy form of the engine
# differ by up to 3e-11 of a figure (measured), so that two of them round apart once in some ten thousand figures.
DIGITS = 6
HORIZON_DAYS = 40 * 365.25
TEN_PER_CENT = 1.2815515655446004  # of a normal: the 80 % interval leaves a tenth on either side
# Fresh figures of this process, so that a page looked at twice is worked out once.
_FRESH: OrderedDict[tuple, Figures] = OrderedDict()
_FRESH_MOST = 20_000
WORTH_THREADS = 1000  # bearings from which a second thread gains more than it costs
_FITTED: dict[tuple, tuple[Population, Codes]] = {}


def current(bearings: Sequence[Bearing], today: dt.date | None = None) -> dict[uuid.UUID, Figures]:
    """Every bearing's figures as of today; stores nothing.

    Parameters
    ----------
    bearings : sequence of Bearing, with place and site fetched
    today : date, optional
        the day to look from; today in UTC where none is given.

    Returns
    -------
    dict
        by bearing: stored figures of today that read the same record, else fresh ones with the fleet's parameters.
    """
    today = today or today_in("UTC")
    run = standing_run()
    digests = _digests(bearings)
    found: dict[uuid.UUID, Figures] = {}
    if run and run.as_of == today and run.engine == ENGINE:
        ids = [bearing.pk for bearing in bearings]
        stored = run.forecasts.filter(bearing__in=ids) if len(ids) <= 5000 else run.forecasts.all()
        for pk, digest, values in stored.values_list("bearing_id", "inputs_digest", "figures"):
            if digests.get(pk) == digest:
                found[pk] = Figures(values)
    stale = [bearing for bearing in bearings if bearing.pk not in found]
    if stale:
        found.update(_fresh(stale, today, run, digests))
    return found


def standing_run() -> ForecastRun | None:
    """The latest stored refit of its own day; one asked for as of an earlier day never stands."""
    return ForecastRun.objects.filter(standing=True).order_by("-made_at").first()


def _fresh(
    stale: Sequence[Bearing], today: dt.date, run: ForecastRun | None, digests: Mapping[uuid.UUID, str]
) -> dict[uuid.UUID, Figures]:
    population, codes, fitted_as = parameters(today, run)
    keys = {bearing.pk: (fitted_as, bearing.pk, digests[bearing.pk], today) for bearing in stale}
    found = {pk: _FRESH[key] for pk, key in keys.items() if key in _FRESH}
    missing = [bearing for bearing in stale if bearing.pk not in found]
    if missing:
        for pk, figures in figures_of(inputs(missing, today, codes), population).items():
            found[pk] = _FRESH[keys[pk]] = figures
    while len(_FRESH) > _FRESH_MOST:
        _FRESH.popitem(last=False)
    return found


def parameters(today: dt.date, run: ForecastRun | None = None) -> tuple[Population, Codes, object]:
    """The fleet's parameters: those stored, or (before the first refit, or while the stored fleet was too young) fitted now."""
    if run and not run.parameters.get("young"):
        stored = run.parameters
        return Population.from_json(stored["population"]), Codes(_copy(stored["codes"])), run.pk
    head = root_of(leaves())
    key = (head, today)
    if key not in _FITTED:
        _FITTED.clear()
        codes = Codes()
        whole = inputs(list(Bearing.objects.standing().in_order()), today, codes)
        _FITTED[key] = (fit_fleet(whole.histories), codes)
    population, codes = _FITTED[key]
    return population, codes, key


def fit_trouble(today: dt.date) -> str:
    """A sentence for the head of a page where fitting the fleet's numbers failed; empty where it did not."""
    trouble = parameters(today, standing_run())[0].trouble
    if not trouble:
        return ""
    return (
        f"The fleet's numbers could not be fitted well: {trouble}. All dates here are less sure than they say. "
        "Have the newest imports and the doubtful readings looked at, then fit anew."
    )


def refit(*, by: uuid.UUID, as_of: dt.date | None = None, hide: int = 0) -> ForecastRun:
    """Fit the fleet on what had happened by a day, store every bearing's forecast, record the run and seal the record.

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
    digests = _digests(bearings)
    heads = root_of(leaves())
    known = inputs(bearings, day, codes)
    threads = len(bearings) > WORTH_THREADS
    population = fit_fleet(known.histories, threads=threads)
    figures = figures_of(known, population, threads=threads)
    parameters: dict[str, Any] = {
        "population": population.to_json(),
        "codes": codes.by_factor,
        "young": population.young,
    }
    if hide:
        parameters[KEPT_UNDER] = backtest(known, hide, threads=threads)
    run = ForecastRun(
        as_of=day, made_at=now(), engine=ENGINE, heads_digest=heads, standing=day == today,
        parameters=parameters, figures_hash=_hash([figures[bearing.pk].row() for bearing in bearings]),
    )  # fmt: skip
    with transaction.atomic():
        run.save(force_insert=True)
        bulk.insert([_row(run, bearing, digests[bearing.pk], figures[bearing.pk]) for bearing in bearings])
        write([Fact("plant", "forecast_run", body=_entry(run, len(bearings)))], by=by)
        seal_now(by=by)
    return run


def _entry(run: ForecastRun, n: int) -> dict[str, Any]:
    return {
        "id": run.pk, "as_of": run.as_of, "engine": run.engine, "bearings": n, "heads": run.heads_digest,
        "parameters": _hash(run.parameters), "figures": run.figures_hash,
    }  # fmt: skip


def _row(run: ForecastRun, bearing: Bearing, digest: str, figures: Figures) -> Forecast:
    return Forecast(
        run=run, bearing=bearing, inputs_digest=digest, figures=dict(figures.values), outcome=figures["outcome"],
        advice=figures["advice"], first_on=figures.first_on,
    )  # fmt: skip


def _hash(value: Any) -> str:
    return hashlib.sha256(rfc8785.dumps(value)).hexdigest()


def _copy(codes: dict[str, dict[str, int]]) -> dict[str, dict[str, int]]:
    return {factor: dict(known) for factor, known in codes.items()}


def _digests(bearings: Sequence[Bearing]) -> dict[uuid.UUID, str]:
    """What a bearing's figures depend on, as one text: where its chains end, and the settings in force."""
    machines: dict[uuid.UUID, list[uuid.UUID]] = defaultdict(list)
    for place, machine in Installation.objects.standing().values_list("place_id", "machine_id"):
        machines[place].append(machine)
    heads = dict(Chain.objects.exclude(id="plant").values_list("id", "n"))
    settings = Setting.objects.aggregate(last=Max("recorded_at"))["last"]
    found = {}
    for bearing in bearings:
        names = [f"bearing:{bearing.pk}", f"site:{bearing.place.site_id}"]
        names += sorted(f"pump:{machine}" for machine in machines[bearing.place_id])
        said = "|".join(f"{name}={heads.get(name, 0)}" for name in names) + f"|{settings}"
        found[bearing.pk] = hashlib.sha256(said.encode()).hexdigest()
    return found


def figures_of(known: Inputs, population: Population, *, threads: bool = False) -> dict[uuid.UUID, Figures]:
    """Forecast bearings and put each one's figures together; bearings of sites that accept other risks apart."""
    found: dict[uuid.UUID, Figures] = {}
    likes = _likes(known.histories, population)
    risks = np.array([one.accepted_risk for one in known.known])
    for risk in sorted(set(risks.tolist())) or [ACCEPTED_RISK]:
        chosen = np.flatnonzero(risks == risk)
        made = forecast(known.histories.take(chosen), population, accepted_risk=risk, threads=threads)
        for row, index in enumerate(chosen):
            one = known.known[int(index)]
            said = {"notes": notes(one, likes[int(index)])}
            found[one.bearing.pk] = Figures(_values(one, known.as_of, made, row, population.young) | said)
    return {one.bearing.pk: found[one.bearing.pk] for one in known.known}


def _likes(histories: Histories, population: Population) -> list[tuple[float, float]]:
    """(B,) how many times the fleet's median rate bearings like it wear, and the end of the 80 % interval nearer to 1."""
    found = [(1.0, 1.0)] * histories.n_bearings
    for pool in population.pools:
        chosen = np.flatnonzero(histories.clock == pool.clock)
        mean, variance = pool.designs[0].outlook(histories.take(chosen))
        away = mean - pool.designs[0].effect_mean[0]
        nearer = away - np.sign(away) * TEN_PER_CENT * np.sqrt(variance)
        for index, ratio, end in zip(chosen, np.exp(away), np.exp(nearer), strict=True):
            found[index] = (float(ratio), float(end))
    return found


def _values(one: Known, as_of: dt.date, made: Forecasts, i: int, young: bool) -> dict[str, Any]:
    values = _of_record(one, as_of) | {
        "outcome": OUTCOMES[made.outcome[i]],
        "own_evidence": _number(made.own_evidence[i]),
        "replace_limit_um": _number(made.replace_limit_um[i]),
        "replace_limit_from": REPLACE_FROM[made.replace_limit_from[i]],
        "p_replace_now": _number(made.p_replace_now[i]),
        "p_max_now": _number(made.p_max_now[i]),
        "p_max_before_next_outage": _number(made.p_max_before_next[i]),
        "p_max_before_following_outage": _number(made.p_max_before_following[i]),
        "advice": ADVICE[made.advice[i]],
        "advice_reason": REASONS[made.advice_reason[i]],
        "scrapes_left": None if np.isnan(made.scrapes_left[i]) else int(made.scrapes_left[i]),
        "surprise": _number(made.surprise[i]),
        "slip_factor": _number(made.slip_factor[i]),
        "detectable_um_per_kh": _number(made.detectable_um_per_kh[i]),
        "population_young": young,
    }
    for at, quantile in enumerate(QUANTILES):
        values[f"replace_date_{quantile}"] = _date(as_of, _real(one, made.replace_days[i, at]))
        values[f"max_date_{quantile}"] = _date(as_of, _real(one, made.max_days[i, at]))
    for at, quantile in enumerate(("p10", "p50", "p90")):
        values[f"rate_um_per_kh_{quantile}"] = _number(made.rate_um_per_kh[i, at])
        values[f"clearance_um_{quantile}"] = _number(made.clearance_um[i, at])
    return values


def _of_record(one: Known, as_of: dt.date) -> dict[str, Any]:
    """What comes from the record itself."""
    seen, last = one.story.clearances, one.last
    first, second = one.coming.first, one.coming.second
    limit, replace = one.limits.get("in_service_max"), one.limits.get("replace")
    next_on, following_on = (as_of + dt.timedelta(days=int(days)) for days in one.coming.days)
    return {
        "site": one.bearing.place.site.name,
        "pump": one.bearing.place.tag,
        "position": one.bearing.name,
        "as_of": as_of.isoformat(),
        "readings": sum(len(observation.readings) for observation in seen),
        "last_reading_on": last.on.isoformat() if last else None,
        "last_reading_um": _number(last.larger_um) if last else None,
        "exposure": one.run.clock,
        "in_service_max_um": _number(one.limit_um("in_service_max")),
        "new_um": _number(one.limit_um("fitting_max")),
        "next_outage": first.name if first else None,
        "next_outage_on": next_on.isoformat(),
        "following_outage": second.name if second else None,
        "following_outage_on": following_on.isoformat(),
        "outages_known": one.coming.n_known,
        "hours_per_day": _number(one.hours_ahead),
        "class": one.facts.wear_class.name if one.facts and one.facts.wear_class else None,
        "n_set_aside": one.story.n_set_aside,
        "limit_authority": limit.get_authority_display() if limit else "",
        "limit_document": limit.document if limit else "",
        "twin": one.place.twin if one.place else "",
        "replace_authority": replace.get_authority_display() if replace else "",
    }


def _number(value: Any) -> float | None:
    """A finite float, rounded to `DIGITS` significant digits, or None."""
    return float(f"{value:.{DIGITS}g}") if value is not None and np.isfinite(value) else None


def _real(one: Known, even_days: float) -> float:
    """Days by the calendar, where the duty ahead is planned."""
    return float(one.ahead.real(even_days)) if one.ahead else even_days


def _date(as_of: dt.date, days: float) -> str | None:
    if np.isnan(days):
        return None
    if days > HORIZON_DAYS:
        return BEYOND
    return (as_of + dt.timedelta(days=int(max(days, 0.0)))).isoformat()
