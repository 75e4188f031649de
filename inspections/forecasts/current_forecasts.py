"""The figures of bearings for a page: stored ones where nothing has changed since, else worked out anew;
nothing is stored.
"""

import datetime as dt
import hashlib
import uuid
from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from django.db.models import Count, F, QuerySet, Value

from fleet.clock import today_in
from fleet.ledger.seal import leaves, root_of
from fleet.models import Bearing, Calibration, Chain, Installation, Setting
from fleet.plant.choices import WORDS_AT_PUMP
from fleet.recent import Recent
from inspections.forecasts.codes import Codes
from inspections.forecasts.computation import ENGINE, figures_of
from inspections.forecasts.forecast_figures import Figures
from inspections.forecasts.wear_inputs import fleet_inputs, inputs
from inspections.models import ForecastRun
from inspections.wear.arrays import Histories
from inspections.wear.fit import fit_fleet
from inspections.wear.population import Population

_FRESH: Recent[Figures] = Recent(20_000)
_FITTED: dict[tuple[Any, ...], tuple[Population, Codes]] = {}
# Fits of this process by what they were made from: an entry that tells nothing of wear asks for no new one.
_FITS: Recent[Population] = Recent(64)


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
        by bearing: stored figures of today that read the same record, else fresh ones with the fleet's
        parameters.
    """
    today = today or today_in("UTC")
    run = standing_run()
    digests = record_digests(bearings)
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
        counted = run.parameters.get("sudden", {}) if run else {}
        for pk, figures in figures_of(inputs(missing, today, codes), population, sudden=counted).items():
            found[pk] = _FRESH[keys[pk]] = figures
    return found


def parameters(today: dt.date, run: ForecastRun | None = None) -> tuple[Population, Codes, object]:
    """The fleet's parameters: those stored, or (before the first refit, or while the stored fleet was too
    young) fitted now.
    """
    if run and not run.parameters.get("young"):
        stored = run.parameters
        return Population.from_json(stored["population"]), Codes.of_stored(stored), run.pk
    head = root_of(leaves())
    key = (head, today)
    if key not in _FITTED:
        _FITTED.clear()
        codes = Codes()
        whole = fleet_inputs(today, codes)
        _FITTED[key] = (_fit_of(whole.histories), codes)
    population, codes = _FITTED[key]
    return population, codes, key


def _fit_of(histories: Histories) -> Population:
    content = histories.digest()
    if content not in _FITS:
        _FITS[content] = fit_fleet(histories)
    return _FITS[content]


def fit_trouble(today: dt.date) -> str:
    """A sentence for the head of a page where fitting the fleet's numbers failed; empty where it did not."""
    trouble = parameters(today, standing_run())[0].trouble
    if not trouble:
        return ""
    return (
        f"The fleet's numbers could not be fitted well: {trouble}. All dates here are less sure than they"
        " say. Have the newest imports and the doubtful readings looked at, then fit anew."
    )


def _counted(kind: Value | F, of: QuerySet[Any, Any]) -> QuerySet[Any, Any]:
    """How many rows of a kind there are, and how many are withdrawn, as one row."""
    rows = of.order_by().annotate(kind=kind).values_list("kind")
    counted: QuerySet[Any, Any] = rows.annotate(n=Count("pk"), n_withdrawn=Count("withdrawn_by"))
    return counted


def record_digests(bearings: Sequence[Bearing]) -> dict[uuid.UUID, str]:
    """What a bearing's figures depend on, as one text: where its chains end, the settings in force and the
    gauges' checks.
    """
    machines: dict[uuid.UUID, list[uuid.UUID]] = defaultdict(list)
    for place, machine in Installation.objects.standing().values_list("place_id", "machine_id"):
        machines[place].append(machine)
    heads = dict(Chain.objects.exclude(id="plant").values_list("id", "n"))
    settings, words = [], Setting.objects.filter(WORDS_AT_PUMP)
    for kind, n, n_withdrawn in sorted(
        _counted(Value("setting"), Setting.objects.exclude(WORDS_AT_PUMP)).union(
            _counted(Value("check"), Calibration.objects.all()), _counted(F("chain"), words)
        )
    ):
        if kind in heads:
            heads[kind] -= n
        elif kind != "plant":
            settings.append((kind, n, n_withdrawn))
    found = {}
    for bearing in bearings:
        names = [f"bearing:{bearing.pk}", f"site:{bearing.place.site_id}"]
        names += sorted(f"pump:{machine}" for machine in machines[bearing.place_id])
        said = "|".join(f"{name}={heads.get(name, 0)}" for name in names) + f"|{settings}"
        found[bearing.pk] = hashlib.sha256(said.encode()).hexdigest()
    return found
